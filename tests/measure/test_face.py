"""The face finder on drawn faces of known centre and radii."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

import wearvision.measure.face as seeking
from tests.measure.face_kit import RADII_MM, STATED, draw_face, drawn_plane
from wearvision.measure.face import Face, find_face
from wearvision.measure.plane import Array
from wearvision.quantity import Unmeasured
from wearvision.stated import Stated


@pytest.mark.parametrize("tilt_deg", [0.0, 15.0])
def test_centre_and_radii(tilt_deg: float) -> None:
    plane = drawn_plane(tilt_deg=tilt_deg)
    face = find_face(draw_face(plane), plane, STATED)
    assert isinstance(face, Face)
    assert np.allclose(face.centre_mm, [3, -2], atol=0.08)
    assert np.allclose(face.flat_mm, RADII_MM, atol=0.12)
    for radius, true in zip((face.inner_mm, face.outer_mm), RADII_MM, strict=True):
        assert abs(radius.value - true) < radius.u95
    assert face.seen_deg[:, 1].all()
    assert face.area_mm2 == pytest.approx(np.pi * (55**2 - 22**2), rel=0.02)


def test_a_face_that_leaves_the_picture() -> None:
    plane = drawn_plane()
    centre = (plane.size_px[0] / 2 * 0.17 - 12.0, 4.0)
    face = find_face(draw_face(plane, centre_mm=centre), plane, STATED)
    assert isinstance(face, Face)
    assert np.allclose(face.centre_mm, centre, atol=0.4)
    assert 0.5 < face.seen_deg[:, 1].mean() < 0.9


def test_no_face_in_the_picture_is_said_so() -> None:
    plane = drawn_plane()
    bench = np.random.default_rng(1).normal(110, 6, plane.size_px[::-1]).astype(np.uint8)
    found = find_face(bench, plane, STATED)
    assert isinstance(found, Unmeasured)
    assert found.hint
    even = find_face(np.full_like(bench, 110), plane, STATED)
    assert isinstance(even, Unmeasured)
    assert even.reason == "no ring of the stated sizes is in the picture"


@pytest.mark.parametrize(("grown", "found"), [(1.0, True), (1.08, False)])
def test_rings_that_do_not_stand_out_need_edges_that_agree_more(
    monkeypatch: pytest.MonkeyPatch, grown: float, found: bool
) -> None:
    monkeypatch.setattr(seeking, "find_rings", lambda _, __: (np.array([3.5, -1.5]), False))
    plane = drawn_plane()
    stated = Stated(view="wear-face", nominal={name: grown * size for name, size in STATED.nominal.items()})
    face = find_face(draw_face(plane), plane, stated)
    assert isinstance(face, Face if found else Unmeasured)
    if isinstance(face, Unmeasured):
        assert face.reason == "no ring of the stated sizes is in the picture"


@pytest.mark.parametrize("said", [(), ("face_inner_diameter_mm",), ("face_outer_diameter_mm",)])
def test_sizes_that_are_not_stated_are_read_off_the_picture(said: tuple[str, ...]) -> None:
    plane = drawn_plane()
    stated = Stated(view="wear-face", nominal={name: STATED.nominal[name] for name in said})
    face = find_face(draw_face(plane), plane, stated)
    assert isinstance(face, Face)
    assert not face.sure
    assert np.allclose(face.centre_mm, [3, -2], atol=0.1)
    assert np.allclose(face.flat_mm, RADII_MM, atol=0.3)


def test_a_card_on_the_bench_does_not_draw_the_centre() -> None:
    plane = drawn_plane()
    image = draw_face(plane)
    image[40:240, 20:160] = 240
    image[60:220:20, 40:140] = 20
    card = np.array([[15.0, 35], [165, 35], [165, 245], [15, 245]])
    face = find_face(image, plane, STATED, (card,))
    assert isinstance(face, Face)
    assert np.allclose(face.centre_mm, [3, -2], atol=0.08)


def test_an_edge_out_of_the_picture_is_taken_from_the_drawing() -> None:
    plane = drawn_plane(mm_per_px=0.06)
    face = find_face(draw_face(plane, centre_mm=(0.5, 0.3)), plane, STATED)
    assert isinstance(face, Face)
    assert np.allclose(face.centre_mm, [0.5, 0.3], atol=0.15)
    assert face.outer_mm.value == pytest.approx(55.0, abs=0.5)


def test_the_axis_most_edge_points_agree_with_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the likeliest start is a wrong one, the next is followed; a clear first one ends the search."""
    plane = drawn_plane()
    gray = draw_face(plane)
    right = find_face(gray, plane, STATED)
    assert isinstance(right, Face)
    starts, fit = seeking._starts, seeking._fit
    followed: list[Array] = []

    def askew(*given: Any) -> list[Array]:
        good = starts(*given)[0]
        return [good + np.array([2.6, -2.6, 0.0, 0.0]), good, good]

    def counted(*given: Any) -> Any:
        followed.append(given[2])
        return fit(*given)

    monkeypatch.setattr(seeking, "_starts", askew)
    monkeypatch.setattr(seeking, "_fit", counted)
    found = find_face(gray, plane, STATED)
    assert isinstance(found, Face)
    np.testing.assert_allclose(found.centre_mm, right.centre_mm, atol=0.02)
    assert len(followed) == 2
