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
from wearvision.measure.edges import Grid, median, row_medians
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
"""Cells of either figure, and how far they reach, as inverse hyperbolic sines of half its spreads;"""
FINE = 32
"""told to one part in so many of a spread: the narrowest cell takes nine."""
EVEN_CELLS, RARE, SKIP = 1.2, (0.3, 0.08), 3
"""Counts are evened out over so many cells; a share of them, beside the land and on it, is spread over all (a shadow in
a bite may look like neither); every so many places are counted."""
CLEAR = 1.5
"""Logarithm of a likelihood ratio from which on a place is clearly of one or the other."""
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


def tones_of(calm: Grid, strip: Strip, radii_mm: tuple[float, float]) -> Tones:
    """Tones of a strip of log grey (N, C) whose sound land lies between two radii."""
    inner, outer = radii_mm
    row_mm = float(np.radians(strip.step_deg) * (inner + outer) / 2)
    soft: Grid = np.asarray(
        cv2.GaussianBlur(calm, (0, 0), sigmaX=max(0.5, WASH_MM / 2 / strip.step_mm),
                         sigmaY=max(0.5, WASH_MM / 2 / row_mm)), dtype=np.float32)  # fmt: skip
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
    grain = _grain(calm, strip, row_mm)
    every = slice(None, None, 2 * SKIP)
    usual = _usual(grain[every][:, some][strip.valid[every][:, some]])
    tone = (own.astype(np.float32), np.float32(spread))
    cells, counts = _cells(soft, grain, *tone, *usual, _table(TONES), _table(GRAINS), middle + 2 * beside, strip.valid)
    return Tones(own=own, spread=spread, soft=soft, unlike=_told(_ratio(counts), cells, strip.valid), middle=middle)


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


def _usual(some: Grid) -> tuple[np.float32, np.float32]:
    """The land's usual grain, and what counts as one spread of it."""
    if not some.size:
        return np.float32(0.0), np.float32(0.03)
    usual = median(some)
    return np.float32(usual), np.float32(0.03 + 1.4826 * median(np.abs(some - usual)))


def _table(reach: float) -> NDArray[np.int32]:
    """Cells, evenly spaced in its inverse hyperbolic sine, of a figure in spreads, in steps of one over `FINE`."""
    most = int(2 * np.sinh(reach) * FINE)
    at = (np.arcsinh(np.arange(-most, most + 1) / (2 * FINE)) + reach) * BINS / (2 * reach)
    return np.clip(at, 0, BINS - 1).astype(np.int32)


@compiled
def _cells(
    soft: Grid, grain: Grid, own: Grid, spread: np.float32, usual: np.float32, grain_spread: np.float32,
    tones: NDArray[np.int32], grains: NDArray[np.int32], where: NDArray[np.int64], valid: NDArray[np.bool_],
) -> tuple[NDArray[np.int32], NDArray[np.int64]]:  # fmt: skip
    """Cell of each place by its tone and its grain, both in spreads off the land's; and how many are in each cell of
    places elsewhere, on the land and beside it (3, K), by column."""
    cells, counts = np.empty(soft.shape, np.int32), np.zeros((3, BINS * BINS), np.int64)
    for i in range(soft.shape[0]):
        for j in range(soft.shape[1]):
            tone = int((soft[i, j] - own[i]) / spread * np.float32(FINE)) + len(tones) // 2
            coarse = int((grain[i, j] - usual) / grain_spread * np.float32(FINE)) + len(grains) // 2
            tone, coarse = min(max(tone, 0), len(tones) - 1), min(max(coarse, 0), len(grains) - 1)
            cells[i, j] = tones[tone] * BINS + grains[coarse]
            counts[where[j], cells[i, j]] += valid[i, j]
    return cells, counts


@compiled
def _told(ratio: Grid, cells: NDArray[np.int32], valid: NDArray[np.bool_]) -> Grid:
    """What the ratio (K,) of each place's cell is, (N, C); nothing where it is not valid."""
    out = np.zeros(cells.shape, np.float32)
    for i in range(cells.shape[0]):
        for j in range(cells.shape[1]):
            if valid[i, j]:
                out[i, j] = ratio[cells[i, j]]
    return out


def _ratio(counts: NDArray[np.int64]) -> Grid:
    """How much likelier a cell is beside than on the land, -1 to 1, (K,), of how often it is there."""
    shares = []
    for count, rare in zip((counts[2], counts[1]), RARE, strict=True):
        even = cv2.GaussianBlur(count.reshape(BINS, BINS).astype(np.float32), (0, 0), EVEN_CELLS)
        shares.append(even / max(1.0, float(even.sum())) + rare / BINS**2)
    return np.asarray(np.clip(np.log(shares[0] / shares[1]).ravel() / CLEAR, -1, 1), dtype=np.float32)


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
