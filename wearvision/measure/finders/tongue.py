"""A volute lip: how far it lies behind the straight line through its sound parts.

The line is carried by the parts that are sound: of all lines through two places of the edge, the one with most of the
edge on it and least of it on the opening's side, where metal cannot be missing. Behind the line metal is missing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.finders.tongue_trace import Trace
from wearvision.measure.plane import Array, Plane

BLOCK_MM = 0.2
"""The edge is told in medians over so much of its length."""
NEAR_MM, NEAR_PX = 0.10, 0.9
"""An edge place lies on a line when no further from it than the sum of these."""
STEEPEST = 0.06
ABOVE, BELOW = 2.4, 3.5
"""Places so many deviations behind the line, or before it, no longer count for it: wear lies on one side only."""
SOUND_LEAST = 0.2
"""Share of the lip that must lie on the line."""
ALIKE_MM = 1.5
"""Neighbours along an edge share their error over such a length."""
ERODED_MM, SIGNIFICANT = 0.12, 3.5
"""Least deviation that may be wear, and in standard deviations of the sound edge; half of it bounds a bay."""
LEAST_RUN_MM = 1.5


@dataclass(frozen=True, kw_only=True, eq=False)
class Lip:
    """A lip held against its sound line.

    Attributes
    ----------
    x_mm, away_mm : (N,) arrays
        Distance along the lip from its first corner; distance behind the sound line.
    px : (N, 2) array
        The same places in the photo.
    ends_px : (2, 2) array
        Corners on the line.
    sound : (N,) array
        Weight of each place for the line, 0 to 1.
    worn : (N,) bool
        What is eroded.
    spread_mm : float
        Standard deviation of the sound edge about the line.
    line_cov : (2, 2) array
        Covariance of the line's height at the middle and of its slope.
    clear : float
        Strength of the edge where it is weak (tenth percentile).
    seen : float
        Share of the lip in view.
    length_mm : float
    trace : Trace
    """

    x_mm: Array
    away_mm: Array
    px: Array
    ends_px: Array
    sound: Array
    worn: NDArray[np.bool_]
    spread_mm: float
    line_cov: Array
    clear: float
    seen: float
    length_mm: float
    trace: Trace

    def u_line(self, x_mm: Array) -> Array:
        """Standard uncertainty of the sound line along the lip, mm."""
        off = np.asarray(x_mm) - self.length_mm / 2
        c = self.line_cov
        return np.asarray(np.sqrt(np.maximum(c[0, 0] + 2 * off * c[0, 1] + off * off * c[1, 1], 0)))

    @property
    def step_mm(self) -> float:
        """Distance of neighbouring places."""
        return float(np.median(np.diff(self.x_mm)))


def lip_of(trace: Trace, plane: Plane) -> Lip | None:
    """A lip from its edge; None when no straight part of it carries a line."""
    x, y = blocks(trace)
    if len(x) < 20:
        return None
    tol = NEAR_MM + NEAR_PX * trace.patch.px_mm
    found = sound_line(x, y, tol)
    if found is None:
        return None
    height, tilt, weight, spread, covariance = found
    away = y - height - tilt * (x - trace.length_mm / 2)
    columns = trace.ends[0] + x / trace.patch.step_mm
    ends = np.array([0.0, trace.length_mm])
    on_line = height + tilt * (ends - trace.length_mm / 2)
    px = plane.to_px(trace.patch.to_mm(columns, y / trace.patch.step_mm))
    corners = plane.to_px(trace.patch.to_mm(np.array(trace.ends), on_line / trace.patch.step_mm))
    return Lip(
        x_mm=x, away_mm=away, px=px, ends_px=corners, sound=weight, spread_mm=spread, line_cov=covariance,
        worn=_worn(x, away, max(ERODED_MM, SIGNIFICANT * spread)), clear=float(np.percentile(trace.clear, 10)),
        seen=float(trace.seen.mean()), length_mm=trace.length_mm, trace=trace,
    )  # fmt: skip


def blocks(trace: Trace) -> tuple[Array, Array]:
    """Places along the lip and rows there in mm, as medians over short blocks; what is not seen is left out."""
    step = trace.patch.step_mm
    x = trace.x_mm[trace.seen]
    y = trace.row[trace.seen] * step
    block = np.floor(x / max(BLOCK_MM, step)).astype(int)
    starts = np.flatnonzero(np.diff(block, prepend=block[:1] - 1)) if len(block) else np.array([], dtype=int)
    pieces = np.split(np.arange(len(x)), starts[1:])
    return (
        np.array([x[p].mean() for p in pieces if len(p)]), np.array([np.median(y[p]) for p in pieces if len(p)])
    )  # fmt: skip


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


def _worn(x: Array, away: Array, limit: float) -> NDArray[np.bool_]:
    """Bays: runs behind half the limit that reach the limit over a millimetre and more."""
    step = float(np.median(np.diff(x)))
    wide = max(1, round(0.8 / step) | 1)
    calm = np.convolve(np.pad(away, wide // 2, mode="edge"), np.ones(wide) / wide, "valid")
    out = np.zeros(len(x), dtype=bool)
    inside = calm > limit / 2
    bounds = np.flatnonzero(np.diff(np.concatenate([[0], inside.astype(int), [0]])))
    for start, stop in bounds.reshape(-1, 2):
        if calm[start:stop].max() > limit and (stop - start) * step >= LEAST_RUN_MM:
            out[start:stop] = True
    return out
