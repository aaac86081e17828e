"""Where pixels meet a plane about an axis: their distance from the axis, and how it moves with camera and plane.

The state of a fit begins with tilt about the plane's own x and y, place of the axis (3) and lens (5).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.adjust import LENS_ROWS
from wearvision.measure.lens import undistort
from wearvision.measure.plane import Array, Plane

POSE = 5
LENS = slice(POSE, POSE + 5)
SCALE = POSE + 5
RADII = POSE + 6


@dataclass(frozen=True, kw_only=True, eq=False)
class Sight:
    """Pixels on a plane.

    Attributes
    ----------
    far : (N,) array
        Distance from the axis, drawn mm.
    per_px : (N,) array
        Its slope in the picture, mm per px.
    by_state : (N, 10) array
        Its derivative by tilt, place and lens.
    by_height : (N,) array
        Its derivative by the height of what is seen.
    """

    far: Array
    per_px: Array
    by_state: Array
    by_height: Array


def sight(theta: Array, px: Array, heights: Array) -> Sight:
    """Pixels (N, 2), each lifted by its own height (N,), on the plane of `theta`."""
    rotation = np.asarray(cv2.Rodrigues(theta[:3].reshape(3, 1))[0], dtype=np.float64)
    focal = math.exp(theta[6])
    bent = (px - theta[8:10]) / focal
    uv = undistort(bent, float(theta[7]), float(theta[12]))
    ray, foot = uv @ rotation[:2] + rotation[2], theta[3:6] @ rotation
    flat = ray[:, :2] / ray[:, 2:]
    deep = (foot[2] + theta[11] - heights) / ray[:, 2]
    off = ray[:, :2] * deep[:, None] - foot[:2]
    far = np.maximum(np.hypot(*off.T), 1e-12)
    way = off / far[:, None]
    along = np.sum(way * flat, axis=1)
    by_ray = deep[:, None] * np.column_stack([way, -along])
    by_foot = np.column_stack([-way, along])
    by_bent = _through_lens(by_ray @ rotation[:2].T, uv, theta)
    inward, r2 = np.sum(by_bent * uv, axis=1), np.sum(uv * uv, axis=1)
    by_state = np.column_stack([
        by_ray[:, 1] * ray[:, 2] - by_ray[:, 2] * ray[:, 1] + by_foot[:, 1] * foot[2] - by_foot[:, 2] * foot[1],
        by_ray[:, 2] * ray[:, 0] - by_ray[:, 0] * ray[:, 2] + by_foot[:, 2] * foot[0] - by_foot[:, 0] * foot[2],
        by_foot @ rotation.T, -np.sum(by_bent * bent, axis=1), -inward * r2, -by_bent / focal, -inward * r2 * r2,
    ])  # fmt: skip
    return Sight(far=far, per_px=np.hypot(*by_bent.T) / focal, by_state=by_state, by_height=-along)


def _through_lens(by_uv: Array, uv: Array, theta: Array) -> Array:
    """Derivatives by ideal coordinates (N, 2) to derivatives by those that the lens made of them."""
    k1, k2 = theta[7], theta[12]
    r2 = np.sum(uv * uv, axis=1, keepdims=True)
    stretch, more = 1 + r2 * (k1 + r2 * k2), 2 * (k1 + 2 * k2 * r2)
    share = more / (stretch + more * r2)
    return np.asarray((by_uv - share * np.sum(by_uv * uv, axis=1, keepdims=True) * uv) / stretch)


def misses(px: Array, group: NDArray[np.int64], plane: Plane, size: Array) -> tuple[Array, Array]:
    """How far points lie from their circles.

    Parameters
    ----------
    px : (N, 2) array
    group : (N,) array
        Circle of each.
    size : (K, 2) array
        Radius and height of each circle, drawn mm.

    Returns
    -------
    (N,) and (N, 11 + 2 K) arrays
        Signed misses in px, outside positive, and how they move with the state.
    """
    seen = sight(plane.theta, px, size[group, 1])
    per_px = np.maximum(seen.per_px, 1e-9)
    own = group[:, None] == np.arange(len(size))
    # the scale turns drawn into true millimetres: no point in the picture knows it
    slope = np.column_stack([
        seen.by_state, np.zeros(len(px)), np.where(own, -1.0, 0.0), np.where(own, seen.by_height[:, None], 0.0)
    ])  # fmt: skip
    return (seen.far - size[group, 0]) / per_px, slope / per_px[:, None]


def lifted(plane: Plane, height_mm: float) -> Plane:
    """The plane moved towards the camera."""
    theta = plane.theta.copy()
    theta[11] -= height_mm
    return replace(plane, theta=theta)


def moved(plane: Plane, step: Array) -> Plane:
    """The plane after a step of the state: tilt about its own axes, place, lens, scale."""
    theta = plane.theta.copy()
    turn = np.asarray(cv2.Rodrigues(theta[:3].reshape(3, 1))[0])
    more = np.asarray(cv2.Rodrigues(np.array([[step[0]], [step[1]], [0.0]]))[0])
    theta[:3] = np.ravel(cv2.Rodrigues(turn @ more)[0])
    theta[3:6] += step[2:POSE]
    theta[LENS_ROWS] += step[LENS]
    theta[10] += step[SCALE]
    return replace(plane, theta=theta)
