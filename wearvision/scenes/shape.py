"""Exact shape of a groove and height of the face; shared by mesh and truth so they cannot differ."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.spec import Groove, Part

Array = NDArray[np.float64]


def _slow(groove: Groove, angle_rad: Array, phase: float) -> Array:
    """Smooth periodic wave with values in -1..1, a few bumps per turn."""
    wave = np.sin(2 * angle_rad + phase) + 0.6 * np.sin(5 * angle_rad + 2.3 * phase)
    wave += 0.4 * np.sin(11 * angle_rad + 3.7 * phase)
    return np.asarray(wave / 2.0)


def centre_radius(groove: Groove, angle_rad: Array) -> Array:
    """Radius of the centreline at an angle, mm."""
    return np.asarray(groove.radius_mm + groove.wander_mm * _slow(groove, angle_rad, groove.phases[0]))


def full_width(groove: Groove, angle_rad: Array) -> Array:
    """Full width at face level at an angle (round ends aside), mm."""
    return np.asarray(groove.width_mm * (1 + groove.swell * _slow(groove, angle_rad, groove.phases[1])))


def end_angles_rad(groove: Groove) -> tuple[float, float]:
    """Angles of the centres of the two round ends (half a width inside the arc's ends)."""
    start, stop = math.radians(groove.start_deg), math.radians(groove.start_deg + groove.arc_deg)
    ends = np.array([start, stop])
    inset = full_width(groove, ends) / 2 / centre_radius(groove, ends)
    return start + float(inset[0]), stop - float(inset[1])


def across(groove: Groove, radius_mm: Array, angle_rad: Array) -> Array:
    """Distance from the centreline over half the width: below 1 is inside the groove.

    The slope of the wandering centreline (below 3 degrees) is left out.
    """
    if groove.closed:
        half = full_width(groove, angle_rad) / 2
        return np.asarray(np.abs(radius_mm - centre_radius(groove, angle_rad)) / half)
    first, last = end_angles_rad(groove)
    turn = np.mod(angle_rad - first, 2 * math.pi)
    span = last - first
    before = turn > span + (2 * math.pi - span) / 2
    along = np.where(before, 0.0, np.minimum(turn, span)) + first
    off = np.where(turn <= span, 0.0, angle_rad - along)
    centre = centre_radius(groove, along)
    dx = radius_mm * np.cos(off) - centre
    dy = radius_mm * np.sin(off)
    return np.asarray(np.hypot(dx, dy) / (full_width(groove, along) / 2))


def depth_at(groove: Groove, ratio: Array) -> Array:
    """Depth below the face for `across` values, mm; zero outside."""
    t = np.clip(ratio, 0.0, 1.0)
    if groove.profile == "v":
        shape = 1.0 - np.sqrt(t * t + 0.01 * (1 - t * t))
        shape = shape / 0.9
    elif groove.profile == "u":
        shape = np.sqrt(np.clip(1.0 - t * t, 0.0, 1.0))
    else:
        shape = np.clip((1.0 - t) / 0.25, 0.0, 1.0)
    return np.asarray(groove.depth_mm * shape)


def face_height(part: Part, x_mm: Array, y_mm: Array) -> Array:
    """Height of the worn face over the measured plane, mm (grooves and register; holes excluded)."""
    radius, angle = np.hypot(x_mm, y_mm), np.arctan2(y_mm, x_mm)
    height = np.where(radius > part.step_radius_mm, 0.0, part.step_mm) if part.step_mm else np.zeros_like(radius)
    for groove in part.grooves:
        height = height - depth_at(groove, across(groove, radius, angle))
    return np.asarray(height)
