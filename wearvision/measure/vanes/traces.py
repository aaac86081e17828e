"""What was traced of all vanes, and how well it lies alike: a top on each, or something else that runs beside them.

A top stands above both its sides, so that on one of them, or on both, lie a shadow, a flank in poor light or a gap:
along its whole length it is not darker than both. A shadow is, between lit ground and the vane that casts it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import medians
from wearvision.measure.plane import Array
from wearvision.measure.vanes.strips import SMOOTH_MM, Line, Strips, means_between

BEYOND_MM = 8.0
"""So far the line is drawn out beyond its end, which lies near the vanes' tips."""
ROOT, PLACED_MM, MOST_GAIN = 0.2, 0.7, 3.0
"""Inner end of what tells how clear vanes are, share of the line; how near the common pair one lies in its place; the
most that two edges count for."""
INSET_MM, BESIDE_MM = 0.4, 1.6
"""What is compared begins so far from an edge, and ends on the sides so far beyond it."""
PART = (0.2, 0.8)
"""Part of the line that is looked at: no hub, no rim."""
SHADED = 0.7
"""What is left of how alike vanes lie where their tops are darker than both sides: they are counted, not compared."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Traces:
    """All vanes traced.

    Attributes
    ----------
    line : Line
        Common line about the centre, evenly spaced.
    strips : Strips
    edge_mm : (N, S, 2) array
        Right and left edge of each vane, mm to the left of the line, less what they lie apart more where it leads
        aslant across the strip; nan where not seen.
    strength : (N, S, 2) array
        How clear each of them is: edge over what is usual, of what is beyond `CAP` the logarithm; 0 where not seen.
    path_mm : (N, S) array
        Shift of each vane's pair from the common pair.
    gain : (N, S) array
        Edge pair of each vane over what is usual (0: nothing there).
    pair_mm : (S, 2) array
        Common right and left edge.
    ends : (N, E) array
        Edge across the strip of each vane at `end_along_mm`, over what is usual.
    end_along_mm : (E,) array
    seen : (N, S) bool
        Where the vane, at its own place, is in the picture and not covered.
    px_mm : float
    clear : (N,) array
        How much better the likeliest bend of each fits than none; 0 where none is likeliest.
    most_mm : (S,) array
        How far most vanes lie from the common line, where they show that it leaves them; 0 where not.
    """

    line: Line
    strips: Strips
    edge_mm: Array
    strength: Array
    path_mm: Array
    gain: Array
    pair_mm: Array
    ends: Array
    end_along_mm: Array
    seen: NDArray[np.bool_]
    px_mm: float
    clear: Array
    most_mm: Array

    @property
    def thickness_mm(self) -> float:
        """What the common edges lie apart, median along them."""
        return float(np.median(self.pair_mm[:, 1] - self.pair_mm[:, 0]))

    def clearness(self) -> float:
        """Edge over what is usual where vanes lie in the common pair's place, mean over all but the least clear one.

        From root to tip, 0 where a vane lies elsewhere: a line that most of them share is worth more than that of one.
        """
        along = self.line.along_mm
        rows = (along > ROOT * along[-1]) & (along < along[-1] - BEYOND_MM - SMOOTH_MM / 2)
        placed = (np.abs(self.path_mm) < PLACED_MM) & self.seen
        gain = np.where(placed, np.clip(self.gain, -1.0, MOST_GAIN), 0.0)[:, rows]
        each = np.sort(gain.sum(axis=1) / np.maximum(self.seen[:, rows].sum(axis=1), 1))
        return float(each[1:].mean())

    def holds(self, which: NDArray[np.bool_] | None = None) -> float:
        """How well vanes lie alike, 0 to 1: share of the stations where a vane shows the common pair in its place.

        All of them, or `which` (N,); one that is hardly seen does not count.
        """
        inner = self.line.along_mm < 0.85 * self.line.along_mm[-1]
        placed = (np.abs(self.path_mm) < PLACED_MM) & (self.gain > 0.7) & self.seen
        share = placed[:, inner].sum(axis=1) / np.maximum(self.seen[:, inner].sum(axis=1), 1)
        counts = self.seen[:, inner].mean(axis=1) > 0.3
        counts = counts if which is None else counts & which
        return float(share[counts].mean()) if counts.any() else 0.0

    def alike(self, which: NDArray[np.bool_] | None = None) -> float:
        """How well vanes lie alike, 0 to 1, less where what lies between their edges is darker than both sides.

        All of them, or `which` (N,).
        """
        held = self.holds(which)
        return held * SHADED if self.stands_out < 0 else held

    @cached_property
    def stands_out(self) -> float:
        """Log grey between the edges less the darker side's, median along vanes and over all; inf where unseen."""
        strips, last = self.strips, self.strips.values.shape[2]
        along = self.line.along_mm
        rows = (along > PART[0] * along[-1]) & (along < PART[1] * along[-1])
        right, left = (self.pair_mm[rows, side] + self.path_mm[:, rows] for side in (0, 1))

        def mean(low_mm: Array, high_mm: Array) -> Array:
            ends = [np.rint((mm - strips.across_mm[0]) / strips.step_mm).astype(np.intp) for mm in (low_mm, high_mm)]
            low, high = np.clip(ends[0], 0, last - 1), np.clip(ends[1], 1, last)
            return means_between(strips.values[:, rows], low, np.maximum(high, low + 1))

        top = mean(right + INSET_MM, left - INSET_MM)
        sides = np.minimum(mean(right - BESIDE_MM, right - INSET_MM), mean(left + INSET_MM, left + BESIDE_MM))
        each = medians(np.where(self.seen[:, rows], top - sides, np.nan)[..., None])[:, 0]
        return float(np.median(each[np.isfinite(each)])) if np.isfinite(each).any() else np.inf
