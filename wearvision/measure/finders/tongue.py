"""A volute lip: how far it lies behind the straight line through its sound parts.

The line is carried by the parts that are sound: of all lines through two places of the edge, the one with most of the
edge on it and least of it on the opening's side, where metal cannot be missing. Behind the line metal is missing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import row_medians
from wearvision.measure.finders.tongue_line import NEAR_MM, NEAR_PX, sound_line
from wearvision.measure.finders.tongue_trace import Trace
from wearvision.measure.plane import Array, Plane

BLOCK_MM = 0.2
"""The edge is told in medians over so much of its length."""
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
    seen: float
    length_mm: float
    trace: Trace

    def u_line(self, x_mm: Array) -> Array:
        """Standard uncertainty of the sound line along the lip, mm."""
        off = np.asarray(x_mm) - self.length_mm / 2
        c = self.line_cov
        return np.asarray(np.sqrt(np.maximum(c[0, 0] + 2 * off * c[0, 1] + off * off * c[1, 1], 0)))

    @cached_property
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
        worn=_worn(x, away, max(ERODED_MM, SIGNIFICANT * spread)),
        seen=float(trace.seen.mean()), length_mm=trace.length_mm, trace=trace,
    )  # fmt: skip


def blocks(trace: Trace) -> tuple[Array, Array]:
    """Places along the lip and rows there in mm, as medians over short blocks; what is not seen is left out."""
    step = trace.patch.step_mm
    x = trace.x_mm[trace.seen]
    y = trace.row[trace.seen] * step
    block = np.floor(x / max(BLOCK_MM, step)).astype(int)
    starts = np.flatnonzero(np.diff(block, prepend=block[:1] - 1))
    sizes = np.diff(np.append(starts, len(x)))
    places = np.full((2, len(starts), int(sizes.max(initial=0))), np.nan)
    inside = np.arange(places.shape[2]) < sizes[:, None]
    places[:, inside] = x, y
    return np.asarray(np.nansum(places[0], axis=1) / sizes), row_medians(places[1])


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
