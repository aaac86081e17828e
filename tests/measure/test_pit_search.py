"""Pits sought on drawn faces: found, measured, told from stains and drilled holes."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.measure.face_kit import STATED, draw_face, drawn_plane
from wearvision.measure.face import Face, find_face
from wearvision.measure.finders.pit_outline import Spot
from wearvision.measure.finders.pit_search import CRISP, FILM, find_spots, hole_like
from wearvision.measure.plane import Plane

Gray = NDArray[np.uint8]
MM_PER_PX = 0.17


def dotted(image: Gray, plane: Plane, *dots: tuple[float, float, float, float]) -> Gray:
    """Dark discs of (x, y, radius in mm, darkness in grey), with a blurred edge."""
    out = image.astype(np.float32)
    for x, y, radius, dark in dots:
        turn = np.linspace(0, 2 * np.pi, 200, endpoint=False)
        rim = plane.to_px(np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)]))
        mask = np.zeros(image.shape, np.uint8)
        cv2.fillPoly(mask, [np.round(rim * 16).astype(np.int32)], 255, cv2.LINE_8, 4)
        out -= dark * cv2.GaussianBlur(mask.astype(np.float32) / 255, (0, 0), 0.8)
    return np.clip(out, 0, 255).astype(np.uint8)


def spots(image: Gray, plane: Plane) -> list[Spot]:
    face = find_face(image, plane, STATED)
    assert isinstance(face, Face)
    return find_spots(image, plane, face, ())


@pytest.mark.parametrize("tilt_deg", [0.0, 15.0])
def test_pits_are_found_where_they_are_and_as_large(tilt_deg: float) -> None:
    plane = drawn_plane(tilt_deg=tilt_deg)
    dots = ((30.0, 5.0, 1.6, 95.0), (-33.0, 12.0, 1.0, 95.0), (4.0, -40.0, 0.8, 100.0), (-10.0, 45.0, 2.2, 90.0))
    found = spots(dotted(draw_face(plane), plane, *dots), plane)
    assert len(found) == len(dots)
    for x, y, radius, _ in dots:
        near = min(found, key=lambda s: float(np.hypot(*(s.centre_mm - [x, y]))))
        assert np.hypot(*(near.centre_mm - [x, y])) < 0.25
        assert near.radius_mm == pytest.approx(radius, abs=0.15)


def test_a_pale_pit_alone_is_told_and_as_pale_a_film_is_not() -> None:
    plane = drawn_plane()
    image = draw_face(plane)
    pale = (30.0, 5.0, 1.4, 65.0)
    (found,) = spots(dotted(image, plane, pale), plane)
    assert found.dark < FILM and found.sharp < CRISP * found.dark
    assert found.radius_mm == pytest.approx(1.4, abs=0.15)
    shade = dotted(np.full_like(image, 200), plane, pale).astype(np.float32) - 200
    film = image + cv2.GaussianBlur(shade, (0, 0), 4.0)
    assert spots(np.clip(film, 0, 255).astype(np.uint8), plane) == []


def test_a_sound_face_and_its_rust_give_none() -> None:
    plane = drawn_plane()
    assert spots(draw_face(plane), plane) == []
    assert len(spots(draw_face(plane, rust=25, seed=3), plane)) <= 1


def test_holes_drilled_on_one_circle_are_no_pits() -> None:
    plane = drawn_plane()
    angle = np.radians(np.arange(6) * 60 + 10.0)
    holes = [(38 * float(np.cos(a)), 38 * float(np.sin(a)), 2.5, 90.0) for a in angle]
    pit = (30.0 * float(np.cos(0.7)), 30.0 * float(np.sin(0.7)), 1.3, 80.0)
    found = spots(dotted(draw_face(plane, centre_mm=(0.0, 0.0)), plane, *holes, pit), plane)
    assert [round(float(np.hypot(*s.centre_mm))) for s in found] == [30]


def test_four_holes_alike_are_told_by_where_they_stand_and_three_of_them_are_not() -> None:
    plane = drawn_plane()
    image = draw_face(plane, centre_mm=(0.0, 0.0))
    angle = np.radians([20.0, 110.0, 200.0, 290.0])
    holes = [(36 * float(np.cos(a)), 36 * float(np.sin(a)), 2.0 + 0.2 * k, 90.0) for k, a in enumerate(angle)]
    assert spots(dotted(image, plane, *holes), plane) == []
    odd = [(x + 6.0, y, r, d) for x, y, r, d in holes[:1]] + holes[1:2]
    assert len(spots(dotted(image, plane, *odd), plane)) == 2


def test_a_large_dark_spot_may_be_a_hole_and_a_small_one_not() -> None:
    plane = drawn_plane()
    found = spots(dotted(draw_face(plane), plane, (30.0, 5.0, 3.2, 95.0), (-33.0, 12.0, 1.0, 95.0)), plane)
    assert [hole_like(s) for s in found] == [True, False]


def test_faint_spots_are_pits_only_among_many() -> None:
    plane = drawn_plane()
    turn = np.radians(np.arange(10) * 34.0)
    far = 30 + 1.7 * np.arange(10)
    dots = [(float(f * np.cos(a)), float(f * np.sin(a)), 1.0, 95.0) for f, a in zip(far, turn, strict=True)]
    faint = (-25.0, -30.0, 1.1, 45.0)
    clean = draw_face(plane, rust=0)
    assert spots(dotted(clean, plane, faint), plane) == []
    assert len(spots(dotted(clean, plane, *dots, faint), plane)) == 11
