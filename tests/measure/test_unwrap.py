"""Unwrapping against exact geometry."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.face_kit import drawn_plane
from wearvision.measure.unwrap import polar, ring_points, ring_scale, seen_arc, unwrap

CENTRE = np.array([4.0, -3.0])


@pytest.mark.parametrize("tilt_deg", [0.0, 20.0])
def test_a_strip_of_a_radius_image_reads_its_own_radii(tilt_deg: float) -> None:
    plane = drawn_plane(tilt_deg=tilt_deg)
    width, height = plane.size_px
    x, y = np.meshgrid(np.arange(width, dtype=float), np.arange(height, dtype=float))
    radius = polar(plane.to_mm(np.column_stack([x.ravel(), y.ravel()])), CENTRE)[1].reshape(height, width)
    image = np.rint(np.clip((radius - 20) * 8, 0, 255)).astype(np.uint8)
    strip = unwrap(image, plane, CENTRE, (25.0, 45.0))
    told = strip.mm(np.arange(strip.values.shape[1], dtype=float))
    error = strip.values / 8 + 20 - told
    assert strip.valid.all()
    assert strip.closed
    assert abs(float(np.median(error))) < 0.02
    one_grey_level_mm = 1 / 8  # half a level lost in drawing, half in resampling
    assert float(np.abs(error).max()) <= one_grey_level_mm
    assert float(np.sqrt(np.mean(error**2))) < 0.06


def test_rows_follow_the_angle_from_x_to_y() -> None:
    plane = drawn_plane(known=True)
    image = np.zeros((plane.size_px[1], plane.size_px[0]), dtype=np.uint8)
    at = plane.to_px(ring_points(CENTRE, np.array([60.0]), 35.0))[0]
    image[int(at[1]) - 3 : int(at[1]) + 4, int(at[0]) - 3 : int(at[0]) + 4] = 255
    strip = unwrap(image, plane, CENTRE, (25.0, 45.0))
    row, column = np.unravel_index(int(np.argmax(strip.values)), strip.values.shape)
    assert strip.deg(np.array(row)) == pytest.approx(60.0, abs=1.5)
    assert strip.mm(np.array(column)) == pytest.approx(35.0, abs=0.7)


def test_only_the_seen_arc_is_rolled_out() -> None:
    plane = drawn_plane()
    right = plane.to_mm(np.array([[plane.size_px[0] - 1.0, plane.size_px[1] / 2]]))[0]
    first, rows = seen_arc(plane, right, np.array([20.0, 30.0]), 0.5)
    assert 85 < first < 95
    assert rows * 0.5 == pytest.approx(180, abs=4)
    strip = unwrap(np.zeros(plane.size_px[::-1], dtype=np.uint8), plane, right, (20.0, 30.0))
    assert not strip.closed
    assert strip.values.shape[0] == rows
    away = right + np.array([500.0, 0.0])
    assert seen_arc(plane, away, np.array([20.0]), 0.5) == (0.0, 0)
    assert not unwrap(np.zeros(plane.size_px[::-1], dtype=np.uint8), plane, away, (20.0, 30.0)).valid.any()


def test_a_covered_outline_is_not_valid() -> None:
    plane = drawn_plane()
    corners = ring_points(CENTRE, np.array([10.0, 10.0, 30.0, 30.0]), np.array([30.0, 40.0, 40.0, 30.0]))
    image = np.zeros(plane.size_px[::-1], dtype=np.uint8)
    strip = unwrap(image, plane, CENTRE, (25.0, 45.0), exclude_px=(plane.to_px(corners),))
    column = round((35.0 - strip.start_mm) / strip.step_mm)
    hidden = strip.deg(np.flatnonzero(~strip.valid[:, column]).astype(float))
    assert hidden.min() == pytest.approx(10, abs=1)
    assert hidden.max() == pytest.approx(30, abs=1)
    assert strip.valid[:, 0].all()


def test_scale_along_a_ring() -> None:
    assert ring_scale(drawn_plane(mm_per_px=0.16), CENTRE, 30.0) == pytest.approx(0.16, rel=1e-6)
