"""Two points and their distance."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.measure.face_kit import drawn_plane
from wearvision.errors import BadInput
from wearvision.measure.points import from_two_points

SIZE = (900, 690)


def test_the_stated_distance_comes_out() -> None:
    plane = from_two_points((100, 200, 700, 500, 80.0), SIZE)
    ends = plane.to_mm(np.array([[100.0, 200], [700, 500]]))
    assert float(np.hypot(*(ends[1] - ends[0]))) == pytest.approx(80.0, rel=1e-9)
    assert plane.source == "two-points"
    assert plane.doubts[0][0] == "tilt"


def test_the_interval_covers_tilts_up_to_the_bound() -> None:
    rng = np.random.default_rng(2)
    inside = total = 0
    for _ in range(60):
        truth = drawn_plane(tilt_deg=float(rng.uniform(-20, 20)), mm_per_px=0.17, known=True)
        a, b = truth.to_px(np.array([[-35.0, 5.0], [30.0, -8.0]]) @ _turn(float(rng.uniform(0, 3.1))))
        plane = from_two_points((*a, *b, math.hypot(65, 13)), SIZE)
        ends = rng.uniform(-40, 40, (8, 2, 2))
        true = np.hypot(*(ends[:, 0] - ends[:, 1]).T)
        px = truth.to_px(ends.reshape(-1, 2))

        def lengths(p, px=px):  # type: ignore[no-untyped-def]  # a figure of a plane
            mm = p.to_mm(px).reshape(-1, 2, 2)
            return np.hypot(*(mm[:, 0] - mm[:, 1]).T)

        value, parts = plane.propagate(lengths)
        u = np.sqrt(np.sum([p**2 for p in parts.values()], axis=0))
        inside, total = inside + int(np.sum(np.abs(value - true) <= 1.96 * u)), total + len(true)
    assert inside / total > 0.93


def _turn(angle: float) -> np.ndarray:
    return np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])


@pytest.mark.parametrize("points", [(0, 0, 2000, 10, 50.0), (100, 100, 110, 110, 50.0)])
def test_points_out_of_the_picture_or_too_near_are_refused(points: tuple[float, ...]) -> None:
    with pytest.raises(BadInput):
        from_two_points(points, SIZE)  # type: ignore[arg-type]  # five numbers
