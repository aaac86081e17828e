"""Which stub is the vane, and what is not told of it: other things that stand about, lines that are no ends."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.measure.vane_kit import Photo, Tones, camera, draw
from wearvision.measure.finders.stub import Stub
from wearvision.measure.finders.vane_edge import find_vane_edge
from wearvision.measure.finders.vane_edge_belief import Lead, fits, front, may_be, odds
from wearvision.measure.finders.vane_edge_ends import runs_on
from wearvision.measure.finders.vane_edge_figures import NO_BAR, NO_TOP, to_findings
from wearvision.measure.finders.vane_edge_lines import Line, Lines, fine_section
from wearvision.measure.finders.vane_edge_search import Place, sizes_of
from wearvision.quantity import Measured
from wearvision.scenes.vane_profile import Section

SECTION = Section(height_mm=9.0, thickness_mm=6.5, radius_mm=(1.2, 0.6))
DARK = Tones(face=0.5, back=0.03, left=0.15, right=0.2, top=0.3, mottle=0.03)
SIZES = sizes_of(9.5, 6.5)
NO_LINE = Line(at=0.0, lean=0.0, way=1.0, z=0.0)


def stub_of(photo: Photo) -> Stub:
    stub = find_vane_edge(photo.gray, photo.plane, photo.cards_px, SIZES, blur_px=photo.blur_px)
    assert isinstance(stub, Stub)
    return stub


def lead_of(stub: Stub, behind: float = 0.0) -> Lead:
    place = Place(base_mm=stub.origin_mm, along=stub.along, up=stub.up, wide_mm=6.5, high_mm=9.0, worth=0.0)
    lines = Lines(left=NO_LINE, right=NO_LINE, top=NO_LINE, base=NO_LINE)
    return Lead(stub=stub, place=place, lines=lines, behind=behind)


@pytest.fixture(scope="module")
def plain() -> tuple[Photo, Stub]:
    photo = draw(SECTION, camera(2.0, 40.0), DARK)
    return photo, stub_of(photo)


def test_a_pale_vane_is_found_beside_black_boxes() -> None:
    """What stands out most is not what is looked for: black boxes on pale paper, one upon the other."""
    tones = Tones(face=0.34, back=0.22, left=0.15, right=0.15, top=0.15, mottle=0.02)
    photo = draw(SECTION, camera(roll_deg=2.0), tones)
    gray = photo.gray.copy()
    for x, y, wide, high in ((60, 420, 250, 200), (100, 330, 90, 90), (1180, 480, 260, 150), (1300, 380, 70, 100)):
        gray[y : y + high, x : x + wide] = 9
    photo = replace(photo, gray=cv2.GaussianBlur(gray, (0, 0), 0.7))
    stub = stub_of(photo)
    assert stub.height_mm == pytest.approx(9.0, abs=0.06)
    assert np.hypot(*stub.origin_mm) < 0.2


def test_flanks_end_where_top_and_bar_are(plain: tuple[Photo, Stub]) -> None:
    photo, stub = plain
    place = lead_of(stub).place
    section = fine_section(photo.gray, photo.plane, place)
    assert runs_on(section, stub.shape, None) == pytest.approx(stub.runs_on, abs=0.05)
    assert stub.runs_on < 0.15
    lower, higher = stub.shape.copy(), stub.shape.copy()
    lower[4] -= 3.0
    higher[8] += 3.0
    for shape in (lower, higher):
        assert runs_on(section, shape, None) > 0.7
        assert runs_on(section, shape, "left") > 0.7


def test_what_speaks_for_a_stub_and_against_it(plain: tuple[Photo, Stub]) -> None:
    stub = plain[1]
    told = odds(lead_of(stub), SIZES)
    assert told > np.log(0.9 / 0.1)
    assert odds(lead_of(stub, behind=-1.0), SIZES) < told
    assert odds(lead_of(replace(stub, runs_on=0.5)), SIZES) < told
    assert odds(lead_of(replace(stub, share=dict.fromkeys(stub.share, 0.5))), SIZES) < told
    one_sided = replace(stub, hidden="left")
    assert fits(one_sided) < fits(stub)
    lost = odds(lead_of(one_sided), SIZES) - odds(lead_of(one_sided, behind=-1.0), SIZES)
    assert lost > 1.5 * (told - odds(lead_of(stub, behind=-1.0), SIZES))


def test_a_stub_on_another_piece_or_a_step_is_none(plain: tuple[Photo, Stub]) -> None:
    stub = plain[1]
    assert may_be(stub, SIZES)
    assert not may_be(replace(stub, through=0.8), SIZES)
    step = replace(stub, share={**stub.share, "bar left": 0.1})
    assert may_be(step, SIZES)
    assert not may_be(step, sizes_of(9.5, None))
    assert not may_be(replace(step, hidden="left"), SIZES)


def test_of_two_alike_none_is_told_and_of_one_bar_the_taller(plain: tuple[Photo, Stub]) -> None:
    stub = plain[1]
    shorter = stub.shape.copy()
    shorter[4] -= 1.0
    far = stub.origin_mm + 18.0 * stub.along
    sibling = replace(stub, origin_mm=far, shape=shorter)
    elsewhere = replace(stub, origin_mm=stub.origin_mm + 30.0 * stub.up)
    assert front([lead_of(stub)], SIZES) is stub
    assert front([lead_of(stub), lead_of(stub)], SIZES) is stub
    assert front([lead_of(stub), lead_of(elsewhere)], SIZES) is None
    assert front([lead_of(stub), lead_of(elsewhere, behind=-3.0)], SIZES) is stub
    assert front([lead_of(sibling), lead_of(stub, behind=-1.0)], SIZES) is stub
    assert front([lead_of(replace(stub, runs_on=0.6, share=dict.fromkeys(stub.share, 0.3)))], SIZES) is None
    assert front([], SIZES) is None


def test_no_height_without_a_corner_or_the_bar(plain: tuple[Photo, Stub]) -> None:
    """Rust across the face joins neither flank; an edge half seen on one side may be the bar's far one."""
    photo, stub = plain
    hidden = (
        ({"corner left": 0.4, "corner right": 0.4}, NO_TOP), ({"bar left": 0.2, "bar right": 0.5}, NO_BAR),
    )  # fmt: skip
    for share, why in hidden:
        doubtful = replace(stub, share={**stub.share, **share})
        section = to_findings(doubtful, photo.plane, SIZES, 0.8, blur_px=photo.blur_px)[0]
        assert section.quantities["height"] == section.quantities["height_loss"] == why
        assert isinstance(section.quantities["thickness"], Measured)
