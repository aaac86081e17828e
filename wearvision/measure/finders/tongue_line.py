"""The straight line through the sound parts of a lip's edge."""

from __future__ import annotations

import numpy as np

from wearvision.measure.compiled import compiled
from wearvision.measure.plane import Array

NEAR_MM, NEAR_PX = 0.10, 0.9
"""An edge place lies on a line when no further from it than the sum of these."""
STEEPEST, APART = 0.06, 0.15
"""A line leans by no more, and its two places lie further apart than this share of the lip."""
KNOTS = 80
"""Places of which two and two are tried."""
BEFORE, BEFORE_LESS = 1.5, 1.5
"""A place so many tolerances before the line speaks against it, and how much."""
ABOVE, BELOW = 2.4, 3.5
"""Places so many deviations behind the line, or before it, no longer count for it: wear lies on one side only."""
TURNS = 12
SOUND_LEAST = 0.2
"""Share of the lip that must lie on the line."""
ALIKE_MM = 1.5
"""Neighbours along an edge share their error over such a length."""


def sound_line(x: Array, y: Array, tol: float) -> tuple[float, float, Array, float, Array] | None:
    """Line y = height + tilt (x - middle) through the sound parts of an edge whose y grows where metal is missing.

    Returns
    -------
    (height, tilt, weights (N,), spread, covariance (2, 2)) or None
        The middle is half the length that `x` spans from 0 to its mirror end.
    """
    off = x - (x[0] + x[-1]) / 2
    knots = np.unique(np.linspace(0, len(x) - 1, min(len(x), KNOTS)).astype(int))
    height, tilt = _voted(off[knots], np.ascontiguousarray(y[knots]), tol, APART * float(x[-1] - x[0]))
    if np.isnan(height):
        return None
    weight = np.ones(len(x))
    height, tilt, spread = _settled(off, np.ascontiguousarray(y, dtype=np.float64), height, tilt, tol, weight)
    if np.isnan(height):
        return None
    basis = np.column_stack([np.ones(len(x)), off])
    step = float(np.median(np.diff(x)))
    normal = basis.T @ (weight[:, None] * basis) * step / ALIKE_MM
    return height, tilt, weight, spread, np.asarray(np.linalg.inv(normal) * spread**2)


@compiled
def _voted(x: Array, y: Array, tol: float, far: float) -> tuple[float, float]:
    """Height and tilt of the line through two of the places that has most of them on it; nan where there is none."""
    best, height, slant = -np.inf, np.nan, np.nan
    for a in range(len(x)):
        for b in range(a + 1, len(x)):
            tilt = (y[b] - y[a]) / (x[b] - x[a])
            if x[b] - x[a] <= far or not abs(tilt) < STEEPEST:
                continue
            score = 0.0
            for k in range(len(x)):
                rest = (y[k] - y[a] - tilt * (x[k] - x[a])) / tol
                score += max(0.0, 1 - rest * rest) - (BEFORE_LESS if rest < -BEFORE else 0.0)
            if score > best:
                best, height, slant = score, y[a] - tilt * x[a], tilt
    return height, slant


@compiled
def _settled(
    x: Array, y: Array, height: float, tilt: float, tol: float, weight: Array
) -> tuple[float, float, float]:
    """Height, tilt and spread after rounds of reweighting, nan where too little lies on the line; fills in `weight`."""
    spread = tol / 2
    for _ in range(TURNS):
        wide = max(spread, tol / 6)
        s0 = s1 = s2 = t0 = t1 = 0.0
        for k in range(len(x)):
            off = y[k] - height - tilt * x[k]
            w = max(0.0, 1 - (off / (wide * (ABOVE if off > 0 else BELOW))) ** 2) ** 2
            weight[k] = w
            s0, s1, s2, t0, t1 = s0 + w, s1 + w * x[k], s2 + w * x[k] * x[k], t0 + w * y[k], t1 + w * x[k] * y[k]
        if s0 < SOUND_LEAST * len(x):
            return np.nan, np.nan, np.nan
        tilt = (s0 * t1 - s1 * t0) / (s0 * s2 - s1 * s1)
        height = (t0 - tilt * s1) / s0
        near = np.median(np.abs(y - height - tilt * x)[weight > 0])
        spread = min(max(1.4826 * near, tol / 12), tol / 2)
    return height, tilt, spread
