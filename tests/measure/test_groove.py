"""Grooves on drawn faces: found, measured, and with error bars that hold."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from tests.measure.face_kit import STATED, DrawnGroove, draw_face, drawn_plane
from wearvision.finding import Finding
from wearvision.measure.face import Face, find_face
from wearvision.measure.finders.groove import find_grooves, sealed_depth, to_finding
from wearvision.measure.lips import running_median, spread_fix
from wearvision.measure.plane import Plane
from wearvision.quantity import Measured, Quantity, Unmeasured

PART = DrawnGroove(radius_mm=35.0, width_mm=3.0, start_deg=20.0, arc_deg=140.0, depth_mm=0.9)
ROUND = DrawnGroove(radius_mm=46.0, width_mm=2.2, start_deg=0.0, arc_deg=360.0, depth_mm=0.6)


def measured(image: NDArray[np.uint8], plane: Plane) -> list[Finding]:
    face = find_face(image, plane, STATED)
    assert isinstance(face, Face)
    tracks, strip = find_grooves(image, plane, face)
    return [to_finding(t, f"G{i}", plane, face, strip.px_mm) for i, t in enumerate(tracks, start=1)]


@pytest.mark.parametrize("hidden_deg", [15.0, 30.0])
def test_what_a_card_covers_of_a_groove_is_not_in_view(hidden_deg: float) -> None:
    plane = drawn_plane()
    image = draw_face(plane, grooves=(PART,))
    face = find_face(image, plane, STATED)
    assert isinstance(face, Face)
    turn, far = np.radians(np.array([80, 80, 80 + hidden_deg, 80 + hidden_deg])), np.array([30.0, 40.0, 40.0, 30.0])
    cover = plane.to_px(np.column_stack([3 + far * np.cos(turn), -2 + far * np.sin(turn)]))
    cv2.fillPoly(image, [cover.round().astype(np.int32)], 230)
    [track], strip = find_grooves(image, plane, face, (cover,))
    assert track.clear > 0.9
    arcs = to_finding(replace(track, end_u_deg=(0.5, 0.5)), "G1", plane, face, strip.px_mm).quantities
    assert value(arcs["arc"]) == pytest.approx(PART.arc_deg, abs=3)
    assert value(arcs["arc_in_view"]) == pytest.approx(PART.arc_deg - hidden_deg, abs=3)


@cache
def scene(seed: int) -> tuple[tuple[DrawnGroove, ...], list[Finding]]:
    rng = np.random.default_rng(100 + seed)
    grooves = (
        DrawnGroove(
            radius_mm=float(rng.uniform(28, 36)), width_mm=float(rng.uniform(2.0, 4.0)),
            start_deg=float(rng.uniform(0, 360)), arc_deg=float(rng.uniform(60, 300)), depth_mm=0.9,
        ),
        DrawnGroove(
            radius_mm=float(rng.uniform(43, 49)), width_mm=float(rng.uniform(1.8, 3.0)), start_deg=0.0, arc_deg=360.0,
            depth_mm=0.7,
        ),
    )  # fmt: skip
    plane = drawn_plane(tilt_deg=float(rng.uniform(0, 18)))
    lamp = float(rng.uniform(0, 360))
    return grooves, measured(draw_face(plane, grooves=grooves, lamp_deg=lamp, seed=seed), plane)


def value(quantity: Quantity) -> float:
    assert isinstance(quantity, Measured)
    return quantity.value


def test_both_grooves_with_their_figures() -> None:
    plane = drawn_plane(tilt_deg=8.0)
    found = measured(draw_face(plane, grooves=(PART, ROUND)), plane)
    assert len(found) == 2
    by_radius = sorted(found, key=lambda f: value(f.quantities["radius"]))
    for finding, groove in zip(by_radius, (PART, ROUND), strict=True):
        assert value(finding.quantities["radius"]) == pytest.approx(groove.radius_mm, abs=0.25)
        assert value(finding.quantities["width"]) == pytest.approx(groove.width_mm, abs=0.35)
        assert value(finding.quantities["arc"]) == pytest.approx(groove.arc_deg, abs=3)
    assert "full-circle" in by_radius[1].flags
    assert "full-circle" not in by_radius[0].flags
    assert value(by_radius[0].quantities["area"]) == pytest.approx(math.radians(140) * 35 * 3.0, rel=0.15)
    assert 0 < value(by_radius[0].quantities["share"]) < 0.1


def test_a_clean_face_has_no_groove() -> None:
    plane = drawn_plane(tilt_deg=5.0)
    for seed in (1, 2, 3):
        assert measured(draw_face(plane, rust=25, seed=seed), plane) == []


def test_places_lie_in_the_groove() -> None:
    plane = drawn_plane()
    [finding] = measured(draw_face(plane, grooves=(PART,)), plane)
    radius = np.hypot(*(plane.to_mm(finding.places_px) - [3, -2]).T)
    assert 2 <= len(radius) <= 6
    assert np.all(np.abs(radius - PART.radius_mm) < 0.5)


def test_a_groove_that_leaves_the_picture_has_no_arc() -> None:
    plane = drawn_plane()
    edge = plane.size_px[0] / 2 * 0.17
    image = draw_face(plane, centre_mm=(edge - 5.0, 0.0), grooves=(ROUND,))
    [finding] = measured(image, plane)
    assert "cut-by-frame" in finding.flags
    assert isinstance(finding.quantities["arc"], Unmeasured)
    assert 150 < value(finding.quantities["arc_in_view"]) < 230


def test_every_drawn_groove_is_found_once() -> None:
    for seed in range(6):
        grooves, found = scene(seed)
        assert len(found) == len(grooves)


@pytest.mark.parametrize("name", ["width", "radius", "arc"])
def test_the_claimed_uncertainty_is_met(name: str) -> None:
    """The true value lies within the 95 % interval in most scenes, and the interval is not idle."""
    score = []
    for seed in range(6):
        grooves, found = scene(seed)
        for groove, finding in zip(grooves, sorted(found, key=lambda f: value(f.quantities["radius"])), strict=True):
            quantity = finding.quantities[name]
            if isinstance(quantity, Unmeasured):
                assert name == "arc" and "too unclear" in quantity.reason
                continue
            true = {"width": groove.width_mm, "radius": groove.radius_mm, "arc": groove.arc_deg}[name]
            if quantity.u > 0:
                score.append((quantity.value - true) / quantity.u95)
    assert len(score) >= 8
    assert np.mean(np.abs(score) <= 1) >= 0.8
    assert np.max(np.abs(score)) > 0.1


def test_depth_stays_sealed() -> None:
    depth = sealed_depth(2.0)["depth"]
    assert isinstance(depth, Measured)
    assert depth.value == pytest.approx(0.8)
    assert depth.u == pytest.approx(0.6)
    assert "no source" in depth.how
    plane = drawn_plane()
    [finding] = measured(draw_face(plane, grooves=(PART,)), plane)
    assert "depth" not in finding.quantities
    assert "depth" in finding.sealed


@pytest.mark.parametrize("thickness", [1.0, 2.0, 2.5, 3.2, 5.0])
def test_the_spread_fix_against_a_blurred_line(thickness: float) -> None:
    """Crests of the slope of a box blurred by a Gaussian, found numerically."""
    blur = 0.8
    spread = math.hypot(blur, 1.1)
    x = np.linspace(0, 10, 20001)
    edge = np.exp(-0.5 * ((x - thickness / 2) / spread) ** 2) - np.exp(-0.5 * ((x + thickness / 2) / spread) ** 2)
    crest = float(x[np.argmax(edge)])
    assert float(spread_fix(np.array(2 * crest), blur)) == pytest.approx(crest - thickness / 2, abs=0.08)


def test_no_line_no_fix() -> None:
    assert float(spread_fix(np.array(np.inf), 0.8)) < 1e-3


def test_a_running_median_is_scipy_s_and_keeps_nan() -> None:
    values = np.random.default_rng(4).normal(size=60)
    assert np.array_equal(running_median(values, 9), median_filter(values, 9, mode="nearest"))
    values[30] = np.nan
    assert np.array_equal(np.flatnonzero(np.isnan(running_median(values, 9))), np.arange(26, 35))
