"""Marks by a person: parsing, and the same figures as the finder's own."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.measure.face_kit import STATED, DrawnGroove, draw_face, drawn_plane
from wearvision.errors import BadInput
from wearvision.finding import Finding
from wearvision.measure.face import Face, find_face
from wearvision.measure.finders.groove import find_grooves, to_finding
from wearvision.measure.marks import Mark, apply_marks, measure_outline
from wearvision.measure.plane import Plane
from wearvision.measure.unwrap import ring_points
from wearvision.quantity import Measured, Unmeasured

GROOVE = DrawnGroove(radius_mm=35.0, width_mm=3.0, start_deg=30.0, arc_deg=120.0, depth_mm=0.9)
SQUARE = [[10.0, 10], [20, 10], [20, 20]]


@pytest.fixture(scope="module")
def scene() -> tuple[Plane, Face, Finding]:
    plane = drawn_plane()
    image = draw_face(plane, grooves=(GROOVE,))
    face = find_face(image, plane, STATED)
    assert isinstance(face, Face)
    tracks, strip = find_grooves(image, plane, face)
    return plane, face, to_finding(tracks[0], "G1", plane, face, strip.px_mm)


def capsule_px(plane: Plane, groove: DrawnGroove, count: int = 60) -> np.ndarray:
    """Outline of a groove as a careful person would draw it."""
    half, cap = groove.width_mm / 2, math.degrees(groove.width_mm / 2 / groove.radius_mm)
    deg = np.linspace(groove.start_deg + cap, groove.start_deg + groove.arc_deg - cap, count)
    turn = np.linspace(0, np.pi, 9)[1:-1]
    centre = np.array([3.0, -2.0])
    ends = [
        ring_points(centre, at + ahead * np.sin(turn) * cap, groove.radius_mm - np.cos(turn) * half)
        for at, ahead in ((deg[-1], 1), (deg[0], -1))
    ]
    inner, outer = (ring_points(centre, deg, groove.radius_mm + s * half) for s in (-1, 1))
    return plane.to_px(np.vstack([inner, ends[0], outer[::-1], ends[1][::-1]]))


def test_an_outline_gives_the_drawn_figures(scene: tuple[Plane, Face, Finding]) -> None:
    plane, face, _ = scene
    found = measure_outline("groove", capsule_px(plane, GROOVE), plane, face)
    told = {k: q.value for k, q in found.items() if isinstance(q, Measured)}
    assert told["width"] == pytest.approx(3.0, abs=0.1)
    assert told["radius"] == pytest.approx(35.0, abs=0.1)
    assert told["arc"] == pytest.approx(120.0, abs=1.5)
    assert told["area"] == pytest.approx(math.radians(120) * 35 * 3 - (4 - math.pi) / 4 * 9, rel=0.03)


def test_an_outline_all_round(scene: tuple[Plane, Face, Finding]) -> None:
    plane, face, _ = scene
    inner, outer = (face.circle_px(plane, r, 180) for r in (40.0, 42.0))
    ring = np.vstack([inner, inner[:1], outer[:1], outer[::-1]])
    found = measure_outline("groove", ring, plane, face)
    assert isinstance(found["arc"], Measured)
    assert found["arc"].value == pytest.approx(360, abs=2)
    assert isinstance(found["width"], Measured)
    assert found["width"].value == pytest.approx(2.0, abs=0.1)


def test_without_a_face_a_groove_has_width_and_area_only(scene: tuple[Plane, Face, Finding]) -> None:
    plane, _, _ = scene
    found = measure_outline("groove", capsule_px(plane, GROOVE), plane, None)
    assert isinstance(found["width"], Measured)
    assert found["width"].value == pytest.approx(3.0, abs=0.2)
    assert isinstance(found["radius"], Unmeasured)
    assert isinstance(found["arc"], Unmeasured)


def test_the_finder_outlines_what_it_measures(scene: tuple[Plane, Face, Finding]) -> None:
    plane, face, finding = scene
    again = measure_outline("groove", finding.outline_px, plane, face)
    for name in ("width", "radius", "arc", "area"):
        one, two = finding.quantities[name], again[name]
        assert isinstance(one, Measured)
        assert isinstance(two, Measured)
        assert one.value == pytest.approx(two.value, rel=0.04)


def test_add_reshape_strike(scene: tuple[Plane, Face, Finding]) -> None:
    plane, face, finding = scene
    polygon = capsule_px(plane, GROOVE)
    marks = [
        Mark(action="add", by="A. Fitter", kind="groove", polygon_px=polygon),
        Mark(action="reshape", by="B. Fitter", target="G1", polygon_px=polygon),
        Mark(action="strike", by="C. Fitter", target="G2", reason="drawn twice"),
        Mark(action="add", by="A. Fitter", kind="pit", polygon_px=np.array(SQUARE)),
    ]
    out = apply_marks([finding], marks, plane, face)
    assert [(f.id, f.by, f.flags, f.struck) for f in out] == [
        ("G1", "B. Fitter", ("reshaped",), ""),
        ("G2", "C. Fitter", ("marked",), "drawn twice"),
        ("P1", "A. Fitter", ("marked",), ""),
    ]
    assert "depth" in out[0].sealed
    assert len(out[0].places_px) == 3
    assert len(out[2].places_px) == 1


@pytest.mark.parametrize(
    ("data", "word"),
    [
        ({"action": "erase", "by": "A"}, "action"),
        ({"action": "add", "kind": "groove", "polygon_px": SQUARE}, "name"),
        ({"action": "add", "kind": "crack", "polygon_px": SQUARE, "by": "A"}, "kind"),
        ({"action": "add", "kind": "dent", "polygon_px": SQUARE, "by": "A"}, "kind"),
        ({"action": "add", "kind": "pit", "polygon_px": SQUARE[:2], "by": "A"}, "polygon"),
        ({"action": "add", "kind": "pit", "polygon_px": "abc", "by": "A"}, "pairs"),
        ({"action": "add", "kind": "pit", "polygon_px": [[1, 2, 3]], "by": "A"}, "pairs"),
        ({"action": "strike", "target": "G1", "by": "A"}, "reason"),
        ({"action": "strike", "reason": "x", "by": "A"}, "target"),
        ({"action": "reshape", "target": "G1", "by": 3}, "text"),
        ({"action": "strike", "target": "G1", "by": "A", "reason": "x", "colour": "red"}, "field"),
    ],
)
def test_bad_marks_say_what_is_wrong(data: dict[str, object], word: str) -> None:
    with pytest.raises(BadInput, match=word):
        Mark.from_json(data)


def test_marks_parse_and_name_what_is_there(scene: tuple[Plane, Face, Finding]) -> None:
    plane, face, finding = scene
    mark = Mark.from_json({"action": "strike", "target": "G7", "by": "A", "reason": "tool mark"})
    with pytest.raises(BadInput, match="G1"):
        apply_marks([finding], [mark], plane, face)
