"""Shapes of pits and cracks on a drawn face: formulas that both the mesh and the truth are made from, mm."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Rng = np.random.Generator


@dataclass(frozen=True, kw_only=True)
class Pit:
    """A pit: middle, mean radius, waves of its outline (amplitude, phase) from the second on, its wall, what fills it.

    Inside it is part of a sphere, stretched in depth. ``wall_deg`` is the angle between its wall and the sound face at
    the rim: a saucer has 45, a half sphere 90, more is undercut: wider below than its mouth. ``rusty`` 0..1 is how
    much rust lies in it.
    """

    x_mm: float
    y_mm: float
    radius_mm: float
    waves: tuple[tuple[float, float], ...]
    wall_deg: float
    stretch: float
    rusty: float

    @property
    def depth_mm(self) -> float:
        """At its deepest: a cap of this wall angle is tan(wall / 2) radii deep."""
        return self.radius_mm * self.stretch * math.tan(math.radians(self.wall_deg) / 2)

    def profile(self, share: Array) -> tuple[Array, Array]:
        """Distance from the axis, in radii of the mouth, and depth, mm, along the wall: 0 the bottom, 1 the rim."""
        wall = math.radians(self.wall_deg)
        turn = np.clip(share, 0, 1) * wall
        depth = self.radius_mm * self.stretch * (np.cos(turn) - math.cos(wall)) / math.sin(wall)
        return np.asarray(np.sin(turn) / math.sin(wall)), np.asarray(depth)

    def reach(self, angle_rad: Array) -> Array:
        """Distance of the rim from the middle."""
        wave = sum((a * np.cos((k + 2) * angle_rad + p) for k, (a, p) in enumerate(self.waves)), np.zeros(1))
        return np.asarray(self.radius_mm * (1 + wave) + 0 * angle_rad)

    def outline(self, count: int = 48) -> Array:
        """Rim (count, 2) on the face."""
        a = np.arange(count) * 2 * math.pi / count
        return np.column_stack([self.x_mm + self.reach(a) * np.cos(a), self.y_mm + self.reach(a) * np.sin(a)])

    def ratio(self, x_mm: Array, y_mm: Array) -> Array:
        """Distance from the middle over that of the rim: below 1 is inside."""
        x, y = x_mm - self.x_mm, y_mm - self.y_mm
        return np.asarray(np.hypot(x, y) / self.reach(np.arctan2(y, x)))


@dataclass(frozen=True, kw_only=True, eq=False)
class Crack:
    """A crack: its middle line (N, 2), steps of 0.2 mm, and its width (N,) at face level.

    It is a slit that closes to an edge ``depth_mm`` below its widest places, ``lean_mm`` to one side of them.
    """

    line_mm: Array
    width_mm: Array
    depth_mm: float
    lean_mm: float

    @property
    def length_mm(self) -> float:
        """Along the line."""
        return float(np.hypot(*np.diff(self.line_mm, axis=0).T).sum())

    @property
    def normals(self) -> Array:
        """Unit vectors (N, 2) to its left."""
        way = np.gradient(self.line_mm, axis=0)
        return np.asarray(np.column_stack([-way[:, 1], way[:, 0]]) / np.hypot(*way.T)[:, None])

    def distance(self, x_mm: Array, y_mm: Array) -> Array:
        """From points (M,) to its opening: 0 and less within it."""
        apart = np.hypot(x_mm[:, None] - self.line_mm[:, 0], y_mm[:, None] - self.line_mm[:, 1])
        return np.asarray((apart - self.width_mm / 2).min(axis=1, initial=np.inf))


def draw_pit(rng: Rng, x_mm: float, y_mm: float, diameter_mm: float) -> Pit:
    """A pit of a mean diameter, its outline from nearly round to ragged."""
    ragged = float(rng.choice([0.03, 0.06, 0.1]))
    waves = tuple((float(rng.normal(0, ragged / (k + 1) ** 0.5)), float(rng.uniform(0, 6.28))) for k in range(4))
    waves = tuple((float(np.clip(a, -0.16, 0.16)), p) for a, p in waves)
    return Pit(
        x_mm=x_mm, y_mm=y_mm, radius_mm=diameter_mm / 2, waves=waves,
        wall_deg=float(rng.choice([rng.uniform(45, 75), rng.uniform(75, 95), rng.uniform(95, 125)])),
        stretch=float(rng.uniform(0.7, 1.3)), rusty=float(rng.choice([0.0, 0.0, 0.0, rng.uniform(0.2, 1.0)])),
    )  # fmt: skip


def draw_crack(rng: Rng, start_mm: Array, heading_rad: float, length_mm: float, width_mm: float) -> Crack:
    """A meandering crack: its heading sways, follows the grain in short kinks, and comes back."""
    count = max(8, round(length_mm / 0.2))
    sway = np.interp(np.arange(count) * 0.2, *_knots(rng, length_mm, 9.0, 0.35))
    kinks = np.interp(np.arange(count) * 0.2, *_knots(rng, length_mm, 1.3, 0.45))
    heading = heading_rad + sway + kinks
    line = start_mm + np.cumsum(0.2 * np.column_stack([np.cos(heading), np.sin(heading)]), axis=0)
    width = width_mm * np.clip(1 + np.interp(np.arange(count) * 0.2, *_knots(rng, length_mm, 2.5, 0.25)), 0.4, 1.7)
    ends = np.minimum(np.arange(count), np.arange(count)[::-1]) * 0.2
    return Crack(
        line_mm=line, width_mm=width * np.clip(ends / (0.12 * length_mm), 0.25, 1),
        depth_mm=float(rng.uniform(1.0, 4.0)), lean_mm=float(rng.uniform(-0.5, 0.5)),
    )  # fmt: skip


def _knots(rng: Rng, length: float, apart: float, spread: float) -> tuple[Array, Array]:
    at = np.arange(-apart, length + 2 * apart, apart)
    return at, rng.normal(0, spread, len(at))
