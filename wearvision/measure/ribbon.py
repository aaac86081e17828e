"""A ribbon: a run of rows of an unwrapped ring with an edge on either side; its width settled, its run followed.

Row by row one wall of a groove may be all there is to see; over its length both are. So its lips are set where,
over the whole run, the face begins to look as usual; and with its width known it is followed round the strip.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

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
FULL_GAP = 8
"""A run that is this many rows short of a lap closes on itself."""
UNLIKE_SHARES, GAP_MM = (0.2, 0.3, 0.45, 0.6), 0.35
"""A groove reaches as far as one of these shares of its own unlikeness, over gaps of at most `GAP_MM`: the one whose
end looks most like a lip."""
LEAST_EXCESS, DOUBT = 0.25, 0.4
"""Least rise over the usual; and how much better a lip inside the ribbon must look than one at its edges."""
APART, APART_MM = 0.1, 0.6
"""Two marks, not one, when the face between them is as usual (within `APART`) for longer than this."""
LEFT, AT_CREST = 1.2, 0.2
"""Weights in that: of unlikeness left beyond (against), of a crest (for)."""
SMOOTH_MM = 0.2
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
    """

    rows: NDArray[np.int64]
    inner: Array
    outer: Array
    score: float
    full: bool


def settle(ribbon: Ribbon, found: Evidence, strip: Strip, max_width_mm: float) -> Ribbon:
    """Set the edges where, over the whole run, the face begins to look as usual.

    Row by row one wall of a groove may be all there is to see; over its length both are.
    """
    lap = len(found.z)
    rows = ribbon.rows[ROWS // 2 :: ROWS] // ROWS
    middle = ((ribbon.inner + ribbon.outer) / 2)[ROWS // 2 :: ROWS][: len(rows)] / COLUMNS
    half = float(np.median(ribbon.outer - ribbon.inner)) / 2 / COLUMNS
    cell_mm = strip.step_mm * COLUMNS
    reach = int(max_width_mm / cell_mm)
    beyond = _beside(rows, middle, 0 if ribbon.full else lap - len(rows), strip.closed, lap)
    unlike, crest = (_straight(image, rows, middle, reach) for image in (found.off, found.z))
    other = _straight(found.off, *beyond, reach) if len(beyond[0]) > 4 else np.zeros_like(unlike)
    usual = float(np.percentile(unlike, 30))
    calm = _calm(unlike, round(SMOOTH_MM / cell_mm))
    gap = max(1, round(GAP_MM / cell_mm))
    span = (int(reach - half), int(reach + half) + 2)
    core = _core(calm > usual + APART, calm - usual, span, round(APART_MM / cell_mm))
    excess = float(np.percentile(unlike[core], 75)) - usual
    edges = []
    top = core.start + int(np.argmax(calm[core]))
    for side, border in ((-1, core.start), (1, core.stop - 1)):
        places = []
        for share, start in product(UNLIKE_SHARES, (border, top)):
            within = (calm > usual + max(LEAST_EXCESS, share * excess)) & (calm > other + 0.2)
            place = _grow(within, unlike, usual, start, side, gap)
            less = DOUBT if start == top else 0.0
            places.append((_lip_like(place, side, unlike, crest, usual) - less, place))
        edges.append(max(places)[1] - reach)
    low, high = edges
    if high - low < 2 or (high - low) * cell_mm > max_width_mm:
        return ribbon
    centre = (ribbon.inner + ribbon.outer) / 2
    return replace(ribbon, inner=centre + low * COLUMNS, outer=centre + high * COLUMNS)


def _core(within: NDArray[np.bool_], excess: Array, span: tuple[int, int], gap: int) -> slice:
    """The heaviest stretch without a long gap among those in a span; the span when there is none."""
    low, high = max(0, span[0]), min(len(within), span[1])
    at = np.flatnonzero(within[low:high]) + low
    if not len(at):
        return slice(low, high)
    parts = np.split(at, np.flatnonzero(np.diff(at) > gap + 1) + 1)
    best = max(parts, key=lambda part: float(excess[part].sum()))
    return slice(int(best[0]), int(best[-1]) + 1)


def _calm(values: Array, width: int) -> Array:
    """Running mean, ends repeated."""
    wide = max(1, width) | 1
    return np.convolve(np.pad(values, wide // 2, mode="edge"), np.full(wide, 1 / wide), mode="valid")


def _lip_like(edge: float, side: int, unlike: Array, crest: Array, usual: float) -> float:
    """How much a place looks like a lip: a fall of the unlikeness, to the usual, at a crest."""
    here = int(np.clip(np.rint(edge), 4, len(unlike) - 5))
    inside, outside = (unlike[here + side * np.array(steps)].mean() for steps in ((-3, -2, -1), (1, 2, 3)))
    at = float(crest[here - 1 : here + 2].max())
    return float(inside - outside - LEFT * max(0.0, outside - usual - 0.15) + AT_CREST * min(at, 4.0))


def _beside(
    rows: NDArray[np.int64], middle: Array, spare: int, closed: bool, lap: int
) -> tuple[NDArray[np.int64], Array]:
    """Rows just beyond both ends of a run, with the columns of the ends."""
    count = min(12, spare // 2)
    ahead = np.concatenate([rows[0] - 4 - np.arange(count), rows[-1] + 4 + np.arange(count)])
    column = np.repeat([middle[0], middle[-1]], count)
    ok = np.ones(len(ahead), dtype=bool) if closed else (ahead >= 0) & (ahead < lap)
    return ahead[ok], column[ok]


def _straight(image: Grid, rows: NDArray[np.int64], middle: Array, reach: int) -> Array:
    """Mean over rows of an image along a line, (2 reach + 1,); beyond the image as at its border."""
    index = np.rint(middle).astype(int)[:, None] + np.arange(-reach, reach + 1)
    part = image[(rows % len(image))[:, None], np.clip(index, 0, image.shape[1] - 1)]
    return np.asarray(part.mean(axis=0), dtype=np.float64)


def _grow(within: NDArray[np.bool_], unlike: Array, usual: float, start: int, side: int, gap: int) -> float:
    """Place of the lip on one side of a start: where the unlikeness has fallen half way to the usual."""
    last, idle, at = start, 0, start
    while 4 <= at < len(within) - 4:
        idle = 0 if within[at] else idle + 1
        if idle > gap:
            break
        last = at if idle == 0 else last
        at += side
    last = int(np.clip(last, 3, len(unlike) - 4))
    flank = unlike[last + side * np.arange(-3, 4)]
    level = 0.5 * (max(usual, float(flank[3:].min())) + float(flank[:4].max()))
    below = np.flatnonzero((flank[1:] <= level) & (flank[:-1] > level))
    if not len(below):
        return last + 0.5 * side
    step = int(below[-1])
    return float(last + side * (step - 3 + (flank[step] - level) / (flank[step] - flank[step + 1])))


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
    line, said = _follow_line(_both_lips(found, width), span, guess, strip)
    first, last = (int(r) - int(span[0]) for r in (rows[0], rows[-1]))
    calm = np.convolve(said, np.full(5, 0.2), mode="same")
    core = first + int(np.argmax(calm[first : last + 1]))
    last, first = core + _reach(said[core + 1 :]), core - _reach(said[:core][::-1])
    full = strip.closed and last - first + 1 + FULL_GAP >= lap
    if full:
        first = max(0, min(first, len(span) - lap))
        last = first + lap - 1
    taken = np.arange(first, last + 1)
    fine = np.arange(span[first] * ROWS, (span[last] + 1) * ROWS)
    centre = np.interp((fine - ROWS // 2) / ROWS, span[taken], line[taken]) * COLUMNS
    half = width * COLUMNS / 2
    return replace(ribbon, rows=fine, inner=centre - half, outer=centre + half, full=bool(full))


def _both_lips(found: Evidence, width: float) -> Grid:
    """How much a cell speaks for being the middle of a groove of known width (cells), (T', R')."""
    slack = max(1, round(0.06 * width))
    a, b = int(np.floor(width / 2 + 0.5)), int(np.ceil(width / 2 - 0.5))
    window = np.ones((1, 2 * slack + 1), np.uint8)
    lips: Grid = np.asarray(cv2.dilate(np.minimum(found.z, 4.0), window), dtype=np.float32)
    sums = np.cumsum(np.pad(found.off, ((0, 0), (1, 0))), axis=1).astype(np.float32)
    near = max(3, round(0.5 * width))
    sides = mean_between(sums, -a - 2 - near, -a - 2) + mean_between(sums, b + 2, b + 2 + near)
    beside = np.maximum(0.5 * sides, 1.2)
    inside = 2.0 * np.clip(mean_between(sums, 1 - a, b - 1) - beside - OTHER, 0.0, 1.0)
    weaker = np.minimum(moved(lips, -a), moved(lips, b))
    out = weaker - ALONE + inside
    return np.asarray(np.where(found.z > 0, out, 0.0), dtype=np.float32)


def _reach(said: Array) -> int:
    """How many rows to go on: to the best sum, but not over a long stretch that speaks against."""
    total = np.cumsum(said)
    if not len(total):
        return 0
    fallen = np.maximum.accumulate(np.concatenate([[0.0], total]))[1:] - total
    stop = int(np.argmax(fallen > DROP)) if (fallen > DROP).any() else len(total)
    best = int(np.argmax(total[:stop])) if stop else 0
    return best + 1 if stop and total[best] > 0 else 0


def _follow_line(layer: Grid, span: NDArray[np.int64], guess: Array, strip: Strip) -> tuple[Array, Array]:
    """Best line within 1 mm of a guess (cells), by dynamic programming; its cells and their gains."""
    reach = max(2, round(STRAY_MM / (strip.step_mm * COLUMNS)))
    index = np.clip(np.rint(guess).astype(int)[:, None] + np.arange(-reach, reach + 1), 0, layer.shape[1] - 1)
    gain = layer[(span % len(layer))[:, None], index].astype(np.float64)
    drift = np.diff(np.rint(guess).astype(int), prepend=round(guess[0]))
    size, edge = index.shape[1], int(np.abs(drift).max()) + 1
    before = np.full(size + 2 * edge, -1e9)
    total = gain[0] - 0.1 * np.abs(np.arange(-reach, reach + 1))
    stepped = np.zeros(index.shape, dtype=np.int8)
    for i in range(1, len(span)):
        before[edge : edge + size] = total
        at = edge + drift[i]
        stay, left, right = before[at : at + size], before[at - 1 : at - 1 + size], before[at + 1 : at + 1 + size]
        aside = np.maximum(left, right) - STRAY_COST
        total = np.maximum(stay, aside)
        stepped[i] = np.where(stay >= aside, 0, np.where(left >= right, -1, 1))
        total += gain[i]
    path = np.empty(len(span), dtype=np.int64)
    path[-1] = int(np.argmax(total))
    for i in range(len(span) - 1, 0, -1):
        path[i - 1] = min(max(path[i] + drift[i] + stepped[i, path[i]], 0), size - 1)
    rows = np.arange(len(span))
    return index[rows, path].astype(np.float64), gain[rows, path]
