"""The shape of a gasket land and of what is bitten out of it: edges by angle, mesh, areas. Lengths in mm."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.mesh import Mesh, grid_faces

Array = NDArray[np.float64]
OPEN_MM = 0.01
"""A land thinner than this is gone."""


@dataclass(frozen=True, kw_only=True)
class Bite:
    """One notch: ``edge`` is ``inner`` or ``outer``; ``steep`` bends its flanks, ``ragged`` (0 to 1) its floor."""

    edge: str
    middle_deg: float
    arc_deg: float
    loss_mm: float
    steep: float
    ragged: float
    phase: float


@dataclass(frozen=True, kw_only=True)
class Land:
    """A land: its top is the plane, ``thick_mm`` above what it lies on."""

    inner_mm: float
    outer_mm: float
    thick_mm: float
    bites: tuple[Bite, ...]

    @property
    def width_mm(self) -> float:
        """Width of the sound land."""
        return self.outer_mm - self.inner_mm


def loss_at(bite: Bite, angle_rad: Array) -> Array:
    """How deep a bite is at each angle, 0 outside of it."""
    away = (np.degrees(angle_rad) - bite.middle_deg + 180) % 360 - 180
    share = np.clip(np.abs(2 * away / bite.arc_deg), 0, 1)
    floor = 1 - bite.ragged * (0.5 + 0.5 * np.sin(5 * away / bite.arc_deg * math.pi + bite.phase))
    shape = (1 - share**2) ** bite.steep * floor
    return np.asarray(bite.loss_mm * shape / _highest(bite))


def _highest(bite: Bite) -> float:
    share = np.linspace(-1, 1, 2001)
    floor = 1 - bite.ragged * (0.5 + 0.5 * np.sin(2.5 * share * math.pi + bite.phase))
    return float(((1 - share**2) ** bite.steep * floor).max())


def edges_at(land: Land, angle_rad: Array) -> tuple[Array, Array]:
    """Radii of the inner and outer edge at each angle; where nothing is left, both in its middle."""
    inner = np.full(len(angle_rad), land.inner_mm)
    outer = np.full(len(angle_rad), land.outer_mm)
    for bite in land.bites:
        if bite.edge == "inner":
            inner = np.maximum(inner, land.inner_mm + loss_at(bite, angle_rad))
        else:
            outer = np.minimum(outer, land.outer_mm - loss_at(bite, angle_rad))
    gone = outer - inner < OPEN_MM
    middle = (inner + outer) / 2
    return np.where(gone, middle, inner), np.where(gone, middle, outer)


def turn_rad(land: Land) -> Array:
    """Angles of the mesh: fine everywhere, finer at the ends of bites."""
    parts = [np.arange(0, 2 * math.pi, 0.25 / land.outer_mm)]
    for bite in land.bites:
        half = math.radians(bite.arc_deg) / 2
        for side in (-1, 1):
            end = math.radians(bite.middle_deg) + side * half
            parts.append(end - side * np.linspace(0, 0.2 * half, 60) ** 2 / max(0.2 * half, 1e-9))
    return np.unique(np.round(np.mod(np.concatenate(parts), 2 * math.pi), 7))


def land_mesh(land: Land) -> Mesh:
    """Top and both walls; where the land is gone its remains lie below the ground."""
    angle = turn_rad(land)
    inner, outer = edges_at(land, angle)
    left = outer - inner >= OPEN_MM
    low = np.full(len(angle), -land.thick_mm - 0.1)
    top = np.where(left, 0.0, low)
    rows = [(inner, low), (inner, top)]
    rows += [(inner + s * (outer - inner), top) for s in (0.25, 0.5, 0.75)]
    rows += [(outer, top), (outer, low)]
    points = np.array([np.column_stack([r * np.cos(angle), r * np.sin(angle), z]) for r, z in rows])
    return Mesh(points=points.reshape(-1, 3), faces=grid_faces(len(rows), len(angle), wrap=True))


def bite_truth(land: Land, bite: Bite) -> dict[str, float]:
    """Answers of one notch: loss and area from the sound edge, least width left within it."""
    half = math.radians(bite.arc_deg) / 2
    angle = math.radians(bite.middle_deg) + np.linspace(-half, half, 4001)
    inner, outer = edges_at(land, angle)
    start, edge = (land.inner_mm, inner) if bite.edge == "inner" else (land.outer_mm, outer)
    area = abs(float(np.trapezoid(edge**2 - start**2, angle))) / 2
    return {
        "loss": float(np.abs(edge - start).max()), "arc": bite.arc_deg,
        "remaining_width": float((outer - inner).min()), "area": area,
    }  # fmt: skip


def bite_outline(land: Land, bite: Bite) -> Array:
    """Closed outline (N, 2) of what is missing."""
    half = math.radians(bite.arc_deg) / 2
    angle = math.radians(bite.middle_deg) + np.linspace(-half, half, 121)
    inner, outer = edges_at(land, angle)
    start, edge = (land.inner_mm, inner) if bite.edge == "inner" else (land.outer_mm, outer)
    ring = np.column_stack([np.cos(angle), np.sin(angle)])
    return np.vstack([ring * edge[:, None], ring[::-1] * start])


def least_width(land: Land) -> tuple[float, float]:
    """Least width left and the angle (degrees) where."""
    angle = np.concatenate([np.linspace(0, 2 * math.pi, 14401), turn_rad(land)])
    inner, outer = edges_at(land, angle)
    least = int(np.argmin(outer - inner))
    return float(outer[least] - inner[least]), float(np.degrees(angle[least]))
