"""Search for ribbons: pairs of edges that run along an unwrapped ring side by side.

The best run of pairs over row, width and place is taken, what overlaps it is forbidden, and the search goes on.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.best_path import Path, Room, best_path
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, median
from wearvision.measure.evidence import ROWS, Evidence, columns_per_cell
from wearvision.measure.lip_pairs import NOWHERE, lip_pairs
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import FULL_GAP, Ribbon, extend
from wearvision.measure.sectors import refine
from wearvision.measure.unwrap import Strip

MIN_WIDTH_PX, MIN_CELLS = 4.0, 2.5
"""Narrowest mark looked for."""
WIDTH_RATIO = 1.18
GAP = 6
"""Rows of the search without evidence that end a run."""
ENOUGH = 0.5
"""Score of a row that speaks for a ribbon."""
SLIDE_ROWS = 5
MOST_SLIDE = 0.06
"""Steepest wander of a groove over `SLIDE_ROWS` rows, mm per degree."""
BOUND, SURE = 0.97, 0.75
"""A mark of this share of the widest looked for has no lip: the search ended there, not the mark; and one that has none
once all of its length is seen, as a band that shines lies beside it, has those the search saw where these are no wider
than the latter share."""
MOST_WIDTHS = 3
"""Widths (steps of `WIDTH_RATIO`) that a groove may lie off its usual one."""
BARREN = 3
"""So many runs one after the other that come to nothing end the search: what is left says less."""
BLIND = 2
"""Places on either side of a run that are not looked at again."""


def find_ribbons(strip: Strip, found: Evidence, *, max_width_mm: float, least: float, most: int = 6) -> list[Ribbon]:
    """Best ribbons that do not overlap, best first; parts that meet at the strip's seam are joined.

    Parameters
    ----------
    max_width_mm : widest ribbon looked for
    least : least score
    most : how many at most
    """
    columns = columns_per_cell(strip)
    cell_mm = strip.step_mm * columns
    widths = _widths(cell_mm / strip.px_mm, max_width_mm / cell_mm)
    gain = lip_pairs(found, widths, cell_mm / strip.px_mm, cell_mm)
    ribbons: list[Ribbon] = []
    free = replace(strip, valid=strip.valid.copy())
    seam, room, since, barren = _seam(gain) if strip.closed else 0, Room.of(gain), 0, 0
    for _ in range(most):
        path, score = best_path(gain, seam, room, since)
        if score < least:
            break
        path[:, 0] += seam
        path, score = _best_run(path, gain, widths, strip)
        barren += 1
        one, barred = _ribbon(path, widths, score, strip), path[:, 0]
        tried = ((refine(one, found, free, max_width_mm), BOUND), (one, SURE))
        ribbon = next((r for r, most in tried if _width(r, strip) < most * max_width_mm), None)
        if ribbon is not None:
            ribbon = extend(ribbon, found, strip)
            if ribbon.score >= 0.5 * least:
                ribbons.append(ribbon)
                barren = 0 if ribbon.score >= least else barren
                _take(free.valid, ribbon.rows, ribbon.inner, ribbon.outer)
            barred = ribbon.rows[ROWS // 2 :: ROWS] // ROWS
            inner, outer = (edge[ROWS // 2 :: ROWS] / columns for edge in (ribbon.inner, ribbon.outer))
            _forbid(gain, barred, inner, outer, widths / 2, 1)
        if barren == BARREN:
            break
        place = path[:, 2].astype(np.float64)
        _forbid(gain, path[:, 0].copy(), place, place, np.zeros(len(widths)), BLIND)
        since = int(np.mod(np.append(barred, path[:, 0]) - seam, len(gain)).min())
    return sorted(ribbons, key=lambda r: -r.score)


def _width(ribbon: Ribbon, strip: Strip) -> float:
    """Usual width, mm."""
    return median(ribbon.outer - ribbon.inner) * strip.step_mm


def _widths(cell_px: float, most: float) -> Array:
    """Widths to look for, in cells."""
    low = max(MIN_WIDTH_PX / cell_px, MIN_CELLS)
    high = max(1.2 * low, most)
    count = 1 + int(np.log(high / low) / np.log(WIDTH_RATIO))
    return np.asarray(low * np.power(WIDTH_RATIO, np.arange(count, dtype=np.float64)))


@compiled
def _take(free: NDArray[np.bool_], rows: NDArray[np.int64], inner: Array, outer: Array) -> None:
    """What one ribbon covers is no part of the next: its places are no longer free."""
    for n in range(len(rows)):
        row, low, high = free[rows[n] % len(free)], int(np.rint(inner[n])), int(np.rint(outer[n]) + 1)
        row[max(0, low) : max(0, high)] = False


def _seam(gain: Grid) -> int:
    """Row to begin a closed strip at: where least speaks for any ribbon."""
    best = gain.reshape(len(gain), -1).max(axis=1)
    return int(np.argmin(np.convolve(np.concatenate([best[-2:], best, best[:2]]), np.full(5, 0.2), mode="valid")))


@compiled
def _forbid(
    gain: Grid, rows: NDArray[np.int64], inner: Array, outer: Array, half: Array, beyond: int
) -> None:  # fmt: skip
    """No ribbon of any width, known by its half (W,), comes so near to what lies between two edges (N,), cells, in some
    rows round the lap."""
    lap, widths, places = gain.shape
    for i in range(len(rows)):
        for k in range(widths):
            here = gain[rows[i] % lap, k]
            first, stop = int(inner[i] - half[k] - beyond), int(outer[i] + half[k] + (beyond + 1))
            for c in range(max(0, first), min(places, stop)):
                here[c] = NOWHERE


def _best_run(path: Path, gain: Grid, widths: Array, strip: Strip) -> tuple[Path, float]:
    """Best part of a path, and its score: cut where nothing speaks for it for `GAP` rows, and where it slides to
    another mark.

    A groove whose one wall fades keeps the other lip: only where both edges move together does a path slide.
    """
    row, width, place = path.T
    said, half = gain[row % len(gain), width, place], widths[width] / 2
    most = MOST_SLIDE * SLIDE_ROWS * ROWS * strip.step_deg / (strip.step_mm * columns_per_cell(strip))
    slides = np.zeros(len(path), dtype=np.bool_)
    _mark_slides(place - half, place + half, most, slides)
    good = (said > ENOUGH) & (np.abs(width - median(width)) <= MOST_WIDTHS) & ~slides
    total = np.cumsum(said, dtype=np.float64)
    start, stop = _best_part(good, slides, total - said, total)
    return path[start:stop], float(said[start:stop].sum())


@compiled
def _mark_slides(inner: Array, outer: Array, most: float, slides: NDArray[np.bool_]) -> None:
    """Mark the rows over which both edges move by more than `most` within `SLIDE_ROWS`."""
    for i in range(len(slides) - SLIDE_ROWS):
        if min(abs(inner[i + SLIDE_ROWS] - inner[i]), abs(outer[i + SLIDE_ROWS] - outer[i])) > most:
            for k in range(i, i + SLIDE_ROWS + 1):
                slides[k] = True


@compiled
def _best_part(good: NDArray[np.bool_], slides: NDArray[np.bool_], before: Array, total: Array) -> tuple[int, int]:
    """First row of the part that says most, and one past its last, given what is said before each row and up to it.

    A part begins and ends with good rows; the last row of all when there are none.
    """
    count = len(good)
    best, start, stop, first, last = -np.inf, count - 1, count, -1, -1
    for i in range(count + 1):
        if first >= 0 and (i == count or slides[i] or i - last > GAP + 1):
            if total[last] - before[first] > best:
                best, start, stop = total[last] - before[first], first, last + 1
            first = -1
        if i < count and good[i]:
            first, last = i if first < 0 else first, i
    return start, stop


def _ribbon(path: Path, widths: Array, score: float, strip: Strip) -> Ribbon:
    """A path of cells as columns of the strip at every row."""
    rows, half, centre = path[:, 0], widths[path[:, 1]] / 2, path[:, 2]
    lap, columns = len(strip.values), columns_per_cell(strip)
    full = strip.closed and (rows[-1] - rows[0] + 1 + FULL_GAP) * ROWS >= lap
    fine = np.arange(rows[0] * ROWS, rows[0] * ROWS + lap if full else (rows[-1] + 1) * ROWS)
    at, period = (fine - ROWS // 2) / ROWS, lap / ROWS if full else None
    inner, outer = (np.interp(at, rows, edge, period=period) * columns for edge in (centre - half, centre + half))
    return Ribbon(rows=fine, inner=inner, outer=outer, score=score, full=bool(full))
