"""N-fold alignment: the centre at which all vanes lie alike, and the two edges they have in common.

If the true centre lies `d` from the assumed one, the line of vane k lies `d . left_k` to its left. The alignment takes
the `d` at which the vanes' edges, shifted back by it, pile up highest; then the pair of edges that most vanes share is
followed from root to tip by dynamic programming.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array
from wearvision.measure.vanes.foot import Where
from wearvision.measure.vanes.strips import Strips

WIDTHS_MM = np.arange(2.5, 13.1, 0.5)
"""Thickness of a vane, seen in plan."""
THIN, FINE = 3, 2
"""While the centre is sought, every so manieth station is taken, and columns are made so much denser."""
LEAST_SHARE = 0.4
"""What few vanes show is shared out over this share of all."""
MOST = 2.0
"""What one vane counts for at most: the gain of one clear edge, or of two fair ones."""
NONE = -2.0
"""Gain of a pair without any edge."""
SLACK = 2.0
"""Cost of a step of the pair's middle, per (mm/mm)^2 of slope and station."""


def shifted(size: Grid, strips: Strips, shift_mm: Array) -> Grid:
    """Edges with every vane shifted back by a centre `shift_mm` away, (N, S, M); linear between columns."""
    return turned_back(size, (strips.left @ shift_mm) / strips.step_mm)


def turned_back(values: Grid, off: Array) -> Grid:
    """Rows of strips (N, S, M), each shifted back by so many columns (N, S); beyond the ends the last value stands."""
    out = np.empty_like(values)
    _shift_rows(values.reshape(-1, values.shape[2]), off.ravel(), out.reshape(-1, values.shape[2]))
    return out


@compiled
def _shift_rows(values: Grid, off: Array, out: Grid) -> None:
    last = values.shape[1] - 1
    for i in range(len(values)):
        base = int(np.floor(off[i]))
        up = np.float32(off[i] - base)
        low = np.float32(1) - up
        first = min(max(-base, 0), last + 1)
        stop = max(min(last - base, last + 1), first)
        out[i, :first] = values[i, 0]
        for j in range(first, stop):
            out[i, j] = values[i, j + base] * low + values[i, j + base + 1] * up
        out[i, stop:] = values[i, last]


def seen_back(seen: NDArray[np.bool_], off: Array) -> NDArray[np.bool_]:
    """What is seen (N, S, M) once rows are `turned_back`; nothing beyond the ends."""
    out = np.zeros_like(seen)
    _shift_seen(seen, off, out)
    return out


@compiled
def _shift_seen(seen: NDArray[np.bool_], off: Array, out: NDArray[np.bool_]) -> None:
    last = seen.shape[2] - 1
    for n in range(len(seen)):
        for i in range(seen.shape[1]):
            base = int(np.floor(off[n, i]))
            for j in range(max(-base, 0), min(last - base - (off[n, i] > base), last) + 1):
                out[n, i, j] = seen[n, i, min(j + base, last - 1)]


def common(size: Grid) -> Grid:
    """What most vanes share, (S, M): mean over the vanes, none counted for more than the median of all and one."""
    known = size > 0
    count = np.maximum(known.sum(axis=0), 1)
    held = np.minimum(size, middle(size[None])[0] + 1.0)
    mean = held.sum(axis=0) / count
    few = known.sum(axis=0) < max(2, LEAST_SHARE * len(size))
    return np.asarray(np.where(few, np.minimum(mean, 1.0), mean), dtype=np.float32)


def pile(size: Grid, strips: Strips, shift_mm: Array) -> float:
    """How high the edges pile up with the centre `shift_mm` away."""
    return float(_piles(_Stack.of(size, strips), np.asarray(shift_mm, dtype=np.float64)[None], 0.0)[0])


@dataclass(frozen=True, kw_only=True, eq=False)
class _Stack:
    """Edges thinned along the vanes (they tell the same over a few stations) and made `FINE` times denser across."""

    edges: Grid
    left: Array
    step_mm: float

    @classmethod
    def of(cls, size: Grid, strips: Strips) -> _Stack:
        few = np.ascontiguousarray(size[:, ::THIN])
        number, rows, width = few.shape
        dense = cv2.resize(few.reshape(-1, width), (width * FINE, number * rows), interpolation=cv2.INTER_LINEAR)
        return cls(
            edges=np.asarray(dense, dtype=np.float32).reshape(number, rows, width * FINE),
            left=strips.left[:, ::THIN], step_mm=strips.step_mm / FINE,
        )  # fmt: skip


def _piles(stack: _Stack, shifts_mm: Array, soft_mm: float) -> Array:
    """How high the edges, averaged over `soft_mm` across, pile up for some shifts (T, 2) of the centre: (T,)."""
    width, edges = stack.edges.shape[2], stack.edges
    if soft_mm > stack.step_mm * FINE:
        kernel = (round(soft_mm / stack.step_mm) | 1, 1)
        flat = cv2.blur(edges.reshape(-1, width), kernel, borderType=cv2.BORDER_REPLICATE)
        edges = np.asarray(flat, dtype=np.float32).reshape(edges.shape)
    off = np.rint(shifts_mm @ stack.left.transpose(1, 2, 0) / stack.step_mm).astype(np.int64)  # (S, T, N)
    worth = np.zeros(len(shifts_mm))
    _pile_up(edges, np.ascontiguousarray(off), worth)
    return np.asarray(worth / edges.shape[1])


@compiled
def _pile_up(edges: Grid, off: NDArray[np.int64], worth: Array) -> None:
    """Add to each of some shifts what all vanes share over 1, squared; vane n of row s stands `off[s, t, n]` away."""
    number, rows, width = edges.shape
    count = len(range(FINE // 2, width, FINE))
    here, held, known = np.empty((number, count), dtype=np.float32), np.empty(count), np.empty(count)
    for s in range(rows):
        for t in range(len(worth)):
            held[:], known[:] = 0.0, 0.0
            for n in range(number):
                for j in range(count):
                    here[n, j] = edges[n, s, min(max(j * FINE + FINE // 2 + off[s, t, n], 0), width - 1)]
                    known[j] += here[n, j] > 0
            _sort(here)
            for n in range(number):
                for j in range(count):
                    most = (here[(number - 1) // 2, j] + here[number // 2, j]) / 2 + 1
                    held[j] += min(here[n, j], most)
            for j in range(count):
                worth[t] += max(held[j] / max(known[j], LEAST_SHARE * number) - 1, 0.0) ** 2


@compiled
def _sort(tables: Grid) -> None:
    """Put the values (N, M) of each column in order: odd and even neighbours swapped in turn."""
    for i in range(len(tables)):
        for k in range(i % 2, len(tables) - 1, 2):
            for j in range(tables.shape[1]):
                low, high = tables[k, j], tables[k + 1, j]
                tables[k, j], tables[k + 1, j] = min(low, high), max(low, high)


def middle(size: NDArray[Any]) -> NDArray[Any]:
    """Median over the vanes, of (T, N, ...): few tables are sorted as wholes sooner than place by place."""
    tables = [size[:, k] for k in range(size.shape[1])]
    for i in range(len(tables)):
        for k in range(i % 2, len(tables) - 1, 2):
            tables[k : k + 2] = np.minimum(*tables[k : k + 2]), np.maximum(*tables[k : k + 2])
    half = len(tables) // 2
    return tables[half] if len(tables) % 2 else (tables[half - 1] + tables[half]) / 2


def best_shifts(
    size: Grid, strips: Strips, centre_mm: Array, reach_mm: float, steps: tuple[float, ...],
    beliefs: tuple[Where, ...],
) -> list[Array]:  # fmt: skip
    """For each belief the shift of the centre (2,) at which the edges pile up highest: a grid, then finer ones."""
    stack = _Stack.of(size, strips)
    first = _square(np.zeros(2), reach_mm, steps[0])
    worth = _piles(stack, first, steps[0])  # averaged over a step, so that no peak slips between the places
    found: list[Array] = []
    for belief in beliefs:
        at = first[int(np.argmax(worth * belief.share(centre_mm + first)))]
        for before, step in pairwise(steps):
            trials = _square(at, before, step)
            here = _piles(stack, trials, step)
            at = trials[int(np.argmax(here * belief.share(centre_mm + trials)))]
        found.append(at)
    return found


def _square(at: Array, reach: float, step: float) -> Array:
    one = np.arange(-reach, reach + step / 2, step)
    return np.asarray(at + np.stack(np.meshgrid(one, one), axis=-1).reshape(-1, 2))


@dataclass(frozen=True, kw_only=True, eq=False)
class Pair:
    """The two edges that the vanes share.

    Attributes
    ----------
    middle_mm : (S,) array
        Middle between them, mm to the left of the line.
    width_mm : float
    gain : (S,) array
        How strong the two edges are together, less what is usual; above 0 where there are vanes.
    """

    middle_mm: Array
    width_mm: float
    gain: Array


def follow(level: Grid, across_mm: Array, along_step_mm: float, widths_mm: Array = WIDTHS_MM) -> Pair:
    """The strongest pair of edges a constant width apart, from the first row of `level` to the last.

    `level` is what the vanes share (S, M), or the edges of all of them (N, S, M): then no vane counts for more than
    `MOST`, so that a pair that each shows half of is worth more than one that half of them show.
    """
    return max(pairs(level, across_mm, along_step_mm, widths_mm), key=lambda pair: float(pair.gain.sum()))


def pairs(level: Grid, across_mm: Array, along_step_mm: float, widths_mm: Array = WIDTHS_MM) -> list[Pair]:
    """The strongest pair of edges of each width."""
    step = float(across_mm[1] - across_mm[0])
    each, most = (level[None], np.inf) if level.ndim == 2 else (level, MOST)
    gain = np.full((len(widths_mm), *each.shape[1:]), NONE, dtype=np.float32)
    _pair_gains(np.ascontiguousarray(each), widths_mm / 2 / step, np.float32(most), gain)
    path = viterbi(gain, SLACK * (step / along_step_mm) ** 2, most=max(1, int(0.8 * along_step_mm / step)))
    got = np.take_along_axis(gain, path[..., None], axis=2)[..., 0].astype(np.float64)
    return [
        Pair(middle_mm=across_mm[p], width_mm=w, gain=g) for p, w, g in zip(path, widths_mm.tolist(), got, strict=True)
    ]


@compiled
def _pair_gains(level: Grid, halves: Array, most: np.float32, out: Grid) -> None:
    """Sum of the edges some columns to either side of each, less what is usual, at most `most`: mean over the vanes.

    For each half width (W,) of `level` (N, S, M) the table `out` (W, S, M), where both sides lie in it.
    """
    number, rows, width = level.shape
    for w in range(len(halves)):
        half = halves[w]
        first, stop = int(np.ceil(half)), int(np.floor(width - 1 - half)) + 1
        low, high = int(np.floor(-half)), int(np.floor(half))
        share, other = np.float32(-half - low), np.float32(half - high)
        up, over = low + 1, high + (other > 0)  # a whole half reaches the last column, and needs none beyond
        for i in range(rows):
            out[w, i, first:stop] = 0.0
            for n in range(number):
                for j in range(first, stop):
                    right = level[n, i, j + low] * (np.float32(1) - share) + level[n, i, j + up] * share
                    left = level[n, i, j + high] * (np.float32(1) - other) + level[n, i, j + over] * other
                    out[w, i, j] += min(np.float32(NONE) + right + left, most)
            for j in range(first, stop):
                out[w, i, j] /= np.float32(number)


def viterbi(gain: Grid, cost: float, most: int) -> NDArray[np.int64]:
    """Column of each row on the path of greatest gain less `cost` per squared column of step.

    `gain` is (..., S, M), one table or many at once; the answer (..., S).
    """
    tables = np.ascontiguousarray(gain, dtype=np.float32).reshape(-1, *gain.shape[-2:])
    path = np.empty(tables.shape[:2], dtype=np.int64)
    _best_paths(tables, (cost * np.arange(-most, most + 1) ** 2).astype(np.float32), path)
    return path.reshape(gain.shape[:-1])


@compiled
def _best_paths(tables: Grid, price: Grid, path: NDArray[np.int64]) -> None:
    """The best path (T, S) down each table (T, S, M), where `price` (2 K + 1) is that of -K to K columns of step."""
    many, rows, columns = tables.shape
    most = len(price) // 2
    back = np.zeros((rows, columns), dtype=np.int32)
    for t in range(many):
        total = tables[t, 0].copy()
        for i in range(1, rows):
            best = np.full(columns, -np.inf, dtype=np.float32)
            for k in range(-most, most + 1):
                _come_from(total, k, price[k + most], best, back[i])
            total = best + tables[t, i]
        path[t, rows - 1] = np.argmax(total)
        for i in range(rows - 1, 0, -1):
            path[t, i - 1] = path[t, i] + back[i, path[t, i]]


@compiled
def _come_from(total: Grid, step: int, price: np.float32, best: Grid, back: NDArray[np.int32]) -> None:
    """Where coming from `step` columns away is better than what was best so far, take it."""
    for j in range(max(0, -step), min(len(total), len(total) - step)):
        worth = total[j + step] - price
        better = worth > best[j]
        best[j] = worth if better else best[j]
        back[j] = step if better else back[j]
