"""The straight line through the sound parts of a lip's edge."""

from __future__ import annotations

import numpy as np

from wearvision.measure.plane import Array

NEAR_MM, NEAR_PX = 0.10, 0.9
"""An edge place lies on a line when no further from it than the sum of these."""
STEEPEST = 0.06
ABOVE, BELOW = 2.4, 3.5
"""Places so many deviations behind the line, or before it, no longer count for it: wear lies on one side only."""
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
    middle = (x[0] + x[-1]) / 2
    knots = np.unique(np.linspace(0, len(x) - 1, min(len(x), 80)).astype(int))
    kx, ky = x[knots] - middle, y[knots]
    a, b = np.triu_indices(len(knots), 1)
    far = kx[b] - kx[a] > 0.15 * (x[-1] - x[0])
    a, b = a[far], b[far]
    tilt = (ky[b] - ky[a]) / (kx[b] - kx[a])
    a, tilt = a[np.abs(tilt) < STEEPEST], tilt[np.abs(tilt) < STEEPEST]
    if not len(a):
        return None
    rest = ky[None, :] - ky[a][:, None] - tilt[:, None] * (kx[None, :] - kx[a][:, None])
    score = np.clip(1 - (rest / tol) ** 2, 0, None).sum(axis=1) - 1.5 * (rest < -1.5 * tol).sum(axis=1)
    best = int(np.argmax(score))
    theta = np.array([ky[a[best]] - tilt[best] * kx[a[best]], tilt[best]])
    basis = np.column_stack([np.ones(len(x)), x - middle])
    weight = np.ones(len(x))
    spread = tol / 2
    for _ in range(12):
        off = y - basis @ theta
        reach = np.where(off > 0, ABOVE, BELOW) * max(spread, tol / 6)
        weight = np.clip(1 - (off / reach) ** 2, 0, None) ** 2
        if weight.sum() < SOUND_LEAST * len(x):
            return None
        theta = np.linalg.solve(basis.T @ (weight[:, None] * basis), basis.T @ (weight * y))
        on = np.abs(y - basis @ theta)[weight > 0]
        spread = float(np.clip(1.4826 * np.median(on), tol / 12, tol / 2))
    step = float(np.median(np.diff(x)))
    normal = basis.T @ (weight[:, None] * basis) * step / ALIKE_MM
    return float(theta[0]), float(theta[1]), weight, spread, np.asarray(np.linalg.inv(normal) * spread**2)
