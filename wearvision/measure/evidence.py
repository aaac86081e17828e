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

from wearvision.measure.edges import Grid, along, along_every, log_gray, median, slope
from wearvision.measure.plane import Array
from wearvision.measure.unwrap import Strip

SIGMA_PX = 1.1
"""Smoothing across the edges, photo px; about the blur of a sharp phone photo."""
ALONG_DEG = 3.5
"""Length of the running mean along the strip."""
ROWS, COLUMNS = 4, 2
"""Rows and columns of the strip per cell of the search."""
LEVEL_MM = 16.0
"""Width over which the grey of the face is taken; more than twice the widest groove."""


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
    per_px = strip.px_mm / strip.step_mm
    rows = round(ALONG_DEG / strip.step_deg) | 1
    gray = log_gray(strip.values)
    level = cv2.blur(strip.values, (round(LEVEL_MM / strip.step_mm) | 1, 1), borderType=cv2.BORDER_REFLECT)
    steep = slope(strip.values, SIGMA_PX * per_px) * (np.float32(per_px) / (level + np.float32(8.0)))
    plain = along(steep, rows, closed=strip.closed)
    sizes = [np.median(np.abs(x[::ROWS, ::COLUMNS]), axis=1, keepdims=True) for x in (steep, plain)]
    limit = (3 * sizes[0] + 5 * sizes[1] + 1e-4).repeat(ROWS, axis=0)[: len(steep)]
    held = np.minimum(np.maximum(steep, -limit), limit)
    valid = cv2.erode(strip.valid.astype(np.uint8), np.ones((3, max(3, round(3 * per_px))), np.uint8))
    lines = np.abs(along_every(held, rows, ROWS, closed=strip.closed))
    seen = valid[ROWS // 2 :: ROWS, ::COLUMNS] > 0
    usual = _usual(lines[:, ::COLUMNS], seen, strip)
    crest = np.where(lines >= cv2.dilate(lines, np.ones((1, 2 * round(per_px) + 1), np.uint8)), lines, 0)
    cells = cv2.dilate(crest, np.ones((1, COLUMNS), np.uint8), anchor=(0, 0))[:, ::COLUMNS]
    off = _off(gray, strip, rows, seen)
    row_usual = 1.4826 * np.median(lines[:, ::3], axis=1).astype(np.float64) + 1e-4
    return Evidence(
        gray=gray, plain=plain, off=off,
        usual=row_usual[np.minimum(np.arange(len(gray)) // ROWS, len(row_usual) - 1)],
        z=np.where(seen, np.maximum(cells / usual, 0.01), 0).astype(np.float32),
    )  # fmt: skip


def _off(gray: Grid, strip: Strip, rows: int, seen: NDArray[np.bool_]) -> Grid:
    """How unlike the face around: in grey and in roughness along the strip, over the usual difference; at most 4."""
    rough = np.abs(np.diff(gray, axis=0, append=gray[:1] if strip.closed else gray[-1:]))
    parts = []
    for image in (gray, rough):
        calm = along_every(image, rows, ROWS, closed=strip.closed)
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
            grid[i, k] = 1.4826 * median(here) if len(here) > 10 else np.nan
    floor = np.nanmedian(grid) if np.isfinite(grid).any() else np.float32(1e-3)
    grid = np.where(np.isfinite(grid), grid, floor)
    lone = np.median(grid, axis=1, keepdims=True)
    grid = np.clip(grid, 0.7 * lone, 2.5 * lone) + 2e-4
    smooth = cv2.resize(grid.astype(np.float32), cells.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(smooth, dtype=np.float32)
