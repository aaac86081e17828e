"""Drawn photos of a wear face with known grooves: shading from the slope of the surface, no path tracer needed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.plane import Array, N, Plane
from wearvision.stated import Stated

SIZE_PX = (900, 690)
STATED = Stated(view="wear-face", nominal={"face_inner_diameter_mm": 44.0, "face_outer_diameter_mm": 110.0})
RADII_MM = (22.0, 55.0)


@dataclass(frozen=True, kw_only=True)
class DrawnGroove:
    """Radius and width in mm, first angle and arc in degrees (round ends included), depth in mm."""

    radius_mm: float
    width_mm: float
    start_deg: float
    arc_deg: float
    depth_mm: float


def drawn_plane(
    *, tilt_deg: float = 0.0, mm_per_px: float = 0.17, size_px: tuple[int, int] = SIZE_PX, known: bool = False
) -> Plane:
    """A pinhole camera over the plane, tilted about the picture's horizontal, origin in the middle of the picture.

    `known` leaves the plane without any uncertainty of its own; else a print of +-0.2 %.
    """
    focal = 1.1 * size_px[0]
    theta = np.zeros(N)
    theta[0] = math.radians(tilt_deg)
    theta[5], theta[6] = focal * mm_per_px, math.log(focal)
    theta[8:10] = (size_px[0] - 1) / 2, (size_px[1] - 1) / 2
    sources: dict[str, Array] = {}
    if not known:
        spread = np.zeros((N, N))
        spread[10, 10] = 0.002**2
        sources = {"print": spread}
    return Plane(theta=theta, sources=sources, size_px=size_px, source="card")


def draw_face(
    plane: Plane,
    *,
    centre_mm: tuple[float, float] = (3.0, -2.0),
    radii_mm: tuple[float, float] = RADII_MM,
    grooves: tuple[DrawnGroove, ...] = (),
    lamp_deg: float = 40.0,
    rust: int = 6,
    noise: float = 2.0,
    seed: int = 1,
) -> NDArray[np.uint8]:
    """A grey photo: bench, ring with lathe marks and rust, grooves lit from one side."""
    rng = np.random.default_rng(seed)
    width, height = plane.size_px
    x, y = np.meshgrid(np.arange(width, dtype=float), np.arange(height, dtype=float))
    mm = plane.to_mm(np.column_stack([x.ravel(), y.ravel()])) - np.array(centre_mm)
    radius, angle = np.hypot(mm[:, 0], mm[:, 1]), np.arctan2(mm[:, 1], mm[:, 0])
    depth, slope = _surface(grooves, mm, radius, angle)
    lamp = math.radians(lamp_deg)
    lit = slope[:, 0] * math.cos(lamp) + slope[:, 1] * math.sin(lamp)
    face = 140 * (1 + 0.4 * np.tanh(lit)) * np.where(depth > 0, 0.65, 1.0)
    face = (face + 3.0 * np.sin(2 * np.pi * radius / 0.9)) * _rust(rng, rust, radii_mm, mm, angle)
    bench = 75 + 8 * np.sin(mm[:, 0] / 3) * np.cos(mm[:, 1] / 5)
    inside = (radius > radii_mm[0]) & (radius < radii_mm[1])
    image = np.where(inside, face, bench).reshape(height, width)
    image = cv2.GaussianBlur(image, (0, 0), 0.8) + rng.normal(0, noise, image.shape)
    return np.clip(np.rint(image), 0, 255).astype(np.uint8)


def _rust(rng: np.random.Generator, count: int, radii_mm: tuple[float, float], mm: Array, angle: Array) -> Array:
    """Factor of the grey under ragged blobs."""
    factor = np.ones(len(mm))
    for _ in range(count):
        at = rng.uniform(*radii_mm) * np.exp(1j * rng.uniform(0, 2 * np.pi))
        blob = np.hypot(mm[:, 0] - at.real, mm[:, 1] - at.imag) / rng.uniform(1.0, 4.0)
        factor[blob + 0.3 * np.sin(40 * angle + blob * 3) < 1] *= 0.65
    return factor


def _surface(grooves: tuple[DrawnGroove, ...], mm: Array, radius: Array, angle: Array) -> tuple[Array, Array]:
    """Depth (M,) and its gradient (M, 2) of parabolic grooves with round ends."""
    depth, slope = np.zeros(len(mm)), np.zeros_like(mm)
    for groove in grooves:
        half = groove.width_mm / 2
        off = mm * ((radius - groove.radius_mm) / np.maximum(radius, 1e-9))[:, None]
        if groove.arc_deg < 360.0:
            cap = math.degrees(half / groove.radius_mm)
            turn = np.mod(np.degrees(angle) - groove.start_deg - cap, 360.0)
            span = groove.arc_deg - 2 * cap
            ends = [math.radians(groove.start_deg + cap + t) for t in (0.0, span)]
            nearest = np.where((turn - span > (360 - span) / 2)[:, None], _at(groove, ends[0]), _at(groove, ends[1]))
            off = np.where((turn <= span)[:, None], off, mm - nearest)
        far = np.hypot(off[:, 0], off[:, 1])
        share = far / half
        within = far < half
        depth = np.where(within, groove.depth_mm * (1 - share**2), depth)
        steep = -2 * groove.depth_mm / half * share
        slope = np.where(within[:, None], off / np.maximum(far, 1e-9)[:, None] * steep[:, None], slope)
    return depth, slope


def _at(groove: DrawnGroove, angle: float) -> Array:
    return groove.radius_mm * np.array([math.cos(angle), math.sin(angle)])
