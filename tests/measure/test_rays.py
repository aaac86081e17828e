"""Rays through a photo: where they run, what they read, against the exact camera and OpenCV's `remap`."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.measure.face_kit import drawn_plane
from wearvision.measure.plane import Array, Plane
from wearvision.measure.rays import Rays
from wearvision.measure.unwrap import ring_points, unwrap

CENTRE = np.array([4.0, -3.0])
COUNT, STEP = 3600, 0.1


def _exact(plane: Plane, radius: Array) -> Array:
    """Places of all rays, px, (COUNT, R, 2)."""
    deg = STEP * (0.5 + np.arange(COUNT))
    points = ring_points(CENTRE, deg.repeat(len(radius)), np.tile(radius, COUNT))
    return plane.to_px(points).reshape(COUNT, len(radius), 2)


def _ramps(plane: Plane) -> tuple[np.ndarray, np.ndarray]:
    """A picture that brightens to the right, and one that does downwards, a grey level every 16 pixels."""
    wide, high = plane.size_px
    right = np.tile(np.arange(wide) // 16, (high, 1)).astype(np.uint8)
    down = np.tile(np.arange(high) // 16, (wide, 1)).T.astype(np.uint8)
    return right, np.ascontiguousarray(down)


@pytest.mark.parametrize("tilt_deg", [0.0, 35.0])
def test_they_read_what_the_exact_camera_sees(tilt_deg: float) -> None:
    plane = drawn_plane(tilt_deg=tilt_deg)
    radius = np.linspace(5.0, 60.0, 786)
    rays = Rays.of(plane, CENTRE, 0.0, STEP, COUNT, radius)
    x, y = (np.ascontiguousarray(one) for one in _exact(plane, radius).astype(np.float32).transpose(2, 0, 1))
    rng = np.random.default_rng(3)
    smooth = cv2.GaussianBlur(rng.integers(0, 256, plane.size_px[::-1]).astype(np.uint8), (0, 0), 4.0)
    for picture in (*_ramps(plane), cv2.normalize(smooth, None, 0, 255, cv2.NORM_MINMAX)):
        exact = cv2.remap(picture.astype(np.float32), x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        slope = float(np.abs(np.diff(picture.astype(float), axis=1)).max()) + float(
            np.abs(np.diff(picture.astype(float), axis=0)).max()
        )
        allowed = slope * (0.02 + 1 / 32) + 0.02  # between knots; remap's own steps of a place; rounding
        assert float(np.abs(rays.means(picture, COUNT, 1) - exact).max()) <= allowed


def test_the_mean_of_several_is_that_of_each() -> None:
    plane = drawn_plane(tilt_deg=20.0)
    picture = np.random.default_rng(5).integers(0, 256, plane.size_px[::-1]).astype(np.uint8)
    rays = Rays.of(plane, CENTRE, 0.0, STEP, COUNT, np.linspace(5.0, 60.0, 333))
    each = rays.means(picture, COUNT, 1)
    assert np.allclose(rays.means(picture, COUNT // 4, 4), each.reshape(-1, 4, 333).mean(axis=1), atol=1e-3)


def test_what_is_out_of_the_picture_is_known() -> None:
    plane = drawn_plane()
    corner = plane.to_mm(np.array([[40.0, 60.0]]))[0]
    radius = np.linspace(5.0, 60.0, 786)
    rays = Rays.of(plane, corner, 0.0, 0.5, 720, radius)
    exact = plane.to_px(ring_points(corner, 0.5 * (0.5 + np.arange(720)).repeat(786), np.tile(radius, 720)))
    wide, high = plane.size_px
    depth = np.min([exact[:, 0] - 1, wide - 2 - exact[:, 0], exact[:, 1] - 1, high - 2 - exact[:, 1]], axis=0)
    within = rays.within(np.zeros((high, wide), dtype=np.uint8), 720, 1).ravel()
    assert within[depth > 0.05].all()
    assert not within[depth < -0.05].any()
    assert 0.1 < within.mean() < 0.5


@pytest.mark.parametrize("size", [(1, 1), (1, 9), (9, 1), (2, 2)])
def test_a_picture_of_a_few_pixels_is_read_within_its_bounds(size: tuple[int, int]) -> None:
    rays = Rays.of(drawn_plane(), CENTRE, 0.0, STEP, COUNT, np.linspace(5.0, 60.0, 99))
    assert np.unique(rays.means(np.full(size, 77, dtype=np.uint8), COUNT // 3, 3)).tolist() == [77.0]


def test_rays_past_the_horizon_are_read_within_the_picture() -> None:
    plane = drawn_plane(tilt_deg=60.0)
    picture = np.full(plane.size_px[::-1], 77, dtype=np.uint8)
    strip = unwrap(picture, plane, CENTRE, (50.0, 5000.0), step_px=4.0)
    assert set(np.unique(strip.values).tolist()) <= {77.0}
