"""A lip's edge, end to end, to a fraction of a sample, with the other ways it may take."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import peak_offset
from wearvision.measure.finders.tongue_signs import STEP_MM, Band
from wearvision.measure.finders.tongue_ways import Chain
from wearvision.measure.patch import Patch
from wearvision.measure.plane import Array

NEAR_ROWS = 2
"""The strongest step so near to the best way is the edge."""


def no_ways() -> Array:
    """For an edge that a person tapped along."""
    return np.zeros((0, 0))


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
    drawn_mm : (M, N) array
        How far behind their line other ways lie, drawn as often as they are probable; empty when not asked.
    """

    patch: Patch
    column: Array
    row: Array
    clear: Array
    seen: NDArray[np.bool_]
    ends: tuple[float, float]
    drawn_mm: Array = field(default_factory=no_ways)

    @property
    def mm(self) -> Array:
        """Plane points (N, 2)."""
        return self.patch.to_mm(self.column, self.row)

    @property
    def x_mm(self) -> Array:
        """Distance along the band from its first corner."""
        return np.asarray((self.column - self.ends[0]) * self.patch.step_mm)

    @property
    def length_mm(self) -> float:
        """Distance between the corners."""
        return (self.ends[1] - self.ends[0]) * self.patch.step_mm


def trace_lip(band: Band, chain: Chain) -> Trace:
    """Follow the lip through its band: the middle of all ways, at the strongest step near it."""
    line, behind = chain.drawn()
    middle = np.rint(np.median(line + behind, axis=0)).astype(int).clip(0, len(band.strong) - 1)
    columns = np.arange(len(middle))
    return Trace(
        patch=band.patch, column=band.column, row=_fine(band.strong, middle), clear=band.strong[middle, columns],
        seen=band.seen[middle, columns], ends=band.ends, drawn_mm=np.asarray(behind * STEP_MM, dtype=np.float64),
    )  # fmt: skip


def _fine(strong: Array, middle: NDArray[np.int64]) -> Array:
    """Row of the strongest step near the middle, to a fraction."""
    columns = np.arange(len(middle))
    index = np.clip(middle[:, None] + np.arange(-NEAR_ROWS, NEAR_ROWS + 1), 1, len(strong) - 2)
    best = index[columns, np.argmax(strong[index, columns[:, None]], axis=1)]
    return np.asarray(best + peak_offset(*(strong[best + k, columns] for k in (-1, 0, 1))))
