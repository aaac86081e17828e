"""Search for ribbons: pairs of edges that run along an unwrapped ring side by side.

The best pairs are followed by dynamic programming over row, width and place: the best-scoring run of rows, as in
local sequence alignment (Smith and Waterman 1981, from memory). One is taken, what overlaps it is forbidden, and
the search goes on.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from wearvision.measure.edges import Grid
from wearvision.measure.evidence import COLUMNS, ROWS, Evidence
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import FULL_GAP, Ribbon, extend
from wearvision.measure.sectors import refine
from wearvision.measure.unwrap import Strip

CLIP = 5.0
OFFSET = 2.0
"""An edge scores min(z, CLIP) - OFFSET, z its strength over the usual strength nearby."""
INSIDE, OUTSIDE = 0.15, 0.4
"""Part of the score of edges inside the ribbon that speaks for it, and of edges just outside that speaks against."""
USUAL = 1.6
"""Unlikeness met on a sound face."""
UNLIKE, MASS, BESIDE = 1.0, 1.0, 3.0
"""Weight of being unlike the face inside the ribbon: in all, and per mm of width; and just outside (against)."""
MOST, UNSEEN, NOWHERE = 12.0, -0.05, -4.0
"""Highest score of a row; score where nothing is seen; score where a ribbon cannot be."""
MIN_WIDTH_PX = 4.0
WIDTH_RATIO = 1.18
SLIDE, WIDEN = 1.0, 4.0
"""Cost of a side step of one column, and of a step to the next width."""
GAP = 6
"""Rows of the search without evidence that end a run."""
SLIDE_ROWS = 5
MOST_SLIDE = 0.06
"""Steepest wander of a groove over `SLIDE_ROWS` rows, mm per degree."""
BOUND = 0.97
"""A mark of this share of the widest looked for has no lip: the search ended there, not the mark."""
MOST_WIDTHS = 3
"""Widths (steps of `WIDTH_RATIO`) that a groove may lie off its usual one."""
State = tuple[int, int, int]
"""Row, width and column of the search."""


def find_ribbons(strip: Strip, found: Evidence, *, max_width_mm: float, least: float, most: int = 7) -> list[Ribbon]:
    """Best ribbons that do not overlap, best first; parts that meet at the strip's seam are joined.

    Parameters
    ----------
    max_width_mm : widest ribbon looked for
    least : least score
    most : how many at most
    """
    cell_px = strip.step_mm * COLUMNS / strip.px_mm
    low = MIN_WIDTH_PX / cell_px
    high = max(1.2 * low, max_width_mm / (strip.step_mm * COLUMNS))
    count = 1 + int(np.log(high / low) / np.log(WIDTH_RATIO))
    widths: Array = low * np.power(WIDTH_RATIO, np.arange(count, dtype=np.float64))
    rimmed = _rimmed(_gains(found, widths, cell_px, strip.step_mm * COLUMNS))
    gain, table = rimmed[:, :, 1:-1], np.zeros((len(rimmed), count + 2, rimmed.shape[2]), dtype=np.float32)
    ribbons: list[Ribbon] = []
    free = replace(strip, valid=strip.valid.copy())
    for _ in range(most):
        seam = _seam(rimmed) if strip.closed else 0
        _align(rimmed, seam, table)
        end = np.unravel_index(int(np.argmax(table)), table.shape)
        if table[end] < least:
            break
        path = _trace(table, (int(end[0]), int(end[1]), int(end[2])))
        said = np.array([gain[(row + seam) % len(gain), w, c] for row, w, c in path])
        run = _best_run(path, said, widths, strip)
        ribbon = _ribbon([path[i] for i in run], seam, widths, float(said[run.start : run.stop].sum()), strip)
        ribbon = refine(ribbon, found, free, max_width_mm)
        if np.median(ribbon.outer - ribbon.inner) * strip.step_mm < BOUND * max_width_mm:
            ribbon = extend(ribbon, found, strip)
            if ribbon.score >= 0.5 * least:
                ribbons.append(ribbon)
                _take(free, ribbon)
            _forbid(gain, widths, ribbon)
        for i in run:
            row, _, c = path[i]
            gain[(row + seam) % len(gain), :, max(0, c - 2) : c + 3] = NOWHERE
    return sorted(ribbons, key=lambda r: -r.score)


def _take(free: Strip, ribbon: Ribbon) -> None:
    """What one ribbon covers is no part of the next."""
    low = np.maximum(0, np.rint(ribbon.inner)).astype(int)
    high = np.maximum(0, np.rint(ribbon.outer) + 1).astype(int)
    part = slice(int(low.min()), int(high.max()))
    column = np.arange(free.valid.shape[1])[part]
    covered = (column >= low[:, None]) & (column < high[:, None])
    free.valid[ribbon.rows % len(free.valid), part] &= ~covered


def _seam(gain: Grid) -> int:
    """Row to begin a closed strip at: where least speaks for any ribbon."""
    best = np.pad(gain.max(axis=(1, 2)), 2, mode="wrap")
    return int(np.argmin(np.convolve(best, np.full(5, 0.2), mode="valid")))


def _forbid(gain: Grid, widths: Array, ribbon: Ribbon) -> None:
    """Forbid ribbons that overlap one that is taken."""
    rows, inner, outer = (x[ROWS // 2 :: ROWS] for x in (ribbon.rows, ribbon.inner, ribbon.outer))
    low = np.maximum(0, (inner[:, None] / COLUMNS - widths / 2 - 1).astype(int))[..., None]
    high = np.maximum(0, (outer[:, None] / COLUMNS + widths / 2 + 2).astype(int))[..., None]
    part = slice(int(low.min()), int(high.max()))
    cell = np.arange(gain.shape[2])[part]
    at = rows // ROWS % len(gain)
    gain[at, :, part] = np.where((cell >= low) & (cell < high), NOWHERE, gain[at, :, part])


def _best_run(path: list[State], gain: Array, widths: Array, strip: Strip) -> range:
    """Best part of a path, cut where nothing speaks for it for `GAP` rows, and where it slides to another mark.

    A groove whose one wall fades keeps the other lip: only where both edges move together does a path slide.
    """
    half = np.array([widths[w] for _, w, _ in path]) / 2
    centre = np.array([c for _, _, c in path], dtype=np.float64)
    most = MOST_SLIDE * SLIDE_ROWS * ROWS * strip.step_deg / (strip.step_mm * COLUMNS)
    slide = np.zeros(len(path))
    if len(path) > SLIDE_ROWS:
        moved = [np.abs(e[SLIDE_ROWS:] - e[:-SLIDE_ROWS]) for e in (centre - half, centre + half)]
        far = np.minimum(*moved)
        for k in range(SLIDE_ROWS + 1):
            part = slide[k : k + len(far)]
            np.maximum(part, far, out=part)
    kind = np.array([w for _, w, _ in path])
    usual = np.abs(kind - np.median(kind)) <= MOST_WIDTHS
    good = np.flatnonzero((gain > 0.5) & (slide <= most) & usual)
    if not len(good):
        return range(len(path) - 1, len(path))
    jumps = np.maximum.accumulate(np.where(slide > most, np.arange(len(path)), -1))
    split = np.flatnonzero((np.diff(good) > GAP + 1) | (jumps[good[1:]] > good[:-1])) + 1
    parts = [range(int(part[0]), int(part[-1]) + 1) for part in np.split(good, split)]
    return max(parts, key=lambda part: float(gain[part.start : part.stop].sum()))


def _gains(found: Evidence, widths: Array, cell_px: float, cell_mm: float) -> Grid:
    """Score (T', W, R') of a ribbon centred on a cell, for each width in cells."""
    z = found.z
    rows, columns = z.shape
    out = np.full((rows, len(widths), columns), NOWHERE, dtype=np.float32)
    crest = np.minimum(z, CLIP) - OFFSET
    room = round(2 * float(widths[-1]) + 4.0 / cell_px) + 8
    unlike, sums = _Shifted(found.off, room, summed=True), _Shifted(np.maximum(crest, 0), room, summed=True)
    for k, width in enumerate(widths):
        slack = max(1, round(0.08 * width))
        lip = cv2.dilate(crest, np.ones((1, 2 * slack + 1), np.uint8))
        score = _Shifted(np.asarray(lip, dtype=np.float32), room)
        near = max(1, round(max(4.0 / cell_px, 0.3 * width)))
        a, b = int(np.floor(width / 2 + 0.5)), int(np.ceil(width / 2 - 0.5))
        lower, upper = score.at(-a), score.at(b)
        weaker_and_mean = np.minimum(lower, upper) + 0.5 * (lower + upper)
        total = weaker_and_mean.copy()
        inside = np.minimum(unlike.mean(1 - a, b - 1), 3.0) - USUAL
        total += (UNLIKE + MASS * width * cell_mm) * inside
        beside = np.maximum(unlike.mean(-a - near - slack, -a - slack), unlike.mean(b + slack, b + slack + near))
        total -= BESIDE * np.maximum(beside - USUAL, 0.0)
        total += INSIDE * (sums.at(b - slack) - sums.at(slack + 1 - a))
        total -= OUTSIDE * (sums.at(-a - slack) - sums.at(-a - slack - near))
        total -= OUTSIDE * (sums.at(b + slack + near + 1) - sums.at(b + slack + 1))
        reach = a + slack + near + 2
        out[:, k, reach : columns - reach] = total[:, reach : columns - reach]
        for side, edge in ((slice(0, reach), -1), (slice(columns - reach, columns), 1)):
            out[:, k, side] = _at_border(weaker_and_mean, side, edge, (a, b))
    np.copyto(out, np.float32(UNSEEN), where=(z <= 0)[:, None, :])
    return np.minimum(out, MOST, out=out)


class _Shifted:
    """An image whose columns are read some way off, 0 from outside: views of one copy with room on either side."""

    def __init__(self, image: Grid, room: int, *, summed: bool = False) -> None:
        """With `summed` its running sums along the rows: entry c is the sum before column c."""
        if summed:
            image = np.cumsum(np.pad(image, ((0, 0), (1, 0))), axis=1).astype(np.float32)
        self._columns, self._room = image.shape[1] - summed, room
        self._wide = np.pad(image, ((0, 0), (room, room)))

    def at(self, by: int) -> Grid:
        """Column c of the answer is column c + by."""
        return self._wide[:, self._room + by : self._room + by + self._columns]

    def mean(self, low: int, high: int) -> Grid:
        """Mean over the columns c + low to c + high, of running sums; wrong near the border."""
        total = self.at(high + 1) - self.at(low)
        total /= np.float32(high + 1 - low)
        return total


def _at_border(lips: Grid, side: slice, edge: int, half: tuple[int, int]) -> Grid:
    """Score beside the strip's border, where nothing beyond can be seen; -4 where the ribbon would cross it."""
    total = lips[:, side].copy()
    if edge < 0:
        total[:, : half[0] + 1] = NOWHERE
    else:
        total[:, total.shape[1] - half[1] - 1 :] = NOWHERE
    return np.asarray(total, dtype=np.float32)


SLIDE_STEP, WIDEN_STEP, NOTHING = np.float32(SLIDE), np.float32(WIDEN), np.float32(0)
STEPS = ((0, 0, 0.0), (0, -1, SLIDE), (0, 1, SLIDE), (-1, 0, WIDEN), (1, 0, WIDEN))


def _rimmed(gain: Grid) -> Grid:
    """Gains with a column on either side where no ribbon can be, (T', W, R' + 2)."""
    out = np.full((*gain.shape[:2], gain.shape[2] + 2), -np.inf, dtype=np.float32)
    out[:, :, 1:-1] = gain
    return out


def _align(rimmed: Grid, seam: int, table: Grid) -> None:
    """Best score of a run that ends at each state, on rows taken from the seam on, into a table (T', W + 2, R' + 2).

    Widths and columns of the table have a rim of zeros, so that a step aside or to the next width is a shift of both
    in one line.
    """
    rows, _, span = rimmed.shape
    lines, told = table.reshape(rows, -1), rimmed.reshape(rows, -1)
    whole, length = lines.shape[1], told.shape[1]
    here = slice(span, whole - span)
    before = np.zeros(whole, dtype=np.float32)
    side, wide = (np.empty(length, dtype=np.float32) for _ in range(2))
    for i in range(rows):
        best = lines[i, here]
        np.maximum(before[span - 1 : whole - span - 1], before[span + 1 : whole - span + 1], out=side)
        np.maximum(before[:length], before[2 * span :], out=wide)
        np.subtract(side, SLIDE_STEP, out=side)
        np.subtract(wide, WIDEN_STEP, out=wide)
        np.maximum(side, wide, out=side)
        np.maximum(before[here], side, out=best)
        np.add(best, told[(i + seam) % rows], out=best)
        np.maximum(best, NOTHING, out=best)
        before = lines[i]


def _trace(table: Grid, end: State) -> list[State]:
    """States of the run that ends at an entry of the table with its rim, first to last: from each to the best it may
    have come from."""
    i, w, c = end
    path = [(i, w - 1, c - 1)]
    while i > 0:
        came = [
            (float(table[i - 1, w + dw, c + dc]) - cost, -n, w + dw, c + dc)
            for n, (dw, dc, cost) in enumerate(STEPS)
        ]
        best, _, w, c = max(came)
        if best <= 0:
            break
        i -= 1
        path.append((i, w - 1, c - 1))
    return path[::-1]


def _ribbon(path: list[State], seam: int, widths: Array, score: float, strip: Strip) -> Ribbon:
    """A path of cells as columns of the strip at every row."""
    rows = np.array([p[0] for p in path]) + seam
    width = np.array([widths[p[1]] for p in path])
    centre = np.array([p[2] for p in path], dtype=np.float64)
    lap = len(strip.values)
    full = strip.closed and (rows[-1] - rows[0] + 1 + FULL_GAP) * ROWS >= lap
    fine = np.arange(rows[0] * ROWS, rows[0] * ROWS + lap if full else (rows[-1] + 1) * ROWS)
    at, period = (fine - ROWS // 2) / ROWS, lap / ROWS if full else None
    return Ribbon(
        rows=fine, inner=np.interp(at, rows, centre - width / 2, period=period) * COLUMNS,
        outer=np.interp(at, rows, centre + width / 2, period=period) * COLUMNS, score=score, full=full,
    )  # fmt: skip
