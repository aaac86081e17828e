"""What hangs together on a map of blocks, and the ways through it, from end to end."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.finders.face_map import Bytes, set_cells
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
        deep = cv2.threshold(depth, level, 255, cv2.THRESH_BINARY)[1]
        label = np.asarray(cv2.connectedComponentsWithAlgorithm(deep, 8, cv2.CV_32S, cv2.CCL_BBDT)[1], dtype=np.int32)
        row, column = set_cells(deep)
        which = label[row, column]
        order = np.argsort(which, kind="stable")
        row, column, which = row[order], column[order], which[order]
        first = np.flatnonzero(np.diff(which, prepend=0))
        at = np.column_stack([column, row])
        far = np.hypot(*(at.T - (np.array(depth.shape[::-1])[:, None] - 1) / 2))
        return cls(
            label=label, low=np.minimum.reduceat(at, first), high=np.maximum.reduceat(at, first),
            area=np.diff(first, append=len(which)), gain=np.add.reduceat(worth[depth[row, column]], first),
            deep=np.maximum.reduceat(far, first) - np.minimum.reduceat(far, first),
        )  # fmt: skip

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
    apart = np.hypot(*(way[:, None] - ends[None]).transpose(2, 0, 1)).min(axis=1)
    at = int(np.argmin(apart))
    if apart[at] > TOUCH or not TOUCH < at < len(way) - 1 - TOUCH:
        return [way]
    return [way[: at + 1], way[at:]]


def _end_to_end(part: Bytes) -> Array:
    """Samples (N, 2), column and row, of the way between the two ends of a connected shape that lie farthest apart.

    The shape is one long number, a bit for each sample, with zeros above, below and between its rows: a step aside is
    a shift by one bit, a step down by a row.
    """
    left, top, wide, high = cv2.boundingRect(part)
    rim = np.zeros((high + 3, wide + 1), np.uint8)
    rim[2:-1, :-1] = part[top : top + high, left : left + wide]
    shape, wide = int.from_bytes(np.packbits(rim, bitorder="little").tobytes(), "little"), rim.shape[1]
    at, waves = _lowest(shape), [0]
    for _ in range(2):
        waves = _waves(shape, at, wide)
        at = _lowest(waves[-1])
    out = [at]
    around = [-wide, -1, 1, wide, -wide - 1, -wide + 1, wide - 1, wide + 1]
    for wave in waves[-2::-1]:
        out.append(next(out[-1] + step for step in around if wave >> (out[-1] + step) & 1))
    rows, columns = np.divmod(np.array(out), wide)
    return np.column_stack([columns + left, rows - 2 + top]).astype(np.float64)


def _lowest(bits: int) -> int:
    """Place of the lowest bit that is set."""
    return (bits & -bits).bit_length() - 1


def _waves(shape: int, at: int, wide: int) -> list[int]:
    """What a wave through a shape reaches in each step from one of its samples, in bits."""
    out, left = [1 << at], shape & ~(1 << at)
    while True:
        line = out[-1] | out[-1] << 1 | out[-1] >> 1
        front = (line | line << wide | line >> wide) & left
        if not front:
            return out
        left ^= front
        out.append(front)
