"""Whether another straight edge runs behind a lip, in what was taken for its metal.

Behind a rim there is the face: rust, scratches, the other border of its rounding, a shadow at some angle. A straight
edge along all of it, further off than a rim is rounded, is the rim itself, and what was followed the wall's foot or a
shadow on it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.finders.tongue_follow import Followed
from wearvision.measure.plane import Array

FROM_MM, TO_MM = 1.75, 6.0
"""So far behind the sound line such an edge is sought: no rim is rounded further."""
BAY_MM = 0.4
"""Places less far behind the way are the way's own edge."""
SHARE = 0.6
"""Of the lip's length so much must lie further behind."""
LEANS = (-0.02, -0.015, -0.01, -0.005, 0.0, 0.005, 0.01, 0.015, 0.02)
"""It leans by so much against the sound line."""
NEAR_MM, BESIDE_MM = 0.35, 0.8
"""It is the clearest so near about it, and held against the least clear place on either side so near to it."""


def straight_behind(found: Followed, line: Array) -> float:
    """How clearly such an edge stands out: mean logarithm of one and the strength of its step, above what is beside it.

    Parameters
    ----------
    line : (2, 2)
        Column and row of both ends of the sound line in the band.
    """
    step = found.band.patch.step_mm
    rows = np.interp(found.column, line[:, 0], line[:, 1])
    aside = (found.column - found.column.mean()) * np.array(LEANS)[:, None]
    shift = np.arange(round(BAY_MM / step), round(TO_MM / step) + 1, dtype=np.int64)
    least = found.row.astype(np.float64) + BAY_MM / step
    clear = _along(found.strong, found.column, least, rows + aside, shift, SHARE)
    near, wide = round(NEAR_MM / step), round(BESIDE_MM / step)
    most = 0.0
    for curve in clear:
        for k in range(near, len(curve) - near):
            if shift[k] * step > FROM_MM and curve[k] > 0 and curve[k] == curve[k - near : k + near + 1].max():
                beside = max(curve[max(k - wide, 0) : k].min(), curve[k + 1 : k + 1 + wide].min())
                most = max(most, float(curve[k] - beside))
    return most


@compiled
def _along(
    strong: Grid, column: NDArray[np.int64], least: Array, rows: Array, shift: NDArray[np.int64], share: float
) -> Array:
    """Mean (L, K) of the strength along each of L lines (L, N) moved by each of K shifts, where that is further down
    than `least` (N,); 0 where that is so on less than a share of it."""
    out = np.zeros((len(rows), len(shift)))
    for n in range(len(rows)):
        for k in range(len(shift)):
            met, total = 0, 0.0
            for i in range(len(column)):
                row = int(rows[n, i] + shift[k] + 0.5)
                if row > least[i] and row < len(strong):
                    met, total = met + 1, total + strong[row, column[i]]
            if met > share * len(column):
                out[n, k] = total / met
    return out
