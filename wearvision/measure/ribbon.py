"""A ribbon: a run of rows of an unwrapped ring with an edge on either side; its width known, its run followed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import median
from wearvision.measure.evidence import ROWS, Evidence, columns_per_cell
from wearvision.measure.plane import Array
from wearvision.measure.ribbon_line import best_line
from wearvision.measure.unwrap import Strip

DROP, END_ROWS = 8.0, 20
"""How far the sum may fall before a line is given up; and rows at an end whose median place goes on."""
HEAT = 0.8
"""Fall of the sum that makes an end e times less likely: neighbouring rows are not independent."""
NEAR = 4
"""Ends so near each other are told apart later, by the groove's own profile."""
FULL_GAP = 8
"""A run that is this many rows short of a lap closes on itself."""
STRAY_MM = 1.0
"""How far a groove may wander from where it was seen."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ribbon:
    """A run of rows with an edge on either side.

    Attributes
    ----------
    rows : (N,) int array
        Rows of the strip, rising, unwrapped: may pass the strip's end when it is closed.
    inner, outer : (N,) arrays
        Columns of the two edges.
    score : float
    full : bool
        Whether it runs all the way round.
    doubt_rows : (float, float)
        Standard uncertainty of its two ends, rows: how far off another end speaks nearly as well.
    doubt_mm : (float, float)
        The same of its width and of its centreline.
    followed : int
        Rows over which it was followed before what does not show was cut off; 0 when nothing was.
    """

    rows: NDArray[np.int64]
    inner: Array
    outer: Array
    score: float
    full: bool
    doubt_rows: tuple[float, float] = (0.0, 0.0)
    doubt_mm: tuple[float, float] = (0.0, 0.0)
    followed: int = 0


def extend(ribbon: Ribbon, found: Evidence, strip: Strip) -> Ribbon:
    """Follow a ribbon of settled width round the strip, and keep the stretch that speaks for it.

    Along one line less is needed to believe than among all lines, so weakly lit stretches are won back; but
    both lips must be there, or the grey between them must be clearly another.
    """
    lap, columns = len(found.z), columns_per_cell(strip)
    rows = np.arange(ribbon.rows[0] // ROWS, ribbon.rows[-1] // ROWS + 1)
    pick = (rows * ROWS + ROWS // 2 - ribbon.rows[0]).clip(0, len(ribbon.rows) - 1)
    middle = ((ribbon.inner + ribbon.outer) / 2)[pick] / columns
    width = median(ribbon.outer - ribbon.inner) / columns
    span = np.arange(rows[-1] - lap + 1, rows[0] + lap) if strip.closed else np.arange(lap)
    guess = np.interp(span, rows, middle)
    ends = [median(part) for part in (middle[:END_ROWS], middle[-END_ROWS:])]
    guess[span < rows[0]], guess[span > rows[-1]] = ends
    reach = max(2, round(STRAY_MM / (strip.step_mm * columns)))
    line, said = best_line(found, width, span, guess, reach)
    first, last = (int(r) - int(span[0]) for r in (rows[0], rows[-1]))
    calm = np.convolve(said, np.full(5, 0.2), mode="same")
    core = first + int(np.argmax(calm[first : last + 1]))
    ahead, behind = _reach(said[core + 1 :]), _reach(said[:core][::-1])
    if strip.closed:  # beyond the gap lies the other end, about which there is no doubt here
        gap = max(1, lap - ahead[0] - behind[0] - 1)
        ahead = _reach(said[core + 1 : core + 1 + ahead[0] + gap])
        behind = _reach(said[max(0, core - behind[0] - gap) : core][::-1])
    last, first = core + ahead[0], core - behind[0]
    full = strip.closed and last - first + 1 + FULL_GAP >= lap
    if full:
        first = max(0, min(first, len(span) - lap))
        last = first + lap - 1
    taken = np.arange(first, last + 1)
    fine = np.arange(span[first] * ROWS, (span[last] + 1) * ROWS)
    centre = np.interp((fine - ROWS // 2) / ROWS, span[taken], line[taken]) * columns
    half = width * columns / 2
    doubt = (behind[1] * ROWS, ahead[1] * ROWS)
    return replace(ribbon, rows=fine, inner=centre - half, outer=centre + half, full=bool(full), doubt_rows=doubt)


@compiled
def _reach(said: Array) -> tuple[int, float]:
    """How many rows to go on: to the best sum, but not over a long stretch that speaks against; and how sure that is.

    The doubt is the root mean square distance of all ends, each weighed by what the sum there falls short of the best.
    """
    total, best, top, most, going = np.zeros(len(said) + 1), 0, 0.0, 0.0, True
    for n in range(1, len(total)):
        total[n] = total[n - 1] + said[n - 1]
        most = max(most, total[n])
        going = going and most - total[n] <= DROP
        if going and total[n] > top:
            best, top = n, total[n]
    weights, far = 0.0, 0.0
    for n in range(len(total)):
        weight = np.exp((total[n] - most) / HEAT)
        weights += weight
        far += weight * (n - best) ** 2 if abs(n - best) > NEAR else 0.0
    return best, np.sqrt(far / weights)
