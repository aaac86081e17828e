"""N-fold alignment: the centre at which all vanes lie alike, and the two edges they have in common.

If the true centre lies `d` from the assumed one, the line of vane k lies `d . left_k` to its left. The alignment takes
the `d` at which the vanes' edges, shifted back by it, pile up highest; then the pair of edges that most vanes share is
followed from root to tip by dynamic programming.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array
from wearvision.measure.vanes.strips import Strips

WIDTHS_MM = np.arange(2.5, 13.1, 0.5)
"""Thickness of a vane, seen in plan."""
PRIOR = 0.25
"""Weight of where the centre may be against the pile, half of a Gaussian's."""
UNLIKELY = 0.02
"""Places that count for less than this share are not looked at."""
SLACK = 2.0
"""Cost of a step of the pair's middle, per (mm/mm)^2 of slope and station."""


def shifted(size: Grid, strips: Strips, shift_mm: Array) -> Grid:
    """Edges with every vane shifted back by a centre `shift_mm` away, (N, S, M); linear between columns."""
    off = (strips.left @ shift_mm) / strips.step_mm
    base = np.floor(off).astype(int)
    part = (off - base)[..., None].astype(np.float32)
    columns = np.arange(size.shape[2])[None, None, :] + base[..., None]
    high = size.shape[2] - 1
    low = np.take_along_axis(size, np.clip(columns, 0, high), axis=2)
    up = np.take_along_axis(size, np.clip(columns + 1, 0, high), axis=2)
    return np.asarray(low * (1 - part) + up * part, dtype=np.float32)


def common(size: Grid) -> Grid:
    """What most vanes share, (S, M): mean over the vanes, none counted for more than the median of all and one."""
    known = size > 0
    count = np.maximum(known.sum(axis=0), 1)
    held = np.minimum(size, np.median(size, axis=0)[None] + 1.0)
    mean = held.sum(axis=0) / count
    few = known.sum(axis=0) < max(2, 0.4 * len(size))
    return np.asarray(np.where(few, np.minimum(mean, 1.0), mean), dtype=np.float32)


def pile(size: Grid, strips: Strips, shift_mm: Array) -> float:
    """How high the edges pile up with the centre `shift_mm` away."""
    level = common(shifted(size, strips, shift_mm))
    return float((np.clip(level - 1.0, 0, None) ** 2).sum() / len(level))


def best_shift(
    size: Grid, strips: Strips, reach_mm: float, steps: tuple[float, ...] = (1.0, 0.5, 0.25), *,
    expect_mm: Array | None = None, spread_mm2: Array | None = None, weight: float = PRIOR,
) -> Array:  # fmt: skip
    """Shift of the centre (2,) at which the edges pile up highest: a grid, then finer ones about the best.

    `expect_mm` and `spread_mm2` (2, 2) say where it may be; the pile counts for less away from there.
    """
    inverse = np.zeros((2, 2)) if spread_mm2 is None else np.linalg.inv(spread_mm2)
    middle = np.zeros(2) if expect_mm is None else expect_mm

    thin = replace(strips, left=strips.left[:, ::2])  # neighbours tell the same: every other station is enough
    few = np.ascontiguousarray(size[:, ::2])

    def worth(d: Array, step: float) -> float:
        off = d - middle
        share = float(np.exp(-weight * off @ inverse @ off))
        return pile(soft[step], thin, d) * share if share > UNLIKELY else 0.0

    soft = {s: _softened(few, s / strips.step_mm) for s in steps}  # no peak slips between places `step` apart
    at, reach = np.zeros(2), reach_mm
    for step in steps:
        one = np.arange(-reach, reach + step / 2, step)
        trials = [at + np.array([x, y]) for x in one for y in one]
        at = trials[int(np.argmax([worth(d, step) for d in trials]))]
        reach = step
    return at


def _softened(size: Grid, columns: float) -> Grid:
    """Edges averaged across the vanes over some columns; as they are for one or less."""
    width = round(columns) | 1
    if columns <= 1:
        return size
    flat = cv2.blur(size.reshape(-1, size.shape[2]), (width, 1), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(flat, dtype=np.float32).reshape(size.shape)


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
    """The strongest pair of edges a constant width apart, from the first row of `level` (S, M) to the last."""
    step = float(across_mm[1] - across_mm[0])
    best: Pair | None = None
    for width in widths_mm.tolist():
        gain = _pair_gain(level, width / 2 / step)
        path = viterbi(gain, SLACK * (step / along_step_mm) ** 2, most=max(1, int(0.8 * along_step_mm / step)))
        got = gain[np.arange(len(gain)), path]
        if best is None or got.sum() > best.gain.sum():
            best = Pair(middle_mm=across_mm[path], width_mm=float(width), gain=got.astype(np.float64))
    assert best is not None
    return best


def _pair_gain(level: Grid, half: float) -> Grid:
    """Sum of the edges `half` columns to either side of each column, less what is usual, (S, M)."""
    x = np.arange(level.shape[1], dtype=np.float64)
    out = np.full(level.shape, -2.0, dtype=np.float32)
    ok = (x - half >= 0) & (x + half <= level.shape[1] - 1)
    for sign in (-1, 1):
        place = x[ok] + sign * half
        low = np.floor(place).astype(int)
        part = (place - low).astype(np.float32)
        high = np.minimum(low + 1, level.shape[1] - 1)
        out[:, ok] += level[:, low] * (1 - part) + level[:, high] * part
    out[:, ~ok] = -2.0
    return np.asarray(out, dtype=np.float32)


def viterbi(gain: Grid, cost: float, most: int) -> Array:
    """Column of each row (S,) on the path of greatest gain less `cost` per squared column of step."""
    rows, columns = gain.shape
    moves = np.arange(-most, most + 1)
    price = (cost * moves**2).astype(np.float32)
    total = gain[0].astype(np.float32)
    back = np.zeros((rows, columns), dtype=np.int64)
    padded = np.full(columns + 2 * most, -1e9, dtype=np.float32)
    index = np.arange(columns)[None, :] + (moves + most)[:, None]
    for i in range(1, rows):
        padded[most : most + columns] = total
        options = padded[index] - price[:, None]
        choice = np.argmax(options, axis=0)
        back[i] = np.arange(columns) + moves[choice]
        total = options[choice, np.arange(columns)] + gain[i]
    path = np.empty(rows, dtype=np.int64)
    path[-1] = int(np.argmax(total))
    for i in range(rows - 1, 0, -1):
        path[i - 1] = back[i, path[i]]
    return np.asarray(path)
