"""Gasket lands drawn with numpy, and what their view tells of them."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.finding import Finding
from wearvision.measure.finders.gasket import Ring
from wearvision.measure.look import Look, Seen
from wearvision.measure.plane import Array, Plane
from wearvision.measure.views.gasket_land import see
from wearvision.quantity import Measured
from wearvision.stated import Stated

RADII_MM = (38.0, 50.0)
STATED = Stated(view="gasket-land", nominal={"land_inner_diameter_mm": 76.0, "land_outer_diameter_mm": 100.0})
UNSTATED = Stated(view="gasket-land")
CENTRE_MM = np.array([3.0, -2.0])
RING = Ring(centre_mm=CENTRE_MM, radii_mm=RADII_MM, covariance=np.eye(4) * 0.01)


def notched(angle: Array, middle_deg: float, arc_deg: float, loss_mm: float) -> Array:
    """Loss by angle: a rounded bite."""
    away = (np.degrees(angle) - middle_deg + 180) % 360 - 180
    return np.asarray(loss_mm * np.sqrt(np.clip(1 - (2 * away / arc_deg) ** 2, 0, None)))


def draw_land(
    plane: Plane, *, bites: tuple[tuple[str, float, float, float], ...] = (), tones: tuple[float, float] = (80, 150),
    noise: float = 2.0, seed: int = 1, shadow_mm: float = 0.0, stain: bool = False, crack_deg: float | None = None,
    crack_mm: tuple[float, float, float] = (*RADII_MM, 0.5), lathe_mm: float | None = None,
) -> NDArray[np.uint8]:  # fmt: skip
    """Land on its ground: bites are (edge, middle, arc, loss); a shadow falls to one side of the land.

    A crack runs outward between two radii and is so wide, a lathe line runs half way round at a radius.
    """
    rng = np.random.default_rng(seed)
    width, height = plane.size_px
    x, y = np.meshgrid(np.arange(2 * width) / 2 - 0.25, np.arange(2 * height) / 2 - 0.25)
    mm = plane.to_mm(np.column_stack([x.ravel(), y.ravel()])) - CENTRE_MM
    radius, angle = np.hypot(*mm.T), np.arctan2(mm[:, 1], mm[:, 0])
    image = np.full(len(mm), tones[1]) + 6 * np.sin(mm[:, 0] / 4) * np.cos(mm[:, 1] / 5)
    if shadow_mm:
        image[_on_land(mm - [shadow_mm, 0.4 * shadow_mm], bites)] *= 0.45
    land = _on_land(mm, bites)
    image[land] = tones[0]
    if stain:
        spot = np.hypot(mm[:, 0] - RADII_MM[1] + 1.0, mm[:, 1]) < 3.0
        image[land & spot] = 0.5 * sum(tones)
    if crack_deg is not None:
        low, high, wide = crack_mm
        wander = 0.3 * np.sin(1.7 * radius)
        aside = np.abs(radius * (angle - math.radians(crack_deg)) + wander)
        image[land & (radius > low) & (radius < high) & (aside < wide / 2)] *= 0.4
    if lathe_mm is not None:
        image[land & (np.abs(radius - lathe_mm) < 0.25) & (angle > 0)] *= 0.4
    small = cv2.resize(image.reshape(2 * height, 2 * width), (width, height), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), 0.8) + rng.normal(0, noise, (height, width))
    return np.asarray(np.clip(np.rint(small), 0, 255), dtype=np.uint8)


def _on_land(mm: Array, bites: tuple[tuple[str, float, float, float], ...]) -> NDArray[np.bool_]:
    radius, angle = np.hypot(*mm.T), np.arctan2(mm[:, 1], mm[:, 0])
    inner, outer = np.full(len(mm), RADII_MM[0]), np.full(len(mm), RADII_MM[1])
    for edge, middle, arc, loss in bites:
        if edge == "inner":
            inner += notched(angle, middle, arc, loss)
        else:
            outer -= notched(angle, middle, arc, loss)
    return np.asarray((radius > inner) & (radius < outer))


def colour_land(
    gray: NDArray[np.uint8], plane: Plane, *, bites: tuple[tuple[str, float, float, float], ...], warm: float
) -> NDArray[np.uint8]:
    """A drawn land in colour, half as large, red first: on it red and blue are a factor more and less, but its bites
    are not, nor is its ground."""
    small = cv2.resize(gray, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA).astype(np.float64)
    height, width = small.shape
    x, y = np.meshgrid(np.arange(width) * 2 + 0.5, np.arange(height) * 2 + 0.5)
    mm = plane.to_mm(np.column_stack([x.ravel(), y.ravel()])) - CENTRE_MM
    share = np.where(_on_land(mm, bites).reshape(small.shape), warm, 1.0)
    return np.clip(np.rint(np.stack([small * share, small, small / share], axis=-1)), 0, 255).astype(np.uint8)


def look(
    gray: NDArray[np.uint8], plane: Plane, stated: Stated = STATED, colour: NDArray[np.uint8] | None = None
) -> Seen:
    return see(Look(gray=gray, plane=plane, stated=stated, colour=colour))


def of_kind(seen: Seen, kind: str) -> list[Finding]:
    return [f for f in seen.findings if f.kind == kind]


def figure(finding: Finding, name: str) -> Measured:
    got = finding.quantities[name]
    assert isinstance(got, Measured)
    return got
