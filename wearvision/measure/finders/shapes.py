"""What hangs together on a map of blocks, and the ways through it, from end to end."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.finders.face_map import Bytes
from wearvision.measure.plane import Array

PIECES = 8
"""So many ways through a shape."""
BESIDE, TOUCH = 1, 4
"""Blocks beside a way that are taken with it; and one that begins so near another touches it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Shapes:
    """What hangs together: label of each block, and by label the first and last column and row (K, 2), how many blocks
    there are, what they count, and in what range of radius they lie, blocks (K,)."""

    label: NDArray[np.int32]
    low: NDArray[np.int64]
    high: NDArray[np.int64]
    area: NDArray[np.int64]
    gain: Array
    deep: Array

    @classmethod
    def of(cls, depth: Bytes, level: int, worth: Array) -> Shapes:
        """Shapes of what is deeper."""
        label, at, first = _labelled(depth, level)
        low, high, gain, deep = _extents(at, first, depth, worth)
        return cls(label=label, low=low, high=high, area=np.diff(first), gain=gain, deep=deep)

    @property
    def extent(self) -> Array:
        """Diagonals of their boxes, blocks."""
        return np.asarray(np.hypot(*(self.high - self.low + 1).T))

    def part(self, k: int) -> Bytes:
        """One of them alone in its box."""
        (left, top), (right, bottom) = self.low[k], self.high[k] + 1
        return np.asarray(self.label[top:bottom, left:right] == k + 1, dtype=np.uint8)

    def together(self, some: NDArray[np.int64], gap: float) -> Array:
        """What each of some counts together with all that it may be strung together with over such gaps."""
        low, high = self.low[some], self.high[some]
        apart = np.maximum(low[:, None] - high[None], low[None] - high[:, None]).max(axis=2)
        touch = (apart <= gap).astype(np.float64)
        for _ in range(int(np.ceil(np.log2(max(2, len(some)))))):
            touch = np.minimum(touch @ touch, 1.0)
        return np.asarray(touch @ self.gain[some])


def ways(part: Bytes, least: float) -> list[Array]:
    """Ways (N, 2), column and row, through a connected shape, cut where another one begins."""
    left, one, out = part.copy(), part, list[Array]()
    while True:
        way = _end_to_end(one)
        out = [piece for old in out for piece in _cut(old, way[[0, -1]])] + [way]
        cv2.polylines(left, [way.astype(np.int32)], False, 0, 2 * BESIDE + 1)
        if len(out) >= PIECES or cv2.countNonZero(left) < least / np.sqrt(2):
            return out
        _, label, stats, _ = cv2.connectedComponentsWithStats(left, connectivity=8)
        extent = np.hypot(stats[1:, cv2.CC_STAT_WIDTH], stats[1:, cv2.CC_STAT_HEIGHT])
        if extent.max() < least:
            return out
        one = (label == 1 + int(np.argmax(extent))).astype(np.uint8)


def _cut(way: Array, ends: Array) -> list[Array]:
    """A way in two, next to an end of another that touches it, if not near its own."""
    at = _touched(way, ends)
    return [way[: at + 1], way[at:]] if TOUCH < at < len(way) - 1 - TOUCH else [way]


@compiled
def _touched(way: Array, ends: Array) -> int:
    """Which sample of a way is next to one of some places, the first of such; -1 where none touches it."""
    best, nearest = -1, np.inf
    for k in range(len(way)):
        for x, y in ends:
            far = (way[k, 0] - x) ** 2 + (way[k, 1] - y) ** 2
            if far < nearest:
                best, nearest = k, far
    return best if nearest <= TOUCH**2 else -1


@compiled
def _labelled(depth: Bytes, level: int) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int64]]:
    """Label of each block, rows and columns of those that have one, by label, and where each label begins there."""
    high, wide = depth.shape
    label, at, first = np.zeros(depth.shape, np.int32), np.empty((depth.size, 2), np.int32), [0]
    done, count = 0, 0
    for top in range(high):
        for left in range(wide):
            if depth[top, left] <= level or label[top, left]:
                continue
            at[count, 0], at[count, 1], label[top, left], count = top, left, len(first), count + 1
            while done < count:
                for y in range(max(0, at[done, 0] - 1), min(high, at[done, 0] + 2)):
                    for x in range(max(0, at[done, 1] - 1), min(wide, at[done, 1] + 2)):
                        if depth[y, x] > level and not label[y, x]:
                            at[count, 0], at[count, 1], label[y, x], count = y, x, len(first), count + 1
                done += 1
            first.append(count)
    return label, at[:count], np.array(first)


@compiled
def _extents(
    at: NDArray[np.int32], first: NDArray[np.int64], depth: Bytes, worth: Array
) -> tuple[NDArray[np.int64], NDArray[np.int64], Array, Array]:
    """First and last column and row, what they count, and their range in radius, by label."""
    count = len(first) - 1
    low, high = np.full((count, 2), len(depth) + depth.shape[1]), np.full((count, 2), -1)
    gain, near, far = np.zeros(count), np.full(count, np.inf), np.zeros(count)
    for k in range(count):
        for row, column in at[first[k] : first[k + 1]]:
            low[k, 0], high[k, 0] = min(low[k, 0], column), max(high[k, 0], column)
            low[k, 1], high[k, 1] = min(low[k, 1], row), max(high[k, 1], row)
            gain[k] += worth[depth[row, column]]
            radius = math.hypot(column - (depth.shape[1] - 1) / 2, row - (depth.shape[0] - 1) / 2)
            near[k], far[k] = min(near[k], radius), max(far[k], radius)
    return low, high, gain, far - near


def _end_to_end(part: Bytes) -> Array:
    """Samples (N, 2), column and row, of the way between the two ends of a connected shape that lie farthest apart."""
    return _walked(np.ascontiguousarray(part))


@compiled
def _walked(part: Bytes) -> Array:
    """Walked from its first sample to one that is farthest off, from there to the farthest again, and back."""
    rim = np.zeros((part.shape[0] + 2, part.shape[1] + 2), np.uint8)
    rim[1:-1, 1:-1] = part
    at, steps = _farthest(rim, *_first(rim))
    at, steps = _farthest(rim, *at)
    y, x = at
    out = np.empty((steps[y, x] + 1, 2))
    around = ((-1, 0), (0, -1), (0, 1), (1, 0), (-1, -1), (-1, 1), (1, -1), (1, 1))
    for k in range(len(out)):
        out[k, 0], out[k, 1] = x - 1, y - 1
        for down, right in around:
            if steps[y + down, x + right] == steps[y, x] - 1 and steps[y, x]:
                y, x = y + down, x + right
                break
    return out


@compiled
def _first(part: Bytes) -> tuple[int, int]:
    """Row and column of the first sample that is set."""
    for y in range(part.shape[0]):
        for x in range(part.shape[1]):
            if part[y, x]:
                return y, x
    return 0, 0


@compiled
def _farthest(part: Bytes, row: int, column: int) -> tuple[tuple[int, int], NDArray[np.int32]]:
    """Row and column of the sample that is most steps from one, the first of such; and steps to each, -1 to others."""
    steps, queue = np.full(part.shape, -1, np.int32), np.empty((part.size, 2), np.int32)
    steps[row, column], queue[0, 0], queue[0, 1], count, best = 0, row, column, 1, (row, column)
    done = 0
    while done < count:
        y, x = queue[done]
        done += 1
        more = steps[y, x] - steps[best[0], best[1]]
        if more > 0 or (more == 0 and (y, x) < best):
            best = (y, x)
        for v in range(y - 1, y + 2):
            for u in range(x - 1, x + 2):
                if part[v, u] and steps[v, u] < 0:
                    steps[v, u], queue[count, 0], queue[count, 1] = steps[y, x] + 1, v, u
                    count += 1
    return best, steps
