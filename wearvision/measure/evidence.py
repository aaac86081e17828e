"""What speaks for a groove in an unwrapped ring: edges that run along it, and grey or roughness unlike the face's.

A groove shows as two lips at a nearly constant radius over some arc. Lathe marks are as long but weak, and the
same everywhere; rust, stains and shadows are strong but do not run along. So the radial slope is averaged along
the strip (clipped, so that a rust spot cannot buy a vote) and divided by its local usual size.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, log_gray, row_medians, slope
from wearvision.measure.plane import Array
from wearvision.measure.unwrap import Strip

SIGMA_PX = 1.1
"""Smoothing across the edges, photo px; about the blur of a sharp phone photo."""
ALONG_DEG = 3.5
"""Length of the running mean along the strip."""
ROWS, COLUMNS, CELL_MM = 3, 2, 0.17
"""Rows of the strip per cell of the search, and least columns; a cell is about so wide."""
LEVEL_MM = 16.0
"""Width over which the grey of the face is taken; more than twice the widest groove."""


LEAST_CELLS = 11
"""Cells seen of a block whose usual evidence is known."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """Edges along the strip.

    Attributes
    ----------
    gray : (T, R) float32
        Log grey of the strip.
    plain : (T, R) float32
        Slope of the grey over its level, per photo px along the radius, averaged along the strip.
    usual : (T,) array
        Usual size in each row, of the same with large slopes clipped, so that a rust spot cannot buy a vote.
    z : (T', R') float32
        Crests of that over the usual size nearby, on the cells of the search; 0 where not valid.
    off : (T', R') float32
        How far the log grey lies from that of the face around, over the usual distance nearby, same cells.
    """

    gray: Grid
    plain: Grid
    usual: Array
    z: Grid
    off: Grid


def evidence(strip: Strip) -> Evidence:
    """Edge evidence of a strip."""
    per_px, rows = strip.px_mm / strip.step_mm, _rows_along(strip)
    wide = columns_per_cell(strip)
    gray = log_gray(strip.values)
    steep = _steepness(strip, per_px)
    plain = means_of_rows(steep, rows)
    sizes = [_row_medians(np.abs(x[::ROWS, ::wide])) for x in (steep, plain)]
    limit = (3 * sizes[0] + 5 * sizes[1] + np.float32(1e-4)).repeat(ROWS)[: len(steep)]
    valid = cv2.erode(strip.valid.astype(np.uint8), np.ones((3, max(3, round(3 * per_px))), np.uint8))
    few = np.ascontiguousarray(rows[ROWS // 2 :: ROWS])
    lines = np.abs(means_of_rows(steep, few, limit))
    seen = valid[ROWS // 2 :: ROWS, ::wide] > 0
    usual = _usual(lines[:, ::wide], seen, strip)
    crest = np.where(lines >= cv2.dilate(lines, np.ones((1, 2 * round(per_px) + 1), np.uint8)), lines, 0)
    cells = cv2.dilate(crest, np.ones((1, wide), np.uint8), anchor=(0, 0))[:, ::wide]
    row_usual = 1.4826 * _row_medians(lines[:, ::3]).ravel().astype(np.float64) + 1e-4
    return Evidence(
        gray=gray, plain=plain, off=np.where(seen, _off(gray, strip, few), np.float32(0.0)),
        usual=row_usual[np.minimum(np.arange(len(gray)) // ROWS, len(row_usual) - 1)],
        z=np.where(seen, np.maximum(cells / usual, 0.01), 0).astype(np.float32),
    )  # fmt: skip


def columns_per_cell(strip: Strip) -> int:
    """Columns of a strip per cell of the search."""
    return max(COLUMNS, round(CELL_MM / strip.step_mm))


def _steepness(strip: Strip, per_px: float) -> Grid:
    """Slope of the grey over its level, per photo px."""
    level = cv2.blur(strip.values, (_wide(strip), 1), borderType=cv2.BORDER_REFLECT)
    share = np.divide(np.float32(per_px), np.add(level, np.float32(8.0), out=level), out=level)
    steep = slope(strip.values, SIGMA_PX * per_px)
    return np.multiply(steep, share, out=steep)


def _wide(strip: Strip) -> int:
    """Columns over which the level of the face is taken."""
    return round(LEVEL_MM / strip.step_mm) | 1


def _rows_along(strip: Strip) -> NDArray[np.int64]:
    """The rows whose mean stands for each row, (T, K): round the lap, or the strip's first and last again."""
    count, half = len(strip.values), round(ALONG_DEG / strip.step_deg) // 2
    rows = np.arange(count)[:, None] + np.arange(-half, half + 1)
    return rows % count if strip.closed else rows.clip(0, count - 1)


def means_of_rows(values: Grid, rows: NDArray[np.int64], limit: Grid | None = None) -> Grid:
    """Means (T', R) of K rows each of an image (T, R), their numbers in (T', K), values clipped to a limit (T,)."""
    total: Grid = np.zeros((len(rows), values.shape[1]), dtype=np.float32)
    _add_rows(values, rows, np.full(len(values), np.inf, dtype=np.float32) if limit is None else limit, total)
    return np.divide(total, np.float32(rows.shape[1]), out=total)


@compiled
def _add_rows(values: Grid, rows: NDArray[np.int64], limit: Grid, total: Grid) -> None:
    """Add up some rows of an image into each row of `total`."""
    for i in range(len(total)):
        here = total[i]
        for k in range(rows.shape[1]):
            row, most = values[rows[i, k]], limit[rows[i, k]]
            for c in range(len(here)):
                here[c] += min(max(row[c], -most), most)


def _off(gray: Grid, strip: Strip, rows: NDArray[np.int64]) -> Grid:
    """How unlike the face around: in grey and in roughness along the strip, over the usual difference; at most 4."""
    rough: Grid = np.zeros((len(rows), gray.shape[1]), dtype=np.float32)
    _add_changes(gray, rows, 0 if strip.closed else len(gray) - 1, rough)
    harsh = cv2.blur(rough / np.float32(rows.shape[1]), (3, 1))
    both = np.vstack([means_of_rows(gray, rows), np.log(harsh + np.float32(2e-3))])
    off = cv2.magnitude(*np.split(_away(both, _wide(strip), 2, columns_per_cell(strip)), 2))
    return np.minimum(off, np.float32(4.0), out=off)


@compiled
def _add_changes(values: Grid, rows: NDArray[np.int64], after: int, total: Grid) -> None:
    """Add up, into each row of `total`, how much some rows differ from the next; `after` the last comes that row."""
    for i in range(len(total)):
        here = total[i]
        for k in range(rows.shape[1]):
            row = values[rows[i, k]]
            following = values[rows[i, k] + 1 if rows[i, k] + 1 < len(values) else after]
            for c in range(len(here)):
                here[c] += abs(following[c] - row[c])


def _away(image: Grid, wide: int, parts: int, every: int) -> Grid:
    """Distance from the level of the face around, over its usual size in the row, in images below each other; one
    column in so many."""
    turned = np.ascontiguousarray(image.T)
    at = np.pad(np.arange(len(turned)), wide // 2 + 1, mode="symmetric")[1:]
    level = _level(turned, turned, np.full((1, turned.shape[1]), np.inf, dtype=np.float32), at)
    for _ in range(3):
        reach = 0.7 * _row_medians(np.abs(turned[::4] - level[::4]).T).T
        level = _level(turned, level, reach, at)
    away = np.ascontiguousarray(np.abs(turned[::every] - level[::every]).T)
    usual = 1.4826 * _row_medians(away).reshape(parts, -1)
    usual = np.maximum(usual, 0.5 * np.median(usual, axis=1, keepdims=True)) + np.float32(1e-3)
    away /= usual.reshape(-1, 1)
    return away


def _level(image: Grid, near: Grid, reach: Grid, at: NDArray[np.int64]) -> Grid:
    """Running means over the rows whose numbers are listed, of values clipped to `reach` (1, R) from others near."""
    out: Grid = np.empty_like(image)
    _slide(image, near, reach[0], at, np.zeros(image.shape[1]), out)
    return out


@compiled
def _slide(image: Grid, near: Grid, reach: Grid, at: NDArray[np.int64], total: Array, out: Grid) -> None:
    """Running means down the columns, row by row so that all columns go side by side; `total` is room."""
    wide = len(at) - len(out)
    for i in range(wide):
        enters, by = image[at[i]], near[at[i]]
        for c in range(len(total)):
            total[c] += _held(enters[c], by[c], reach[c])
    for i in range(len(out)):
        here, leaves, by = out[i], image[at[i]], near[at[i]]
        enters, there = image[at[i + wide]], near[at[i + wide]]
        for c in range(len(total)):
            here[c] = total[c] / wide
            rest = total[c] - _held(leaves[c], by[c], reach[c])
            total[c] = rest + _held(enters[c], there[c], reach[c])


@compiled
def _held(value: np.float32, near: np.float32, reach: np.float32) -> np.float32:
    """A value clipped to its surroundings."""
    return min(max(value, near - reach), near + reach)


def _row_medians(values: Grid) -> Grid:
    """Median of each row, (T, 1): sorting short rows costs less than looking for their middle."""
    ordered, last = np.sort(values, axis=1), values.shape[1] - 1
    return np.asarray((ordered[:, last // 2] + ordered[:, (last + 1) // 2]) / 2, dtype=np.float32)[:, None]


def _usual(cells: Grid, seen: NDArray[np.bool_], strip: Strip) -> Grid:
    """Usual size of the evidence: a rising quantile over blocks of some degrees and millimetres."""
    tall = max(4, round(12.0 / (strip.step_deg * ROWS)))
    wide = max(8, round(7.0 / (strip.step_mm * columns_per_cell(strip))))
    row, column = (_cut(count, size) for count, size in zip(cells.shape, (tall, wide), strict=True))
    known = np.pad(np.where(seen, cells, np.float32(np.nan)), ((0, 1), (0, 1)), constant_values=np.nan)
    blocks = known[row[:, None, :, None], column[None, :, None, :]]
    grid = 1.4826 * row_medians(blocks.reshape(len(row) * len(column), -1), least=LEAST_CELLS).reshape(blocks.shape[:2])
    floor = np.nanmedian(grid) if np.isfinite(grid).any() else np.float32(1e-3)
    grid = np.where(np.isfinite(grid), grid, floor)
    lone = np.median(grid, axis=1, keepdims=True)
    grid = np.clip(grid, 0.7 * lone, 2.5 * lone) + 2e-4
    smooth = cv2.resize(grid.astype(np.float32), cells.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(smooth, dtype=np.float32)


def _cut(count: int, size: int) -> NDArray[np.int64]:
    """Places 0 to `count` - 1 in parts of about one size, (N, M), `count` where a part has fewer than others."""
    ends = np.linspace(0, count, max(1, count // size) + 1).astype(int)
    at = ends[:-1, None] + np.arange(np.diff(ends).max())
    return np.where(at < ends[1:, None], at, count)
