"""Whether what is followed between two edges is the tops of vanes, or their shadows, which run beside them as evenly.

A top stands above both its sides, so that on one of them, or on both, lie a shadow, a flank in poor light or a gap:
along its whole length it is not darker than both. A shadow is, between lit ground and the vane that casts it.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import medians
from wearvision.measure.plane import Array
from wearvision.measure.vanes.strips import means_between
from wearvision.measure.vanes.trace import Traces, holds

INSET_MM, BESIDE_MM = 0.4, 1.6
"""What is compared begins so far from an edge, and ends on the sides so far beyond it."""
PART = (0.2, 0.8)
"""Part of the line that is looked at: no hub, no rim."""
SHADED = 0.7
"""What is left of how alike vanes lie where their tops are darker than both sides: they are counted, not compared."""


def alike(traces: Traces, which: NDArray[np.bool_] | None = None) -> float:
    """How well vanes lie alike, 0 to 1, less where what lies between their edges is darker than both sides.

    All of them, or `which` (N,).
    """
    held = holds(traces, which)
    return held * SHADED if stands_out(traces) < 0 else held


@lru_cache(maxsize=1)
def stands_out(traces: Traces) -> float:
    """Log grey between the edges less that of the darker side, median along vanes and over all; inf where unseen."""
    strips, last = traces.strips, traces.strips.values.shape[2]
    along = traces.line.along_mm
    rows = (along > PART[0] * along[-1]) & (along < PART[1] * along[-1])
    right, left = (traces.pair_mm[rows, side] + traces.path_mm[:, rows] for side in (0, 1))

    def mean(low_mm: Array, high_mm: Array) -> Array:
        ends = [np.rint((mm - strips.across_mm[0]) / strips.step_mm).astype(np.intp) for mm in (low_mm, high_mm)]
        low, high = np.clip(ends[0], 0, last - 1), np.clip(ends[1], 1, last)
        return means_between(strips.values[:, rows], low, np.maximum(high, low + 1))

    top = mean(right + INSET_MM, left - INSET_MM)
    sides = np.minimum(mean(right - BESIDE_MM, right - INSET_MM), mean(left + INSET_MM, left + BESIDE_MM))
    each = medians(np.where(traces.seen[:, rows], top - sides, np.nan)[..., None])[:, 0]
    return float(np.median(each[np.isfinite(each)])) if np.isfinite(each).any() else np.inf
