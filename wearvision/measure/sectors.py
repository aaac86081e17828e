"""A groove's lips from all of its length at once.

Row by row one wall of a groove may be all there is to see, and which wall depends on the angle to the lamp. So the
strip is laid straight along the groove and averaged over sectors of some degrees: noise, rust and scratches average
out, what runs along stays. Each sector is held against the face beside it, over the usual size there. Whatever its
sign, what a groove does to the grey adds up over the sectors to a box, and the box's walls are its lips.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, row_medians
from wearvision.measure.evidence import Evidence
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.unwrap import Strip

SECTOR_ROWS = 10
CAP = 25.0
"""Highest count of one sector: (5 standard deviations) squared."""
USUAL, SHARE, MOST = 3.5, 0.25, 12.0
"""A column speaks for the groove when the mean square of its sectors passes `USUAL` (1 on plain noise, to 3 with tool
marks) and this share of the groove's own height; it counts up to `MOST`."""
SIDE_MM, SIDE_SHARE, CLEAR_PX = 1.6, 0.8, 2.5
"""The face beside it: at least so wide, or this share of the width; from this far outside the lips on."""
WALL, SKIP_PX, NEAR_PX = 3.0, 1.5, 6.0
"""Worth of a wall against that of a photo pixel between the walls; and where outside them nothing should be."""
GAP_MM = 0.55
"""Two marks, not one, when the face between them is as usual for longer than this."""
CALM_DEG = (15.0, 0.0)
"""Lines along which the strip is laid straight: the ribbon's over so many degrees; 0 is a circle."""
STEEPER = 1.6
"""Walls so many times as steep outweigh the worth of the other line's box."""
HEAT = 4.0
"""Loss of worth that makes a box e times less likely."""
LEAST_NOISE, LEAST_SLOPE = 0.004, 1e-4
"""Least noise of a sector's column: log grey, and per photo px."""
Box = tuple[float, float]
"""Columns of two lips."""


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


def refine(ribbon: Ribbon, found: Evidence, strip: Strip, max_width_mm: float) -> Ribbon:
    """A ribbon with its lips set by all of its length.

    The search may have followed one dark wall, which swings from lip to lip as the angle to the lamp turns. So the
    strip is laid straight along a circle too, and the line that shows the box of more worth is taken, or that whose
    walls are much the steeper: a smeared box is wide, and width alone has worth.
    """
    first = (ribbon.inner + ribbon.outer) / 2
    half = float(np.median(ribbon.outer - ribbon.inner)) / 2
    reach = round((max_width_mm + SIDE_MM) / strip.step_mm)
    lines = [_calm(first, round(deg / strip.step_deg) | 1) if deg else np.full(len(first), np.median(first))
             for deg in CALM_DEG]  # fmt: skip
    told = [
        _box(lay(found, strip, ribbon.rows, line, reach), strip, (reach - half, reach + half), max_width_mm)
        for line in lines
    ]
    best = max(told, key=lambda one: one.worth)
    best = max(told, key=lambda one: one.walls if one is best else one.walls / STEEPER)
    line = lines[told.index(best)]
    low, high = (column - reach for column in best.box)
    doubt = (best.doubt[0] * strip.step_mm, best.doubt[1] * strip.step_mm)
    return replace(ribbon, inner=line + low, outer=line + high, doubt_mm=doubt)


def lay(found: Evidence, strip: Strip, rows: NDArray[np.int64], middle: Array, reach: int) -> Sectors:
    """Lay rows of a strip straight, `reach` columns to either side of a line, and average over sectors."""
    first, wide = np.rint(middle).astype(int) - reach, 2 * reach + 1
    at = rows % len(found.gray)
    seen = _shifted(strip.valid, at, first, wide)
    number = _stacked(seen)
    gray, slope = (
        np.asarray(_stacked(_shifted(image, at, first, wide) * seen) / np.maximum(number, 1), dtype=np.float32)
        for image in (found.gray, found.plain)
    )
    return Sectors(gray=gray, slope=slope, seen=number * 3 >= min(SECTOR_ROWS, len(rows)))


def _shifted(image: NDArray[Any], rows: NDArray[np.int64], first: NDArray[np.int64], wide: int) -> NDArray[Any]:
    """`wide` columns of some rows from each row's `first` on, (N, wide), 0 from outside: in runs of one shift."""
    out = np.zeros((len(rows), wide), dtype=image.dtype)
    cuts = (np.flatnonzero((np.diff(first) != 0) | (np.diff(rows) != 1)) + 1).tolist()
    for start, stop in zip([0, *cuts], [*cuts, len(rows)], strict=True):
        shift, row = int(first[start]), int(rows[start])
        low, high = max(0, shift), min(image.shape[1], shift + wide)
        if low < high:
            out[start:stop, low - shift : high - shift] = image[row : row + stop - start, low:high]
    return out


def _stacked(image: NDArray[np.generic]) -> Array:
    """Sum over every `SECTOR_ROWS` rows, (K, C); fewer make one sector."""
    count = max(1, len(image) // SECTOR_ROWS)
    used = count * min(SECTOR_ROWS, len(image))
    return np.asarray(image[:used].reshape(count, -1, image.shape[1]).sum(axis=1), dtype=np.float64)


def _calm(values: Array, wide: int) -> Array:
    """Running mean, ends repeated."""
    wide = min(wide, len(values) - 1) | 1
    return np.convolve(np.pad(values, wide // 2, mode="edge"), np.full(wide, 1 / wide), mode="valid")


def _beside(strip: Strip, box: Box, columns: int) -> tuple[slice, slice]:
    """Columns of the face to the left and right of a box."""
    side = round(max(SIDE_MM / strip.step_mm, SIDE_SHARE * (box[1] - box[0])))
    clear = round(CLEAR_PX * strip.px_mm / strip.step_mm)
    low, high = int(np.floor(box[0])) - clear, int(np.ceil(box[1])) + clear + 1
    return slice(max(0, low - side), max(0, low)), slice(min(columns, high), min(columns, high + side))


def grey_squares(laid: Sectors, strip: Strip, box: Box, cap: float) -> Array:
    """Square of each sector's grey less that of the face beside a box, over the usual size there, at most `cap`; nan is
    not seen, (K, C)."""
    gray = np.where(laid.seen, laid.gray, np.nan).astype(np.float64)
    sides = _beside(strip, box, gray.shape[1])
    levels = [row_medians(gray[:, part], least=4) for part in sides]
    far = [np.abs(gray[:, part] - level[:, None]) for part, level in zip(sides, levels, strict=True)]
    left, right = (np.where(np.isfinite(a), a, b) for a, b in (levels, levels[::-1]))
    share = np.clip((np.arange(gray.shape[1]) - box[0]) / max(box[1] - box[0], 1.0), 0, 1)[None, :]
    off = gray - (left[:, None] * (1 - share) + right[:, None] * share)
    return _squares(off, np.concatenate(far, axis=1), LEAST_NOISE, cap)


def _slope_power(laid: Sectors, sides: tuple[slice, slice]) -> Array:
    """Mean square over the sectors of the slope, whose level is nought, over its usual size beside, (C,)."""
    slope = np.where(laid.seen, laid.slope, np.nan).astype(np.float64)
    far = np.concatenate([np.abs(slope[:, part]) for part in sides], axis=1)
    return _seen_mean(_squares(slope, far, LEAST_SLOPE, CAP))


def _squares(off: Array, far: Array, floor: float, cap: float) -> Array:
    """(off / noise) squared, at most `cap`; nan is not seen; `far` is met beside the box."""
    spread = 1.4826 * row_medians(far)
    known = np.isfinite(spread)
    usual = float(np.median(spread[known])) if known.any() else np.inf
    noise = np.where(known, np.maximum(spread, max(0.5 * usual, floor)), np.inf)
    return np.asarray(np.minimum((off / noise[:, None]) ** 2, cap))


def _seen_mean(square: Array) -> Array:
    """Mean over the sectors in which a column is seen, (C,)."""
    seen = np.isfinite(square)
    return np.asarray(np.where(seen, square, 0.0).sum(axis=0) / np.maximum(seen.sum(axis=0), 1), dtype=np.float64)


@dataclass(frozen=True, kw_only=True)
class _Told:
    """A box, its worth, that of its walls, and how far boxes of nearly that worth differ in width and centre."""

    worth: float
    box: Box
    walls: float = 0.0
    doubt: tuple[float, float] = (0.0, 0.0)


def _box(laid: Sectors, strip: Strip, box: Box, max_width_mm: float) -> _Told:
    """The pair of lips with the steepest walls, most between them and least just outside."""
    px = strip.px_mm / strip.step_mm
    told = _Told(worth=-np.inf, box=box)
    for _ in range(2):
        sides = _beside(strip, told.box, laid.gray.shape[1])
        square, wall = _seen_mean(grey_squares(laid, strip, told.box, CAP)), _slope_power(laid, sides)
        calm = np.convolve(square, np.full(3, 1 / 3), mode="same")
        low, high = max(0, round(told.box[0])), min(len(square) - 1, round(told.box[1]))
        top = low + int(np.argmax(calm[low : high + 1]))
        total = _pairs(square, wall, calm, top, round(GAP_MM / strip.step_mm), px)
        wide = np.arange(top, -1, -1)[:, None] + np.arange(total.shape[1])[None, :]
        total = np.where((wide < 2 * px) | (wide > max_width_mm / strip.step_mm), -np.inf, total)
        if not np.isfinite(total).any():
            return told
        i, k = (int(n) for n in np.unravel_index(int(np.argmax(total)), total.shape))
        at = (_crest(wall, i), _crest(wall, top + k))
        walls = float(wall[i] + wall[top + k])
        told = _Told(worth=float(total[i, k]), box=at, walls=walls, doubt=_doubt(total, i, k))
    return told


def _doubt(total: Array, i: int, k: int) -> tuple[float, float]:
    """Root mean square of what other boxes have another width and another centre, weighed by their worth, columns."""
    weight = np.exp((total - total[i, k]) / HEAT)
    left, right = np.arange(total.shape[0])[:, None] - i, np.arange(total.shape[1])[None, :] - k
    wider, moved = (float(np.average(far**2, weights=weight)) ** 0.5 for far in (right - left, (right + left) / 2))
    return wider, moved


def _pairs(square: Array, wall: Array, calm: Array, top: int, gap: int, px: float) -> Array:
    """Worth of every pair of a left lip (0 to top) and a right lip (top on), (top + 1, C - top)."""
    least = max(USUAL, SHARE * float(calm[top]))
    gain = (np.minimum(square, MOST) - least) / px
    sums = np.concatenate([[0.0], np.cumsum(gain)])
    spill = np.concatenate([[0.0], np.cumsum(np.maximum(gain, 0))])
    skip, near, count = round(SKIP_PX * px), round(NEAR_PX * px), len(square)
    steep = WALL * np.minimum(wall, MOST)
    a, b = np.arange(top + 1), np.arange(top, count)
    left = steep[a] - sums[a] - (spill[np.maximum(a - skip, 0)] - spill[np.maximum(a - skip - near, 0)])
    outside = spill[np.minimum(b + skip + near + 1, count)] - spill[np.minimum(b + skip + 1, count)]
    right = steep[b] + sums[b + 1] - outside
    left[: top - _unbroken(calm[top::-1] < least, gap)] = -np.inf
    right[_unbroken(calm[top:] < least, gap) + 1 :] = -np.inf
    return np.asarray(left[:, None] + right[None, :])


def _unbroken(usual: NDArray[np.bool_], gap: int) -> int:
    """Steps to go before more than `gap` columns in a row are as usual."""
    idle = np.convolve(usual, np.ones(max(2, gap) + 1), mode="valid") > max(2, gap) + 0.5
    return int(np.argmax(idle)) + 1 if idle.any() else len(usual) - 1


def _crest(wall: Array, at: int) -> float:
    """The crest of a wall near a column."""
    low = max(0, at - 2)
    return float(low + int(np.argmax(wall[low : at + 3])))
