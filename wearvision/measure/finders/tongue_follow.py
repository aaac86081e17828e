"""The best way along a lip's band: metal on one side of it, the opening on the other, a step of grey between.

What metal and opening look like is learned from the band itself, along the lip: first from what lies well below its
line and beyond its corners against what lies above, then from both sides of a way found before. Where the camera sees
the wall below the rim, the rim is the last of several steps.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, log_gray, median, peak_offset, slope
from wearvision.measure.finders.tongue_band import ABOVE_MM, BESIDE_MM, Band
from wearvision.measure.finders.tongue_signs import Rows, metal_like
from wearvision.measure.finders.tongue_ways import best_ways
from wearvision.measure.plane import Array

OUT_MM, DEEP_MM = 1.6, 8.0
"""The edge lies at most so far on the opening's side of the line between the corners, and behind it."""
METAL_MM, OPEN_MM = 5.0, (0.6, 4.5)
"""At first so far behind the line there is metal, and so far before it the opening."""
BESIDE_WAY_MM = 0.3, 3.5
"""Then from so far to so far on either side of the way."""
TONE, EDGE, LEFT = 0.25, 2.2, 2.5
"""Worth of a side's looks per mm2, of a step's logarithm per mm, cost per mm2 of steps left behind in the metal where
the wall is in view."""
LEFT_FROM, LEFT_TO, WALL_FULL = 2.0, 3.5, 0.1
"""Strengths from and up to which a step counts as left behind; tangent from which the wall counts in full."""
ON_LINE_MM = 0.15
"""So near to its line a lip is sound."""
JUMP, STEEP = 1.6, 4
"""Cost of a mm aside; the steepest a way runs."""
RUN_MM = 1.2
"""A step is summed over such a run."""
APART_MM = 0.2, 1.4
"""Both sides of a way are held against each other from so far to so far."""
AT_CORNER_MM = 0.4, 2.4
"""Both sides of a corner, from so far to so far."""
NEAR_WAY_MM, BEHIND_MM = 0.25, (0.6, 2.9)
"""A way's own step is sought so near to it; another one so far behind it."""
IN_VIEW, LEAST_MM = 0.6, 5.0
"""Least share of the line that is in view, least length of a way."""
END_MM, CORNER, INSIDE_MM = 2.5, 0.5, 0.25
"""Corners are sought so far from where they were seen; worth of an upright step's logarithm there; the edge is followed
so far from them."""
LENGTH_FREE, LENGTH_COST = (0.5, 0.01), 10.0
"""A stated length is right to the sum of these (mm, share); cost of a mm more, above what any look is worth."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Followed:
    """A lip followed through its band.

    Attributes
    ----------
    band : Band
    ends : (first, last)
        Columns of the corners.
    column, row : (N,) arrays of int
        The best way.
    worth : (N, M) array
        Worth of the edge at each place of the rows where it may run, from `top` on.
    top : int
    like : (H, W) array
        How much more each sample looks like metal than like the opening, logarithm of odds.
    strong : (H, W) array
        Logarithm of one and the strength of the step there.
    """

    band: Band
    ends: tuple[float, float]
    column: NDArray[np.int64]
    row: NDArray[np.int64]
    worth: Array
    top: int
    like: Grid
    strong: Grid

    @property
    def way_mm(self) -> Array:
        """The way (N, 2) on the plane."""
        return self.band.patch.to_mm(self.column.astype(np.float64), self.row.astype(np.float64))

    @property
    def deepest_mm(self) -> float:
        """How far the way reaches behind the line between the corners."""
        return float(self.band.off_mm[self.row.max()])

    @property
    def stride(self) -> int:
        """Samples from place to place."""
        return int(self.column[1] - self.column[0])

    @cached_property
    def apart(self) -> Array:
        """How much more metal-like (N,) it is just below the way than just above."""
        reach = np.round(np.linspace(*APART_MM, 8) / self.band.patch.step_mm).astype(int)[:, None]
        low, high = (np.clip(self.row + sign * reach, 0, len(self.like) - 1) for sign in (1, -1))
        return np.asarray((self.like[low, self.column] - self.like[high, self.column]).mean(axis=0))

    @property
    def unlike(self) -> float:
        """The same over all of the way."""
        return float(self.apart.mean())

    @property
    def cornered(self) -> float:
        """How much more metal-like it is just beyond a corner than inside, above the line; of the less clear one."""
        step, above = self.band.patch.step_mm, self.like[_above(self.band)].mean(axis=0)
        aside = np.round(np.linspace(*AT_CORNER_MM, 8) / step).astype(int)
        out = []
        for end, way in zip(self.ends, (-1, 1), strict=True):
            beyond, inside = (np.clip(round(end) + sign * way * aside, 0, len(above) - 1) for sign in (1, -1))
            out.append(float((above[beyond] - above[inside]).mean()))
        return min(out)

    @property
    def behind(self) -> float:
        """How clear an edge runs along behind the way, in the metal, as a share of the way's own."""
        step, strong = self.band.patch.step_mm, self.strong
        shift = np.arange(-round(NEAR_WAY_MM / step), round(BEHIND_MM[1] / step) + 1)
        rows = np.clip(self.row + shift[:, None], 0, len(strong) - 1)
        clear = strong[rows, self.column].mean(axis=1)
        own = clear[np.abs(shift) * step <= NEAR_WAY_MM].max()
        return float(clear[shift * step >= BEHIND_MM[0]].max() / own)

    def ways(self, pull: Array) -> NDArray[np.int64]:
        """Rows (K, N) of the best ways under pulls (K, H): what a row is worth more, per mm."""
        step, high = self.band.patch.step_mm, self.worth.shape[1]
        extra = pull[:, None, self.top : self.top + high] * step * self.stride
        return self.top + best_ways(self.worth + extra, JUMP * step, STEEP * self.stride)


def follow(
    band: Band, stated_mm: float | None, *, stride: int, rounds: int = 1, sound: float = 0.0,
    before_mm: Array | None = None, unlike: float = -np.inf,
) -> Followed | None:  # fmt: skip
    """The best way along a band; None when too little of it is in view.

    Parameters
    ----------
    stride : samples from place to place of the way
    rounds : how often both sides are learned
    sound : worth of a mm on the line between the corners
    before_mm : (N, 2) a way found before, to learn both sides from
    unlike : a round whose sides are less unlike than this is the last one
    """
    step = band.patch.step_mm
    if float(band.patch.valid[round(ABOVE_MM / step)].mean()) < IN_VIEW:
        return None
    first = sides = _at_first(band)
    if before_mm is not None:
        sides = _beside(band, band.patch.to_grid(before_mm), *first)
    strong, found = np.log1p(band.strength(RUN_MM)), None
    top, steps = _steps(strong, band, sound)
    corners = _corners(band)
    for _ in range(rounds):
        if found is not None:
            sides = _beside(band, np.column_stack([found.column, found.row]), *first)
        like = metal_like(band, *sides)
        ends = _ends(like, band, corners, stated_mm)
        column = np.arange(int(ends[0] + INSIDE_MM / step) + 1, int(ends[1] - INSIDE_MM / step) + 1 - stride, stride)
        if len(column) * stride * step < LEAST_MM:
            return None
        worth = step * _worths(like, steps, column, stride, top, TONE * step)
        row = top + best_ways(worth[None], JUMP * step, STEEP * stride)[0]
        found = Followed(band=band, ends=ends, column=column, row=row, worth=worth, top=top, like=like, strong=strong)
        if found.unlike < unlike:
            break
    return found


def _at_first(band: Band) -> tuple[Rows, Rows]:
    """Rows of metal and of opening in each column, before a way is known."""
    off, along = band.off_mm, band.along_mm
    metal = np.tile([np.searchsorted(off, METAL_MM, side="right"), len(off)], (len(along), 1))
    metal[(along < -0.5) | (along > band.length_mm + 0.5), 0] = 0
    opening = np.tile(np.searchsorted(off, [-OPEN_MM[1], -OPEN_MM[0]], side="right"), (len(along), 1))
    opening[(along <= 0.5) | (along >= band.length_mm - 0.5), 1] = 0
    return metal, opening


def _beside(band: Band, way: Array, metal: Rows, opening: Rows) -> tuple[Rows, Rows]:
    """Rows of metal and of opening on both sides of a way (N, 2: column, row); beyond its ends as before."""
    columns, high = np.arange(len(metal)), len(band.off_mm)
    along = ((columns >= way[0, 0]) & (columns <= way[-1, 0]))[:, None]
    row = np.interp(columns, *way.T)[:, None]
    near, far = (side / band.patch.step_mm for side in BESIDE_WAY_MM)
    behind = np.clip(np.hstack([np.floor(row + near) + 1, np.ceil(row + far)]), 0, high).astype(np.int64)
    before = np.clip(np.hstack([np.floor(row - far) + 1, np.ceil(row - near)]), 0, high).astype(np.int64)
    return np.where(along, behind, metal), np.where(along, before, opening)


def _steps(strong: Grid, band: Band, sound: float) -> tuple[int, Grid]:
    """First row where an edge may run; what steps there, steps left behind and the line are worth (M, W) per mm.

    Parameters
    ----------
    strong : logarithm of their strength
    """
    step, off = band.patch.step_mm, band.off_mm
    rows = slice(int(np.searchsorted(off, -OUT_MM)), int(np.searchsorted(off, DEEP_MM, side="right")))
    worth = EDGE * strong[rows]
    worth += sound * (np.abs(off[rows]) < ON_LINE_MM)[:, None]
    seen_wall = float(np.clip(band.wall / WALL_FULL, 0, 1))
    if seen_wall > 0:
        left = np.where(band.patch.valid[rows], np.clip(np.expm1(strong[rows]), LEFT_FROM, LEFT_TO) - LEFT_FROM, 0)
        worth -= LEFT * seen_wall * np.cumsum(left[::-1], axis=0)[::-1] * step
    return rows.start, worth


@compiled
def _worths(like: Grid, steps: Grid, column: NDArray[np.int64], stride: int, top: int, tone: float) -> Array:
    """Worth (N, M) of an edge at each place: of what lies above as opening and below as metal, and of its steps."""
    worth = np.zeros((len(column), len(steps)))
    for n in range(len(column)):
        for at in range(column[n], column[n] + stride):
            behind = 0.0
            for row in range(len(like)):
                behind += like[row, at]
            for row in range(top + len(steps)):
                behind -= 2 * like[row, at]
                if row >= top:
                    worth[n, row - top] += tone * behind + steps[row - top, at]
    return worth


def _corners(band: Band) -> tuple[Grid, Grid]:
    """Size of the upright step (W,) in each column of the opening above the line, and how clear (W + 1,) it is."""
    shade = log_gray(band.patch.values[_above(band)]).mean(axis=0, keepdims=True)
    size = np.abs(slope(np.asarray(shade, dtype=np.float32), 1.5).ravel())
    return size, np.append(np.log1p(size / (1.4826 * median(size) + 2e-3)), np.float32(0.0))


def _ends(like: Grid, band: Band, corners: tuple[Grid, Grid], stated_mm: float | None) -> tuple[float, float]:
    """Columns of both corners: above the line the opening lies between them, metal beyond."""
    step, (size, clear) = band.patch.step_mm, corners
    left_of = np.concatenate([[0.0], np.cumsum(like[_above(band)].mean(axis=0))]) * step
    worth, reach = CORNER * clear.astype(np.float64), round(END_MM / step)
    near = [round(at / step) for at in (BESIDE_MM, BESIDE_MM + band.length_mm)]
    left, right = ((max(0, at - reach), min(len(left_of), at + reach + 1)) for at in near)
    length, free = (np.nan, 0.0) if stated_mm is None else (stated_mm, LENGTH_FREE[0] + LENGTH_FREE[1] * stated_mm)
    first, last = _best_ends(worth - 2 * left_of, worth + 2 * left_of, left, right, step, length, free)
    return _peak(size, first), _peak(size, last)


@compiled
def _best_ends(
    worth_right: Array, worth_left: Array, left: tuple[int, int], right: tuple[int, int], step: float, length: float,
    free: float,
) -> tuple[int, int]:  # fmt: skip
    """Columns of the two corners that are worth most together; a length of nan is not stated."""
    best, first, last = -np.inf, left[0], right[0]
    for a in range(left[0], left[1]):
        for b in range(right[0], right[1]):
            worth = worth_left[a] + worth_right[b]
            if not np.isnan(length):
                worth -= LENGTH_COST * max(abs((b - a) * step - length) - free, 0.0)
            if worth > best:
                best, first, last = worth, a, b
    return first, last


def _above(band: Band) -> slice:
    """Rows of the opening above the line."""
    return slice(*np.searchsorted(band.off_mm, [np.nextafter(1 - ABOVE_MM, 0.0), -OPEN_MM[0]]).tolist())


def _peak(size: Grid, place: int) -> float:
    """Where a curve peaks beside a place, to a fraction."""
    low, high = (min(max(place + aside, 1), len(size) - 2) for aside in (-1, 1))
    best = low + int(np.argmax(size[low : high + 1]))
    return best + float(peak_offset(*size[best - 1 : best + 2].astype(np.float64)))
