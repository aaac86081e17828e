"""What height does to places on the plane: a thing `h` below it seems drawn towards the camera's foot."""

from __future__ import annotations

import numpy as np

from wearvision.measure.plane import Array, Plane

HEIGHTS_MM = (0.0, 8.0, 16.0)
"""Depth of the disc's circles below the tops of the vanes that are tried."""
LEAST_APART_MM = 1.0
DEPTH_MM = (9.0, 4.0)
"""Usual height of vanes above the disc, and its spread."""
CIRCLE_SD_MM = 0.9
"""Of the centre of the disc's circles as found."""


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


def where(plane: Plane, place_mm: Array, depth_mm: tuple[float, float] = DEPTH_MM) -> tuple[Array, Array]:
    """Where the vanes' centre may be (2,), and its covariance (2, 2), from circles that seem to lie about a place."""
    foot, height = camera_foot(plane)
    lift = (np.asarray(place_mm) - foot) / height
    cov = CIRCLE_SD_MM**2 * np.eye(2) + depth_mm[1] ** 2 * np.outer(lift, lift)
    return lifted(plane, place_mm, depth_mm[0]), cov
