"""The stretch of a ribbon along which a groove shows.

A ribbon is followed as long as something like two lips goes on, and beyond a groove's end some lathe line nearly
always does. Here the strip is laid straight along the ribbon, and each sector held against the face beside it: between
the lips it must be unlike the face, and not by far less so than in the ribbon's clearest part. The run of sectors that
says most is kept: a dull gap between two clear parts is gone over, a long run of nothing is not.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import median, quantile
from wearvision.measure.evidence import Evidence
from wearvision.measure.laid import SECTOR_ROWS, SIDE_MM, beside, grey_squares, lay
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.unwrap import Strip

LEVEL, SHARE, TOP = 2.2, 0.06, 0.9
"""Groove and face are as likely where a sector's mean square (1 on plain noise) is `LEVEL`, or this share of the
quantile `TOP` of all sectors: with the angle to the lamp a groove fades, but not to nothing for long."""
CAP = 400.0
"""Highest square that counts: (20 standard deviations) squared."""
LEAST, MOST = -0.8, 1.0
"""Bounds of what one sector says, a log likelihood: neighbours are not independent."""
OPEN_DEG = 70.0
"""A circle of which no more than this does not show is whole: twice on its way round a groove points at the lamp."""
HEAT, NEAR = 1.0, 12
"""Difference of the sum that makes another end e times less likely; and how many sectors off it is looked for."""


def shown(ribbon: Ribbon, found: Evidence, strip: Strip) -> Ribbon:
    """The ribbon cut to the run of sectors that says most for a groove."""
    told = _told(ribbon, found, strip)
    count, rows = len(told), len(ribbon.rows)
    total = np.concatenate([[0.0], np.cumsum(np.tile(told, 2 if ribbon.full else 1))])
    first, last = _best_run(total, count)
    lost = (count - (last - first)) * SECTOR_ROWS * strip.step_deg
    if lost <= 0:
        return ribbon
    if ribbon.full and lost <= OPEN_DEG:
        return replace(ribbon, doubt_rows=(lost / strip.step_deg / 2, 0.0))
    begin, end = (min(k % count * SECTOR_ROWS, rows) + rows * (k // count) for k in (first, last))
    at = np.arange(begin, end)
    kept = [not ribbon.full and first == 0, not ribbon.full and last == count]
    ends = zip(ribbon.doubt_rows, kept, (first, last), strict=True)
    doubt = [u if is_so else _doubt(total, k) for u, is_so, k in ends]
    return replace(
        ribbon, rows=ribbon.rows[0] + at, inner=ribbon.inner[at % rows], outer=ribbon.outer[at % rows], full=False,
        doubt_rows=(doubt[0], doubt[1]), followed=rows,
    )  # fmt: skip


def _told(ribbon: Ribbon, found: Evidence, strip: Strip) -> Array:
    """What every sector says for a groove, (K,)."""
    half = median(ribbon.outer - ribbon.inner) / 2
    reach = round(half + max(SIDE_MM / strip.step_mm, 1.6 * half)) + 4
    laid = lay(found, strip, ribbon.rows, (ribbon.inner + ribbon.outer) / 2, reach)
    box = (reach - half, reach + half)
    square = grey_squares(laid, beside(strip, box, laid.gray.shape[1]), box, CAP)
    between = slice(max(0, round(reach - half)), round(reach + half) + 1)
    inside = np.fmax(square[:, between], 0.0).mean(axis=1)
    level = max(LEVEL, SHARE * quantile(inside, TOP))
    seen = laid.seen[:, between].mean(axis=1) > 0.5
    return np.where(seen, np.clip(np.log(np.maximum(inside, 1e-3) / level), LEAST, MOST), 0.0)


@compiled
def _best_run(total: Array, longest: int) -> tuple[int, int]:
    """First and one past the last entry of the run, of at most `longest`, whose running sums gain most."""
    most, best = -np.inf, (0, 1)
    for first in range(len(total)):
        for last in range(first + 1, min(len(total), first + longest + 1)):
            if total[last] - total[first] > most:
                most, best = total[last] - total[first], (first, last)
    return best


def _doubt(total: Array, end: int) -> float:
    """Root mean square distance, rows, of other ends from one, each weighed by what its sum differs from that end's."""
    near = slice(max(0, end - NEAR), end + NEAR + 1)
    far = (np.arange(len(total))[near] - end).astype(np.float64)
    weight = np.exp(-np.abs(total[near] - total[end]) / HEAT)
    return float(np.sqrt(np.sum(weight * far**2) / np.sum(weight))) * SECTOR_ROWS
