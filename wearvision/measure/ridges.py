"""Search for ribbons: pairs of edges that run along an unwrapped ring side by side.

The best run of pairs over row, width and place is taken, what overlaps it is forbidden, and the search goes on.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.best_path import Path, best_path, room_for
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.evidence import COLUMNS, ROWS, Evidence
from wearvision.measure.lip_pairs import NOWHERE, lip_pairs
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import FULL_GAP, Ribbon, extend
from wearvision.measure.sectors import refine
from wearvision.measure.unwrap import Strip

MIN_WIDTH_PX = 4.0
WIDTH_RATIO = 1.18
GAP = 6
"""Rows of the search without evidence that end a run."""
SLIDE_ROWS = 5
MOST_SLIDE = 0.06
"""Steepest wander of a groove over `SLIDE_ROWS` rows, mm per degree."""
BOUND = 0.97
"""A mark of this share of the widest looked for has no lip: the search ended there, not the mark."""
MOST_WIDTHS = 3
"""Widths (steps of `WIDTH_RATIO`) that a groove may lie off its usual one."""
BLIND = 2
"""Places on either side of a run that are not looked at again."""


def find_ribbons(strip: Strip, found: Evidence, *, max_width_mm: float, least: float, most: int = 7) -> list[Ribbon]:
    """Best ribbons that do not overlap, best first; parts that meet at the strip's seam are joined.

    Parameters
    ----------
    max_width_mm : widest ribbon looked for
    least : least score
    most : how many at most
    """
    cell_mm = strip.step_mm * COLUMNS
    widths = _widths(cell_mm / strip.px_mm, max_width_mm / cell_mm)
    gain = lip_pairs(found, widths, cell_mm / strip.px_mm, cell_mm)
    table = room_for(gain)
    ribbons: list[Ribbon] = []
    free = replace(strip, valid=strip.valid.copy())
    for _ in range(most):
        seam = _seam(gain) if strip.closed else 0
        path, score = best_path(gain, seam, table)
        if score < least:
            break
        path[:, 0] += seam
        path, score = _best_run(path, gain, widths, strip)
        ribbon = refine(_ribbon(path, widths, score, strip), found, free, max_width_mm)
        if np.median(ribbon.outer - ribbon.inner) * strip.step_mm < BOUND * max_width_mm:
            ribbon = extend(ribbon, found, strip)
            if ribbon.score >= 0.5 * least:
                ribbons.append(ribbon)
                _take(free, ribbon)
            _forbid(gain, widths, ribbon)
        near = path[:, 2:].repeat(len(widths), axis=1)
        _forbid_cells(gain, path[:, 0], near - BLIND, near + BLIND + 1)
    return sorted(ribbons, key=lambda r: -r.score)


def _widths(cell_px: float, most: float) -> Array:
    """Widths to look for, in cells."""
    low = MIN_WIDTH_PX / cell_px
    high = max(1.2 * low, most)
    count = 1 + int(np.log(high / low) / np.log(WIDTH_RATIO))
    return np.asarray(low * np.power(WIDTH_RATIO, np.arange(count, dtype=np.float64)))


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
    rows = ribbon.rows[ROWS // 2 :: ROWS]
    inner, outer = (edge[ROWS // 2 :: ROWS] for edge in (ribbon.inner, ribbon.outer))
    low = (inner[:, None] / COLUMNS - widths / 2 - 1).astype(np.int64)
    high = (outer[:, None] / COLUMNS + widths / 2 + 2).astype(np.int64)
    _forbid_cells(gain, rows // ROWS, low, high)


@compiled
def _forbid_cells(gain: Grid, rows: NDArray[np.int64], low: NDArray[np.int64], high: NDArray[np.int64]) -> None:
    """No ribbon of any width (K of low and high) from one place on to another, in some rows round the lap."""
    lap, widths, places = gain.shape
    for i in range(len(rows)):
        for k in range(widths):
            here = gain[rows[i] % lap, k]
            for c in range(max(0, low[i, k]), min(places, high[i, k])):
                here[c] = NOWHERE


def _best_run(path: Path, gain: Grid, widths: Array, strip: Strip) -> tuple[Path, float]:
    """Best part of a path, and its score: cut where nothing speaks for it for `GAP` rows, and where it slides to
    another mark.

    A groove whose one wall fades keeps the other lip: only where both edges move together does a path slide.
    """
    row, width, place = path.T
    said, half = gain[row % len(gain), width, place], widths[width] / 2
    most = MOST_SLIDE * SLIDE_ROWS * ROWS * strip.step_deg / (strip.step_mm * COLUMNS)
    slide = np.zeros(len(path))
    if len(path) > SLIDE_ROWS:
        far = np.minimum(*(np.abs(e[SLIDE_ROWS:] - e[:-SLIDE_ROWS]) for e in (place - half, place + half)))
        for k in range(SLIDE_ROWS + 1):
            part = slide[k : k + len(far)]
            np.maximum(part, far, out=part)
    usual = np.abs(width - np.median(width)) <= MOST_WIDTHS
    good = np.flatnonzero((said > 0.5) & (slide <= most) & usual)
    if not len(good):
        return path[-1:], float(said[-1])
    jumps = np.maximum.accumulate(np.where(slide > most, np.arange(len(path)), -1))
    split = np.flatnonzero((np.diff(good) > GAP + 1) | (jumps[good[1:]] > good[:-1])) + 1
    parts = [slice(int(part[0]), int(part[-1]) + 1) for part in np.split(good, split)]
    score, best = max(((float(said[part].sum()), part) for part in parts), key=lambda one: one[0])
    return path[best], score


def _ribbon(path: Path, widths: Array, score: float, strip: Strip) -> Ribbon:
    """A path of cells as columns of the strip at every row."""
    rows, half, centre = path[:, 0], widths[path[:, 1]] / 2, path[:, 2]
    lap = len(strip.values)
    full = strip.closed and (rows[-1] - rows[0] + 1 + FULL_GAP) * ROWS >= lap
    fine = np.arange(rows[0] * ROWS, rows[0] * ROWS + lap if full else (rows[-1] + 1) * ROWS)
    at, period = (fine - ROWS // 2) / ROWS, lap / ROWS if full else None
    inner, outer = (np.interp(at, rows, edge, period=period) * COLUMNS for edge in (centre - half, centre + half))
    return Ribbon(rows=fine, inner=inner, outer=outer, score=score, full=bool(full))
