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

from wearvision.measure.compiled import compiled

Array = NDArray[np.float64]
Gray = NDArray[np.uint8]

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


def square_corners(gray: Gray, quads_px: Array, reach_px: Array) -> Array:
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
    reach = np.minimum(reach_px, REACH_MAX_PX)
    steps = int(2 * reach.max() / STEPS_PX) + 1
    across = np.linspace(-1, 1, steps)[None] * reach[:, None]
    t = np.linspace(*ALONG, NORMALS) * length
    offset, beyond = _offsets(_bilinear(gray, *_normals(start, along, t, across)), across)
    offset[~_pulled_alike(beyond)] = np.nan
    middle, mean, slope = np.moveaxis(_lines(offset, t), -1, 0)[..., None]
    outward = np.stack([along[..., 1], -along[..., 0]], axis=-1)
    point, direction = start + middle * along + mean * outward, along + slope * outward
    return _intersect(np.roll(point, 1, axis=1), np.roll(direction, 1, axis=1), point, direction)


@compiled
def _normals(start: Array, along: Array, t: Array, across: Array) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Points x and y (M, 4, K, S) on normals to sides, from inside to outside."""
    x = np.empty((*t.shape, across.shape[1]), np.float32)
    y = np.empty_like(x)
    for i in range(t.shape[0]):
        for j in range(t.shape[1]):
            ux, uy = along[i, j, 0], along[i, j, 1]
            for k in range(t.shape[2]):
                at_x, at_y = start[i, j, 0] + t[i, j, k] * ux, start[i, j, 1] + t[i, j, k] * uy
                for n in range(across.shape[1]):
                    x[i, j, k, n] = at_x + across[i, n] * uy
                    y[i, j, k, n] = at_y - across[i, n] * ux
    return x, y


def _bilinear(gray: Gray, x: NDArray[np.float32], y: NDArray[np.float32]) -> Gray:
    """Grey levels at points (M, 4, K, S); 0 outside the photo, so that no rise is seen there."""
    flat = (-1, x.shape[-1])
    way, rim = cv2.INTER_LINEAR, cv2.BORDER_CONSTANT
    out = cv2.remap(gray, x.reshape(flat), y.reshape(flat), way, borderMode=rim, borderValue=0)
    return np.asarray(out, dtype=np.uint8).reshape(x.shape)


@compiled
def _offsets(level: Gray, across: Array) -> tuple[Array, Array]:
    """Where normals (M, 4, K, S) cross half way from their inner to their outer level, px, nan if unclear; that outer
    level."""
    squares, sides, normals, steps = level.shape
    offset, beyond = np.full((squares, sides, normals), np.nan), np.empty((squares, sides, normals))
    tail = max(steps // 6, 1)
    for i in range(squares):
        for j in range(sides):
            for k in range(normals):
                one, dark, bright, first = level[i, j, k], 0.0, 0.0, 0
                for n in range(tail):
                    dark += one[n]
                    bright += one[steps - 1 - n]
                dark, beyond[i, j, k] = dark / tail, bright / tail
                half = (dark + bright / tail) / 2
                while first < steps and one[first] < half:
                    first += 1
                if bright / tail - dark >= LEAST_STEP and 0 < first < steps:
                    low = float(one[first - 1])
                    place = first - 1 + (half - low) / (one[first] - low)
                    offset[i, j, k] = across[i, 0] + place * (across[i, 1] - across[i, 0])
    return offset, beyond


def _pulled_alike(beyond: Array) -> NDArray[np.bool_]:
    """Which normals have the white beyond them that most have, if that is burnt out."""
    white = float(np.median(beyond))
    return np.asarray((beyond >= AS_WHITE * white) | (white < BURNT))


@compiled
def _lines(offset: Array, along: Array) -> Array:
    """Lines through the offsets (M, 4, K) of each side: its middle, the offset there, the slope, (M, 4, 3)."""
    out = np.empty((*offset.shape[:2], 3))
    for i in range(offset.shape[0]):
        for j in range(offset.shape[1]):
            out[i, j, 0], out[i, j, 1], out[i, j, 2] = _line(offset[i, j], along[i, j])
    return out


@compiled
def _line(offset: Array, along: Array) -> tuple[float, float, float]:
    """Fitted, trimmed, and fitted again; nan where too few are clear."""
    middle, mean, slope, most = 0.0, 0.0, 0.0, np.inf
    kept = np.ones(len(offset), dtype=np.bool_)
    for _ in range(2):
        count, total_t, total, up, run, off = 0, 0.0, 0.0, 0.0, 0.0, 0.0
        for k in range(len(offset)):
            kept[k] &= abs(offset[k] - mean - slope * (along[k] - middle)) <= most  # not so for nan
            if kept[k]:
                count, total_t, total = count + 1, total_t + along[k], total + offset[k]
        if count < LEAST_NORMALS:
            return np.nan, np.nan, np.nan
        middle, mean = total_t / count, total / count
        for k in range(len(offset)):
            if kept[k]:
                up, run = up + (along[k] - middle) * offset[k], run + (along[k] - middle) ** 2
        slope = up / run
        for k in range(len(offset)):
            off += abs(offset[k] - mean - slope * (along[k] - middle)) if kept[k] else 0.0
        most = max(3 * off / count, 0.1)
    return middle, mean, slope


def _intersect(p: Array, d: Array, q: Array, e: Array) -> Array:
    """Crossing of lines p + s d and q + r e, all (M, 4, 2)."""
    cross = d[..., 0] * e[..., 1] - d[..., 1] * e[..., 0]
    gap = q - p
    s = (gap[..., 0] * e[..., 1] - gap[..., 1] * e[..., 0]) / cross
    return np.asarray(p + s[..., None] * d)
