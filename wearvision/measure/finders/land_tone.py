"""Tones, grain and warmth of a rolled-out gasket land: its own at every angle, and how little each place looks like it.

Grain is how coarse a place is along the circles: edges that run round have none.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, median, row_medians
from wearvision.measure.finders.land_look import Figure, unlike_of
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
LEAST_GRAIN, LEAST_WARMTH, SKIP = 0.03, 1.5, 3
"""What is added to the spreads of both on the land, in the logarithm of a size and in levels; every so many places tell
them."""
NEAR_MM = 0.25
"""The steepest place is sought so near a circle."""
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


def tones_of(calm: Grid, strip: Strip, radii_mm: tuple[float, float], warm: Grid | None = None) -> Tones:
    """Tones of a strip of log grey (N, C) whose sound land lies between two radii, and of its warmth where known."""
    inner, outer = radii_mm
    row_mm = float(np.radians(strip.step_deg) * (inner + outer) / 2)
    soft = _washed(calm, strip, row_mm)
    radius = strip.mm(np.arange(calm.shape[1], dtype=np.float64))
    margin = MARGIN * (outer - inner)
    middle = (radius > inner + margin) & (radius < outer - margin)
    some = np.flatnonzero(middle)[::2]
    land = np.where(strip.valid[:, some], soft[:, some], np.nan)
    rows = row_medians(land, least=4)
    round_about = _waves(rows, strip)
    spread = _spread(land, round_about)
    own = np.clip(_around(rows, strip), round_about - ASIDE * spread, round_about + ASIDE * spread)
    spread = _spread(land, own)
    beside = ((radius < inner - BESIDE_MM[0]) & (radius > inner - BESIDE_MM[1])) | (
        (radius > outer + BESIDE_MM[0]) & (radius < outer + BESIDE_MM[1])
    )
    tone = Figure(values=soft, usual=own.astype(np.float32), spread=spread)
    grain = _figure(_grain(calm, strip, row_mm), strip, some, LEAST_GRAIN)
    warmth = None if warm is None else _figure(_washed(warm, strip, row_mm), strip, some, LEAST_WARMTH)
    unlike = unlike_of(tone, grain, warmth, middle + 2 * beside, strip.valid)
    return Tones(own=own, spread=spread, soft=soft, unlike=unlike, middle=middle)


def _washed(values: Grid, strip: Strip, row_mm: float) -> Grid:
    """Smoothed over `WASH_MM`."""
    along, across = (max(0.5, WASH_MM / 2 / step) for step in (row_mm, strip.step_mm))
    return np.asarray(cv2.GaussianBlur(values, (0, 0), sigmaX=across, sigmaY=along), dtype=np.float32)


def _grain(calm: Grid, strip: Strip, row_mm: float) -> Grid:
    """Logarithm of how coarse the grain along the lap is, (N, C)."""

    def odd(mm: float, step: float) -> int:
        return 2 * max(1, round(mm / 2 / step)) + 1

    fine = cv2.subtract(calm, cv2.blur(calm, (1, odd(HIGH_MM, row_mm))))
    wide = odd(GRAIN_MM[1], strip.step_mm)
    size = cv2.blur(cv2.multiply(fine, fine, fine), (wide, odd(GRAIN_MM[0], row_mm)))
    reach = odd(GRAIN_MM[0] + HIGH_MM + 2 * strip.px_mm, row_mm)
    size = cv2.erode(size, np.ones((reach, wide), np.uint8))
    return np.asarray(0.5 * np.log(size + np.float32(1e-6)), dtype=np.float32)


def _figure(values: Grid, strip: Strip, columns: NDArray[np.int64], least: float) -> Figure:
    """Values (N, C) against their median in some columns, and their spread there and so much more."""
    every = slice(None, None, 2 * SKIP)
    some = values[every][:, columns][strip.valid[every][:, columns]]
    usual = np.float32(median(some) if some.size else 0.0)
    spread = least + 1.4826 * (median(np.abs(some - usual)) if some.size else 0.0)
    return Figure(values=values, usual=np.full(len(values), usual), spread=spread)


def _spread(land: Grid, own: Array) -> float:
    off = np.abs(land[:, ::2] - own[:, None])
    off = off[np.isfinite(off)]
    return max(LEAST_SPREAD, 1.4826 * median(off)) if len(off) else 1.0


def _waves(rows: Array, strip: Strip) -> Array:
    """Robust fit of a few waves round the lap to the rows' tones, (N,); every fourth row tells enough."""
    angle = np.radians(strip.deg(np.arange(len(rows), dtype=np.float64)))
    turns = [k * angle for k in range(1, WAVES + 1)]
    waves = np.column_stack([np.ones(len(rows)), *map(np.cos, turns), *map(np.sin, turns)])
    known = np.flatnonzero(np.isfinite(rows))[::4]
    level, some = rows[known], waves[known]
    fit = np.zeros(waves.shape[1])
    fit[0] = median(level) if len(known) else 0.0
    for _ in range(8):
        off = np.abs(level - some @ fit)
        scale = max(0.02, 1.4826 * median(off)) if len(known) else 1.0
        part = some * (np.clip(1 - (off / (3 * scale)) ** 2, 0, None) ** 2)[:, None]
        fit = np.linalg.solve(part.T @ some + 2.5e-4 * np.eye(len(fit)), part.T @ level + 2.5e-4 * fit)
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


def steepest(rise: Grid, strip: Strip, radius_mm: Array, rows: NDArray[np.int64] | None = None) -> Array:
    """Greatest size of values near a radius in each of rows (K,)."""
    near = sample(rise, strip, radius_mm[:, None] + np.linspace(-NEAR_MM, NEAR_MM, 5), rows)
    return np.asarray(np.abs(near).max(axis=1))
