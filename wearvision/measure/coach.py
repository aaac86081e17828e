"""How near and how straight a photo must be for its smallest limit, from the uncertainty budget.

A feature as wide as the limit has two edges; its width is told with

    u^2 = (scale)^2 + 2 (edge x mm per pixel)^2 + (level x tan tilt)^2

where mm per pixel is that of the direction in which the picture is coarsest, and level is how unlike in height its two
edges may be. The guard of a decision, 1.645 u, may take a stated share of the limit: solved for mm per pixel and for
tilt, that is the farthest and the most tilted photo that still resolves it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wearvision.measure.plane import Array, Plane
from wearvision.measure.retake import Retake

GUARD = 1.645
"""One-sided 95 % (ISO 14253-1 and JCGM 106 by way of the rubric's rule; from memory)."""
SHARE = 0.15
"""Of the limit that the guard may take: a width at 85 % of its limit is then still decided. Common practice,
no source."""
EDGE_PX = 0.2
"""Standard uncertainty of one edge in a sharp photo; blur has a gate of its own."""
LEVEL_SHARE = 0.1
"""How unlike in height the two edges of a feature may be, as a share of its width. Common practice, no source."""
RESOLVED_PX = 2.0
"""Below, a feature is not resolved at all (sampling theorem)."""
NEAREST_MM = 80.0
"""Nearer, phones do not focus. Common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Reach:
    """What a photo has and what its smallest limit needs.

    Attributes
    ----------
    limit_mm : float
    mm_per_px, mm_per_px_most : float
        Along the coarsest direction; at most. The latter is 0 when the scale alone is too uncertain.
    tilt_deg, tilt_most_deg : float
        The latter is 0 when even a straight photo from there does not resolve the limit.
    distance_mm : float
    """

    limit_mm: float
    mm_per_px: float
    mm_per_px_most: float
    tilt_deg: float
    tilt_most_deg: float
    distance_mm: float

    @property
    def numbers(self) -> dict[str, float]:
        """For the list of retakes."""
        return {
            "limit_mm": self.limit_mm, "mm_per_px": round(self.mm_per_px, 4),
            "mm_per_px_most": round(self.mm_per_px_most, 4), "tilt_deg": round(self.tilt_deg, 1),
            "tilt_most_deg": round(self.tilt_most_deg, 1), "distance_mm": round(self.distance_mm),
        }  # fmt: skip


def reach_of(plane: Plane, at_px: Array, limit_mm: float) -> Reach:
    """What a photo has and needs, at a place in it."""
    quad = plane.to_mm(at_px.reshape(1, 2) + np.array([[-0.5, 0], [0.5, 0], [0, -0.5], [0, 0.5]]))
    coarse, fine = np.linalg.svd(np.column_stack([quad[1] - quad[0], quad[3] - quad[2]]), compute_uv=False)
    scale = plane.mm_per_px(at_px)
    allowed = (SHARE * limit_mm / GUARD) ** 2 - (scale.u / scale.value * limit_mm) ** 2
    level, tilt = LEVEL_SHARE * limit_mm, math.radians(min(plane.tilt_deg, 80.0))
    left = allowed - (level * math.tan(tilt)) ** 2
    return Reach(
        limit_mm=limit_mm, mm_per_px=float(coarse), tilt_deg=plane.tilt_deg, distance_mm=plane.distance_mm,
        mm_per_px_most=min(math.sqrt(max(left, 0.0) / 2) / EDGE_PX, limit_mm / RESOLVED_PX),
        tilt_most_deg=_most_tilt(allowed, float(fine), level, limit_mm),
    )  # fmt: skip


def _most_tilt(allowed: float, straight_mm: float, level_mm: float, limit_mm: float) -> float:
    """Largest tilt, degrees, at which edges this fine when seen straight keep within what is allowed."""
    # with T = tan^2 of the tilt: 2 (edge s)^2 (1 + T) + level^2 T = allowed
    edge = 2 * (EDGE_PX * straight_mm) ** 2
    most = min((allowed - edge) / (edge + level_mm**2), (limit_mm / (RESOLVED_PX * straight_mm)) ** 2 - 1)
    return math.degrees(math.atan(math.sqrt(most))) if most > 0 else 0.0


def coach(plane: Plane, at_px: Array, limit_mm: float) -> Retake | None:
    """What to do about distance or tilt, in one sentence; `None` when the smallest limit is resolved."""
    reach = reach_of(plane, at_px, limit_mm)
    if reach.mm_per_px <= reach.mm_per_px_most:
        return None
    numbers = reach.numbers
    has = f"{_short(reach.mm_per_px)} mm per pixel"
    if 5.0 < reach.tilt_most_deg < reach.tilt_deg:
        say = (
            f"Tilted by {reach.tilt_deg:.0f} degrees, and from here a limit of {limit_mm:g} mm allows"
            f" {math.floor(reach.tilt_most_deg)}: hold the camera straighter above."
        )
        return Retake(code="tilt", say=say, numbers=numbers)
    straight = reach.mm_per_px_most or _straight_most(plane, at_px, limit_mm)
    if straight <= 0:
        say = f"The scale is too uncertain for a limit of {limit_mm:g} mm: lay a printed card beside the part."
        return Retake(code="scale", say=say, numbers=numbers)
    ratio = reach.mm_per_px / straight
    needs = f"{has}, a limit of {limit_mm:g} mm needs {_short(straight)}"
    nearer = reach.distance_mm * (1 - 1 / ratio)
    if plane.lens_source == "none":
        return Retake(code="too-far", say=f"Too far, go {ratio:.1f} times closer: {needs}.", numbers=numbers)
    if reach.distance_mm - nearer < NEAREST_MM:
        say = f"Too far, use the camera's longer lens and stand {ratio:.1f} times closer in effect: {needs}."
        return Retake(code="too-far", say=say, numbers=numbers)
    say = f"Too far, stand about {_centimetres(nearer)} cm closer: {needs}."
    return Retake(code="too-far", say=say, numbers=numbers)


def _straight_most(plane: Plane, at_px: Array, limit_mm: float) -> float:
    """Largest mm per pixel of a photo that is not tilted."""
    scale = plane.mm_per_px(at_px)
    allowed = (SHARE * limit_mm / GUARD) ** 2 - (scale.u / scale.value * limit_mm) ** 2
    return min(math.sqrt(max(allowed, 0.0) / 2) / EDGE_PX, limit_mm / RESOLVED_PX)


def _centimetres(length_mm: float) -> int:
    """Rounded up to what a person can judge: whole centimetres, from 20 on fives."""
    step = 1 if length_mm < 200 else 5
    return math.ceil(length_mm / 10 / step) * step


def _short(value: float) -> str:
    return f"{value:.2f}" if value >= 0.095 else f"{value:.3f}"
