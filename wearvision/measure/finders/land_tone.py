"""Tones of a rolled-out gasket land: its own at every angle, and how little each place looks like it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

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
FAR = 2.5
"""So many spreads off, a tone is as likely the land's as not."""
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
        -1 where a place is as the land is, 1 where it is another tone.
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
    away = np.abs(soft - own[:, None].astype(np.float32)) / np.float32(spread)
    unlike = np.clip(away - np.float32(FAR), -1, 1)
    seen = np.asarray(unlike * strip.valid, dtype=np.float32)
    return Tones(own=own, spread=spread, soft=soft, unlike=seen, middle=middle)


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
    column = np.clip((radius_mm - strip.start_mm) / strip.step_mm, 0, values.shape[1] - 1.001)
    low = column.astype(np.int64)
    part = column - low
    start = (np.arange(len(values)) if rows is None else rows)[:, None] * values.shape[1]
    return np.asarray(values.take(start + low) * (1 - part) + values.take(start + low + 1) * part, dtype=np.float64)
