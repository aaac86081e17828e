"""The coarse map of a face, and what is sought on it: places of dark spots, dark lines."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from tests.measure.face_kit import STATED, draw_face, drawn_plane
from wearvision.measure.face import Face, find_face
from wearvision.measure.finders.face_map import LOG_FROM, TONE, FaceMap, face_map
from wearvision.measure.finders.pit_places import dark_spots, set_cells
from wearvision.measure.finders.pits import measure_pit, measure_pits
from wearvision.measure.finders.valleys import valley_lines
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

SPOT, RADIUS_MM = (31.0, 6.0), 0.9


def marked(plane: Plane) -> tuple[Image, Face]:
    """A face with one dark spot and one dark wandering line across it."""
    gray = draw_face(plane, rust=0)
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    rim = np.array(SPOT) + RADIUS_MM * np.column_stack([np.cos(turn), np.sin(turn)])
    cv2.fillPoly(gray, [np.round(plane.to_px(rim) * 16).astype(np.int32)], 30, cv2.LINE_AA, 4)
    cv2.polylines(gray, [np.round(plane.to_px(way()) * 16).astype(np.int32)], False, 60, 2, cv2.LINE_AA, 4)
    face = find_face(gray, plane, STATED)
    assert isinstance(face, Face)
    return gray, face


def way() -> Array:
    s = np.linspace(0, 20, 80)
    return np.column_stack([-28 - s, 3 + 1.2 * np.sin(s)])


@pytest.mark.parametrize("tilt_deg", [0.0, 18.0])
def test_a_spot_and_a_line_lie_where_they_were_drawn(tilt_deg: float) -> None:
    plane = drawn_plane(tilt_deg=tilt_deg)
    gray, face = marked(plane)
    flat = face_map(gray, plane, face, ())
    column, row, radius = dark_spots(flat)[0]
    place = flat.to_mm(np.array([column]), np.array([row]))[0]
    assert np.hypot(*(place - SPOT)) < RADIUS_MM / 2, "its outline is then sought from there"
    assert radius * flat.step_mm == pytest.approx(RADIUS_MM, rel=0.4)
    line = max(valley_lines(flat), key=len)
    away = np.hypot(*(line[:, None] - way()[None]).transpose(2, 0, 1)).min(axis=1)
    assert np.median(away) < 2 * flat.step_mm
    assert np.hypot(*(line[0] - line[-1])) > 15


def test_covered_places_and_those_off_the_face_are_not_looked_at() -> None:
    plane = drawn_plane()
    gray, face = marked(plane)
    card = plane.to_px(np.array(SPOT) + 3.0 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]))
    flat = face_map(gray, plane, face, (card,))
    places = dark_spots(flat)
    apart = np.hypot(*(flat.to_mm(places[:, 0], places[:, 1]) - SPOT).T)
    assert apart.min(initial=np.inf) > 2
    radius = np.hypot(*(grid(flat) - face.centre_mm).T).reshape(flat.face.shape)
    assert not flat.face[(radius < face.flat_mm[0]) | (radius > face.flat_mm[1])].any()
    assert flat.face[(radius > face.flat_mm[0] + 1.5) & (radius < face.flat_mm[1] - 1.5)].mean() > 240


def grid(flat: FaceMap) -> Array:
    tall, wide = flat.face.shape
    x, y = np.meshgrid(np.arange(wide, dtype=np.float64), np.arange(tall, dtype=np.float64))
    return flat.to_mm(x.ravel(), y.ravel())


def test_many_pits_are_measured_as_one_by_one() -> None:
    plane = drawn_plane(tilt_deg=10.0)
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    circle = np.column_stack([np.cos(turn), np.sin(turn)])
    rims = [plane.to_px(np.array([30.0, 5.0]) + circle), plane.to_px(np.array([40.0, 5.0]) + 2 * circle)]
    assert measure_pits(rims, plane, [0.7, 1.0]) == [measure_pit(rims[0], plane, 0.7), measure_pit(rims[1], plane, 1.0)]
    assert measure_pits([], plane, []) == []


@pytest.mark.parametrize("tilt_deg", [0.0, 20.0])
def test_the_map_is_the_photo_looked_up_through_the_plane(tilt_deg: float) -> None:
    plane = drawn_plane(tilt_deg=tilt_deg)
    gray, face = marked(plane)
    flat = face_map(gray, plane, face, ())
    px = plane.to_px(grid(flat))
    exact = map_coordinates(gray.astype(np.float64), px[:, ::-1].T, order=1, mode="nearest").reshape(flat.tone.shape)
    tone = (np.log(exact + 8.0) - LOG_FROM) / TONE
    off = np.abs(flat.tone - tone)[flat.face > 0]
    assert np.median(off) < 0.6 and np.percentile(off, 99) < 2.0, "in bytes; a whole one is what rounding makes"


def test_what_is_not_looked_at_has_the_median_tone() -> None:
    plane = drawn_plane()
    gray, face = marked(plane)
    flat = face_map(gray, plane, face, ())
    (tone,) = np.unique(flat.tone[flat.face == 0])
    assert abs(float(tone) - float(np.median(flat.tone[flat.face > 0]))) <= 1


@pytest.mark.parametrize("shape", [(8, 8), (13, 11), (1, 5)])
def test_set_cells_are_numpy_s(shape: tuple[int, int]) -> None:
    mask = (np.random.default_rng(3).random(shape) < 0.2).astype(np.uint8) * 255
    for ours, theirs in zip(set_cells(mask), np.nonzero(mask), strict=True):
        np.testing.assert_array_equal(ours, theirs)
