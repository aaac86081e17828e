"""Corners of black squares from their four sides.

A blurred outward corner is rounded, so that a corner finder lands inside; its sides keep their place. Each
side is found by the middle of the grey step on many short normals, fitted by a line, and neighbours are
intersected. White that is burnt out draws all sides in alike, as half of the white that is told is less than half
of the white there is; a side with something darker beyond it is not drawn in, and does not count among those that are.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NORMALS = 48
"""Of a side, all used: each carries the grain of its own pixels, so that 48 scatter half as much as 12 do."""
ALONG = (0.12, 0.88)
"""Part of a side that is used: its ends are rounded by blur."""
STEPS_PX = 0.8
LEAST_STEP = 10.0
"""Least rise in grey levels from the square to the white round it."""
LEAST_NORMALS = 20
BURNT = 250.0
"""Grey level from which on white is burnt out."""
AS_WHITE = 0.8
"""Least level beyond a side, as a share of the white about all sides, where that is burnt out."""
REACH_MAX_PX = 9.0


def square_corners(gray: NDArray[np.uint8], quads_px: Array, reach_px: Array) -> Array:
    """Corners (M, 4, 2) of black squares on white, refined; nan where a side is not clear.

    Parameters
    ----------
    gray : (H, W) uint8 array
    quads_px : (M, 4, 2) array
        Expected corners, in order round the square (clockwise in the photo).
    reach_px : (M,) array
        Free distance to either side of the edges.
    """
    if not len(quads_px):
        return np.zeros((0, 4, 2))
    start, along = quads_px, np.roll(quads_px, -1, axis=1) - quads_px
    length = np.linalg.norm(along, axis=2, keepdims=True)
    along = along / length
    outward = np.stack([along[..., 1], -along[..., 0]], axis=-1)
    reach = np.minimum(reach_px, REACH_MAX_PX)
    steps = int(2 * reach.max() / STEPS_PX) + 1
    across = np.linspace(-1, 1, steps)[None] * reach[:, None]
    t = np.linspace(*ALONG, NORMALS)[None, None] * length
    feet = start[:, :, None] + t[..., None] * along[:, :, None]
    x, y = (
        (feet[..., k, None] + across[:, None, None, :] * outward[..., k, None, None]).astype(np.float32) for k in (0, 1)
    )
    level = _bilinear(gray, x, y)
    offset, beyond = _middle(level, across)
    offset = np.where(_pulled_alike(beyond), offset, np.nan)
    point, direction = _lines(t, offset, start, along, outward)
    return _intersect(np.roll(point, 1, axis=1), np.roll(direction, 1, axis=1), point, direction)


def _bilinear(gray: NDArray[np.uint8], x: NDArray[np.float32], y: NDArray[np.float32]) -> Array:
    """Grey levels at points (M, 4, K, S); 0 outside the photo, so that no rise is seen there."""
    flat = (-1, x.shape[-1])
    way, rim = cv2.INTER_LINEAR, cv2.BORDER_CONSTANT
    out = cv2.remap(gray, x.reshape(flat), y.reshape(flat), way, borderMode=rim, borderValue=0)
    return np.asarray(out, dtype=np.float64).reshape(x.shape)


def _middle(level: Array, across: Array) -> tuple[Array, Array]:
    """Where normals (M, 4, K, S) cross half way from their inner to their outer level, px, nan if unclear; that outer
    level."""
    tail = max(level.shape[-1] // 6, 1)
    dark, bright = level[..., :tail].mean(axis=-1), level[..., -tail:].mean(axis=-1)
    above = level >= ((dark + bright) / 2)[..., None]
    last = np.argmax(above, axis=-1)
    clear = (bright - dark >= LEAST_STEP) & (last > 0)
    first = np.maximum(last - 1, 0)
    a, b = (np.take_along_axis(level, k[..., None], axis=-1)[..., 0] for k in (first, last))
    share = ((dark + bright) / 2 - a) / np.where(b > a, b - a, 1.0)
    step = (across[:, 1] - across[:, 0])[:, None, None]
    place = across[:, 0][:, None, None] + (first + share) * step
    return np.where(clear, place, np.nan), bright


def _pulled_alike(beyond: Array) -> NDArray[np.bool_]:
    """Which normals have the white beyond them that most have, if that is burnt out."""
    white = float(np.median(beyond))
    return np.asarray((beyond >= AS_WHITE * white) | (white < BURNT))


def _lines(t: Array, offset: Array, start: Array, along: Array, outward: Array) -> tuple[Array, Array]:
    """A line per side, as point and direction (M, 4, 2), through the offsets; fitted twice, then trimmed."""
    weight = np.isfinite(offset).astype(np.float64)
    value = np.where(weight > 0, offset, 0.0)
    for _ in range(2):
        total = weight.sum(axis=-1)
        total = np.where(total >= LEAST_NORMALS, total, np.nan)
        middle, mean = (weight * t).sum(axis=-1) / total, (weight * value).sum(axis=-1) / total
        dt = t - middle[..., None]
        slope = (weight * dt * value).sum(axis=-1) / (weight * dt * dt).sum(axis=-1)
        off = np.abs(value - mean[..., None] - slope[..., None] * dt)
        scatter = (weight * off).sum(axis=-1) / total
        weight = weight * (off <= np.maximum(3 * scatter, 0.1)[..., None])
    point = start + middle[..., None] * along + mean[..., None] * outward
    direction = along + slope[..., None] * outward
    return point, direction


def _intersect(p: Array, d: Array, q: Array, e: Array) -> Array:
    """Crossing of lines p + s d and q + r e, all (M, 4, 2)."""
    cross = d[..., 0] * e[..., 1] - d[..., 1] * e[..., 0]
    gap = q - p
    s = (gap[..., 0] * e[..., 1] - gap[..., 1] * e[..., 0]) / cross
    return np.asarray(p + s[..., None] * d)
