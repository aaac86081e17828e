"""Circles about a face's axis across which its tone changes: by sector, and as it varies slowly with the angle."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, log_gray, medians, peak_offset
from wearvision.measure.plane import Array
from wearvision.measure.unwrap import Strip

SECTOR_DEG, BIN_MM = 6, 0.15
"""Sectors and radial bins in which tones are averaged."""
GAP_MM, BESIDE_MM = 0.2, 0.9
"""An edge is the tone from `GAP_MM` to `GAP_MM + BESIDE_MM` beyond it less that before it."""
LEAST_SECTORS, TURNS, HOLD = 20, 3, 0.5
"""Sectors that an edge needs; turns of the robust fit over the angle; how much its waves are held back where much of
the circle is out of sight."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sectors:
    """Log tones (S, R), nan where less than half is seen; angles (S,) in degrees and radii (R,) of their middles."""

    tone: Array
    deg: Array
    radius_mm: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Edges:
    """How the tone changes outward at each radius: by sector (S, R), as it varies slowly with the angle (S, R), how
    much on the whole (R,), and where that is largest (R,) bool."""

    change: Array
    smooth: Array
    size: Array
    peak: NDArray[np.bool_]

    def at(self, table: Sectors, k: int) -> float:
        """Radius of a peak, mm, between bins."""
        off = peak_offset(self.size[k - 1 : k], self.size[k : k + 1], self.size[k + 1 : k + 2])[0]
        return float(table.radius_mm[k] + off * (table.radius_mm[1] - table.radius_mm[0]))


def sectors_of(strip: Strip, valid: NDArray[np.bool_]) -> Sectors:
    """Means over bins of the radius and a degree, then medians over the rows of each sector."""
    rows, bins = max(1, round(SECTOR_DEG / strip.step_deg)), max(1, round(BIN_MM / strip.step_mm))
    count, wide = strip.values.shape[0] // rows, strip.values.shape[1] // bins
    few = min(SECTOR_DEG, rows)
    tone = log_gray(_means(strip.values, valid, (count, rows, few), (wide, bins)))
    told = _row_medians(tone, few)
    deg = strip.deg(np.arange(count) * rows + (rows - 1) / 2)
    return Sectors(tone=told, deg=deg, radius_mm=strip.mm(np.arange(wide) * bins + (bins - 1) / 2))


def _means(values: Grid, valid: NDArray[np.bool_], rows: tuple[int, int, int], columns: tuple[int, int]) -> Grid:
    """Means over what is seen; nan where nothing is."""
    (count, many, few), (wide, bins) = rows, columns
    part = np.s_[: count * many, : wide * bins]

    def mean(grid: Grid) -> Grid:
        return np.asarray(cv2.resize(grid[part], (wide, count * few), interpolation=cv2.INTER_AREA))

    if valid[part].all():
        return mean(values)
    seen = valid.astype(np.float32)
    share = mean(seen)
    total = mean(np.multiply(values, seen, out=seen))
    return np.divide(total, share, out=np.full_like(total, np.nan), where=share > 0)


def edges_of(table: Sectors) -> Edges:
    """Edges at all radii at once."""
    change = _change(table)
    waves = np.radians(table.deg)
    design = np.stack([np.ones_like(waves), np.cos(waves), np.sin(waves), np.cos(2 * waves), np.sin(2 * waves)], axis=1)
    smooth = _fit(change, design)
    seen = np.isfinite(change)
    count = seen.sum(axis=0)
    size = np.sqrt(np.where(seen, smooth**2, 0.0).sum(axis=0) / np.maximum(count, 1))
    size = np.where(count >= LEAST_SECTORS, size, 0.0)
    near = round(4 * BIN_MM / max(1e-6, float(table.radius_mm[1] - table.radius_mm[0])))
    padded = np.pad(size, near)
    highest = np.max([padded[k : k + len(size)] for k in range(2 * near + 1)], axis=0)
    peak = (size > 0) & (size >= highest)
    peak[:2] = peak[-2:] = False
    return Edges(change=change, smooth=smooth, size=size, peak=peak)


def _change(table: Sectors) -> Array:
    """Tone beyond each radius less that before it (S, R); nan where either is hardly seen."""
    step = float(table.radius_mm[1] - table.radius_mm[0])
    return _differences(table.tone, max(1, round(GAP_MM / step)), max(2, round(BESIDE_MM / step)))


@compiled
def _row_medians(tone: Grid, few: int) -> Array:
    """Medians (S, R) of what is told in each `few` rows, sorted by swapping neighbours; nan where less than half is."""
    wide = tone.shape[1]
    told = np.full((len(tone) // few, wide), np.nan)
    block, count = np.empty((few, wide), np.float32), np.empty(wide, np.int64)
    for sector in range(len(told)):
        count[:] = 0
        for row in range(few):
            for k in range(wide):
                value = tone[sector * few + row, k]
                seen = np.isfinite(value)
                block[row, k] = value if seen else np.inf
                count[k] += seen
        for turn in range(few):
            for row in range(turn % 2, few - 1, 2):
                for k in range(wide):
                    one, other = block[row, k], block[row + 1, k]
                    block[row, k], block[row + 1, k] = min(one, other), max(one, other)
        for k in range(wide):
            if 2 * count[k] >= few:
                told[sector, k] = (block[(count[k] - 1) // 2, k] + block[count[k] // 2, k]) / 2
    return told


@compiled
def _differences(tone: Array, gap: int, beside: int) -> Array:
    """Mean over `beside` columns that begin `gap` beyond each, less that over as many before it; nan where not more
    than half of them are told."""
    sectors, wide = tone.shape
    out = np.full((sectors, wide), np.nan)
    total, number = np.zeros(wide + 1), np.zeros(wide + 1)
    for sector in range(sectors):
        for k in range(wide):
            told = np.isfinite(tone[sector, k])
            total[k + 1] = total[k] + (tone[sector, k] if told else 0.0)
            number[k + 1] = number[k] + told
        for k in range(wide):
            start, stop = min(k + gap, wide), min(k + gap + beside, wide)
            first, last = max(k - gap - beside, 0), max(k - gap, 0)
            ahead, behind = number[stop] - number[start], number[last] - number[first]
            if min(ahead, behind) > beside / 2:
                out[sector, k] = (total[stop] - total[start]) / ahead - (total[last] - total[first]) / behind
    return out


def _fit(change: Array, design: Array) -> Array:
    """Slow variation with the angle at each radius, by reweighted least squares (Tukey's biweight)."""
    seen, waves = np.isfinite(change), design.shape[1]
    values = np.where(seen, np.clip(change, -0.5, 0.5), 0.0)
    weight = seen.astype(float)
    hold = HOLD * np.diag([0.02, 1, 1, 1, 1])
    pairs = (design[:, :, None] * design[:, None]).reshape(len(design), -1)
    smooth = np.zeros_like(values)
    for turn in range(TURNS):
        if turn > 0:
            off = np.where(seen, np.abs(values - smooth), np.nan)
            middle = np.nan_to_num(medians(off[None], least=1)[0])
            weight = np.where(seen, np.clip(1 - (off / (4 * (1.4826 * middle + 1e-4))) ** 2, 0, None) ** 2, 0.0)
        normal = (weight.T @ pairs).reshape(-1, waves, waves) + hold
        right = (weight * values).T @ design
        _solve(normal, right)
        smooth = design @ right.T
    return np.asarray(smooth)


@compiled
def _solve(normal: Array, right: Array) -> None:
    """Solutions (R, K) of equations (R, K, K) with positive eigenvalues in place of their right sides (Gauss)."""
    size = right.shape[1]
    for r in range(len(right)):
        for k in range(size):
            for row in range(k + 1, size):
                share = normal[r, row, k] / normal[r, k, k]
                for column in range(k, size):
                    normal[r, row, column] -= share * normal[r, k, column]
                right[r, row] -= share * right[r, k]
        for k in range(size - 1, -1, -1):
            for column in range(k + 1, size):
                right[r, k] -= normal[r, k, column] * right[r, column]
            right[r, k] /= normal[r, k, k]
