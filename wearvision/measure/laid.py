"""A strip laid straight along a line and averaged over sectors of some degrees, each held against the face beside.

Noise, rust and scratches average out, what runs along the line stays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.evidence import Evidence
from wearvision.measure.plane import Array
from wearvision.measure.unwrap import Strip

SECTOR_ROWS = 8
SIDE_MM, SIDE_SHARE, CLEAR_PX = 1.6, 0.8, 2.5
"""The face beside it: at least so wide, or this share of the width; from this far outside the lips on."""
LEAST_SIDE = 4
"""Columns of a side that must be seen to tell its level."""
LEAST_NOISE, LEAST_SLOPE = 0.004, 1e-4
"""Least noise of a sector's column: log grey, and per photo px."""
BINS, ALIKE = 64, 1e-30
"""Bins among which values are dealt out to find their median; values so near each other are one."""
Box = tuple[float, float]
"""Columns of two lips."""
Cuts = tuple[int, int, int, int]
"""First and one past the last column of the face to the left of a box, and of that to its right."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sectors:
    """Means over the sectors of a strip laid straight.

    Attributes
    ----------
    gray, slope : (K, C) float32
        Log grey, and its slope along the radius; the line runs down the middle column.
    seen : (K, C) bool
    """

    gray: Grid
    slope: Grid
    seen: NDArray[np.bool_]


def lay(found: Evidence, strip: Strip, rows: NDArray[np.int64], middle: Array, reach: int) -> Sectors:
    """Lay rows of a strip straight, `reach` columns to either side of a line, and average over sectors."""
    sums, seen = _averaged(found.gray, found.plain, strip.valid, rows, middle, reach)
    return Sectors(gray=sums[1], slope=sums[2], seen=seen)


@compiled
def _averaged(
    gray: Grid, slope: Grid, valid: NDArray[np.bool_], rows: NDArray[np.int64], middle: Array, reach: int
) -> tuple[Grid, NDArray[np.bool_]]:
    """How many rows of each sector are seen, and the means of their grey and slope, (3, K, C); and which columns of
    which sectors are seen at least over a third, (K, C).

    Fewer rows than a sector's make one sector.
    """
    tall, count, wide = min(SECTOR_ROWS, len(rows)), max(1, len(rows) // SECTOR_ROWS), 2 * reach + 1
    sums, seen = np.zeros((3, count, wide), np.float32), np.empty((count, wide), np.bool_)
    for n in range(count * tall):
        row, first = rows[n] % len(gray), int(np.rint(middle[n])) - reach
        low = max(0, first)
        high = max(low, min(valid.shape[1], first + wide))
        part = sums[:, n // tall, low - first : high - first]
        number, grays, slopes = part[0], part[1], part[2]
        here, steep, there = gray[row, low:high], slope[row, low:high], valid[row, low:high]
        for c in range(len(number)):
            weight = np.float32(there[c])
            number[c] += weight
            grays[c] += weight * here[c]
            slopes[c] += weight * steep[c]
    for k in range(count):
        number, grays, slopes, told = sums[0, k], sums[1, k], sums[2, k], seen[k]
        for c in range(wide):
            some = max(number[c], np.float32(1))
            grays[c], slopes[c], told[c] = grays[c] / some, slopes[c] / some, number[c] * 3 >= tall
    return sums, seen


def beside(strip: Strip, box: Box, columns: int) -> Cuts:
    """Columns of the face to the left and right of a box."""
    side = round(max(SIDE_MM / strip.step_mm, SIDE_SHARE * (box[1] - box[0])))
    clear = round(CLEAR_PX * strip.px_mm / strip.step_mm)
    low, high = int(np.floor(box[0])) - clear, int(np.ceil(box[1])) + clear + 1
    return max(0, low - side), max(0, low), min(columns, high), min(columns, high + side)


def grey_squares(laid: Sectors, sides: Cuts, box: Box, cap: float) -> Array:
    """Square of each sector's grey less that of the face beside a box, over the usual size there, at most `cap`; nan is
    not seen, (K, C)."""
    return _squares(laid.gray, laid.seen, sides, (float(box[0]), float(box[1])), False, LEAST_NOISE, float(cap))


def slope_squares(laid: Sectors, sides: Cuts, cap: float) -> Array:
    """The same of the slope, whose level is nought."""
    return _squares(laid.slope, laid.seen, sides, (0.0, 1.0), True, LEAST_SLOPE, float(cap))


def mean_squares(laid: Sectors, sides: Cuts, box: Box, cap: float) -> tuple[Array, Array]:
    """Mean of either over the sectors in which a column is seen, of the grey and of the slope, (C,) each."""
    return _mean_squares(laid.gray, laid.slope, laid.seen, sides, (float(box[0]), float(box[1])), float(cap))


@compiled
def _mean_squares(
    gray: Grid, slope: Grid, seen: NDArray[np.bool_], sides: Cuts, box: Box, cap: float
) -> tuple[Array, Array]:
    """The means of both."""
    grays = _squares(gray, seen, sides, box, False, LEAST_NOISE, cap)
    return seen_mean(grays), seen_mean(_squares(slope, seen, sides, (0.0, 1.0), True, LEAST_SLOPE, cap))


@compiled
def _levels(image: Grid, seen: NDArray[np.bool_], sides: Cuts) -> Array:
    """Median of either side in every sector, (K, 2); nan where it is not seen."""
    out = np.full((len(image), 2), np.nan)
    values = np.empty(image.shape[1])
    bins, bin_of = np.empty(BINS + 1, np.int64), np.empty(image.shape[1], np.int64)
    for k in range(len(image)):
        for side in range(2):
            count = 0
            for c in range(sides[2 * side], sides[2 * side + 1]):
                if seen[k, c]:
                    values[count] = image[k, c]
                    count += 1
            if count >= LEAST_SIDE:
                out[k, side] = _middle(values[:count], bins, bin_of)
    return out


@compiled
def _middle(values: Array, bins: NDArray[np.int64], bin_of: NDArray[np.int64]) -> float:
    """Median of finite values, which are reordered; `bins` and `bin_of` are room.

    Half of them are no further above the least than twice the mean is: dealt out into bins up to there, only those in
    the bins of the middle are put in order.
    """
    count, low, total = len(values), float(values[0]), 0.0
    for c in range(count):
        low, total = min(low, values[c]), total + values[c]
    spread, bins[:] = 2 * (total / count - low), 0
    if not spread > ALIKE:
        return low
    for c in range(count):
        bin_of[c] = int(min((values[c] - low) * (BINS / spread), BINS))
        bins[bin_of[c]] += 1
    first, before = 0, 0
    while before + bins[first] <= (count - 1) // 2:
        before, first = before + bins[first], first + 1
    last, upto = first, before + bins[first]
    while upto <= count // 2:
        last, upto = last + 1, upto + bins[last + 1]
    few = _in_order(values, bin_of, first, last)
    return float(few[(count - 1) // 2 - before] + few[count // 2 - before]) / 2


@compiled
def _in_order(values: Array, bin_of: NDArray[np.int64], first: int, last: int) -> Array:
    """The values of some bins, rising, brought to the front."""
    kept = 0
    for c in range(len(values)):
        if first <= bin_of[c] <= last:
            value, k = values[c], kept
            while k and values[k - 1] > value:
                values[k], k = values[k - 1], k - 1
            values[k], kept = value, kept + 1
    return values[:kept]


@compiled
def _noises(image: Grid, seen: NDArray[np.bool_], sides: Cuts, levels: Array, floor: float) -> Array:
    """Usual distance from the level beside, in every sector, (K,); infinite where no side is seen."""
    spread = np.full(len(image), np.nan)
    far = np.empty(2 * image.shape[1])
    bins, bin_of = np.empty(BINS + 1, np.int64), np.empty(len(far), np.int64)
    for k in range(len(image)):
        count = 0
        for side in range(2):
            level = levels[k, side]
            for c in range(sides[2 * side], sides[2 * side + 1]):
                if seen[k, c] and level == level:
                    far[count] = abs(image[k, c] - level)
                    count += 1
        if count:
            spread[k] = 1.4826 * _middle(far[:count], bins, bin_of)
    known = spread[spread == spread]
    least = max(0.5 * np.median(known), floor) if len(known) else np.inf
    for k in range(len(spread)):
        spread[k] = max(spread[k], least) if spread[k] == spread[k] else np.inf
    return spread


@compiled
def _squares(
    image: Grid, seen: NDArray[np.bool_], sides: Cuts, box: Box, flat: bool, floor: float, cap: float
) -> Array:
    """(value less its level / noise) squared, at most `cap`, (K, C); between the sides the level goes from one to the
    other; it is nought for what is flat; nan is not seen."""
    levels = np.zeros((len(image), 2)) if flat else _levels(image, seen, sides)
    noise = _noises(image, seen, sides, levels, floor)
    out, share = np.empty(image.shape), np.empty(image.shape[1])
    for c in range(len(share)):
        share[c] = min(max((c - box[0]) / max(box[1] - box[0], 1.0), 0.0), 1.0)
    for k in range(len(image)):
        left = levels[k, 0] if levels[k, 0] == levels[k, 0] else levels[k, 1]
        right = levels[k, 1] if levels[k, 1] == levels[k, 1] else left
        here, shown, row, usual = image[k], seen[k], out[k], noise[k]
        for c in range(len(share)):
            off = (here[c] - (left * (1 - share[c]) + right * share[c])) / usual
            row[c] = min(off * off, cap) if shown[c] else np.nan
    return out


@compiled
def seen_mean(square: Array) -> Array:
    """Mean over the sectors in which a column is seen, (C,)."""
    total, number = np.zeros(square.shape[1]), np.zeros(square.shape[1])
    for k in range(len(square)):
        row = square[k]
        for c in range(len(row)):
            is_seen = row[c] == row[c]
            total[c] += row[c] if is_seen else 0.0
            number[c] += is_seen
    return total / np.maximum(number, 1)
