"""A rubbed area and a notch by outline: figures of shapes whose answers are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.measure.face_kit import STATED, draw_face, drawn_plane
from wearvision.measure.by_area import measure_notch, measure_rub
from wearvision.measure.face import Face, find_face
from wearvision.measure.mark import Mark
from wearvision.measure.marks import apply_marks
from wearvision.measure.unwrap import ring_points
from wearvision.quantity import Measured, Unmeasured

CENTRE = np.array([3.0, -2.0])
INNER, OUTER = 30.0, 38.0
ROUND = np.arange(0, 360, 5.0)


def sector(low: float, high: float, start: float, arc: float, count: int = 60) -> NDArray[np.float64]:
    deg = np.linspace(start, start + arc, count)
    return np.vstack([ring_points(CENTRE, deg, low), ring_points(CENTRE, deg[::-1], high)])


def value(found: object) -> float:
    assert isinstance(found, Measured)
    return found.value


@pytest.mark.parametrize("tilt_deg", [0.0, 15.0])
def test_a_notch_is_told_on_the_land_alone(tilt_deg: float) -> None:
    plane = drawn_plane(tilt_deg=tilt_deg)
    edges = tuple(plane.to_px(ring_points(CENTRE, ROUND, r)) for r in (OUTER, INNER))
    for drawn, loss, low, high in (
        (sector(28.5, 32.5, 40, 20), 2.5, INNER, 32.5),  # beyond the inner edge: only the land counts
        (sector(35.0, 39.0, 40, 20), 3.0, 35.0, OUTER),
        (sector(28.5, 39.0, 350, 20), 8.0, INNER, OUTER),  # through and through, over 0 deg
    ):
        found = measure_notch(plane.to_px(drawn), plane, edges)
        assert value(found["loss"]) == pytest.approx(loss, abs=0.01)
        assert value(found["arc"]) == pytest.approx(20, abs=0.2)
        assert value(found["area"]) == pytest.approx(math.radians(20) * (high**2 - low**2) / 2, rel=0.01)
        assert all(q.u > 0 for q in found.values() if isinstance(q, Measured))


def test_a_notch_without_land_or_off_its_edges_says_so() -> None:
    plane = drawn_plane()
    edges = tuple(plane.to_px(ring_points(CENTRE, ROUND, r)) for r in (OUTER, INNER))
    alone = measure_notch(plane.to_px(sector(28.5, 32.5, 40, 20)), plane, ())
    assert isinstance(alone["loss"], Unmeasured)
    assert value(alone["area"]) == pytest.approx(math.radians(20) * (32.5**2 - 28.5**2) / 2, rel=0.01)
    within = measure_notch(plane.to_px(sector(33, 35, 40, 20)), plane, edges)
    assert isinstance(within["loss"], Unmeasured)
    assert "neither edge" in within["loss"].reason


def test_a_shaky_hand_stays_within_the_error_bars() -> None:
    plane, dice = drawn_plane(known=True), np.random.default_rng(3)
    edges = tuple(plane.to_px(ring_points(CENTRE, ROUND, r)) for r in (OUTER, INNER))
    held = []
    for _ in range(60):
        shift = dice.normal(0, 1.0)  # what a hand draws too wide or too narrow everywhere, photo px
        drawn = sector(28.5, 32.5 + shift * 0.17, 40, 20)
        loss = measure_notch(plane.to_px(drawn), plane, edges)["loss"]
        assert isinstance(loss, Measured)
        held.append(abs(loss.value - 2.5) <= loss.u95)
    assert np.mean(held) >= 0.9


def test_a_rub_band_has_area_and_radii_on_a_face() -> None:
    plane = drawn_plane()
    face = find_face(draw_face(plane), plane, STATED)
    assert isinstance(face, Face)
    found = measure_rub(plane.to_px(sector(32, 36, 100, 90, 200)), plane, face)
    assert value(found["area"]) == pytest.approx(math.radians(90) * (36**2 - 32**2) / 2, rel=0.01)
    for name, truth in (("radius_inner", 32.0), ("radius_outer", 36.0)):
        radius = found[name]
        assert isinstance(radius, Measured)
        assert abs(radius.value - truth) < radius.u95 + 0.05


def test_a_worn_area_has_its_extent_without_a_face() -> None:
    plane, turn = drawn_plane(), math.radians(25)
    way = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    corners = np.array([[-10.0, -4], [10, -4], [10, 4], [-10, 4]]) @ way
    found = measure_rub(plane.to_px(corners), plane, None)
    assert value(found["area"]) == pytest.approx(160, rel=1e-6)
    assert (value(found["length"]), value(found["width"])) == (pytest.approx(20, abs=1e-3), pytest.approx(8, abs=1e-3))
    mark = Mark(action="add", kind="rub", by="A", polygon_px=plane.to_px(corners))
    (marked,) = apply_marks([], [mark], plane, None)
    assert (marked.id, marked.kind, marked.flags) == ("R1", "rub", ("marked",))
    assert not marked.sealed
