"""Marks by a person: parsing, and the same figures as the finder's own."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.measure.face_kit import STATED, DrawnGroove, draw_face, drawn_plane
from tests.measure.spot_kit import spot
from wearvision.errors import BadInput, NeedsPerson
from wearvision.finding import Finding
from wearvision.measure.by_outline import measure_outline
from wearvision.measure.face import Face, find_face
from wearvision.measure.finders.groove import find_grooves, to_finding
from wearvision.measure.mark import Mark
from wearvision.measure.marks import apply_marks
from wearvision.measure.plane import Plane
from wearvision.measure.snap import grown
from wearvision.measure.unwrap import ring_points
from wearvision.quantity import Measured, Unmeasured

GROOVE = DrawnGroove(radius_mm=35.0, width_mm=3.0, start_deg=30.0, arc_deg=120.0, depth_mm=0.9)
SQUARE = [[10.0, 10], [20, 10], [20, 20]]
BOX = [140.0, 110, 215, 190]


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
        ({"action": "add", "kind": "crack", "polygon_px": SQUARE, "by": "A"}, "not marked by"),
        ({"action": "add", "kind": "vane", "polygon_px": SQUARE, "by": "A"}, "kind"),
        ({"action": "add", "kind": "crack", "taps_px": [[3, 4]], "by": "A"}, "2 taps"),
        ({"action": "add", "kind": "washout", "taps_px": [[3, 4], [9, 9]], "by": "A"}, "3 taps"),
        ({"action": "add", "kind": "rub", "box_px": BOX, "by": "A"}, "not marked by"),
        ({"action": "add", "kind": "dent", "polygon_px": SQUARE, "by": "A"}, "kind"),
        ({"action": "add", "kind": "pit", "polygon_px": SQUARE[:2], "by": "A"}, "polygon"),
        ({"action": "add", "kind": "pit", "polygon_px": "abc", "by": "A"}, "pairs"),
        ({"action": "add", "kind": "pit", "polygon_px": [[1, 2, 3]], "by": "A"}, "pairs"),
        ({"action": "add", "kind": "pit", "by": "A"}, "polygon"),
        ({"action": "add", "kind": "pit", "by": "A", "box_px": BOX, "taps_px": SQUARE}, "one place"),
        ({"action": "add", "kind": "pit", "by": "A", "box_px": BOX, "polygon_px": SQUARE}, "one place"),
        ({"action": "add", "kind": "groove", "by": "A", "box_px": BOX}, "not marked by"),
        ({"action": "add", "kind": "groove", "by": "A", "taps_px": SQUARE}, "not marked by"),
        ({"action": "add", "kind": "pit", "by": "A", "box_px": BOX[:3]}, "x0, y0, x1, y1"),
        ({"action": "add", "kind": "pit", "by": "A", "box_px": ["a", 1, 2, 3]}, "x0, y0, x1, y1"),
        ({"action": "add", "kind": "pit", "by": "A", "box_px": [20, 20, 20, 50]}, "not a box"),
        ({"action": "add", "kind": "pit", "by": "A", "box_px": [20, 20, float("nan"), 50]}, "not a box"),
        ({"action": "add", "kind": "pit", "by": "A", "taps_px": [3, 4]}, "taps"),
        ({"action": "add", "kind": "pit", "by": "A", "taps_px": [[3, float("inf")]]}, "taps"),
        ({"action": "strike", "target": "G1", "by": "A"}, "reason"),
        ({"action": "strike", "reason": "x", "by": "A"}, "target"),
        ({"action": "reshape", "target": "G1", "by": 3}, "text"),
        ({"action": "strike", "target": "G1", "by": "A", "reason": "x", "colour": "red"}, "field"),
    ],
)
def test_bad_marks_say_what_is_wrong(data: dict[str, object], word: str) -> None:
    with pytest.raises(BadInput, match=word):
        Mark.from_json(data)


def test_a_box_or_taps_are_snapped_and_measured(scene: tuple[Plane, Face, Finding]) -> None:
    drawn, plane = spot(2), drawn_plane(mm_per_px=0.1)
    true = 2 * math.sqrt(float(drawn.inside.sum()) / math.pi) * 0.1
    marks = [
        Mark.from_json({"action": "add", "kind": "pit", "by": "A", "box_px": grown(tuple(drawn.box), 0.05)}),
        Mark.from_json({"action": "add", "kind": "pit", "by": "A", "taps_px": [list(drawn.middle)]}),
        Mark.from_json({"action": "reshape", "target": "P2", "by": "B", "box_px": grown(tuple(drawn.box), 0.1)}),
    ]
    for found, flags in zip(
        apply_marks([], marks, plane, None, drawn.gray),
        (("marked", "snapped"), ("reshaped", "snapped")),
        strict=True,
    ):
        assert found.flags == flags
        diameter = found.quantities["diameter"]
        assert isinstance(diameter, Measured)
        assert diameter.value == pytest.approx(true, rel=0.1)
        assert diameter.u > 0.02 * true  # by how far the outline may move, not by a hand's tremor alone
        assert abs(diameter.value - true) < 1.96 * diameter.u
        column, row = np.rint(found.places_px[0]).astype(int)
        assert drawn.inside[row, column]


def test_where_nothing_stands_out_the_ellipse_is_named_and_taps_ask_back() -> None:
    flat, plane = np.full((300, 360), 120, dtype=np.uint8), drawn_plane(mm_per_px=0.1)
    mark = Mark(action="add", by="A", kind="pit", box_px=np.array(BOX))
    (found,) = apply_marks([], [mark], plane, None, flat)
    assert found.flags == ("marked", "not-snapped")
    diameter = found.quantities["diameter"]
    assert isinstance(diameter, Measured)
    assert diameter.value == pytest.approx(0.1 * math.sqrt(75 * 80), rel=0.01)
    assert diameter.u > 0.15 * diameter.value
    tap = Mark(action="add", by="A", kind="pit", taps_px=np.array([[100.0, 100]]))
    with pytest.raises(NeedsPerson, match="nothing stands out"):
        apply_marks([], [tap], plane, None, flat)


def test_a_box_asks_for_the_picture_and_for_a_pit(scene: tuple[Plane, Face, Finding]) -> None:
    plane, face, finding = scene
    gray = np.zeros((600, 800), dtype=np.uint8)
    reshape = Mark(action="reshape", by="A", target="G1", box_px=np.array(BOX))
    with pytest.raises(BadInput, match="not marked by"):
        apply_marks([finding], [reshape], plane, face, gray)
    add = Mark(action="add", by="A", kind="pit", box_px=np.array(BOX))
    with pytest.raises(BadInput, match="picture"):
        apply_marks([], [add], plane, face)
    away = Mark(action="add", by="A", kind="pit", box_px=np.array(BOX) + 5000)
    with pytest.raises(BadInput, match="outside"):
        apply_marks([], [away], plane, face, gray)


def test_marks_parse_and_name_what_is_there(scene: tuple[Plane, Face, Finding]) -> None:
    plane, face, finding = scene
    mark = Mark.from_json({"action": "strike", "target": "G7", "by": "A", "reason": "tool mark"})
    with pytest.raises(BadInput, match="G1"):
        apply_marks([finding], [mark], plane, face)
