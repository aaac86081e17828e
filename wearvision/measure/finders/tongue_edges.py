"""Straight runs of edge in a small picture: regions of pixels whose gradients point alike, grown from the steepest on.

The growing of von Gioi, Jakubowicz, Morel and Randall's line segment detector (IPOL 2012, from memory) with neither its
test against chance nor its refinement, which directions that many runs share do not need.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array
from wearvision.measure.unwrap import Image

SMOOTH_PX = 1.2
"""The picture is smoothed so (standard deviation) and halved."""
ALIKE_DEG = 22.5
"""Gradients of a run point alike to this angle."""
LEAST_STEP = 2.0 / math.sin(math.radians(ALIKE_DEG))
"""Steps that two grey levels could turn further do not count."""
LEVELS = 1024
"""Steps are sorted into so many classes of size."""
LEAST = 14
"""Pixels of a run; fewer meet by chance."""


def straight_edges(picture: Image) -> Array:
    """First and last place (N, 4: x, y, x, y) of straight runs of edge, px of the picture."""
    soft = cv2.GaussianBlur(picture, (0, 0), SMOOTH_PX)
    half = cv2.resize(soft, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_LINEAR)
    steep, way = _steps(np.asarray(half, dtype=np.uint8), np.float32(LEAST_STEP))
    order = np.flatnonzero(steep)
    levels = (steep.ravel()[order] * ((LEVELS - 1) / max(float(steep.max()), LEAST_STEP))).astype(np.int16)
    order = order[np.argsort(-levels, kind="stable")]
    return 2 * (_runs(steep, way, order, math.cos(math.radians(ALIKE_DEG))) + 0.5)


@compiled
def _steps(picture: Image, least: np.float32) -> tuple[Grid, Grid]:
    """Size (H - 1, W - 1) of the steps between pixels, 0 for those up to `least`, and the way (..., 2) along them."""
    high, wide = picture.shape[0] - 1, picture.shape[1] - 1
    steep, way = np.empty((high, wide), dtype=np.float32), np.empty((high, wide, 2), dtype=np.float32)
    for row in range(high):
        for column in range(wide):
            down = np.float32(picture[row + 1, column + 1]) - np.float32(picture[row, column])
            up = np.float32(picture[row, column + 1]) - np.float32(picture[row + 1, column])
            across, along = down + up, down - up
            size = np.sqrt(across * across + along * along) / np.float32(2)
            size = size if size > least else np.float32(0)
            most = max(np.float32(2) * size, least)
            steep[row, column] = size
            way[row, column, 0], way[row, column, 1] = -along / most, across / most
    return steep, way


@compiled
def _runs(steep: Grid, way: Grid, order: NDArray[np.int64], alike: float) -> Array:
    """First and last place of the runs grown from each pixel in `order` that no run has taken before."""
    free = steep > 0
    run = np.empty((len(order), 2), dtype=np.int64)
    ends = np.empty((len(order), 4))
    found = 0
    for first in order:
        row, column = first // steep.shape[1], first % steep.shape[1]
        if free[row, column]:
            count = _grow(way, free, run, row, column, alike)
            if count >= LEAST:
                _span(steep, run[:count], ends[found])
                found += 1
    return ends[:found].copy()


@compiled
def _grow(way: Grid, free: NDArray[np.bool_], run: NDArray[np.int64], row: int, column: int, alike: float) -> int:
    """Take up all free pixels about one that point as those before them do together; gives their number."""
    run[0] = row, column
    free[row, column] = False
    x, y = float(way[row, column, 0]), float(way[row, column, 1])
    least = alike * np.sqrt(x * x + y * y)
    count, at = 1, 0
    while at < count:
        for i in range(max(run[at, 0] - 1, 0), min(run[at, 0] + 2, way.shape[0])):
            for j in range(max(run[at, 1] - 1, 0), min(run[at, 1] + 2, way.shape[1])):
                if free[i, j] and x * way[i, j, 0] + y * way[i, j, 1] >= least:
                    free[i, j] = False
                    run[count] = i, j
                    count += 1
                    x, y = x + way[i, j, 0], y + way[i, j, 1]
                    least = alike * np.sqrt(x * x + y * y)
        at += 1
    return count


@compiled
def _span(steep: Grid, run: NDArray[np.int64], ends: Array) -> None:
    """Both ends of a run along its main axis, weighted by steepness."""
    total = cx = cy = 0.0
    for k in range(len(run)):
        weight = steep[run[k, 0], run[k, 1]]
        total, cx, cy = total + weight, cx + weight * run[k, 1], cy + weight * run[k, 0]
    cx, cy = cx / total, cy / total
    xx = yy = xy = 0.0
    for k in range(len(run)):
        weight, x, y = steep[run[k, 0], run[k, 1]], run[k, 1] - cx, run[k, 0] - cy
        xx, yy, xy = xx + weight * x * x, yy + weight * y * y, xy + weight * x * y
    turn = 0.5 * np.arctan2(2 * xy, xx - yy)
    dx, dy = np.cos(turn), np.sin(turn)
    low = high = 0.0
    for k in range(len(run)):
        at = (run[k, 1] - cx) * dx + (run[k, 0] - cy) * dy
        low, high = min(low, at), max(high, at)
    ends[:] = cx + low * dx, cy + low * dy, cx + high * dx, cy + high * dy
