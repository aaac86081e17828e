"""Tones and grain of a rolled-out gasket land: its own at every angle, and how little each place looks like it.

A place is told by two figures: how far its tone is off the land's, and how coarse its grain is along the circles (edges
that run round have none). How often both occur together on the land and beside it makes a likelihood ratio.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, row_medians
from wearvision.measure.plane import Array
from wearvision.measure.unwrap import Strip

NEAR_DEG = 24.0
"""The land's tone at an angle is the median over so many degrees,"""
WAVES, ASIDE = 2, 1.5
"""but no more than so many spreads off a tone that goes round in so many waves: a wide gap is not the land."""
MARGIN = 0.2
"""Share of the width at either edge that does not count for it."""
LEAST_SPREAD = 0.025
"""Least spread of the land's log grey about its tone."""
BESIDE_MM = (0.5, 3.5)
"""What lies so far beside the land is what its ground looks like."""
HIGH_MM, GRAIN_MM = 1.0, (1.5, 0.6)
"""Grain is what is finer than this along the lap, its size over so much along and across; of all
sizes near enough to be raised by a wall or an edge the least counts."""
BINS, TONES, GRAINS = 40, 4.5, 3.0
"""Cells of either figure, and how far they reach, as inverse hyperbolic sines of half its spreads."""
EVEN_CELLS, RARE, SKIP = 1.2, (0.3, 0.08), 3
"""Counts are evened out over so many cells; a share of them, beside the land and on it, is spread over all (a shadow in
a bite may look like neither); every so many places are counted."""
CLEAR = 1.5
"""Logarithm of a likelihood ratio from which on a place is clearly of one or the other."""
WASH_MM = 0.3
"""Tones are told over so much of the strip, along and across."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Tones:
    """Tones by place.

    Attributes
    ----------
    own : (N,) array
        The land's log grey at each angle.
    spread : float
        Robust standard deviation of the land's log grey about it.
    soft : (N, C) array
        Log grey, washed over `WASH_MM`.
    unlike : (N, C) array
        -1 where a place is as the land is, 1 where it is as what lies beside it, or as neither.
    middle : (C,) bool
        Columns well within the sound land.
    """

    own: Array
    spread: float
    soft: Grid
    unlike: Grid
    middle: NDArray[np.bool_]


def tones_of(calm: Grid, strip: Strip, radii_mm: tuple[float, float]) -> Tones:
    """Tones of a strip of log grey (N, C) whose sound land lies between two radii."""
    inner, outer = radii_mm
    row_mm = np.radians(strip.step_deg) * (inner + outer) / 2
    soft: Grid = np.asarray(
        cv2.GaussianBlur(calm, (0, 0), sigmaX=max(0.5, WASH_MM / 2 / strip.step_mm),
                         sigmaY=max(0.5, WASH_MM / 2 / row_mm)), dtype=np.float32)  # fmt: skip
    radius = strip.mm(np.arange(calm.shape[1], dtype=np.float64))
    margin = MARGIN * (outer - inner)
    middle = (radius > inner + margin) & (radius < outer - margin)
    land = np.where(strip.valid[:, middle], soft[:, middle], np.nan).astype(np.float64)
    rows = row_medians(land[:, ::2], least=4)
    round_about = _waves(rows, strip)
    spread = _spread(land, round_about)
    own = np.clip(_around(rows, strip), round_about - ASIDE * spread, round_about + ASIDE * spread)
    spread = _spread(land, own)
    tone = (soft - own[:, None].astype(np.float32)) / np.float32(spread)
    beside = ((radius < inner - BESIDE_MM[0]) & (radius > inner - BESIDE_MM[1])) | (
        (radius > outer + BESIDE_MM[0]) & (radius < outer + BESIDE_MM[1])
    )
    ratio = _ratio(_cells(tone, _grain(calm, strip, row_mm), middle & strip.valid), strip.valid, middle, beside)
    seen = np.asarray(np.clip(ratio / CLEAR, -1, 1) * strip.valid, dtype=np.float32)
    return Tones(own=own, spread=spread, soft=soft, unlike=seen, middle=middle)


def _grain(calm: Grid, strip: Strip, row_mm: float) -> Grid:
    """Logarithm of how coarse the grain along the lap is, (N, C)."""

    def odd(mm: float, step: float) -> int:
        return 2 * max(1, round(mm / 2 / step)) + 1

    fine = calm - cv2.blur(calm, (1, odd(HIGH_MM, row_mm)))
    wide = odd(GRAIN_MM[1], strip.step_mm)
    size = cv2.blur(fine * fine, (wide, odd(GRAIN_MM[0], row_mm)))
    reach = odd(GRAIN_MM[0] + HIGH_MM + 2 * strip.px_mm, row_mm)
    size = cv2.erode(size, np.ones((reach, wide), np.uint8))
    return np.asarray(0.5 * np.log(size + np.float32(1e-6)), dtype=np.float32)


def _cells(tone: Grid, grain: Grid, land: NDArray[np.bool_]) -> NDArray[np.int32]:
    """Cell of each place by its tone and its grain, both in spreads off the land's."""
    some = grain[land][::SKIP]
    usual = float(np.median(some)) if some.size else 0.0
    spread = 0.03 + (1.4826 * float(np.median(np.abs(some - usual))) if some.size else 0.0)
    tones, grains = (
        np.clip((np.arcsinh(v / np.float32(2)) + np.float32(reach)) * np.float32(BINS / 2 / reach), 0, BINS - 1)
        for v, reach in ((tone, TONES), ((grain - np.float32(usual)) / np.float32(spread), GRAINS))
    )
    return np.asarray(tones.astype(np.int32) * BINS + grains.astype(np.int32))


def _ratio(
    cells: NDArray[np.int32], valid: NDArray[np.bool_], land: NDArray[np.bool_], beside: NDArray[np.bool_]
) -> Grid:
    """Logarithm of how much likelier a place lies beside than on the land, (N, C)."""
    shares = []
    for columns, rare in zip((beside, land), RARE, strict=True):
        count = np.bincount(cells[:, columns][valid[:, columns]][::SKIP], minlength=BINS * BINS)
        even = cv2.GaussianBlur(count.reshape(BINS, BINS).astype(np.float32), (0, 0), EVEN_CELLS)
        shares.append(even / max(1.0, float(even.sum())) + rare / BINS**2)
    return np.asarray(np.log(shares[0] / shares[1]).ravel()[cells], dtype=np.float32)


def _spread(land: Array, own: Array) -> float:
    off = np.abs(land - own[:, None])
    return max(LEAST_SPREAD, 1.4826 * float(np.nanmedian(off))) if np.isfinite(off).any() else 1.0


def _waves(rows: Array, strip: Strip) -> Array:
    """Robust fit of a few waves round the lap to the rows' tones, (N,)."""
    angle = np.radians(strip.deg(np.arange(len(rows), dtype=np.float64)))
    turns = [k * angle for k in range(1, WAVES + 1)]
    waves = np.column_stack([np.ones(len(rows)), *map(np.cos, turns), *map(np.sin, turns)])
    known = np.isfinite(rows)
    level, weight = np.nan_to_num(rows), known.astype(np.float64)
    fit = np.zeros(waves.shape[1])
    fit[0] = float(np.median(rows[known])) if known.any() else 0.0
    for _ in range(8):
        off = np.abs(level - waves @ fit)
        scale = max(0.02, 1.4826 * float(np.median(off[known]))) if known.any() else 1.0
        weight = known * np.clip(1 - (off / (3 * scale)) ** 2, 0, None) ** 2
        part = waves * weight[:, None]
        fit = np.linalg.solve(part.T @ waves + 1e-3 * np.eye(len(fit)), part.T @ level + 1e-3 * fit)
    return np.asarray(waves @ fit, dtype=np.float64)


def _around(rows: Array, strip: Strip) -> Array:
    """Running median over the rows nearby, (N,), told at every fourth and straight between; nan are left out."""
    half = max(1, round(NEAR_DEG / 2 / strip.step_deg))
    wrap = np.concatenate([rows[-half:], rows, rows[:half]]) if strip.closed else np.pad(rows, half, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(wrap, 2 * half + 1)[::4, ::2]
    total = float(np.nanmedian(rows)) if np.isfinite(rows).any() else 0.0
    level = np.nan_to_num(row_medians(np.asarray(windows)), nan=total)
    return np.asarray(np.interp(np.arange(len(rows)), np.arange(len(level)) * 4, level))


def band(values: Grid, strip: Strip, circle_mm: Array, low_mm: float, high_mm: float) -> Array:
    """Mean of each row between two distances outward of a circle (N,), mm."""
    count = max(2, round((high_mm - low_mm) / strip.step_mm) + 1)
    radius = circle_mm[:, None] + np.linspace(low_mm, high_mm, count)[None, :]
    return np.asarray(sample(values, strip, radius).mean(axis=1))


def sample(values: Grid, strip: Strip, radius_mm: Array, rows: NDArray[np.int64] | None = None) -> Array:
    """Values at radii (K, M) of rows (K,), straight between columns."""
    rows = np.arange(len(values)) if rows is None else rows
    return _sample(values, np.ascontiguousarray(radius_mm), rows, strip.start_mm, strip.step_mm)


@compiled
def _sample(values: Grid, radius_mm: Array, rows: NDArray[np.int64], start_mm: float, step_mm: float) -> Array:
    out = np.empty(radius_mm.shape)
    last = values.shape[1] - 1.001
    for k in range(len(rows)):
        row = values[rows[k]]
        for m in range(radius_mm.shape[1]):
            column = min(max((radius_mm[k, m] - start_mm) / step_mm, 0.0), last)
            low = int(column)
            part = column - low
            out[k, m] = row[low] * (1 - part) + row[low + 1] * part
    return out
