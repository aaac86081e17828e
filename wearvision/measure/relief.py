"""Shading that only relief has: one wall of a mark is as bright as the other is dark.

The walls of a shallow groove face each other, so a lamp from one side darkens one by as much as it brightens the other,
and that changes slowly round the circle, with the angle to the lamp; or the dark wall changes sides. Row by row that
may be fainter than the face's own lines, and often one lip only is seen. But the difference of the two halves is alike
in neighbouring sectors, while that of the face beside comes and goes. A stain, a polished band, a step or a tool's line
is darker or brighter as a whole, and where the face changes its tone both sides of it differ: what goes with that
counts for nothing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.across import BESIDE, INSIDE, medians, profiles
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, median
from wearvision.measure.lips import Track
from wearvision.measure.plane import Array
from wearvision.measure.unwrap import Strip

SECTOR, LEAST_SECTORS = 8, 4
"""Rows of a sector, and least number of these."""
ASIDE = (-3.0, -2.2, -1.5, 1.5, 2.2, 3.0)
"""Where the face beside is looked at for the same, in widths of the mark; and least places there in the strip."""
LEAST_ASIDE = 2
COHERENT = 14.0
"""Relief is when neighbouring sectors' differences have so many times the square of the face's in common."""


def is_relief(track: Track, strip: Strip, gray: Grid) -> bool:
    """Whether a mark is shaded like a groove's two walls.

    Parameters
    ----------
    gray : (T, R) log grey of the strip
    """
    rows = round((track.deg[0] - strip.first_deg) / strip.step_deg) + np.arange(len(track.deg))
    inner, outer = ((lip - strip.start_mm) / strip.step_mm for lip in (track.inner_mm, track.outer_mm))
    last = gray.shape[1] - 1
    seen = strip.valid[rows % len(gray), ((inner + outer) / 2).round().astype(int).clip(0, last)]
    rows, inner, outer = rows[seen], inner[seen], outer[seen]
    if len(rows) < SECTOR * LEAST_SECTORS:
        return False
    width, low, high = median(outer - inner), median(inner), median(outer)
    shifts = [share * width for share in ASIDE if low + share * width >= 0 and high + share * width <= last]
    apart = _apart(strip, gray, rows, inner, outer)
    most = float(np.mean(apart[1:] * apart[:-1])) / COHERENT
    if len(shifts) < LEAST_ASIDE or most < 0:
        return False
    beside: list[float] = []
    for by in shifts:
        beside.append(float(np.mean(_apart(strip, gray, rows, inner + by, outer + by) ** 2)))
        less = sum(one <= most for one in beside)
        if max(less, len(beside) - less) > len(shifts) / 2:  # so is the median of all
            return 2 * less > len(shifts)
    return median(np.array(beside)) <= most


def _apart(strip: Strip, gray: Grid, rows: NDArray[np.int64], inner: Array, outer: Array) -> Array:
    """How much brighter the outer half of each sector is than the inner one, log grey, but for what goes with how much
    brighter both are than the face beside, or how much brighter one side of this is than the other."""
    across, beside = profiles(strip, gray, rows, inner, outer)
    count = len(rows) // SECTOR
    halves = _halves(across, count)
    sides = beside[: count * SECTOR].reshape(count, SECTOR, 2, BESIDE).transpose(0, 2, 1, 3)
    level = medians(sides.reshape(count, 2, SECTOR * BESIDE))
    apart = halves[:, 1] - halves[:, 0]
    known = np.column_stack([halves.sum(axis=1) / 2 - level.sum(axis=1) / 2, level[:, 1] - level[:, 0]])
    return np.asarray(apart - known @ np.linalg.lstsq(known, apart)[0])


@compiled
def _halves(across: Array, count: int) -> Array:
    """Means of the inner and the outer half of each sector, (K, 2)."""
    out = np.zeros((count, 2))
    for n in range(count * SECTOR):
        row, here = across[n], out[n // SECTOR]
        for k in range(INSIDE):
            here[2 * k // INSIDE] += row[k]
    return out / (SECTOR * (INSIDE // 2))
