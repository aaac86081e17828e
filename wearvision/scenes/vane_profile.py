"""The end section of a drawn vane: its shape, and the meshes behind it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.mesh import Mesh, grid_faces

Array = NDArray[np.float64]
STEP_MM = 0.05
"""Spacing of the outline's points along arcs and rough edges."""


@dataclass(frozen=True, kw_only=True)
class Section:
    """A vane seen along itself: a trapezoid on the line y = 0, its middle at x = 0, top corners rounded.

    ``thickness_mm`` is told at half height, ``height_mm`` at x = 0; ``draft_deg`` (left, right) leans the flanks
    inward; ``slope_deg`` lets the top rise to the right. ``rough_mm`` is the standard deviation of the cast edge,
    ``chips`` are bites (place along the outline 0 to 1, radius mm).
    """

    height_mm: float
    thickness_mm: float
    radius_mm: tuple[float, float]
    draft_deg: tuple[float, float] = (0.0, 0.0)
    slope_deg: float = 0.0
    fillet_mm: float = 0.0
    rough_mm: float = 0.0
    chips: tuple[tuple[float, float], ...] = field(default=())
    seed: int = 0

    def corners(self) -> Array:
        """Where flanks, top and base would meet if nothing were rounded: foot left, top left, top right, foot right."""
        half, mid = self.thickness_mm / 2, self.height_mm / 2
        lean = [math.tan(math.radians(d)) for d in self.draft_deg]
        rise = math.tan(math.radians(self.slope_deg))
        left = (-half + lean[0] * (self.height_mm - mid)) / (1 - lean[0] * rise)
        right = (half - lean[1] * (self.height_mm - mid)) / (1 + lean[1] * rise)
        return np.array([
            [-half - lean[0] * mid, 0.0], [left, self.height_mm + rise * left],
            [right, self.height_mm + rise * right], [half + lean[1] * mid, 0.0],
        ])  # fmt: skip

    def arc(self, side: int) -> Array:
        """Points (N, 2) of the rounding of the left (0) or right (1) top corner, in the outline's direction."""
        foot_left, top_left, top_right, foot_right = self.corners()
        before, at, after = ((foot_left, top_left, top_right), (top_left, top_right, foot_right))[side]
        return rounded(before, at, after, self.radius_mm[side])

    def outline(self) -> Array:
        """Outline (N, 2) from the left foot over the top to the right foot, roughness and chips included."""
        feet = self.corners()[[0, 3]]
        line = dense(np.vstack([feet[:1], self.arc(0), self.arc(1), feet[1:]]))
        return self._chipped(self._roughened(line))

    def _roughened(self, line: Array) -> Array:
        if not self.rough_mm:
            return line
        rng = np.random.default_rng([31, self.seed])
        wave = np.zeros(len(line))
        for cell, gain in ((1.2, 0.7), (0.5, 0.55), (0.2, 0.45)):
            knots = np.arange(0, len(line) * STEP_MM + 2 * cell, cell)
            wave += gain * np.interp(np.arange(len(line)) * STEP_MM, knots, rng.standard_normal(len(knots)))
        moved = line + normals(line) * (self.rough_mm * wave)[:, None]
        moved[[0, -1], 1] = 0.0
        return np.asarray(moved)

    def _chipped(self, line: Array) -> Array:
        for place, radius in self.chips:
            middle = line[int(place * (len(line) - 1))] + 0.4 * radius * normals(line)[int(place * (len(line) - 1))]
            off = line - middle
            far = np.hypot(off[:, 0], off[:, 1])
            inside = far < radius
            line = np.where(inside[:, None], middle + off / np.maximum(far, 1e-6)[:, None] * radius, line)
        return line


def rounded(before: Array, at: Array, after: Array, radius: float) -> Array:
    """Arc (N, 2) that rounds the corner ``at`` between two straight edges; the corner itself for radius 0."""
    one, two = (before - at) / np.linalg.norm(before - at), (after - at) / np.linalg.norm(after - at)
    half = math.acos(float(np.clip(one @ two, -1, 1))) / 2
    if radius <= 1e-6:
        return np.asarray(at.reshape(1, 2))
    middle = at + (one + two) / np.linalg.norm(one + two) * radius / math.sin(half)
    start, stop = (at + e * radius / math.tan(half) - middle for e in (one, two))
    sweep = math.atan2(start[0] * stop[1] - start[1] * stop[0], float(start @ stop))
    angles = np.linspace(0, sweep, max(8, int(abs(sweep) * radius / STEP_MM) + 1))
    cos, sin = np.cos(angles), np.sin(angles)
    return np.asarray(middle + np.column_stack([start[0] * cos - start[1] * sin, start[0] * sin + start[1] * cos]))


def dense(line: Array) -> Array:
    """A polyline with points `STEP_MM` apart, its own first and last kept."""
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.linspace(0, run[-1], int(run[-1] / STEP_MM) + 2)
    at = np.unique(np.concatenate([at, run]))
    return np.column_stack([np.interp(at, run, line[:, 0]), np.interp(at, run, line[:, 1])])


def normals(line: Array) -> Array:
    """Outward unit normals (N, 2) of an outline that runs from left over the top to the right."""
    along = np.gradient(line, axis=0)
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
    return np.column_stack([-along[:, 1], along[:, 0]])


def extruded(outline: Array, middle: tuple[float, float], path: Array, front_mm: float = 0.0) -> Mesh:
    """Front (the first N triangles) and sides of an outline (N, 2), drawn backwards; the front is closed.

    ``path`` (M, 3): sideways, upward shift and depth behind the front of each section, the first (0, 0, 0).
    The front must be star-shaped about ``middle``.
    """
    count, rows = len(outline), len(path)
    front = np.column_stack([outline, np.full(count, front_mm)])
    points = [np.array([[*middle, front_mm]]), front]
    fan = np.column_stack([np.zeros(count, int), np.arange(1, count + 1), np.roll(np.arange(1, count + 1), -1)])
    skin = [
        np.column_stack([outline + shift[:2], np.full(count, front_mm - shift[2])]) for shift in np.asarray(path)
    ]
    faces = [fan, grid_faces(rows, count, wrap=False) + 1 + count]
    return Mesh(points=np.vstack([*points, *skin]), faces=np.concatenate(faces))
