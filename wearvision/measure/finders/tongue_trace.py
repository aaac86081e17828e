"""A lip's edge, end to end and to a fraction of a sample, and the edges that may be it instead.

The edge is followed in a coarse band first, then in a fine one laid along its sound line, where both sides are known
from the coarse way. The way is pulled to either side too: where it gives way, the picture does not tell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, peak_offset
from wearvision.measure.finders.tongue_band import Sight, band_of
from wearvision.measure.finders.tongue_follow import Followed, follow
from wearvision.measure.finders.tongue_line import NEAR_MM, NEAR_PX, sound_line
from wearvision.measure.finders.tongue_rival import rival_way
from wearvision.measure.patch import Patch
from wearvision.measure.plane import Array

STRIDE, ROUNDS = 2, 2
"""Samples from place to place of the fine way, rounds in which sides are learned."""
SOUND = 0.8
"""Worth of a mm on the sound line of the coarse way."""
PULL = 0.42
"""What a way is pulled with, worth per mm2."""
FINE_RUN_MM, FINE_MM = 0.6, 0.3
"""To a fraction of a sample a step is summed over such a run, no further from the way."""
OWN_MM, BEHIND_MM = 0.25, (0.35, 1.3)
"""A way's own step lies so near to it; another border of the rim so far behind it."""
PARTED_MM = 0.35


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
    behind : (N,) array
        Strength of the strongest step a little behind it, in the metal, as a share of its own.
    seen : (N,) bool
        Whether the place is in view.
    ends : (first, last)
        Columns of the corners.
    """

    patch: Patch
    column: Array
    row: Array
    clear: Array
    behind: Array
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


def trace_lip(
    sight: Sight, coarse: Followed, stated_mm: float | None = None
) -> tuple[Followed, tuple[Trace, ...]] | None:
    """Follow a lip finely: the best way, those pulled towards the opening and into the metal, then along an edge behind
    its bays where there is one."""
    corners = corners_of(coarse)
    if corners is None:
        return None
    band = band_of(sight, *corners)
    found = follow(band, stated_mm, stride=STRIDE, rounds=ROUNDS, sound=SOUND, before_mm=coarse.way_mm)
    if found is None:
        return None
    pulled = found.ways(PULL * np.stack([-band.off_mm, band.off_mm]))
    strong, rival = band.strength(FINE_RUN_MM), rival_way(found)
    ways = (found.row, *pulled) if rival is None else (found.row, *pulled, rival)
    return found, tuple(_trace(found, row, strong) for row in ways)


def corners_of(found: Followed) -> tuple[Array, Array] | None:
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


def _trace(found: Followed, row: NDArray[np.int64], strong: Grid) -> Trace:
    """A way at the strongest step near it, to a fraction."""
    step, columns = found.band.patch.step_mm, np.arange(found.column[0], found.column[-1] + 1)
    near = np.round(np.interp(columns, found.column, row)).astype(int)
    aside = np.arange(-round(FINE_MM / step), round(FINE_MM / step) + 1)
    index = np.clip(near[:, None] + aside, 1, len(strong) - 2)
    bell = np.exp(-0.5 * (aside * step / FINE_MM) ** 2)
    best = index[np.arange(len(columns)), np.argmax(strong[index, columns[:, None]] * bell, axis=1)]
    behind = _behind(np.expm1(found.strong), best, columns, step)
    exact = best + peak_offset(*(strong[best + k, columns].astype(np.float64) for k in (-1, 0, 1)))
    return Trace(
        patch=found.band.patch, column=columns.astype(np.float64), row=exact,
        clear=strong[best, columns].astype(np.float64), behind=behind, seen=found.band.patch.valid[best, columns],
        ends=found.ends,
    )  # fmt: skip


def _behind(strong: Grid, row: NDArray[np.int64], column: NDArray[np.int64], step_mm: float) -> Array:
    """Strength (N,) of the strongest step behind each place, as a share of that of the strongest at it."""
    near = np.arange(-round(OWN_MM / step_mm), round(OWN_MM / step_mm) + 1)
    far = np.arange(round(BEHIND_MM[0] / step_mm), round(BEHIND_MM[1] / step_mm) + 1)
    own, other = (
        strong[np.clip(row[:, None] + aside, 0, len(strong) - 1), column[:, None]].max(axis=1) for aside in (near, far)
    )
    return np.asarray(other / np.maximum(own, 1e-6), dtype=np.float64)


def parted(traces: tuple[Trace, ...]) -> float:
    """Share of a lip along which the ways pulled to either side leave the best one."""
    best, *others = (trace.row * trace.patch.step_mm for trace in traces[:3])
    return float(np.mean(np.abs(np.array(others) - best).max(axis=0) > PARTED_MM))
