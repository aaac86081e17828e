"""Follow the edge of a lip: of all ways along its band the one with metal on one side, the opening on the other.

What metal and opening look like is learned from the band itself, along the lip: first from what lies well below its
line and beyond its corners against what lies above, then from both sides of the way found so. A step of grey marks the
way. Where the camera sees the wall below the rim, the rim is the last of several steps. The way is pulled to either
side too: where it gives way, the picture does not tell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, log_gray, peak_offset, slope
from wearvision.measure.finders.tongue_band import ABOVE_MM, BESIDE_MM, ROUGH_MM, STEP_MM, Band, Sight, band_of
from wearvision.measure.finders.tongue_line import NEAR_MM, NEAR_PX, sound_line
from wearvision.measure.finders.tongue_signs import metal_like
from wearvision.measure.finders.tongue_ways import NOWHERE, best_ways
from wearvision.measure.patch import Patch
from wearvision.measure.plane import Array

OUT_MM, DEEP_MM = 1.6, 8.0
"""The edge lies at most so far on the opening's side of the line between the corners, and behind it."""
METAL_MM, OPEN_MM = 5.0, (0.6, 4.5)
"""At first so far behind the line there is metal, and so far before it the opening."""
BESIDE_WAY_MM = 0.3, 3.5
"""Then from so far to so far on either side of the way."""
TONE, EDGE, LEFT, SOUND = 0.35, 2.2, 2.5, 0.8
"""Worth of a side's looks per mm2, of a step's logarithm per mm, cost per mm2 of steps left behind in the metal where
the wall is in view, worth per mm of lying on the sound line."""
LEFT_FROM, LEFT_TO, WALL_FULL = 2.0, 3.5, 0.1
"""Strengths from and up to which a step counts as left behind; tangent from which the wall counts in full."""
JUMP = 1.6
"""Cost of a mm aside."""
PULL = 0.7
"""What a way is pulled with, worth per mm2."""
RUN_MM, FINE_RUN_MM, FINE_MM = 1.2, 0.6, 0.3
"""A step is summed over such a run; to a fraction of a sample over a shorter one, no further from the way."""
ON_LINE_MM, APART_MM = 0.15, (0.2, 1.4)
"""So near to its line a lip is sound; both sides of it are held against each other from so far to so far."""
STRIDE, REACH, ROUNDS = 2, 4, 2
"""Samples from place to place of a way, the steepest it runs (rows per sample), rounds in which sides are learned."""
NEAR_WAY_MM, BEHIND_MM = 0.25, (0.6, 2.9)
"""A way's own step is sought so near to it; another one so far behind it."""
PARTED_MM = 0.35
IN_VIEW, LEAST_PLACES = 0.6, 40
"""Least share of the line that is in view, least places of a way."""
END_MM, CORNER_MM, INSIDE_MM = 2.5, 0.6, 0.25
"""Corners are sought so far from where they were seen, then at the strongest upright step so near; the edge is followed
so far from them."""
LENGTH_FREE, LENGTH_COST = (0.5, 0.01), 2.0
"""A stated length is right to the sum of these (mm, share); cost of a mm more."""


Mask = NDArray[np.bool_]
Rows = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Trace:
    """A lip's edge, end to end.

    Attributes
    ----------
    patch : Patch
        The band it was followed in.
    column, row : (N,) arrays
        Places of the edge in the band, sub-sample.
    clear : (N,) array
        Strength of the step there, in usual steps of the band.
    seen : (N,) bool
        Whether the place is in view.
    ends : (first, last)
        Columns of the corners.
    """

    patch: Patch
    column: Array
    row: Array
    clear: Array
    seen: NDArray[np.bool_]
    ends: tuple[float, float]

    @property
    def x_mm(self) -> Array:
        """Distance along the band from its first corner."""
        return np.asarray((self.column - self.ends[0]) * self.patch.step_mm)

    @property
    def length_mm(self) -> float:
        """Distance between the corners."""
        return (self.ends[1] - self.ends[0]) * self.patch.step_mm


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
    worth : (N, H) array
        Worth of the edge at each place.
    like : (H, W) array
        How much more each sample looks like metal than like the opening, logarithm of odds.
    """

    band: Band
    ends: tuple[float, float]
    column: Rows
    row: Rows
    worth: Array
    like: Array

    @property
    def apart(self) -> Array:
        """How much more metal-like (N,) it is just below the way than just above."""
        reach = np.round(np.linspace(*APART_MM, 8) / self.band.patch.step_mm).astype(int)[:, None]
        low, high = (np.clip(self.row + sign * reach, 0, len(self.like) - 1) for sign in (1, -1))
        return np.asarray((self.like[low, self.column] - self.like[high, self.column]).mean(axis=0))


    @property
    def behind(self) -> float:
        """How clear an edge runs along behind the way, in the metal, as a share of the way's own."""
        step, strong = self.band.patch.step_mm, np.log1p(self.band.strength(RUN_MM))
        shift = np.arange(-round(NEAR_WAY_MM / step), round(BEHIND_MM[1] / step) + 1)
        rows = np.clip(self.row + shift[:, None], 0, len(strong) - 1)
        clear = strong[rows, self.column].mean(axis=1)
        own = clear[np.abs(shift) * step <= NEAR_WAY_MM].max()
        return float(clear[shift * step >= BEHIND_MM[0]].max() / own)


def trace_lip(
    sight: Sight, left_mm: Array, right_mm: Array, stated_mm: float | None = None
) -> tuple[Followed, tuple[Trace, ...]] | None:
    """Follow the lip between two corners: the best way, then those pulled towards the opening and into the metal."""
    first = follow(sight, left_mm, right_mm, stated_mm)
    corners = None if first is None else _corners(first)
    found = first if corners is None else follow(sight, *corners, stated_mm, sound=SOUND)
    if found is None:
        return None
    step = found.band.patch.step_mm
    pull = PULL * found.band.off_mm * step * STRIDE
    pulled = best_ways(np.stack([found.worth - pull, found.worth + pull]), JUMP * step, REACH * STRIDE)
    strong = found.band.strength(FINE_RUN_MM)
    return found, tuple(_trace(found, row, strong) for row in (found.row, *pulled))


def follow(
    sight: Sight, left_mm: Array, right_mm: Array, stated_mm: float | None, *, rough: bool = False, sound: float = 0.0
) -> Followed | None:
    """The best way along a band, learned in two rounds; None when too little of it is in view.

    `rough` is for telling leads apart; `sound` is the worth of a mm on the line between the corners.
    """
    band = band_of(sight, left_mm, right_mm, ROUGH_MM if rough else STEP_MM)
    step, off, stride = band.patch.step_mm, band.off_mm, 1 if rough else STRIDE
    if float(band.patch.valid[round(ABOVE_MM / step)].mean()) < IN_VIEW:
        return None
    strong, (metal, opening) = band.strength(RUN_MM), _at_first(band)
    found = None
    for _ in range(ROUNDS):
        if found is not None:
            metal, opening = _beside(found, metal, opening)
        like = metal_like(band, metal, opening)
        ends = _ends(like, band, stated_mm)
        column = np.arange(int(ends[0] + INSIDE_MM / step) + 1, int(ends[1] - INSIDE_MM / step) + 1 - stride, stride)
        if len(column) < LEAST_PLACES:
            return None
        worth = _worth(like, strong, band) + sound * (np.abs(off) < ON_LINE_MM)[:, None]
        worth[(off < -OUT_MM) | (off > DEEP_MM)] = NOWHERE
        worth = np.sum([worth[:, column + k] for k in range(stride)], axis=0).T * step
        row = best_ways(worth[None], JUMP * step, REACH * stride)[0]
        found = Followed(band=band, ends=ends, column=column, row=row, worth=worth, like=like)
    return found


def _at_first(band: Band) -> tuple[Mask, Mask]:
    """What is metal and what is opening, before a way is known."""
    off, along = band.off_mm[:, None], band.along_mm
    inside = (along > 0.5) & (along < band.length_mm - 0.5)
    beyond = (along < -0.5) | (along > band.length_mm + 0.5)
    return (off > METAL_MM) | beyond, (off < -OPEN_MM[0]) & (off > -OPEN_MM[1]) & inside


def _beside(found: Followed, metal: Mask, opening: Mask) -> tuple[Mask, Mask]:
    """What is metal and what is opening, on both sides of a way; beyond its ends as before."""
    columns = np.arange(len(found.band.along_mm))
    behind = np.arange(len(metal))[:, None] - np.interp(columns, found.column, found.row)
    behind = behind * found.band.patch.step_mm
    along = (columns >= found.column[0]) & (columns <= found.column[-1])
    near, far = BESIDE_WAY_MM
    return (
        np.where(along, (behind > near) & (behind < far), metal),
        np.where(along, (behind < -near) & (behind > -far), opening),
    )


def _worth(like: Array, strong: Grid, band: Band) -> Array:
    """Worth (H, W) per mm of an edge at each place: opening above it, metal below, and a step."""
    step = band.patch.step_mm
    above = np.cumsum(like, axis=0) * step
    worth = TONE * (above[-1:] - 2 * above) + EDGE * np.log1p(strong)
    seen_wall = float(np.clip(band.wall / WALL_FULL, 0, 1))
    if seen_wall > 0:
        left = np.clip(strong, LEFT_FROM, LEFT_TO) - LEFT_FROM
        left = np.where((band.off_mm < DEEP_MM)[:, None] & band.patch.valid, left, 0)
        worth = worth - LEFT * seen_wall * np.cumsum(left[::-1], axis=0)[::-1] * step
    return np.asarray(worth, dtype=np.float64)


def _ends(like: Array, band: Band, stated_mm: float | None) -> tuple[float, float]:
    """Columns of both corners: above the line the opening lies between them, metal beyond."""
    step, off = band.patch.step_mm, band.off_mm
    rows = (off < -OPEN_MM[0]) & (off > 1 - ABOVE_MM)
    left_of = np.concatenate([[0.0], np.cumsum(like[rows].mean(axis=0))]) * step
    reach = round(END_MM / step)
    places = [
        np.arange(max(0, round(at / step) - reach), min(len(left_of), round(at / step) + reach + 1))
        for at in (BESIDE_MM, BESIDE_MM + band.length_mm)
    ]  # fmt: skip
    first, last = places[0][:, None], places[1][None, :]
    worth = 2 * (left_of[first] - left_of[last])
    if stated_mm is not None:
        off_length = np.abs((last - first) * step - stated_mm) - LENGTH_FREE[0] - LENGTH_FREE[1] * stated_mm
        worth = worth - LENGTH_COST * np.maximum(off_length, 0)
    a, b = np.unravel_index(int(np.argmax(worth)), worth.shape)
    shade = log_gray(band.patch.values[rows]).mean(axis=0, keepdims=True)
    size = np.abs(slope(np.asarray(shade, dtype=np.float32), 1.5).ravel())
    near = round(CORNER_MM / step)
    return _strongest(size, int(places[0][a]), near), _strongest(size, int(places[1][b]), near)


def _strongest(size: Grid, place: int, reach: int) -> float:
    """Where a curve is greatest near a place, to a fraction."""
    low, high = (int(np.clip(place + sign * reach, 1, len(size) - 2)) for sign in (-1, 1))
    best = low + int(np.argmax(size[low : high + 1]))
    return best + float(peak_offset(*(size[best + k : best + k + 1].astype(np.float64) for k in (-1, 0, 1)))[0])


def _corners(found: Followed) -> tuple[Array, Array] | None:
    """Corners on the sound line of a way; None when it has none."""
    step = found.band.patch.step_mm
    x, y = (places.astype(np.float64) * step for places in (found.column, found.row))
    line = sound_line(x, y, NEAR_MM + NEAR_PX * step)
    if line is None:
        return None
    ends = np.array(found.ends)
    height = line[0] + line[1] * (ends * step - (x[0] + x[-1]) / 2)
    left, right = found.band.patch.to_mm(ends, height / step)
    return left, right


def _trace(found: Followed, row: Rows, strong: Grid) -> Trace:
    """A way at the strongest step near it, to a fraction."""
    step, columns = found.band.patch.step_mm, np.arange(found.column[0], found.column[-1] + 1)
    near = np.round(np.interp(columns, found.column, row)).astype(int)
    aside = np.arange(-round(FINE_MM / step), round(FINE_MM / step) + 1)
    index = np.clip(near[:, None] + aside, 1, len(strong) - 2)
    bell = np.exp(-0.5 * (aside * step / FINE_MM) ** 2)
    best = index[np.arange(len(columns)), np.argmax(strong[index, columns[:, None]] * bell, axis=1)]
    exact = best + peak_offset(*(strong[best + k, columns].astype(np.float64) for k in (-1, 0, 1)))
    return Trace(
        patch=found.band.patch, column=columns.astype(np.float64), row=exact,
        clear=strong[best, columns].astype(np.float64), seen=found.band.patch.valid[best, columns], ends=found.ends,
    )  # fmt: skip


def parted(traces: tuple[Trace, ...]) -> float:
    """Share of a lip along which the ways pulled to either side leave the best one."""
    best, *others = (trace.row * trace.patch.step_mm for trace in traces)
    return float(np.mean(np.abs(np.array(others) - best).max(axis=0) > PARTED_MM))
