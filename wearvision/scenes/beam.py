"""A plane of light over a face: where it comes from, and where it meets the metal."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.shape import face_height
from wearvision.scenes.spec import Part

Array = NDArray[np.float64]
STEP_MM, MARCH_MM, HIGH_MM, DEEP_MM = 0.1, 0.01, 0.6, 3.6
"""Step of the profile, of the march down the light, and the heights between which it runs."""


@dataclass(frozen=True, kw_only=True)
class Beam:
    """The line: its middle on the face (x, y mm), its run there and the way the light comes down, both in degrees of
    the world's x, y; elevation; distance of the emitter; full width at half of its peak; strength over the room's
    light; how much its grain varies; colour; how far along the line the emitter stands from its middle."""

    x_mm: float
    y_mm: float
    along_deg: float
    towards: float
    elevation_deg: float
    distance_mm: float
    length_mm: float
    width_mm: float
    strength: float
    grain: float
    color: tuple[float, float, float]
    aside_mm: float = 0.0

    @property
    def along(self) -> Array:
        """Direction of the line (3,)."""
        turn = math.radians(self.along_deg)
        return np.array([math.cos(turn), math.sin(turn), 0.0])

    @property
    def down(self) -> Array:
        """Way of the middle ray (3,)."""
        high = math.radians(self.elevation_deg)
        side = self.towards * np.array([-self.along[1], self.along[0], 0.0])
        return np.asarray(math.cos(high) * side - np.array([0.0, 0.0, math.sin(high)]))

    @property
    def middle(self) -> Array:
        """Middle of the line on the face (3,)."""
        return np.array([self.x_mm, self.y_mm, 0.0])

    @property
    def source(self) -> Array:
        """Place of the emitter (3,)."""
        return np.asarray(self.middle - self.distance_mm * self.down + self.aside_mm * self.along)


def lit_points(part: Part, beam: Beam) -> tuple[Array, Array]:
    """Where the light lies: places along the sound line (N,) mm from its middle, lit points (N, 3)."""
    count = max(2, int(beam.length_mm / STEP_MM) + 1)
    along = np.linspace(-beam.length_mm / 2, beam.length_mm / 2, count)
    base = beam.middle + along[:, None] * beam.along
    base = base[on_face(part, base)]
    along = (base - beam.middle) @ beam.along
    ray = base - beam.source
    ray = ray / -ray[:, 2:]
    return along, march(part, base, ray, HIGH_MM, DEEP_MM)


def march(part: Part, base: Array, ray: Array, high: float, deep: float) -> Array:
    """First points (N, 3) at which rays of slope `ray` (z = -1) through `base` meet the face."""
    fall = np.arange(-high, deep, MARCH_MM)
    places = base[:, None, :] + fall[None, :, None] * ray[:, None, :]
    under = places[..., 2] <= face_height(part, places[..., 0], places[..., 1])
    return np.asarray(places[np.arange(len(base)), np.argmax(under, axis=1)])


def on_face(part: Part, points: Array) -> NDArray[np.bool_]:
    """Which points lie on the face, off its broken edges and its holes."""
    radius = np.hypot(points[:, 0], points[:, 1])
    inside = (radius > part.inner_mm + part.bore_chamfer_mm) & (radius < part.outer_mm - part.rim.chamfer_mm)
    holes = [np.hypot(points[:, 0] - h.x_mm, points[:, 1] - h.y_mm) < h.diameter_mm / 2 + 0.3 for h in part.holes]
    return np.asarray(inside & ~np.any([np.zeros(len(points), dtype=np.bool_), *holes], axis=0))
