"""A face of unknown size, on drawn faces of known centre and radii."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.measure.face_kit import RADII_MM, STATED, DrawnGroove, draw_face, drawn_plane
from wearvision.measure.chart import chart_of
from wearvision.measure.face import Face, find_face
from wearvision.measure.guess import doubled, guess_rings
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image, ring_points
from wearvision.quantity import Unmeasured
from wearvision.stated import Stated

CENTRE_MM = np.array([3.0, -2.0])
UNSAID = Stated(view="wear-face")


def guess(image: Image, plane: Plane, **said: float) -> tuple[Array, tuple[float, float]] | None:
    return guess_rings(chart_of(image, plane, ()), **said)


def paint(image: Image, plane: Plane, radius_mm: float, gray: int) -> None:
    """Fill a disc about the axis."""
    line = plane.to_px(ring_points(CENTRE_MM, np.arange(0.0, 360.0), radius_mm))
    cv2.fillPoly(image, [np.round(line * 16).astype(np.int32)], gray, shift=4)


@pytest.mark.parametrize("tilt_deg", [0.0, 15.0])
def test_centre_and_radii(tilt_deg: float) -> None:
    plane = drawn_plane(tilt_deg=tilt_deg)
    found = guess(draw_face(plane), plane)
    assert found is not None
    assert np.allclose(found[0], CENTRE_MM, atol=0.4)
    assert np.allclose(found[1], RADII_MM, atol=0.5)


def test_a_face_that_leaves_the_picture() -> None:
    plane = drawn_plane()
    centre = (plane.size_px[0] / 2 * 0.17 - 12.0, 4.0)
    found = guess(draw_face(plane, centre_mm=centre), plane)
    assert found is not None
    assert np.allclose(found[0], centre, atol=0.6)
    assert np.allclose(found[1], RADII_MM, atol=0.6)


def test_a_groove_all_round_is_no_edge_of_the_face() -> None:
    plane = drawn_plane()
    groove = DrawnGroove(radius_mm=40.0, width_mm=2.0, start_deg=0.0, arc_deg=360.0, depth_mm=0.6)
    found = guess(draw_face(plane, grooves=(groove,)), plane)
    assert found is not None
    assert np.allclose(found[1], RADII_MM, atol=0.5)


@pytest.mark.parametrize(("name", "radius_mm", "place"), [("inner_mm", 22.3, 0), ("outer_mm", 54.6, 1)])
def test_a_stated_radius_is_returned_as_it_is(name: str, radius_mm: float, place: int) -> None:
    plane = drawn_plane()
    found = guess(draw_face(plane), plane, **{name: radius_mm})
    assert found is not None
    assert found[1][place] == radius_mm
    assert np.allclose(found[1], RADII_MM, atol=0.6)


def test_nothing_on_the_bench_is_no_face() -> None:
    plane = drawn_plane()
    bench = np.random.default_rng(1).normal(110, 6, plane.size_px[::-1]).astype(np.uint8)
    assert guess(bench, plane) is None


def test_a_plain_disc_is_no_face() -> None:
    plane = drawn_plane()
    bench = np.random.default_rng(2).normal(110, 6, plane.size_px[::-1]).astype(np.uint8)
    paint(bench, plane, 45.0, 190)
    assert guess(bench, plane) is None


def test_the_foot_of_a_chamfer_is_not_passed_off_as_the_edge() -> None:
    plane = drawn_plane()
    image = draw_face(plane)
    assert not doubled(image, plane, CENTRE_MM, RADII_MM[0])
    bore = RADII_MM[0] - 1.6
    paint(image, plane, RADII_MM[0], 75)
    paint(image, plane, bore, 25)
    assert doubled(image, plane, CENTRE_MM, bore)
    face = find_face(image, plane, UNSAID)
    assert isinstance(face, Unmeasured)
    assert "diameter" in face.hint
    assert isinstance(find_face(image, plane, STATED), Face)


def test_a_size_that_is_not_stated_is_less_certain() -> None:
    plane = drawn_plane()
    image = draw_face(plane)
    said, unsaid = find_face(image, plane, STATED), find_face(image, plane, UNSAID)
    assert isinstance(said, Face)
    assert isinstance(unsaid, Face)
    for known, guessed, true in zip(
        (said.inner_mm, said.outer_mm), (unsaid.inner_mm, unsaid.outer_mm), RADII_MM, strict=True
    ):
        assert guessed.u > 2 * known.u
        assert abs(guessed.value - true) < guessed.u95
