"""Ribbons in an unwrapped ring: pairs of edges that run along it side by side.

A groove shows as two lips at a nearly constant radius over some arc. Lathe marks are as long but weak, and the
same everywhere; rust, stains and shadows are strong but do not run along. So the radial slope is averaged along
the strip (clipped, so that a rust spot cannot buy a vote), divided by its local usual size, and the best pairs of
edges are followed by dynamic programming: the best-scoring run of rows, as in local sequence alignment.
"""

from __future__ import annotations

from dataclasses import dataclass

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
    signed : (T, R) float32
        Slope of log grey per photo px along the radius, averaged along the strip.
    z : (T', R') float32
        Its crests over the usual size nearby, on the cells of the search; 0 where not valid.
    off : (T', R') float32
        How far the log grey lies from that of the face around, over the usual distance nearby, same cells.
    """

    signed: Grid
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
    return Evidence(signed=signed, z=np.where(seen, np.maximum(cells / usual, 0.01), 0).astype(np.float32), off=off)


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
    most_slide = MOST_SLIDE * SLIDE_ROWS * ROWS * strip.step_deg / (strip.step_mm * COLUMNS)
    for _ in range(most):
        table, choice = _align(gain)
        end = np.unravel_index(int(np.argmax(table)), table.shape)
        if table[end] < least:
            break
        path = _trace(choice, (int(end[0]), int(end[1]), int(end[2])))
        for run in _runs(path, gain, most_slide):
            score = float(sum(gain[state] for state in run))
            if score >= least:
                ribbons.append(_ribbon(run, widths, score))
        _forbid(gain, widths, path)
    ribbons.sort(key=lambda r: -r.score)
    return _join(ribbons, found.signed.shape[0]) if strip.closed else ribbons


def _forbid(gain: Grid, widths: Array, path: list[State]) -> None:
    """Forbid ribbons that overlap one that is taken."""
    for row, w, c in path:
        for k, width in enumerate(widths):
            reach = (widths[w] + width) / 2 + 1
            gain[row, k, max(0, int(c - reach)) : int(c + reach) + 1] = -4.0


def _runs(path: list[State], gain: Grid, most_slide: float) -> list[list[State]]:
    """Cut a path where for `GAP` rows on end nothing speaks for it, and where it slides from one mark to another."""
    column = np.array([c for _, _, c in path], dtype=np.float64)
    slide = np.zeros(len(path))
    if len(path) > SLIDE_ROWS:
        far = np.abs(column[SLIDE_ROWS:] - column[:-SLIDE_ROWS])
        for k in range(SLIDE_ROWS + 1):
            part = slide[k : k + len(far)]
            np.maximum(part, far, out=part)
    out: list[list[State]] = []
    run: list[State] = []
    idle = 0
    for state, moved in zip(path, slide, strict=True):
        good = gain[state] > 0.5 and moved <= most_slide
        idle = 0 if good else idle + 1
        if run and (idle > GAP or moved > most_slide):
            out.append(run)
            run = []
        if good or run:
            run.append(state)
    return [trimmed for r in [*out, run] if (trimmed := _trim(r, gain))]


def _trim(run: list[State], gain: Grid) -> list[State]:
    """The run without rows at its ends that do not speak for it."""
    good = [i for i, state in enumerate(run) if gain[state] > 0.5]
    return run[good[0] : good[-1] + 1] if good else []


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
    out[np.repeat((z <= 0)[:, None, :], len(widths), axis=1)] = -0.05
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


def _align(gain: Grid) -> tuple[Grid, NDArray[np.int8]]:
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
        best += gain[i]
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


def _ribbon(path: list[State], widths: Array, score: float) -> Ribbon:
    """A path of cells as columns of the strip at every row."""
    rows = np.array([p[0] for p in path])
    width = np.array([widths[p[1]] for p in path])
    centre = np.array([p[2] for p in path], dtype=np.float64)
    fine = np.arange(rows[0] * ROWS, (rows[-1] + 1) * ROWS)
    at = (fine - ROWS // 2) / ROWS
    return Ribbon(
        rows=fine, inner=np.interp(at, rows, centre - width / 2) * COLUMNS,
        outer=np.interp(at, rows, centre + width / 2) * COLUMNS, score=score, full=False,
    )  # fmt: skip


def _join(ribbons: list[Ribbon], lap: int) -> list[Ribbon]:
    """Join runs that meet at the seam of a closed strip."""
    near = 5 * ROWS
    out = list(ribbons)
    for one in ribbons:
        for two in ribbons:
            if one not in out or two not in out or one.rows[-1] < lap - near or two.rows[0] >= near:
                continue
            if not _meet(one, two) or one.rows[0] < two.rows[-1] and one is not two:
                continue
            if one is two and len(one.rows) > 0.9 * lap:
                out[out.index(one)] = _whole(one, lap)
                continue
            if one is two:
                continue
            gap = np.arange(one.rows[-1] + 1, two.rows[0] + lap)
            rows = np.concatenate([one.rows, gap, two.rows + lap])
            known = np.concatenate([one.rows, two.rows + lap])
            merged = Ribbon(
                rows=rows, score=one.score + two.score, full=False,
                inner=np.interp(rows, known, np.concatenate([one.inner, two.inner])),
                outer=np.interp(rows, known, np.concatenate([one.outer, two.outer])),
            )  # fmt: skip
            out[out.index(one)] = merged
            out.remove(two)
    return sorted(out, key=lambda r: -r.score)


def _meet(one: Ribbon, two: Ribbon) -> bool:
    """Whether the end of one runs on in the beginning of two."""
    low, high = max(one.inner[-1], two.inner[0]), min(one.outer[-1], two.outer[0])
    return bool(high - low > 0.5 * min(one.outer[-1] - one.inner[-1], two.outer[0] - two.inner[0]))


def _whole(one: Ribbon, lap: int) -> Ribbon:
    rows = np.arange(lap)
    return Ribbon(
        rows=rows, inner=np.interp(rows, one.rows, one.inner, period=lap),
        outer=np.interp(rows, one.rows, one.outer, period=lap), score=one.score, full=True,
    )  # fmt: skip
