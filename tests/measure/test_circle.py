"""Scale from a turned circle of known diameter, on drawn faces."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.measure.face_kit import RADII_MM, draw_face, drawn_plane
from wearvision.measure.circle import Circle, solve_circle
from wearvision.measure.circle_fit import Known, covariance_parts, fit_plane
from wearvision.measure.circle_seek import mirrored
from wearvision.measure.circle_sight import moved, sight
from wearvision.measure.circle_start import KnownCircle
from wearvision.measure.plane import Array, N, Plane
from wearvision.measure.prior import prior_of
from wearvision.quantity import Unmeasured

CENTRE = (3.0, -2.0)
FOCAL35_MM = 1.1 * 900 / math.sqrt(900 / 36.0 * math.hypot(900, 690) / 43.267)


def _lengths(truth: Plane, found: Plane, seed: int = 1) -> tuple[Array, Array, Array]:
    """True and found lengths of 20 to 100 mm in the face, and the standard uncertainty of the latter."""
    rng = np.random.default_rng(seed)
    radius, angle = RADII_MM[1] * np.sqrt(rng.uniform(0, 1, (400, 2))), rng.uniform(0, 6.28, (400, 2))
    ends = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=-1) + np.array(CENTRE)
    true = np.hypot(*(ends[:, 0] - ends[:, 1]).T)
    ends, true = ends[true > 20], true[true > 20]
    px = truth.to_px(ends.reshape(-1, 2))

    def lengths(plane: Plane) -> Array:
        mm = plane.to_mm(px).reshape(-1, 2, 2)
        return np.asarray(np.hypot(*(mm[:, 0] - mm[:, 1]).T))

    value, parts = found.propagate(lengths)
    return true, value, np.sqrt(np.sum([p**2 for p in parts.values()], axis=0))


@pytest.mark.parametrize(("which", "tilt"), [("rim", 0.0), ("bore", 14.0), ("rim", -27.0)])
def test_lengths_come_out_within_their_interval(which: str, tilt: float) -> None:
    truth = drawn_plane(tilt_deg=tilt, known=True)
    stated = KnownCircle(
        which=which, diameter_mm=2 * RADII_MM[which == "rim"], other_mm=2 * RADII_MM[which != "rim"]
    )  # fmt: skip
    found = solve_circle(draw_face(truth), stated, focal35_mm=FOCAL35_MM)
    assert isinstance(found, Circle)
    assert found.second and found.arc_deg > 250
    true, value, u = _lengths(truth, found.plane)
    assert np.quantile(np.abs(value / true - 1), 0.95) < 0.007
    assert np.mean(np.abs(value - true) <= 1.96 * u) > 0.93
    assert found.plane.tilt_deg == pytest.approx(abs(tilt), abs=1.5)
    assert set(found.plane.sources) == {"edge", "arc", "lens", "diameter", "height"}


def test_a_picture_without_circles_is_no_scale() -> None:
    rng = np.random.default_rng(1)
    gray = np.clip(rng.normal(120, 20, (690, 900)), 0, 255).astype(np.uint8)
    found = solve_circle(gray, KnownCircle(which="rim", diameter_mm=110.0, other_mm=44.0))
    assert isinstance(found, Unmeasured)


def test_the_other_circle_at_another_ratio_is_refused() -> None:
    """A drawing size that cannot be: no two rings of the picture have this ratio."""
    gray = draw_face(drawn_plane(known=True))
    found = solve_circle(gray, KnownCircle(which="rim", diameter_mm=110.0, other_mm=60.0), focal35_mm=FOCAL35_MM)
    assert isinstance(found, Unmeasured)


def _points(plane: Plane, radius: float, arc_deg: float, noise_px: float, rng: np.random.Generator) -> Array:
    angle = np.radians(np.arange(0.0, arc_deg, 1.0))
    ring = np.array(CENTRE) + radius * np.column_stack([np.cos(angle), np.sin(angle)])
    return plane.to_px(ring) + rng.normal(0, noise_px, (len(angle), 2))


def _start(truth: Plane) -> Plane:
    """The true plane with its origin in the circle's centre."""
    theta = truth.theta.copy()
    rotation, _ = truth.pose
    theta[3:6] += rotation[:, :2] @ np.array(CENTRE)
    return replace(truth, theta=theta)


@pytest.mark.parametrize("tilt", [-20.0, 20.0])
def test_two_circles_fix_the_tilt_without_a_focal_length(tilt: float) -> None:
    rng = np.random.default_rng(4)
    truth = drawn_plane(tilt_deg=tilt, known=True)
    px = np.vstack([_points(truth, r, 360.0, 0.1, rng) for r in (55.0, 22.0)])
    group = np.repeat([0, 1], 360)
    known = [Known(radius_mm=55.0, sd_mm=0.01, unit=True), Known(radius_mm=22.0, sd_mm=1e3)]
    prior = prior_of(truth.size_px, None)
    start = _start(truth)
    right = fit_plane(px, group, start, known, prior, scale_sd=1e-4)
    wrong = fit_plane(px, group, mirrored(start), known, prior, scale_sd=1e-4)
    assert right.plane.tilt_deg == pytest.approx(abs(tilt), abs=1.0)
    assert right.spread_px.max() < 0.15
    found_way = np.allclose(wrong.plane.theta, right.plane.theta, atol=0.05)
    assert found_way or wrong.spread_px.max() > 2 * right.spread_px.max()


def test_a_shorter_arc_widens_the_interval_and_says_so() -> None:
    rng = np.random.default_rng(5)
    truth = drawn_plane(tilt_deg=12.0, known=True)
    prior = prior_of(truth.size_px, FOCAL35_MM)
    edges, arcs = [], []
    for arc in (360.0, 200.0, 100.0):
        px = _points(truth, 55.0, arc, 0.15, rng)
        group = np.zeros(len(px), dtype=np.int64)
        fit = fit_plane(
            px, group, _start(truth), [Known(radius_mm=55.0, sd_mm=0.06, unit=True)], prior, scale_sd=5e-4
        )
        parts = covariance_parts(fit, group, px)
        plane = Plane(theta=fit.plane.theta, sources=parts, size_px=truth.size_px, source="diameter")
        scale = plane.mm_per_px(plane.to_px(np.zeros((1, 2)))[0])
        edges.append(scale.budget["edge"])
        arcs.append(scale.budget["arc"])
    assert arcs[0] < 0.02 * edges[0]
    assert arcs[0] < arcs[1] < arcs[2]
    assert arcs[2] > edges[2]


def test_less_than_sixty_degrees_is_refused() -> None:
    truth = drawn_plane(known=True)
    gray = draw_face(truth).copy()
    x, y = np.meshgrid(np.arange(gray.shape[1]), np.arange(gray.shape[0]))
    mm = truth.to_mm(np.column_stack([x.ravel(), y.ravel()]).astype(float)) - np.array(CENTRE)
    hidden = np.abs(np.degrees(np.arctan2(mm[:, 1], mm[:, 0]))) > 22
    gray.reshape(-1)[hidden] = 90
    found = solve_circle(gray, KnownCircle(which="rim", diameter_mm=110.0, other_mm=44.0), focal35_mm=FOCAL35_MM)
    assert isinstance(found, Unmeasured)


def test_one_circle_alone_carries_both_tilts() -> None:
    truth = drawn_plane(tilt_deg=15.0, known=True)
    gray = draw_face(truth, radii_mm=(0.0, 55.0), rust=0)
    found = solve_circle(gray, KnownCircle(which="rim", diameter_mm=110.0), focal35_mm=FOCAL35_MM)
    assert isinstance(found, Circle)
    assert not found.second and "tilt" in found.plane.sources
    true, value, u = _lengths(truth, found.plane)
    assert np.mean(np.abs(value - true) <= 1.96 * u) > 0.93


@pytest.mark.parametrize("seed", range(3))
def test_derivatives_are_those_of_the_distance(seed: int) -> None:
    """Against differences of the plane's own way from pixels to millimetres."""
    rng = np.random.default_rng(seed)
    plane = drawn_plane(tilt_deg=float(rng.uniform(5, 30)))
    theta = plane.theta.copy()
    theta[7], theta[12] = rng.uniform(-0.1, 0.1), rng.uniform(-0.02, 0.02)
    px = rng.uniform(0, 1, (20, 2)) * plane.size_px
    heights = rng.uniform(-1, 1, 20)
    seen = sight(theta, px, heights)

    def far(plane: Plane, at: Array, up: Array) -> Array:
        lifts = [replace(plane, theta=plane.theta - np.eye(N)[11] * h) for h in up]
        return np.array([np.hypot(*p.to_mm(a.reshape(1, 2))[0]) for p, a in zip(lifts, at, strict=True)])

    plane = replace(plane, theta=theta)
    np.testing.assert_allclose(seen.far, far(plane, px, heights), rtol=1e-9)
    for k in range(10):
        step = np.zeros(11)
        step[k] = (1e-6, 1e-6, 1e-4, 1e-4, 1e-3, 1e-6, 1e-6, 1e-3, 1e-3, 1e-6)[k]
        slope = (far(moved(plane, step), px, heights) - far(moved(plane, -step), px, heights)) / (2 * step[k])
        np.testing.assert_allclose(seen.by_state[:, k], slope, rtol=1e-4, atol=1e-6 * np.abs(slope).max())
    across = [far(plane, px + d, heights) - far(plane, px - d, heights) for d in np.eye(2) / 200]
    np.testing.assert_allclose(seen.per_px, 100 * np.hypot(*across), rtol=1e-4)
    lift = (far(plane, px, heights + 1e-3) - far(plane, px, heights - 1e-3)) / 2e-3
    np.testing.assert_allclose(seen.by_height, lift, rtol=1e-4, atol=1e-7)
