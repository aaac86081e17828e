"""The fit of a circle's plane as a fit of an ellipse: against a reference library, and against the bias known of
algebraic fits."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.measure.face_kit import drawn_plane
from wearvision.measure.circle_fit import Known, fit_plane
from wearvision.measure.plane import Array, Plane
from wearvision.measure.prior import Prior, prior_of

RADIUS_MM, TILT_DEG = 17.0, 60.0
FAR_PX = 40_000.0
"""A focal length so long that the circle is seen as an ellipse of axes 2 : 1 at 60 degrees, its centre that of the
circle."""


def far_plane(size: float = 1.0) -> tuple[Plane, Prior]:
    """A circle's plane through a long lens that is known; half axes of the ellipse 100 and 50 px, times the size."""
    near = drawn_plane(tilt_deg=TILT_DEG, known=True)
    theta = near.theta.copy()
    theta[5], theta[6] = FAR_PX * RADIUS_MM / 100.0, math.log(FAR_PX * size)
    prior = prior_of(near.size_px, None)
    lens = np.array([math.log(FAR_PX * size), *prior.lens[1:]])
    return replace(near, theta=theta), replace(prior, lens=lens, lens_precision=1e8 * np.eye(len(lens)))


def circle_px(plane: Plane, arc_rad: float, count: int) -> Array:
    turn = np.linspace(0, arc_rad, count)
    return plane.to_px(RADIUS_MM * np.column_stack([np.cos(turn), np.sin(turn)]))


def axes_px(points: Array) -> Array:
    """Half axes of the ellipse through exact points, by OpenCV, which works in single precision."""
    axes = cv2.fitEllipseDirect((points - points.mean(axis=0)).astype(np.float32))[1]
    return np.sort(np.asarray(axes, dtype=np.float64)) / 2


def fitted(points: Array, start: Plane, prior: Prior) -> Plane:
    known = [Known(radius_mm=RADIUS_MM, sd_mm=0.01, unit=True)]
    return fit_plane(points, np.zeros(len(points), dtype=np.int64), start, known, prior, scale_sd=1e-4).plane


@pytest.mark.parametrize("arc_deg", [360.0, 200.0, 120.0])
def test_clean_points_give_the_ellipse_of_the_reference_library(arc_deg: float) -> None:
    true, prior = far_plane()
    points = circle_px(true, math.radians(arc_deg), 90)
    away = replace(true, theta=true.theta + 0.01 * np.eye(len(true.theta))[0])
    found = fitted(points, away, prior)
    np.testing.assert_allclose(axes_px(circle_px(found, 2 * math.pi, 90)), axes_px(points), rtol=1e-3)


def test_half_an_ellipse_is_pulled_less_than_by_least_squares() -> None:
    """Kanatani and Rangarajan, Hyper least squares fitting of circles and ellipses, Computational Statistics and Data
    Analysis 55 (2011), setting and claim from memory: of half an ellipse of axes 100 and 50 with noise of 1 px, plain
    algebraic least squares makes the axis too short however many places are seen. Ours takes the distance along the
    normal to first order, which leaves some of it; it goes with the square of the noise over the size."""
    ours, plain = errors_of_shorter_axis(size=1.0, noise_px=1.0)
    assert np.mean(plain) < -2.0
    assert abs(np.mean(ours)) < 0.6 * abs(np.mean(plain))
    assert np.sqrt(np.mean(ours**2)) < 0.6 * np.sqrt(np.mean(plain**2))


def test_at_the_size_of_a_photo_no_bias_is_left() -> None:
    ours, _ = errors_of_shorter_axis(size=10.0, noise_px=0.3)
    assert abs(np.mean(ours)) < 5e-5 * 500.0


def errors_of_shorter_axis(*, size: float, noise_px: float, count: int = 360, draws: int = 40) -> tuple[Array, Array]:
    """Errors in px of the shorter half axis, 50 times the size, by our fit and by plain least squares."""
    true, prior = far_plane(size)
    clean = circle_px(true, math.pi, count)
    rng = np.random.default_rng(7)
    rows = []
    for _ in range(draws):
        points = clean + rng.normal(0, noise_px, clean.shape)
        ours = axes_px(circle_px(fitted(points, true, prior), 2 * math.pi, 60))[0]
        rows.append((ours - 50.0 * size, shorter_by_least_squares(points) - 50.0 * size))
    return np.array(rows)[:, 0], np.array(rows)[:, 1]


def shorter_by_least_squares(points: Array) -> float:
    """Shorter half axis by plain algebraic least squares; nan where that gives no ellipse."""
    unit = float(points.std())
    x, y = ((points - points.mean(axis=0)) / unit).T
    rows = np.column_stack([x * x, 2 * x * y, y * y, 2 * x, 2 * y, np.ones_like(x)])
    a, b, c, d, e, f = np.linalg.svd(rows)[2][-1]
    shape, side = np.array([[a, b], [b, c]]), np.array([d, e])
    level = float(side @ np.linalg.solve(shape, side) - f)
    curve = np.linalg.eigvalsh(shape / level)
    return unit / math.sqrt(curve[-1]) if curve[0] > 0 else math.nan
