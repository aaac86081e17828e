"""One photo in, a survey out: a drawn face with a drawn card beside it."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.measure.face_kit import STATED, DrawnGroove, draw_face, drawn_plane
from wearvision.errors import BadInput
from wearvision.measure.board import card
from wearvision.measure.mark import Mark
from wearvision.measure.plane import Plane
from wearvision.measure.survey import Survey, survey
from wearvision.quantity import Measured, Unmeasured
from wearvision.stated import Stated

SIZE_PX = (1500, 900)
GROOVE = DrawnGroove(radius_mm=36.0, width_mm=3.0, start_deg=200.0, arc_deg=120.0, depth_mm=0.9)
F35 = 1.1 * 36.0


def with_card(image: NDArray[np.uint8], plane: Plane, at_mm: tuple[float, float]) -> NDArray[np.uint8]:
    """The standard card laid on the plane, its first corner at a place."""
    spec = card(0)
    scale = 20
    board = cv2.aruco.CharucoBoard(
        (spec.squares_x, spec.squares_y), spec.square_mm, spec.marker_mm,
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100), np.arange(17),
    )  # fmt: skip
    width, height = (round(s * scale) for s in spec.size_mm)
    sheet = board.generateImage((width, height))
    sheet = cv2.copyMakeBorder(sheet, 5 * scale, 5 * scale, 5 * scale, 5 * scale, cv2.BORDER_CONSTANT, value=255)
    place = np.array([[1 / scale, 0, at_mm[0] - 5], [0, 1 / scale, at_mm[1] - 5], [0, 0, 1]])
    shift = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    warp = plane.homography @ place @ shift
    fine = np.diag([4.0, 4.0, 1.0])
    quarter = np.array([[1, 0, 1.5], [0, 1, 1.5], [0, 0, 1.0]])
    size = (4 * plane.size_px[0], 4 * plane.size_px[1])
    paint, mask = (
        cv2.resize(cv2.warpPerspective(s, quarter @ fine @ warp, size), plane.size_px, interpolation=cv2.INTER_AREA)
        for s in (np.where(sheet > 127, 205, 40).astype(np.uint8), np.full_like(sheet, 255))
    )
    share = mask / 255.0
    return np.rint(image * (1 - share) + cv2.GaussianBlur(paint, (0, 0), 0.7) * share).astype(np.uint8)


@cache
def photo(*, groove: bool = True, shown: bool = True) -> NDArray[np.uint8]:
    plane = drawn_plane(tilt_deg=6.0, mm_per_px=0.16, size_px=SIZE_PX)
    image = draw_face(plane, centre_mm=(-50.0, 3.0), grooves=(GROOVE,) if groove else ())
    return with_card(image, plane, (9.0, -40.0)) if shown else image


@cache
def surveyed() -> Survey:
    return survey(photo(), STATED, focal35_mm=F35)


def test_scale_face_and_groove_in_one_call() -> None:
    found = surveyed()
    assert isinstance(found.plane, Plane)
    assert found.usable, found.retake
    assert isinstance(found.mm_per_px, Measured)
    assert found.mm_per_px.value == pytest.approx(0.16, rel=0.02)
    [groove] = found.findings
    for name, true in (("width", 3.0), ("radius", 36.0), ("arc", 120.0)):
        quantity = groove.quantities[name]
        assert isinstance(quantity, Measured)
        assert quantity.value == pytest.approx(true, abs=1.5 * quantity.u95 + 0.1)
        assert {"corner", "print", "height", "lens"} <= set(quantity.budget)
    area = found.summary["face_area"]
    assert isinstance(area, Measured)
    assert area.value == pytest.approx(np.pi * (55**2 - 22**2), rel=0.02)


def test_the_survey_carries_what_an_overlay_needs() -> None:
    found = surveyed()
    assert len(found.circles_px) == 2
    assert found.card_px is not None and found.card_px.shape == (4, 2)
    assert found.at_px is not None
    outer, inner = (np.ptp(ring[:, 0]) for ring in found.circles_px)
    assert outer > inner
    assert found.face is not None


def test_what_was_not_looked_at_is_said() -> None:
    what = [w for w, _ in surveyed().not_assessed]
    assert {"cracks", "depth", "pits"} <= set(what)
    other = survey(photo(), Stated(view="bore"), focal35_mm=F35)
    assert any(w == "bore" and "gauge" in why for w, why in other.not_assessed)
    assert other.findings == ()
    unsaid = survey(photo(), Stated(), focal35_mm=F35)
    assert unsaid.not_assessed[0][0] == "everything"


def test_without_a_card_the_photo_is_to_be_retaken() -> None:
    found = survey(photo(shown=False), STATED)
    assert [r.code for r in found.retake] == ["no-card"]
    assert isinstance(found.plane, Unmeasured)
    assert found.findings == ()
    assert found.summary == {}


def test_a_stated_scale_is_a_last_resort() -> None:
    stated = Stated(view="wear-face", nominal=STATED.nominal, mm_per_px=0.16)
    found = survey(photo(shown=False), stated)
    assert isinstance(found.plane, Plane)
    assert found.plane.source == "stated"
    width = found.findings[0].quantities["width"]
    sure = surveyed().findings[0].quantities["width"]
    assert isinstance(width, Measured)
    assert isinstance(sure, Measured)
    assert width.budget["stated"] > max(sure.budget[k] for k in ("corner", "print", "height", "lens"))


def test_marks_change_the_record_and_the_sum() -> None:
    strike = Mark(action="strike", by="A. Fitter", target="G1", reason="tool mark")
    found = survey(photo(), STATED, focal35_mm=F35, marks=[strike])
    assert found.findings[0].struck == "tool mark"
    count, share = found.summary["groove_count"], found.summary["groove_share"]
    assert isinstance(count, Measured)
    assert isinstance(share, Measured)
    assert (count.value, share.value) == (0, 0)
    with pytest.raises(BadInput):
        survey(photo(), STATED, marks=[Mark(action="strike", by="A", target="G9", reason="x")])


def test_a_clean_face_is_empty() -> None:
    assert survey(photo(groove=False), STATED, focal35_mm=F35).findings == ()


def test_without_stated_sizes_the_area_is_not_guessed_at() -> None:
    found = survey(photo(), Stated(view="wear-face"), focal35_mm=F35)
    assert found.face is not None
    assert not found.face.sure
    [groove] = found.findings
    assert isinstance(groove.quantities["radius"], Measured)
    assert "share" not in groove.quantities
    assert isinstance(found.summary["face_area"], Unmeasured)
