"""A ribbon: a run of rows of an unwrapped ring with an edge on either side; its width known, its run followed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid
from wearvision.measure.evidence import COLUMNS, ROWS, Evidence, mean_between, moved
from wearvision.measure.plane import Array
from wearvision.measure.unwrap import Strip

ALONE = 1.55
"""Half way between the weaker lip of a weakly lit groove and that of no groove at all, in usual strengths."""
OTHER, DROP, END_ROWS = 0.8, 8.0, 20
"""Unlikeness that counts even where a lip is not seen; how far the sum may fall before a line is given up; and rows
at an end whose median place goes on."""
HEAT = 0.8
"""Fall of the sum that makes an end e times less likely: neighbouring rows are not independent."""
NEAR = 4
"""Ends so near each other are told apart later, by the groove's own profile."""
FULL_GAP = 8
"""A run that is this many rows short of a lap closes on itself."""
STRAY_MM, STRAY_COST = 1.0, 1.0
"""How far a groove may wander from where it was seen, and what a side step of one column costs."""


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
    lap = len(found.z)
    rows = np.unique(ribbon.rows // ROWS)
    pick = np.searchsorted(ribbon.rows, rows * ROWS + ROWS // 2).clip(0, len(ribbon.rows) - 1)
    middle = ((ribbon.inner + ribbon.outer) / 2)[pick] / COLUMNS
    width = float(np.median(ribbon.outer - ribbon.inner)) / COLUMNS
    span = np.arange(rows[-1] - lap + 1, rows[0] + lap) if strip.closed else np.arange(lap)
    guess = np.interp(span, rows, middle)
    ends = [float(np.median(part)) for part in (middle[:END_ROWS], middle[-END_ROWS:])]
    guess[span < rows[0]], guess[span > rows[-1]] = ends
    line, said = _follow_near(found, width, span, guess, strip)
    first, last = (int(r) - int(span[0]) for r in (rows[0], rows[-1]))
    calm = np.convolve(said, np.full(5, 0.2), mode="same")
    core = first + int(np.argmax(calm[first : last + 1]))
    ahead, behind = _reach(said[core + 1 :]), _reach(said[:core][::-1])
    last, first = core + ahead[0], core - behind[0]
    full = strip.closed and last - first + 1 + FULL_GAP >= lap
    if full:
        first = max(0, min(first, len(span) - lap))
        last = first + lap - 1
    taken = np.arange(first, last + 1)
    fine = np.arange(span[first] * ROWS, (span[last] + 1) * ROWS)
    centre = np.interp((fine - ROWS // 2) / ROWS, span[taken], line[taken]) * COLUMNS
    half = width * COLUMNS / 2
    doubt = (behind[1] * ROWS, ahead[1] * ROWS)
    return replace(ribbon, rows=fine, inner=centre - half, outer=centre + half, full=bool(full), doubt_rows=doubt)


def _follow_near(
    found: Evidence, width: float, span: NDArray[np.int64], guess: Array, strip: Strip
) -> tuple[Array, Array]:
    """Best line near a guess for a groove of known width (cells); its cells and their gains."""
    reach = max(2, round(STRAY_MM / (strip.step_mm * COLUMNS)))
    room = reach + 2 * int(width) + 12
    low, high = max(0, int(guess.min()) - room), int(guess.max()) + room
    layer = _both_lips(found.z[:, low:high], found.off[:, low:high], width)
    line, said = _follow_line(layer, span, guess - low, reach)
    return line + low, said


def _both_lips(z: Grid, off: Grid, width: float) -> Grid:
    """How much a cell speaks for being the middle of a groove of known width (cells), (T', R')."""
    slack = max(1, round(0.06 * width))
    a, b = int(np.floor(width / 2 + 0.5)), int(np.ceil(width / 2 - 0.5))
    low, high = min(1 - a, b - 1), max(1 - a, b - 1)
    window = np.ones((1, 2 * slack + 1), np.uint8)
    lips: Grid = np.asarray(cv2.dilate(np.minimum(z, 4.0), window), dtype=np.float32)
    sums = np.cumsum(np.pad(off, ((0, 0), (1, 0))), axis=1).astype(np.float32)
    near = max(3, round(0.5 * width))
    sides = mean_between(sums, -a - 2 - near, -a - 2) + mean_between(sums, b + 2, b + 2 + near)
    beside = np.maximum(0.5 * sides, 1.2)
    inside = 2.0 * np.clip(mean_between(sums, low, high) - beside - OTHER, 0.0, 1.0)
    weaker = np.minimum(moved(lips, -a), moved(lips, b))
    out = weaker - ALONE + inside
    return np.asarray(np.where(z > 0, out, 0.0), dtype=np.float32)


def _reach(said: Array) -> tuple[int, float]:
    """How many rows to go on: to the best sum, but not over a long stretch that speaks against; and how sure that is.

    The doubt is the root mean square distance of all ends, each weighed by what the sum there falls short of the best.
    """
    total = np.concatenate([[0.0], np.cumsum(said)])
    fallen = np.maximum.accumulate(total) - total
    stop = int(np.argmax(fallen > DROP)) if (fallen > DROP).any() else len(total)
    best = int(np.argmax(total[:stop]))
    weight = np.exp((total - total.max()) / HEAT)
    far = np.abs(np.arange(len(total)) - best).astype(np.float64)
    return best, float(np.sqrt(np.sum(weight * np.where(far > NEAR, far, 0.0) ** 2) / np.sum(weight)))


def _follow_line(layer: Grid, span: NDArray[np.int64], guess: Array, reach: int) -> tuple[Array, Array]:
    """Best line within `reach` cells of a guess, by dynamic programming; its cells and their gains."""
    index = np.clip(np.rint(guess).astype(int)[:, None] + np.arange(-reach, reach + 1), 0, layer.shape[1] - 1)
    gain = layer[(span % len(layer))[:, None], index].astype(np.float64)
    drift = np.diff(np.rint(guess).astype(int), prepend=round(guess[0]))
    size, edge = index.shape[1], int(np.abs(drift).max()) + 1
    totals = np.full((len(span), size + 2 * edge), -1e9)
    totals[0, edge : edge + size] = gain[0] - 0.1 * np.abs(np.arange(-reach, reach + 1))
    aside = np.empty(size)
    for i, at in enumerate((edge + drift[1:]).tolist(), start=1):
        before, total = totals[i - 1], totals[i, edge : edge + size]
        np.maximum(before[at - 1 : at - 1 + size], before[at + 1 : at + 1 + size], out=aside)
        np.subtract(aside, STRAY_COST, out=aside)
        np.maximum(before[at : at + size], aside, out=aside)
        np.add(aside, gain[i], out=total)
    path = np.empty(len(span), dtype=np.int64)
    path[-1] = place = int(np.argmax(totals[-1, edge : edge + size]))
    for i in range(len(span) - 1, 0, -1):
        at = place + int(drift[i]) + edge
        left, stay, right = totals[i - 1, at - 1 : at + 2].tolist()
        step = 0 if stay >= max(left, right) - STRAY_COST else -1 if left >= right else 1
        path[i - 1] = place = min(max(at - edge + step, 0), size - 1)
    rows = np.arange(len(span))
    return index[rows, path].astype(np.float64), gain[rows, path]
