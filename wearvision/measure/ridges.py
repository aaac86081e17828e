"""Ribbons in an unwrapped ring: pairs of edges that run along it side by side.

A groove shows as two lips at a nearly constant radius over some arc. Lathe marks are as long but weak, and the
same everywhere; rust, stains and shadows are strong but do not run along. So the radial slope is averaged along
the strip (clipped, so that a rust spot cannot buy a vote), divided by its local usual size, and the best pairs of
edges are followed by dynamic programming: the best-scoring run of rows, as in local sequence alignment.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, along, log_gray, slope
from wearvision.measure.plane import Array
from wearvision.measure.unwrap import Strip

SIGMA_PX = 1.1
"""Smoothing across the edges, photo px; about the blur of a sharp phone photo."""
ALONG_DEG = 3.5
"""Length of the running mean along the strip."""
ROWS, COLUMNS = 4, 2
"""Rows and columns of the strip per cell of the search."""
CLIP = 5.0
OFFSET = 2.0
"""An edge scores min(z, CLIP) - OFFSET, z its strength over the usual strength nearby."""
LEVEL_MM = 16.0
"""Width over which the grey of the face is taken; more than twice the widest groove."""
INSIDE, OUTSIDE = 0.15, 0.4
"""Part of the score of edges inside the ribbon that speaks for it, and of edges just outside that speaks against."""
USUAL = 1.6
"""Unlikeness met on a sound face."""
UNLIKE, MASS, BESIDE = 1.0, 1.0, 3.0
"""Weight of the grey inside being unlike the face's, in all and per mm of width, and of that just outside (against)."""
MIN_WIDTH_PX = 4.0
WIDTH_RATIO = 1.18
SLIDE = 1.0
"""Cost of a side step of one column."""
WIDEN = 4.0
"""Cost of a step to the next width."""
GAP = 6
"""Rows of the search without evidence that end a run."""
UNSEEN = -0.05
ALONE = 1.55
"""Half way between the weaker lip of a weakly lit groove and that of no groove at all, in usual strengths."""
OTHER, DROP = 0.8, 12.0
"""Unlikeness that counts even where a lip is not seen; and how far the sum may fall before a line is given up."""
FULL_GAP = 8
"""A run that is this many rows short of a lap closes on itself."""
UNLIKE_SHARE, GAP_MM = 0.3, 0.35
"""A groove reaches as far as this share of its own unlikeness, over gaps of at most this length."""
SLIDE_ROWS = 5
MOST_SLIDE = 0.06
"""Steepest wander of a groove over `SLIDE_ROWS` rows, mm per degree."""
State = tuple[int, int, int]
"""Row, width and column of the search."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """Edges along the strip.

    Attributes
    ----------
    gray : (T, R) float32
        Log grey of the strip.
    signed : (T, R) float32
        Slope of log grey per photo px along the radius, averaged along the strip.
    usual : (T,) array
        Usual size of `signed` in each row.
    z : (T', R') float32
        Its crests over the usual size nearby, on the cells of the search; 0 where not valid.
    off : (T', R') float32
        How far the log grey lies from that of the face around, over the usual distance nearby, same cells.
    """

    gray: Grid
    signed: Grid
    usual: Array
    z: Grid
    off: Grid


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


def evidence(strip: Strip) -> Evidence:
    """Edge evidence of a strip."""
    per_px = strip.px_mm / strip.step_mm
    rows = round(ALONG_DEG / strip.step_deg) | 1
    gray = log_gray(strip.values)
    steep = slope(gray, SIGMA_PX * per_px) * np.float32(per_px)
    plain = along(steep, rows, closed=strip.closed)
    limit = sum(f * np.median(np.abs(x[::ROWS, ::COLUMNS]), axis=1) for f, x in ((3.0, steep), (5.0, plain)))
    limit = np.asarray(limit).repeat(ROWS)[: len(steep), None] + 1e-4
    signed = along(np.clip(steep, -limit, limit).astype(np.float32), rows, closed=strip.closed)
    valid = cv2.erode(strip.valid.astype(np.uint8), np.ones((3, max(3, round(3 * per_px))), np.uint8))
    lines = np.abs(signed[ROWS // 2 :: ROWS])
    seen = valid[ROWS // 2 :: ROWS, ::COLUMNS] > 0
    usual = _usual(lines[:, ::COLUMNS], seen, strip)
    crest = np.where(lines >= cv2.dilate(lines, np.ones((1, 2 * round(per_px) + 1), np.uint8)), lines, 0)
    cells = cv2.dilate(crest, np.ones((1, COLUMNS), np.uint8), anchor=(0, 0))[:, ::COLUMNS]
    off = _off(gray, strip, rows, seen)
    row_usual = 1.4826 * np.median(lines[:, ::3], axis=1).astype(np.float64) + 1e-4
    return Evidence(
        gray=gray, signed=signed, off=off,
        usual=row_usual[np.minimum(np.arange(len(signed)) // ROWS, len(row_usual) - 1)],
        z=np.where(seen, np.maximum(cells / usual, 0.01), 0).astype(np.float32),
    )  # fmt: skip


def _off(gray: Grid, strip: Strip, rows: int, seen: NDArray[np.bool_]) -> Grid:
    """How unlike the face around: in grey and in roughness along the strip, over the usual difference; at most 4."""
    rough = np.abs(np.diff(gray, axis=0, append=gray[:1] if strip.closed else gray[-1:]))
    parts = []
    for image in (gray, rough):
        calm = along(image, rows, closed=strip.closed)[ROWS // 2 :: ROWS]
        image = calm if image is gray else np.log(cv2.blur(calm, (3, 1)) + np.float32(2e-3))
        parts.append(_away(image, strip))
    both = cv2.magnitude(*parts)
    return np.asarray(np.where(seen, np.minimum(both, 4.0), 0.0), dtype=np.float32)


def _away(image: Grid, strip: Strip) -> Grid:
    """Distance from the level of the face around, over its usual size in the row."""
    wide = round(LEVEL_MM / strip.step_mm) | 1
    level = cv2.blur(image, (wide, 1), borderType=cv2.BORDER_REFLECT)
    for _ in range(3):
        reach = 0.7 * np.median(np.abs(image[:, ::4] - level[:, ::4]), axis=1, keepdims=True)
        held = np.clip(image, level - reach, level + reach).astype(np.float32)
        level = cv2.blur(held, (wide, 1), borderType=cv2.BORDER_REFLECT)
    away = np.abs(image - level)[:, ::COLUMNS]
    usual = 1.4826 * np.median(away, axis=1, keepdims=True)
    usual = np.maximum(usual, 0.5 * np.median(usual)) + 1e-3
    return np.asarray(away / usual, dtype=np.float32)


def _usual(cells: Grid, seen: NDArray[np.bool_], strip: Strip) -> Grid:
    """Usual size of the evidence: a rising quantile over blocks of some degrees and millimetres."""
    tall = max(4, round(12.0 / (strip.step_deg * ROWS)))
    wide = max(8, round(7.0 / (strip.step_mm * COLUMNS)))
    rows, columns = max(1, len(cells) // tall), max(1, cells.shape[1] // wide)
    row_cut = np.linspace(0, len(cells), rows + 1).astype(int)
    column_cut = np.linspace(0, cells.shape[1], columns + 1).astype(int)
    grid = np.zeros((rows, columns), dtype=np.float32)
    for i in range(rows):
        for k in range(columns):
            part = (slice(row_cut[i], row_cut[i + 1]), slice(column_cut[k], column_cut[k + 1]))
            here = cells[part][seen[part]]
            grid[i, k] = 1.4826 * np.median(here) if len(here) > 10 else np.nan
    floor = np.nanmedian(grid) if np.isfinite(grid).any() else np.float32(1e-3)
    grid = np.where(np.isfinite(grid), grid, floor)
    lone = np.median(grid, axis=1, keepdims=True)
    grid = np.clip(grid, 0.7 * lone, 2.5 * lone) + 2e-4
    smooth = cv2.resize(grid.astype(np.float32), cells.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(smooth, dtype=np.float32)


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
    widths = low * WIDTH_RATIO ** np.arange(1 + int(np.log(high / low) / np.log(WIDTH_RATIO)))
    gain = _gains(found, widths, cell_px, strip.step_mm * COLUMNS)
    ribbons: list[Ribbon] = []
    for _ in range(most):
        seam = _seam(gain) if strip.closed else 0
        table, choice = _align(gain, seam)
        end = np.unravel_index(int(np.argmax(table)), table.shape)
        if table[end] < least:
            break
        path = _trace(choice, (int(end[0]), int(end[1]), int(end[2])))
        said = np.array([gain[(row + seam) % len(gain), w, c] for row, w, c in path])
        run = _best_run(path, said, widths, strip)
        ribbon = _ribbon([path[i] for i in run], seam, widths, float(said[run.start : run.stop].sum()), strip)
        ribbon = _settle(ribbon, found, strip, max_width_mm)
        ribbon = _extend(ribbon, found, strip)
        ribbons.append(ribbon)
        _forbid(gain, widths, ribbon)
        for i in run:
            row, _, c = path[i]
            gain[(row + seam) % len(gain), :, max(0, c - 2) : c + 3] = -4.0
    return sorted(ribbons, key=lambda r: -r.score)


def _seam(gain: Grid) -> int:
    """Row to begin a closed strip at: where least speaks for any ribbon."""
    best = np.pad(gain.max(axis=(1, 2)), 2, mode="wrap")
    return int(np.argmin(np.convolve(best, np.full(5, 0.2), mode="valid")))


def _forbid(gain: Grid, widths: Array, ribbon: Ribbon) -> None:
    """Forbid ribbons that overlap one that is taken."""
    rows, inner, outer = (x[ROWS // 2 :: ROWS] for x in (ribbon.rows, ribbon.inner, ribbon.outer))
    for row, low, high in zip(rows // ROWS % len(gain), inner / COLUMNS, outer / COLUMNS, strict=True):
        for k, width in enumerate(widths):
            gain[row, k, max(0, int(low - width / 2 - 1)) : max(0, int(high + width / 2 + 2))] = -4.0


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
    good = np.flatnonzero((gain > 0.5) & (slide <= most))
    if not len(good):
        return range(len(path) - 1, len(path))
    jumps = np.maximum.accumulate(np.where(slide > most, np.arange(len(path)), -1))
    split = np.flatnonzero((np.diff(good) > GAP + 1) | (jumps[good[1:]] > good[:-1])) + 1
    parts = [range(int(part[0]), int(part[-1]) + 1) for part in np.split(good, split)]
    return max(parts, key=lambda part: float(gain[part.start : part.stop].sum()))


def _extend(ribbon: Ribbon, found: Evidence, strip: Strip) -> Ribbon:
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
    line, said = _follow_line(_both_lips(found, width), span, np.interp(span, rows, middle), strip)
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
    lips = cv2.dilate(np.minimum(found.z, 4.0), np.ones((1, 2 * slack + 1), np.uint8))
    sums = np.cumsum(np.pad(found.off, ((0, 0), (1, 0))), axis=1).astype(np.float32)
    near = max(3, round(0.5 * width))
    beside = np.maximum(0.5 * (_mean(sums, -a - 2 - near, -a - 2) + _mean(sums, b + 2, b + 2 + near)), 1.2)
    inside = 2.0 * np.clip(_mean(sums, 1 - a, b - 1) - beside - OTHER, 0.0, 1.0)
    out = np.minimum(_moved(lips, -a), _moved(lips, b)) - ALONE + inside
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
    reach = max(2, round(1.0 / (strip.step_mm * COLUMNS)))
    index = np.clip(np.rint(guess).astype(int)[:, None] + np.arange(-reach, reach + 1), 0, layer.shape[1] - 1)
    gain = layer[(span % len(layer))[:, None], index].astype(np.float64)
    base = np.rint(guess).astype(int)
    total = gain[0] - 0.1 * np.abs(np.arange(-reach, reach + 1))
    came = np.zeros(index.shape, dtype=np.int64)
    place = np.arange(2 * reach + 1)
    for i in range(1, len(span)):
        drift = base[i] - base[i - 1]
        source = place[:, None] + drift + np.array([0, -1, 1])[None, :]
        value = np.where((source >= 0) & (source < len(place)), total[source.clip(0, len(place) - 1)], -1e9)
        value = value - np.array([0.0, SLIDE, SLIDE])
        best = np.argmax(value, axis=1)
        came[i] = source[place, best].clip(0, len(place) - 1)
        total = value[place, best] + gain[i]
    path = np.empty(len(span), dtype=np.int64)
    path[-1] = int(np.argmax(total))
    for i in range(len(span) - 1, 0, -1):
        path[i - 1] = came[i, path[i]]
    rows = np.arange(len(span))
    return index[rows, path].astype(np.float64), gain[rows, path]


def _gains(found: Evidence, widths: Array, cell_px: float, cell_mm: float) -> Grid:
    """Score (T', W, R') of a ribbon centred on a cell, for each width in cells."""
    z = found.z
    rows, columns = z.shape
    unlike = np.cumsum(np.pad(found.off, ((0, 0), (1, 0))), axis=1).astype(np.float32)
    out = np.full((rows, len(widths), columns), -4.0, dtype=np.float32)
    crest = np.minimum(z, CLIP) - OFFSET
    sums = np.cumsum(np.pad(np.maximum(crest, 0), ((0, 0), (1, 0))), axis=1).astype(np.float32)
    for k, width in enumerate(widths):
        slack = max(1, round(0.08 * width))
        score = cv2.dilate(crest, np.ones((1, 2 * slack + 1), np.uint8))
        near = max(1, round(max(4.0 / cell_px, 0.3 * width)))
        a, b = int(np.floor(width / 2 + 0.5)), int(np.ceil(width / 2 - 0.5))
        lower, upper = _moved(score, -a), _moved(score, b)
        total = np.minimum(lower, upper) + 0.5 * (lower + upper)
        inside = np.minimum(_mean(unlike, 1 - a, b - 1), 3.0) - USUAL
        total += (UNLIKE + MASS * width * cell_mm) * inside
        beside = np.maximum(_mean(unlike, -a - near - slack, -a - slack), _mean(unlike, b + slack, b + slack + near))
        total -= BESIDE * np.maximum(beside - USUAL, 0.0)
        total += INSIDE * (_moved(sums, b - slack)[:, :-1] - _moved(sums, slack + 1 - a)[:, :-1])
        total -= OUTSIDE * (_moved(sums, -a - slack)[:, :-1] - _moved(sums, -a - slack - near)[:, :-1])
        total -= OUTSIDE * (_moved(sums, b + slack + near + 1)[:, :-1] - _moved(sums, b + slack + 1)[:, :-1])
        reach = a + slack + near + 2
        out[:, k, reach : columns - reach] = total[:, reach : columns - reach]
        for side, edge in ((slice(0, reach), -1), (slice(columns - reach, columns), 1)):
            out[:, k, side] = _at_border(lower, upper, side, edge, (a, b))
    out[np.repeat((z <= 0)[:, None, :], len(widths), axis=1)] = UNSEEN
    return np.minimum(out, 12.0)


def _mean(sums: Grid, low: int, high: int) -> Grid:
    """Mean over the columns c + low to c + high, from running sums; wrong near the border."""
    return np.asarray((_moved(sums, high + 1) - _moved(sums, low))[:, :-1] / np.float32(high + 1 - low))


def _at_border(lower: Grid, upper: Grid, side: slice, edge: int, half: tuple[int, int]) -> Grid:
    """Score beside the strip's border, where nothing beyond can be seen; -4 where the ribbon would cross it."""
    total = (np.minimum(lower, upper) + 0.5 * (lower + upper))[:, side].copy()
    if edge < 0:
        total[:, : half[0] + 1] = -4.0
    else:
        total[:, total.shape[1] - half[1] - 1 :] = -4.0
    return np.asarray(total, dtype=np.float32)


def _moved(image: Grid, by: int) -> Grid:
    """Column c of the answer is column c + by; 0 from outside."""
    out = np.zeros_like(image)
    if by >= 0:
        out[:, : image.shape[1] - by] = image[:, by:]
    else:
        out[:, -by:] = image[:, :by]
    return out


STEPS = ((0, 0, 0.0), (0, -1, SLIDE), (0, 1, SLIDE), (-1, 0, WIDEN), (1, 0, WIDEN))
FRESH = len(STEPS)


def _align(gain: Grid, seam: int) -> tuple[Grid, NDArray[np.int8]]:
    """Best score of a run that ends at each state, and the step by which it came (`FRESH`: it begins there)."""
    rows, widths, columns = gain.shape
    table = np.zeros(gain.shape, dtype=np.float32)
    choice = np.full(gain.shape, FRESH, dtype=np.int8)
    before = np.zeros((widths + 2, columns + 2), dtype=np.float32)
    came = np.empty((widths, columns), dtype=np.float32)
    for i in range(rows):
        best, how = table[i], choice[i]
        best[...] = before[1:-1, 1:-1]
        how[...] = 0
        for k, (dw, dc, cost) in enumerate(STEPS[1:], start=1):
            np.subtract(before[1 + dw : 1 + dw + widths, 1 + dc : 1 + dc + columns], np.float32(cost), out=came)
            better = came > best
            np.copyto(best, came, where=better)
            np.copyto(how, np.int8(k), where=better)
        np.copyto(how, np.int8(FRESH), where=best <= 0)
        best += gain[(i + seam) % rows]
        np.maximum(best, 0, out=best)
        before[1:-1, 1:-1] = best
    return table, choice


def _trace(choice: NDArray[np.int8], end: State) -> list[State]:
    """States of the run that ends at a state, first to last."""
    i, w, c = end
    path = [end]
    while i > 0 and choice[i, w, c] != FRESH:
        dw, dc, _ = STEPS[choice[i, w, c]]
        i, w, c = i - 1, w + dw, c + dc
        path.append((i, w, c))
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


def _settle(ribbon: Ribbon, found: Evidence, strip: Strip, max_width_mm: float) -> Ribbon:
    """Set the edges where, over the whole run, the face begins to look as usual.

    Row by row one wall of a groove may be all there is to see; over its length both are.
    """
    lap = len(found.z)
    rows = ribbon.rows[ROWS // 2 :: ROWS] // ROWS
    middle = ((ribbon.inner + ribbon.outer) / 2)[ROWS // 2 :: ROWS] / COLUMNS
    half = float(np.median(ribbon.outer - ribbon.inner)) / 2 / COLUMNS
    cell_mm = strip.step_mm * COLUMNS
    reach = int(max_width_mm / cell_mm)
    beside = _beside(rows, middle, 0 if ribbon.full else lap - len(rows), strip.closed, lap)
    unlike = _straight(found.off, rows, middle, reach)
    other = _straight(found.off, *beside, reach) if len(beside[0]) > 4 else None
    usual = float(np.percentile(unlike, 30))
    core = slice(max(0, int(reach - half)), int(reach + half) + 2)
    limit = usual + max(0.25, UNLIKE_SHARE * (float(np.median(unlike[core])) - usual))
    within = (unlike > limit) & (True if other is None else unlike > other + 0.2)
    gap = max(1, round(GAP_MM / cell_mm))
    edges = [_grow(within, unlike, usual, int(half), side, gap) for side in (-1, 1)]
    low, high = edges
    if high - low < 2 or (high - low) * cell_mm > max_width_mm:
        return ribbon
    centre = (ribbon.inner + ribbon.outer) / 2
    return replace(ribbon, inner=centre + low * COLUMNS, outer=centre + high * COLUMNS)


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
    """Mean over rows of an image along a line, (2 reach + 1,)."""
    index = np.rint(middle).astype(int)[:, None] + np.arange(-reach, reach + 1)
    inside = (index >= 0) & (index < image.shape[1])
    part = image[(rows % len(image))[:, None], np.clip(index, 0, image.shape[1] - 1)]
    count = inside.sum(axis=0)
    return np.asarray(np.where(inside, part, 0.0).sum(axis=0) / np.maximum(count, 1) * (count > 0))


def _grow(within: NDArray[np.bool_], unlike: Array, usual: float, half: int, side: int, gap: int) -> float:
    """Offset from the middle of the lip on one side: where the unlikeness has fallen half way to the usual."""
    middle = len(within) // 2
    last, idle = 0, 0
    for step in range(middle - 4):
        idle = 0 if within[middle + side * step] else idle + 1
        if idle > gap and step > half:
            break
        last = step if idle == 0 else last
    flank = unlike[middle + side * np.arange(last - 3, last + 4)]
    level = 0.5 * (usual + float(flank[:4].max()))
    below = np.flatnonzero((flank[1:] <= level) & (flank[:-1] > level))
    if not len(below):
        return float(side * (last + 0.5))
    at = int(below[-1])
    return float(side * (last - 3 + at + (flank[at] - level) / (flank[at] - flank[at + 1])))
