"""How marks lean in their strip, followed outward from the row they were found in."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import median, peak_offset
from wearvision.measure.rule.strip import Strip

Grid = NDArray[np.float32]
Array = NDArray[np.float64]

BLOCK = 3
"""Rows looked at together."""
SHIFTS = np.linspace(-0.3, 0.3, 9)
"""Places tried about the expected one, periods."""
LOST = 0.2
"""Marks are given up when this share of their darkness is left."""
PARTS = 4
FIT_EVERY = 4
LEAST_SD = 0.002
"""Of the lean: marks are engraved square to the edge within so much. Common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Lean:
    """A mark at t on the line lies at `t + s (offset + slope t)` in the row s; `sd` of the offset."""

    offset: float = 0.0
    slope: float = 0.0
    sd: float = 0.02

    def shift(self, t: Array, s: Array | float) -> Array:
        """Shift along, px, of marks at t in rows s."""
        return np.asarray(s * (self.offset + self.slope * t))


def find_lean(strip: Strip, t: Array, period: Array) -> Lean:
    """Follow the marks to both sides and fit how they lean."""
    seen: list[Array] = []
    start, lean = strip.row(0.0), Lean()
    cuts = np.linspace(0, len(t), min(PARTS, len(t)) + 1).astype(int)[:-1]
    weights = {1: np.ones(len(t)), -1: np.ones(len(t))}
    first, alive = 0.0, {1, -1}
    for k in range(len(strip.s_px) // BLOCK):
        for side in sorted(alive) if k else (1,):
            row = start + side * k * BLOCK
            if row - 1 < 0 or row + 2 > len(strip.s_px):
                continue
            s = float(strip.s_px[row])
            at = t + s * (lean.offset + lean.slope * t)
            dark = _dark((strip.values[row - 1] + strip.values[row] + strip.values[row + 1]) / 3, strip, at, period)
            told, depth = _best(dark, weights[side], cuts, period, t, s)
            told[:, 2] += s * (lean.offset + lean.slope * told[:, 1])
            seen.append(told)
            first = max(first, depth) if k < 3 else first
            if k >= 3 and depth < LOST * first:
                alive.discard(side)
            middle = dark[:, len(SHIFTS) // 2 - 1 : len(SHIFTS) // 2 + 2].max(axis=1)
            weights[side] = 0.5 * weights[side] + 0.5 * middle / (median(middle) + 1e-6)
            if k == 0:
                weights[-1] = weights[1].copy()
        lean = _fit(seen) if k < 4 or k % FIT_EVERY == 0 else lean
        if not alive:
            break
    return _fit(seen)


def _dark(row: Grid, strip: Strip, at: Array, period: Array) -> Array:
    """Darkness at each mark at every shift tried, against the brightest of them, (N, K)."""
    column = np.clip(at[:, None] + SHIFTS * period[:, None] - strip.t_px[0], 0, len(row) - 1.001)
    low = column.astype(np.int64)
    part = column - low
    grey = row[low] * (1 - part) + row[low + 1] * part
    return np.asarray(grey.max(axis=1, keepdims=True) - grey)


def _best(
    dark: Array, weight: Array, cuts: NDArray[np.int64], period: Array, t: Array, s: float
) -> tuple[Array, float]:
    """For each part of the row (s, t, shift, depth) where its marks are darkest, and the depth in all."""
    count = np.diff(np.append(cuts, len(t)))
    curve = np.add.reduceat(weight[:, None] * dark, cuts, axis=0) / count[:, None]
    at, wide = (np.add.reduceat(v, cuts) / count for v in (t, period))
    rows, k = np.arange(len(cuts)), np.clip(curve.argmax(axis=1), 1, len(SHIFTS) - 2)
    left, top, right = (curve[rows, k + j] for j in (-1, 0, 1))
    depth = top - np.sort(curve, axis=1)[:, len(SHIFTS) // 2]
    off = peak_offset(left, top, right) * (SHIFTS[1] - SHIFTS[0])
    told = np.column_stack([np.full(len(cuts), s), at, (SHIFTS[k] + off) * wide, depth])
    good = (top >= left) & (top >= right) & (depth > 0) & (abs(s) > 1.0)
    return told[good], float(np.clip(depth, 0, None).sum())


def _fit(seen: list[Array]) -> Lean:
    """Lean from places (s, t, shift, weight), robustly; little is believed of rows close by alone."""
    s, t, moved, depth = np.concatenate(seen).T
    if len(s) < 4:
        return Lean()
    base = np.column_stack([s, s * t / 1000])
    weight = depth / depth.max()
    a, b, inverse, off = 0.0, 0.0, np.zeros((2, 2)), moved
    for _ in range(3):
        xx, xy, yy = weight @ base[:, 0] ** 2 + 4.0, weight @ (base[:, 0] * base[:, 1]), weight @ base[:, 1] ** 2 + 40.0
        inverse = np.array([[yy, -xy], [-xy, xx]]) / (xx * yy - xy * xy)
        a, b = inverse @ ((weight * moved) @ base)
        off = moved - base @ [a, b]
        weight = depth / depth.max() / (1 + (off / 0.7) ** 2)
    scatter = float(np.average(off**2, weights=weight)) + 0.02
    return Lean(offset=float(a), slope=float(b) / 1000, sd=math.hypot(math.sqrt(scatter * inverse[0, 0]), LEAST_SD))
