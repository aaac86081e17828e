"""A small map of all of the plane that is in the picture, in millimetres."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, log_gray
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

MAP_PX = 640
"""Long side of the map."""
LEAST_COPY_PX = 64
"""Short side of the smallest copy: a plane steep enough that its horizon is in the picture has no end."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Chart:
    """Log grey, valid mask, mm of pixel (0, 0), mm per pixel."""

    values: Grid
    valid: NDArray[np.bool_]
    origin_mm: Array
    step_mm: float


def chart_of(gray: Image, plane: Plane, exclude_px: tuple[Array, ...]) -> Chart:
    """Map of all of the plane that is in the picture."""
    width, height = plane.size_px
    edge = np.linspace(0, 1, 9)
    border = np.concatenate([
        np.column_stack([edge * (width - 1), np.full(9, y * (height - 1))]) for y in (0, 1)
    ] + [np.column_stack([np.full(9, x * (width - 1)), edge * (height - 1)]) for x in (0, 1)])  # fmt: skip
    corner = plane.to_mm(border)
    low, high = corner.min(axis=0), corner.max(axis=0)
    step = float((high - low).max() / MAP_PX)
    shrink = step / scale_at(plane, np.array([[width / 2, height / 2]]))
    shrink = max(1, round(min(shrink, min(width, height) / LEAST_COPY_PX)))
    small = shrunk(gray, shrink)
    nx, ny = (np.ceil((high - low) / step)).astype(int) + 1
    kx, ky = np.arange(0, nx + 16, 16), np.arange(0, ny + 16, 16)
    gx, gy = np.meshgrid(low[0] + kx * step, low[1] + ky * step)
    knots = plane.to_px(np.column_stack([gx.ravel(), gy.ravel()])).reshape(len(ky), len(kx), 2)
    at = (knots + 0.5) / shrink - 0.5
    maps = [_spread(at[..., k].astype(np.float32), 16)[:ny, :nx] for k in (0, 1)]
    inside = (maps[0] > 1) & (maps[1] > 1) & (maps[0] < small.shape[1] - 2) & (maps[1] < small.shape[0] - 2)
    values = cv2.remap(small, maps[0], maps[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    cover = np.zeros(values.shape, dtype=np.uint8)
    for outline in exclude_px:
        cv2.fillPoly(cover, [np.round((plane.to_mm(outline) - low) / step).astype(np.int32)], 1)
    valid = cv2.erode((inside & (cover == 0)).astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    return Chart(values=log_gray(values.astype(np.float32)), valid=valid, origin_mm=low, step_mm=step)


def shrunk(gray: Image, factor: int) -> Image:
    """A picture averaged over blocks of `factor` pixels, what is left at its far edges cut off: by halves as long as
    they go into it, which OpenCV does at a third of the cost of other blocks."""
    step = 2 if factor % 2 == 0 else factor
    if step == 1:
        return gray
    wide, high = (n // step for n in gray.shape[::-1])
    part = cv2.resize(gray[: high * step, : wide * step], (wide, high), interpolation=cv2.INTER_AREA)
    return shrunk(np.asarray(part, dtype=np.uint8), factor // step)


def _spread(knots: Grid, step: int) -> Grid:
    """Bilinear filling between knots `step` apart; knot (i, j) lands on pixel (i step, j step)."""
    rows, columns = ((n - 1) * step for n in knots.shape)
    y, x = (np.arange(n, dtype=np.float32) / step for n in (rows, columns))
    my, mx = np.meshgrid(y, x, indexing="ij")
    return np.asarray(cv2.remap(knots, mx, my, cv2.INTER_LINEAR), dtype=np.float32)


def scale_at(plane: Plane, px: Array) -> float:
    """Length of one photo pixel there, mm."""
    quad = plane.to_mm(px.reshape(1, 2) + np.array([[-1.0, 0], [1, 0], [0, -1], [0, 1]]))
    (ax, ay), (bx, by) = (quad[1] - quad[0]) / 2, (quad[3] - quad[2]) / 2
    return float(np.sqrt(abs(ax * by - ay * bx)))
