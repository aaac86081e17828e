"""Camera geometry of drawn scenes: world to pixel and back (OpenCV's lens model, two radial terms)."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.spec import Camera

Array = NDArray[np.float64]


def look_at(position: Array, target: Array, roll_deg: float) -> Array:
    """Rotation (3, 3) from world to camera axes: x right, y down, z forward.

    ``roll_deg`` turns the camera about its view axis; at roll 0 world +y is up in the picture.
    """
    forward = (target - position) / np.linalg.norm(target - position)
    up = np.array([0.0, 1.0, 0.0])
    right = np.cross(forward, up)
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    cos, sin = math.cos(math.radians(roll_deg)), math.sin(math.radians(roll_deg))
    return np.stack([cos * right + sin * down, -sin * right + cos * down, forward])


def camera_matrix(camera: Camera) -> Array:
    """K (3, 3) in pixels, pixel centres at integers."""
    f = camera.focal_px
    return np.array([[f, 0.0, camera.cx_px], [0.0, f, camera.cy_px], [0.0, 0.0, 1.0]])


def to_camera(camera: Camera, world_mm: Array) -> Array:
    """World points (N, 3) in camera axes, mm."""
    moved = world_mm - np.asarray(camera.position_mm)
    return np.asarray(moved @ np.asarray(camera.rotation).T)


def distort(camera: Camera, normal: Array) -> Array:
    """Ideal normalised points (N, 2) to distorted normalised points."""
    r2 = (normal**2).sum(axis=1, keepdims=True)
    return np.asarray(normal * (1.0 + camera.k1 * r2 + camera.k2 * r2 * r2))


def undistort(camera: Camera, bent: Array) -> Array:
    """Inverse of `distort`, by fixed-point steps (twelve leave below 1e-6 at this strength)."""
    normal = bent.copy()
    for _ in range(12):
        r2 = (normal**2).sum(axis=1, keepdims=True)
        normal = bent / (1.0 + camera.k1 * r2 + camera.k2 * r2 * r2)
    return normal


def project(camera: Camera, world_mm: Array) -> Array:
    """World points (N, 3) to photo pixels (N, 2), lens distortion included."""
    seen = to_camera(camera, world_mm)
    bent = distort(camera, seen[:, :2] / seen[:, 2:])
    return np.asarray(bent * camera.focal_px + np.array([camera.cx_px, camera.cy_px]))


def rays(camera: Camera, pixels: Array) -> Array:
    """Unit directions (N, 3) in the world through photo pixels (N, 2)."""
    bent = (pixels - np.array([camera.cx_px, camera.cy_px])) / camera.focal_px
    normal = undistort(camera, bent)
    seen = np.column_stack([normal, np.ones(len(normal))])
    seen /= np.linalg.norm(seen, axis=1, keepdims=True)
    return np.asarray(seen @ np.asarray(camera.rotation))


def mm_per_px(camera: Camera, at_mm: tuple[float, float]) -> float:
    """1/sqrt(|det J|) of plane to pixel at a point of the face plane."""
    x, y = at_mm
    step = 0.5
    around = np.array([[x + step, y, 0.0], [x - step, y, 0.0], [x, y + step, 0.0], [x, y - step, 0.0]])
    px = project(camera, around)
    jacobian = np.column_stack([px[0] - px[1], px[2] - px[3]]) / (2 * step)
    return float(1.0 / math.sqrt(abs(np.linalg.det(jacobian))))


def tilt_deg(camera: Camera) -> float:
    """Angle between the view axis and the face's normal."""
    return math.degrees(math.acos(min(1.0, abs(camera.rotation[2][2]))))


def inside(camera: Camera, pixels: Array, margin_px: float = 0.0) -> NDArray[np.bool_]:
    """Which pixels (N, 2) lie in the frame, ``margin_px`` in from its edge."""
    x, y = pixels[:, 0], pixels[:, 1]
    m = margin_px
    ok = (x >= m) & (x <= camera.width_px - 1 - m) & (y >= m) & (y <= camera.height_px - 1 - m)
    return np.asarray(ok, dtype=np.bool_)
