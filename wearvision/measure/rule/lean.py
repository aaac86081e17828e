"""How marks lean in their strip, followed outward from the row they were found in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
    seen: list[tuple[float, float, float, float]] = []
    start = strip.row(0.0)
    lean = Lean()
    parts = np.array_split(np.arange(len(t)), PARTS)
    weights = {1: np.ones(len(t)), -1: np.ones(len(t))}
    first, alive = 0.0, {1, -1}
    for k in range(len(strip.s_px) // BLOCK):
        for side in (1, -1) if k else (1,):
            row = start + side * k * BLOCK
            if side not in alive or row - 1 < 0 or row + 2 > len(strip.s_px):
                continue
            s = float(strip.s_px[row])
            dark = _dark(strip.values[row - 1 : row + 2].mean(axis=0), strip, t + lean.shift(t, s), period)
            total = _best(dark, weights[side], parts, period, t, lean, s, seen)
            first = max(first, total) if k < 3 else first
            if k >= 3 and total < LOST * first:
                alive.discard(side)
            middle = np.clip(dark[:, len(SHIFTS) // 2 - 1 : len(SHIFTS) // 2 + 2].max(axis=1), 0, None)
            weights[side] = 0.5 * weights[side] + 0.5 * middle / (np.median(middle) + 1e-6)
            if k == 0:
                weights[-1] = weights[1].copy()
        lean = _fit(seen) if k < 4 or k % FIT_EVERY == 0 else lean
    return _fit(seen)


def _dark(row: Grid, strip: Strip, at: Array, period: Array) -> Array:
    """Darkness at each mark at every shift tried, against the ends of the range, (N, K)."""
    column = np.clip(at[:, None] + SHIFTS * period[:, None] - strip.t_px[0], 0, len(row) - 1.001)
    low = column.astype(int)
    part = column - low
    grey = row[low] * (1 - part) + row[low + 1] * part
    return np.asarray(grey.max(axis=1, keepdims=True) - grey)


def _best(
    dark: Array, weight: Array, parts: list[NDArray[np.int64]], period: Array, t: Array, lean: Lean, s: float,
    seen: list[tuple[float, float, float, float]],
) -> float:  # fmt: skip
    """Where along the shifts the marks are darkest, part by part; notes it and returns the darkness in all."""
    total = 0.0
    for part in parts:
        if not len(part):
            continue
        curve = weight[part] @ dark[part] / len(part)
        k = int(np.argmax(curve))
        depth = float(curve[k] - np.median(curve))
        total += max(depth, 0.0)
        if 0 < k < len(SHIFTS) - 1 and abs(s) > 1.0 and depth > 0:
            bend = curve[k - 1] - 2 * curve[k] + curve[k + 1]
            off = 0.5 * (curve[k - 1] - curve[k + 1]) / bend if bend < 0 else 0.0
            at = float(t[part].mean())
            moved = (SHIFTS[k] + off * (SHIFTS[1] - SHIFTS[0])) * float(period[part].mean())
            seen.append((s, at, float(lean.shift(np.array(at), s)) + moved, depth))
    return total


def _fit(seen: list[tuple[float, float, float, float]]) -> Lean:
    """Lean from places (s, t, shift, weight), robustly; little is believed of rows close by alone."""
    if len(seen) < 4:
        return Lean()
    s, t, moved, depth = np.array(seen).T
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
    return Lean(offset=float(a), slope=float(b) / 1000, sd=float(np.sqrt(scatter * inverse[0, 0])) + LEAST_SD)
