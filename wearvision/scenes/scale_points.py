"""Two points with a stated distance, drawn through a known camera."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from wearvision.measure.points import CLICK_SD_PX, DISTANCE_SD_MM, TILT_BOUND_DEG, from_two_points
from wearvision.scenes.coverage import (
    FOCAL35_MM,
    SIZE_PX,
    Row,
    draw_camera,
    draw_ends,
    draw_view,
    held,
    true_plane,
)

APART_MM = (60.0, 200.0)
"""Distance of the two points from each other."""
K1_MOST = 0.02


def points(rng: np.random.Generator, photos: int, lengths: int, loose: float) -> Iterator[list[Row]]:
    """Photos held as square as a person can, two points clicked; the height of nothing matters (`loose`)."""
    for _ in range(photos):
        truth = true_plane(draw_view(rng, draw_camera(rng, K1_MOST), TILT_BOUND_DEG))
        turn, apart = rng.uniform(0, 2 * math.pi), rng.uniform(*APART_MM)
        half = apart / 2 * np.array([math.cos(turn), math.sin(turn)])
        ends = truth.to_px(rng.normal(0, 15, 2) + np.vstack([-half, half]))
        x1, y1, x2, y2 = np.clip(ends + CLICK_SD_PX * rng.standard_normal((2, 2)), 0, np.array(SIZE_PX) - 1).ravel()
        stated = float(x1), float(y1), float(x2), float(y2), apart + DISTANCE_SD_MM * rng.standard_normal()
        plane = from_two_points(stated, SIZE_PX, focal35_mm=FOCAL35_MM)
        yield list(held(plane, truth, np.vstack([draw_ends(rng, truth) for _ in range(lengths)])))
