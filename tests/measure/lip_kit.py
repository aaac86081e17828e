"""A volute lip drawn with numpy: an opening in a plain wall, one edge of it washed out by a known curve."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

LEVELS = (150.0, 55.0)
"""Grey of wall and opening."""


def bay(x: Array, middle: float = 6.0, half: float = 10.0, depth: float = 2.0) -> Array:
    """A smooth bay: depth cos^2, area half x depth."""
    near = np.clip(np.abs(x - middle) / half, 0, 1)
    return np.asarray(depth * np.cos(near * np.pi / 2) ** 2)


def draw_lip(
    plane: Plane, away: Callable[[Array], Array], *, length_mm: float = 50.0, height_mm: float = 30.0,
    turn_deg: float = 0.0, noise: float = 2.0, seed: int = 0, levels: tuple[float, float] = LEVELS,
) -> Image:  # fmt: skip
    """Photo of a lip about the plane's origin, opening above it."""
    width, height = plane.size_px
    grid = np.stack(np.meshgrid(np.arange(width), np.arange(height)), -1).reshape(-1, 2).astype(float)
    cos, sin = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    mm = plane.to_mm(grid)
    x, y = mm[:, 0] * cos + mm[:, 1] * sin, mm[:, 1] * cos - mm[:, 0] * sin
    inside_mm = np.minimum(np.minimum(length_mm / 2 - np.abs(x), y + height_mm), away(x) - y)
    share = np.clip(0.5 + inside_mm / float(plane.mm_per_px(np.array([width / 2, height / 2])).value), 0, 1)
    total = (levels[0] + share * (levels[1] - levels[0])).reshape(height, width)
    drawn = cv2.GaussianBlur(total, (0, 0), 0.7)
    rng = np.random.default_rng(seed)
    patches = cv2.GaussianBlur(rng.normal(0, 1, total.shape), (0, 0), 9.0) * 9 * 4
    return np.clip(drawn + patches + rng.normal(0, noise, total.shape), 0, 255).astype(np.uint8)
