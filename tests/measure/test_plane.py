"""The plane: its two directions undo each other, and millimetres obey the printed facts."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measure.drawn_board import STANDARD, Look, plane_of
from wearvision.measure.lens import undistort
from wearvision.measure.plane import NAMES, N, Plane

PX = np.array([[10.0, 20.0], [1100.0, 40.0], [600.0, 450.0], [30.0, 880.0], [1150.0, 860.0]])


def moved(plane: Plane, **by: float) -> Plane:
    theta = plane.theta.copy()
    for name, amount in by.items():
        theta[NAMES.index(name)] += amount
    return replace(plane, theta=theta)


def known(plane: Plane, **sd: float) -> Plane:
    spread = np.zeros(N)
    for name, value in sd.items():
        spread[NAMES.index(name)] = value**2
    return replace(plane, sources={"lens": np.diag(spread)})


@settings(max_examples=60)
@given(
    tilt=st.floats(0, 60), axis=st.floats(0, 360), roll=st.floats(-180, 180), k1=st.floats(-0.06, 0.06),
    focal=st.floats(0.6, 2.0), height=st.floats(-20, 20), print_scale=st.floats(-0.02, 0.02),
)  # fmt: skip
def test_pixels_to_mm_and_back(
    tilt: float, axis: float, roll: float, k1: float, focal: float, height: float, print_scale: float
) -> None:
    look = Look(tilt_deg=tilt, tilt_axis_deg=axis, roll_deg=roll, k1=k1, focal=focal)
    plane = moved(plane_of(STANDARD, look), height=height, log_print=print_scale)
    mm = STANDARD.inner_corners_mm()
    np.testing.assert_allclose(plane.to_mm(plane.to_px(mm)), mm, atol=1e-6)


def test_the_camera_is_that_of_opencv() -> None:
    """cv2.projectPoints with the same pose, focal length, centre and k1."""
    plane = plane_of(STANDARD, Look(tilt_deg=25.0, k1=-0.04))
    mm = STANDARD.inner_corners_mm()
    k = np.array([[plane.focal_px, 0, plane.theta[8]], [0, plane.focal_px, plane.theta[9]], [0, 0, 1]])
    board = np.column_stack([mm, np.zeros(len(mm))])
    px, _ = cv2.projectPoints(board, plane.theta[:3], plane.theta[3:6], k, np.array([-0.04, 0, 0, 0]))
    np.testing.assert_allclose(plane.to_px(mm), np.asarray(px).reshape(-1, 2), atol=1e-7)


def test_the_homography_is_the_projection_without_lens() -> None:
    plane = plane_of(STANDARD, Look(tilt_deg=25.0))
    mm = STANDARD.inner_corners_mm()
    h = np.column_stack([mm, np.ones(len(mm))]) @ plane.homography.T
    np.testing.assert_allclose(h[:, :2] / h[:, 2:], plane.to_px(mm), atol=1e-8)


@pytest.mark.parametrize("k1", [-0.08, 0.0, 0.1])
def test_undistort_undoes_the_lens(k1: float) -> None:
    uv = np.array([[0.0, 0.0], [0.3, -0.2], [0.6, 0.5]])
    bent = uv * (1 + k1 * np.sum(uv * uv, axis=1, keepdims=True))
    np.testing.assert_allclose(undistort(bent, k1), uv, atol=1e-12)


def test_a_print_one_percent_large_makes_everything_one_percent_larger() -> None:
    plane = plane_of(STANDARD, Look(tilt_deg=20.0, k1=0.02))
    larger = moved(plane, log_print=np.log(1.01))
    np.testing.assert_allclose(larger.to_mm(PX), 1.01 * plane.to_mm(PX), rtol=1e-9)


@pytest.mark.parametrize(("height_mm", "percent"), [(3.0, 0.75), (-3.0, -0.75)])
def test_a_card_above_the_plane(height_mm: float, percent: float) -> None:
    """A plane dz below the card is imaged small by dz/(Z+dz): Z 400 mm, dz 3 mm (D, facts 15.1 and 15a)."""
    look = Look(tilt_deg=0.0, roll_deg=0.0, focal=0.8, square_px=0.8 * 1200 * 15.0 / 400.0)
    plane = plane_of(STANDARD, look)
    assert plane.distance_mm == pytest.approx(400.0)
    lower = moved(plane, height=height_mm)
    assert lower.distance_mm == pytest.approx(400.0 + height_mm)
    grown = np.linalg.norm(np.diff(lower.to_mm(PX), axis=0), axis=1) / np.linalg.norm(
        np.diff(plane.to_mm(PX), axis=0), axis=1
    )
    np.testing.assert_allclose(100 * (grown - 1), percent, atol=1e-9)


def test_a_shift_of_height_moves_along_the_normal_only() -> None:
    plane = plane_of(STANDARD, Look(tilt_deg=30.0))
    lower = moved(plane, height=5.0)
    assert abs(lower.distance_mm - plane.distance_mm) == pytest.approx(5.0)
    assert lower.tilt_deg == pytest.approx(plane.tilt_deg)


def test_tilt_and_scale_of_a_frontal_plane() -> None:
    plane = plane_of(STANDARD, Look(tilt_deg=0.0, square_px=60.0))
    assert plane.tilt_deg == pytest.approx(0.0, abs=1e-6)
    assert plane.mm_per_px(np.array([300.0, 200.0])).value == pytest.approx(15.0 / 60.0)
    assert plane_of(STANDARD, Look(tilt_deg=33.0)).tilt_deg == pytest.approx(33.0)


def test_mm_per_px_is_the_root_of_the_jacobians_determinant() -> None:
    plane, at = plane_of(STANDARD, Look(tilt_deg=35.0, k1=-0.05)), np.array([900.0, 300.0])
    mm, step = plane.to_mm(at.reshape(1, 2))[0], 1e-3
    columns = [
        (plane.to_px((mm + d).reshape(1, 2)) - plane.to_px((mm - d).reshape(1, 2)))[0] / (2 * step)
        for d in np.eye(2) * step
    ]
    expected = 1 / np.sqrt(abs(np.linalg.det(np.array(columns))))
    assert plane.mm_per_px(at).value == pytest.approx(expected, rel=1e-6)


def test_print_uncertainty_is_relative_and_height_uncertainty_is_dz_over_z() -> None:
    def length(p: Plane) -> np.ndarray:
        return np.linalg.norm(np.diff(p.to_mm(PX[:2]), axis=0), axis=1)

    look = Look(tilt_deg=0.0, square_px=0.8 * 1200 * 15.0 / 400.0)
    plane = plane_of(STANDARD, look)
    value, parts = known(plane, log_print=0.0025).propagate(length)
    assert parts["lens"][0] == pytest.approx(0.0025 * value[0], rel=1e-6)
    value, parts = known(plane, height=1.0).propagate(length)
    assert parts["lens"][0] == pytest.approx(value[0] / 400.0, rel=1e-6)


def test_parts_make_up_the_budget() -> None:
    plane = plane_of(STANDARD, Look())
    spread = np.diag(np.full(N, 1e-8))
    plane = replace(plane, sources={"corner": spread, "print": 4 * spread})
    scale = plane.mm_per_px(np.array([600.0, 450.0]))
    assert scale.u == pytest.approx(np.hypot(scale.budget["corner"], scale.budget["print"]))
    assert scale.budget["print"] == pytest.approx(2 * scale.budget["corner"])
    np.testing.assert_allclose(plane.covariance, 5 * spread)


def test_figures_of_points_are_the_same_for_all_planes_at_once() -> None:
    plane = plane_of(STANDARD, Look(tilt_deg=25.0, k1=-0.04))
    spread = np.diag(np.full(N, 1e-8))
    plane = replace(plane, sources={"corner": spread, "lens": 4 * spread})
    value, parts = plane.propagate_points(PX, lambda mm: np.hypot(mm[..., 0], mm[..., 1]))
    one_by_one, of_each = plane.propagate(lambda p: np.hypot(*p.to_mm(PX).T))
    np.testing.assert_array_equal(value, one_by_one)
    assert list(parts) == ["corner", "lens"]
    for name, u in parts.items():
        np.testing.assert_array_equal(u, of_each[name])


def test_theta_cannot_be_written_and_no_sources_mean_no_spread() -> None:
    plane = plane_of(STANDARD, Look())
    with pytest.raises(ValueError, match="read-only"):
        plane.theta[0] = 1.0
    assert not plane.covariance.any()


def test_points_may_be_of_any_layout_and_stay_as_they_are() -> None:
    plane = plane_of(STANDARD, Look(tilt_deg=25.0, k1=-0.04))
    px = np.asfortranarray(PX[::-1])
    px.setflags(write=False)
    mm = plane.to_mm(px)
    np.testing.assert_array_equal(mm, plane.to_mm(PX[::-1].tolist()))
    np.testing.assert_allclose(plane.to_px(mm), px, atol=1e-8)


def test_a_point_on_the_horizon_lies_nowhere() -> None:
    plane = plane_of(STANDARD, Look(tilt_deg=40.0, k1=0.0))
    rotation, _ = plane.pose
    horizon = plane.focal_px * np.array([0.0, -rotation[2, 2] / rotation[1, 2]]) + plane.theta[8:10]
    assert np.abs(plane.to_mm(horizon)).max() > 1e9 or not np.isfinite(plane.to_mm(horizon)).all()


def test_undistort_takes_many_points_as_one_by_one() -> None:
    uv = np.random.default_rng(1).uniform(-0.6, 0.6, (40, 2))
    together = undistort(uv, 0.05, -0.01)
    np.testing.assert_array_equal(together, np.vstack([undistort(one[None], 0.05, -0.01) for one in uv]))
