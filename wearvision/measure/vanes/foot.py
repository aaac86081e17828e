"""What height does to places on the plane: a thing `h` below it seems drawn towards the camera's foot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearvision.measure.plane import Array, Plane

HEIGHTS_MM = (0.0, 8.0, 16.0)
"""Depth of the disc's circles below the tops of the vanes that are tried."""
LEAST_APART_MM = 1.0
DEPTH_MM = (9.0, 4.0)
"""Usual height of vanes above the disc, and its spread."""
CIRCLE_SD_MM = 0.9
"""Of the centre of the disc's circles as found."""
PRIOR = 0.25
"""Weight of where the centre may be against a pile of edges, half of a Gaussian's."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Where:
    """Where the vanes' centre may be: place (2,), covariance (2, 2), and how much that weighs."""

    middle_mm: Array
    spread_mm2: Array
    weight: float = PRIOR

    def far(self, places_mm: Array) -> Array:
        """How far places (T, 2) lie from it, in squared standard deviations, (T,)."""
        off = places_mm - self.middle_mm
        return np.asarray(np.einsum("ti,ij,tj->t", off, np.linalg.inv(self.spread_mm2), off))

    def share(self, places_mm: Array) -> Array:
        """What evidence at each place (T, 2) counts for, 0 to 1."""
        return np.asarray(np.exp(-self.weight * self.far(places_mm)))


def camera_foot(plane: Plane) -> tuple[Array, float]:
    """Point of the plane (2,) under the camera, and the camera's height above it, mm."""
    rotation, shift = plane.pose
    camera = -rotation.T @ shift
    return np.asarray(camera[:2]), float(abs(camera[2]))


def lifted(plane: Plane, place_mm: Array, below_mm: float) -> Array:
    """Where on the plane the axis through something `below_mm` under it that seems to be at `place_mm` stands."""
    foot, height = camera_foot(plane)
    return np.asarray(foot + (place_mm - foot) * (height + below_mm) / height)


def centres(plane: Plane, place_mm: Array) -> list[Array]:
    """Centres to try for circles that seem to lie about a place, one for each depth that makes a difference."""
    kept: list[Array] = []
    for below in HEIGHTS_MM:
        at = lifted(plane, place_mm, below)
        if not kept or float(np.hypot(*(at - kept[-1]))) > LEAST_APART_MM:
            kept.append(at)
    return kept


def where(plane: Plane, place_mm: Array, depth_mm: tuple[float, float] = DEPTH_MM) -> Where:
    """Where the vanes' centre may be, of circles that seem to lie about a place, at such a depth and its spread."""
    foot, height = camera_foot(plane)
    lift = (np.asarray(place_mm) - foot) / height
    cov = CIRCLE_SD_MM**2 * np.eye(2) + depth_mm[1] ** 2 * np.outer(lift, lift)
    return Where(middle_mm=lifted(plane, place_mm, depth_mm[0]), spread_mm2=cov)
