"""A groove's lips from all of its length at once.

Row by row one wall of a groove may be all there is to see, and which wall depends on the angle to the lamp. So the
strip is laid straight along the groove and averaged over sectors (`laid.py`), each held against the face beside it,
over the usual size there. Whatever its sign, what a groove does to the grey adds up over the sectors to a box, and the
box's walls are its lips.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import median
from wearvision.measure.evidence import Evidence
from wearvision.measure.laid import SIDE_MM, Box, Sectors, beside, lay, mean_squares
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.unwrap import Strip

CAP = 25.0
"""Highest count of one sector: (5 standard deviations) squared."""
USUAL, SHARE, MOST = 3.5, 0.25, 12.0
"""A column speaks for the groove when the mean square of its sectors passes `USUAL` (1 on plain noise, to 3 with tool
marks) and this share of the groove's own height; it counts up to `MOST`."""
WALL, SKIP_PX, NEAR_PX = 3.0, 1.5, 6.0
"""Worth of a wall against that of a photo pixel between the walls; and where outside them nothing should be."""
LEAST_PX, GAP_MM = 2.0, 0.55
"""A mark is at least so wide; two marks, not one, when the face between them is as usual for longer than this."""
CALM_DEG = (15.0, 0.0)
"""Lines along which the strip is laid straight: the ribbon's over so many degrees; 0 is a circle."""
ALIKE = 1.0
"""Two lines no further apart than this, columns, are one."""
STEEPER = 1.6
"""Walls so many times as steep outweigh the worth of the other line's box."""
HEAT = 4.0
"""Loss of worth that makes a box e times less likely."""


def refine(ribbon: Ribbon, found: Evidence, strip: Strip, max_width_mm: float) -> Ribbon:
    """A ribbon with its lips set by all of its length.

    The search may have followed one dark wall, which swings from lip to lip as the angle to the lamp turns. So the
    strip is laid straight along a circle too, and the line that shows the box of more worth is taken, or that whose
    walls are much the steeper: a smeared box is wide, and width alone has worth.
    """
    first = (ribbon.inner + ribbon.outer) / 2
    half = median(ribbon.outer - ribbon.inner) / 2
    reach = round((max_width_mm + SIDE_MM) / strip.step_mm)
    lines = [_calm(first, round(deg / strip.step_deg) | 1) if deg else np.full(len(first), median(first))
             for deg in CALM_DEG]  # fmt: skip
    if np.abs(lines[0] - lines[1]).max() <= ALIKE:
        lines = lines[:1]
    told = [
        _box(lay(found, strip, ribbon.rows, line, reach), strip, (reach - half, reach + half), max_width_mm)
        for line in lines
    ]
    best = max(told, key=lambda one: one.worth)
    best = max(told, key=lambda one: one.walls if one is best else one.walls / STEEPER)
    line = lines[told.index(best)]
    low, high = (column - reach for column in best.box)
    width_doubt, centre_doubt = best.lips.doubt() if best.lips else (0.0, 0.0)
    doubt = (width_doubt * strip.step_mm, centre_doubt * strip.step_mm)
    return replace(ribbon, inner=line + low, outer=line + high, doubt_mm=doubt)


def _calm(values: Array, wide: int) -> Array:
    """Running mean, ends repeated."""
    wide = min(wide, len(values) - 1) | 1
    ends = (values[:1].repeat(wide // 2), values[-1:].repeat(wide // 2))
    return np.convolve(np.concatenate([ends[0], values, ends[1]]), np.full(wide, 1 / wide), mode="valid")


@dataclass(frozen=True, kw_only=True, eq=False)
class _Lips:
    """Worth of every column as the left and as the right lip, (C,) each, -inf where it can be none; the columns of the
    best pair; and how far apart two lips may be, columns."""

    left: Array
    right: Array
    best: tuple[int, int]
    apart: tuple[int, int]

    def doubt(self) -> tuple[float, float]:
        """Root mean square of what other boxes have another width and another centre, weighed by their worth."""
        return _spread(self.left, self.right, self.best, self.apart)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Told:
    """A box, its worth, that of its walls, and the lips among which it is the best pair."""

    worth: float
    box: Box
    walls: float = 0.0
    lips: _Lips | None = None


def _box(laid: Sectors, strip: Strip, box: Box, max_width_mm: float) -> _Told:
    """The pair of lips with the steepest walls, most between them and least just outside."""
    px = strip.px_mm / strip.step_mm
    apart, gap = (int(np.ceil(LEAST_PX * px)), int(max_width_mm / strip.step_mm)), max(2, round(GAP_MM / strip.step_mm))
    at, lips = (float(box[0]), float(box[1])), None
    for _ in range(2):
        square, wall = mean_squares(laid, beside(strip, at, laid.gray.shape[1]), at, CAP)
        left, right, best, crests, worth, walls = _told(square, wall, at, gap, px, apart)
        if best[1] < 0:
            break
        at, lips = crests, (left, right, best, worth, walls)
    if lips is None:
        return _Told(worth=-np.inf, box=at)
    left, right, best, worth, walls = lips
    return _Told(worth=worth, box=at, walls=walls, lips=_Lips(left=left, right=right, best=best, apart=apart))


@compiled
def _told(
    square: Array, wall: Array, box: Box, gap: int, px: float, apart: tuple[int, int]
) -> tuple[Array, Array, tuple[int, int], Box, float, float]:
    """Worths as lips from the highest column of a box on, the best pair, the crests of its walls, its worth and that of
    its walls."""
    calm, share, last = np.empty_like(square), 1 / 3, len(square) - 1
    for c in range(len(calm)):
        before, after = square[c - 1] if c else 0.0, square[c + 1] if c < last else 0.0
        calm[c] = before * share + square[c] * share + after * share
    top, high = min(max(0, int(np.rint(box[0]))), last), min(last, int(np.rint(box[1])))
    for c in range(top, high + 1):
        top = c if calm[c] > calm[top] else top
    left, right = _worths(square, wall, calm, top, gap, px)
    a, b = _best_pair(left, right, apart)
    return left, right, (a, b), (_crest(wall, a), _crest(wall, b)), left[a] + right[b], wall[a] + wall[b]


@compiled
def _worths(square: Array, wall: Array, calm: Array, top: int, gap: int, px: float) -> tuple[Array, Array]:
    """Worth of every column as the left lip, up to `top`, and as the right lip, from there on, (C,) each.

    It is -inf elsewhere, and beyond more than `gap` columns in a row that are as usual.
    """
    least, count = max(USUAL, SHARE * calm[top]), len(square)
    sums, spill = np.zeros(count + 1), np.zeros(count + 1)
    for c in range(count):
        gain = (min(square[c], MOST) - least) / px
        sums[c + 1], spill[c + 1] = sums[c] + gain, spill[c] + max(gain, 0.0)
    skip, near = round(SKIP_PX * px), round(NEAR_PX * px)
    left, right = np.full(count, -np.inf), np.full(count, -np.inf)
    for a in range(_last(calm, least, gap, top, -1), top + 1):
        outside = spill[max(a - skip, 0)] - spill[max(a - skip - near, 0)]
        left[a] = WALL * min(wall[a], MOST) - sums[a] - outside
    for b in range(top, _last(calm, least, gap, top, 1) + 1):
        outside = spill[min(b + skip + near + 1, count)] - spill[min(b + skip + 1, count)]
        right[b] = WALL * min(wall[b], MOST) + sums[b + 1] - outside
    return left, right


@compiled
def _last(calm: Array, least: float, gap: int, top: int, way: int) -> int:
    """The column one way from `top` beyond which more than `gap` in a row are as usual."""
    idle, at = 0, top
    while 0 <= at < len(calm):
        idle = idle + 1 if calm[at] < least else 0
        if idle > gap:
            return at - way * (gap - 1)
        at += way
    return at - way


@compiled
def _best_pair(left: Array, right: Array, apart: tuple[int, int]) -> tuple[int, int]:
    """Columns of the two lips, so far apart at least and at most, of most worth together; -1 where there are none."""
    most, best, other = -np.inf, -1, -1
    for a in range(len(left)):
        if left[a] > -np.inf:
            for b in range(a + apart[0], min(len(right), a + apart[1] + 1)):
                if left[a] + right[b] > most:
                    most, best, other = left[a] + right[b], a, b
    return best, other


@compiled
def _spread(left: Array, right: Array, best: tuple[int, int], apart: tuple[int, int]) -> tuple[float, float]:
    """Root mean square of how much wider than the best, and how far aside, other pairs lie, weighed by the worth of
    both lips."""
    total, wider, aside = 0.0, 0.0, 0.0
    first, second = np.exp((left - left[best[0]]) / HEAT), np.exp((right - right[best[1]]) / HEAT)
    for i in range(len(left)):
        if first[i] > 0:
            for k in range(i + apart[0], min(len(right), i + apart[1] + 1)):
                weight, a, b = first[i] * second[k], i - best[0], k - best[1]
                total += weight
                wider += weight * (b - a) ** 2
                aside += weight * (b + a) ** 2
    return np.sqrt(wider / total), np.sqrt(aside / total) / 2


@compiled
def _crest(wall: Array, at: int) -> float:
    """The crest of a wall near a column."""
    top = max(0, at - 2)
    for c in range(top, min(at + 3, len(wall))):
        top = c if wall[c] > wall[top] else top
    return float(top)
