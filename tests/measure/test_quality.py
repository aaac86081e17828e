"""Gates: each closes on the photo it is for, and on a good photo none does."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.measure.drawn_board import STANDARD, Look, draw, plane_of
from wearvision.measure.plane import Plane
from wearvision.measure.pose import from_stated_scale, solve
from wearvision.measure.quality import CORNERS_LEAST, gates
from wearvision.measure.retake import Retake
from wearvision.measure.scale import Sighting, find_boards
from wearvision.quantity import Unmeasured
from wearvision.scenes.coverage import project
from wearvision.stated import Stated

LOOK = Look(size_px=(1400, 1000), square_px=56.0, shift_px=(-400.0, 0.0))
FACE = np.array([[800.0, 200], [1300, 200], [1300, 800], [800, 800]])
LIMIT_MM = 1.6
STATED = Stated()


def found(gray: np.ndarray) -> tuple[Sighting | None, Plane | Unmeasured]:
    seen = find_boards(gray, [STANDARD])
    return (seen[0] if seen else None), solve(seen, size_px=(gray.shape[1], gray.shape[0]))


def asked(gray: np.ndarray, *, limit_mm: float = LIMIT_MM, face_px: np.ndarray | None = FACE) -> list[str]:
    sighting, plane = found(gray)
    closed = gates(gray, sighting, plane, STATED, face_px=face_px, limit_mm=limit_mm)
    for gate in closed:
        assert isinstance(gate, Retake)
        assert gate.say.endswith(".")
        assert gate.say.count(".") <= 3, "one sentence; decimals may add points"
        assert "\n" not in gate.say
    return [gate.code for gate in closed]


@pytest.mark.parametrize(
    "look",
    [LOOK, replace(LOOK, tilt_deg=30.0), replace(LOOK, k1=-0.05), replace(LOOK, square_px=90.0, shift_px=(0, 0))],
    ids=["usual", "tilted 30", "barrel lens", "near"],
)
@pytest.mark.parametrize(("blur_px", "noise"), [(0.6, 2.0), (1.3, 5.0)])
def test_a_good_photo_passes(look: Look, blur_px: float, noise: float) -> None:
    assert asked(draw(STANDARD, look, blur_px=blur_px, noise=noise)) == []


def test_no_card() -> None:
    assert asked(np.full((900, 1200), 120, dtype=np.uint8)) == ["no-card"]


def test_a_stated_scale_needs_no_card() -> None:
    gray = np.full((900, 1200), 120, dtype=np.uint8)
    plane = from_stated_scale(0.1, (1200, 900))
    assert gates(gray, None, plane, STATED, face_px=None, limit_mm=LIMIT_MM) == ()


def test_few_corners() -> None:
    """All but one column of squares and its markers is covered."""
    sighting, plane = found(draw(STANDARD, LOOK))
    assert sighting is not None
    keep = sighting.corners_mm[:, 0] > 92.0
    few = replace(
        sighting, **{n: getattr(sighting, n)[keep] for n in ("corners_px", "corners_mm", "ids", "sigma_rel", "pull")}
    )
    assert 0 < len(few.corners_px) < CORNERS_LEAST
    gray = draw(STANDARD, LOOK)
    assert "few-corners" in [g.code for g in gates(gray, few, plane, STATED, limit_mm=LIMIT_MM)]


def test_tilt() -> None:
    assert asked(draw(STANDARD, replace(LOOK, tilt_deg=42.0))) == ["tilt"]
    sighting, plane = found(draw(STANDARD, replace(LOOK, tilt_deg=42.0)))
    (gate,) = gates(draw(STANDARD, LOOK), sighting, plane, STATED, limit_mm=LIMIT_MM)
    assert "42 degrees" in gate.say
    assert "35 degrees" in gate.say


def test_too_far_tells_how_much_closer() -> None:
    gray = draw(STANDARD, replace(LOOK, square_px=37.0, tilt_deg=0.0), blur_px=0.5)
    sighting, plane = found(gray)
    (gate,) = gates(gray, sighting, plane, STATED, limit_mm=0.8)
    assert gate.code == "too-far"
    assert "0.41 mm per pixel" in gate.say and "needs 0.26" in gate.say
    assert "1.6 times closer" in gate.say


def test_blur_is_held_against_the_limit() -> None:
    soft = draw(STANDARD, replace(LOOK, square_px=80.0, shift_px=(0, 0)), blur_px=2.4)
    assert asked(soft, limit_mm=0.8) == ["blur"]
    assert asked(soft, limit_mm=3.2) == []


def test_blur_of_a_shaken_hand_along_one_direction_counts() -> None:
    gray = draw(STANDARD, replace(LOOK, square_px=90.0, shift_px=(0, 0), roll_deg=0.0), blur_px=0.5)
    shaken = cv2.blur(gray, (9, 1))
    assert asked(gray, limit_mm=1.0) == []
    assert asked(shaken, limit_mm=1.0) == ["blur"]


def test_glare_on_the_card() -> None:
    gray = draw(STANDARD, LOOK)
    cv2.circle(gray, (300, 500), 130, 255, -1)
    assert asked(gray) == ["glare-card"]


@pytest.mark.parametrize("as_mask", [False, True])
def test_glare_on_the_face(as_mask: bool) -> None:
    gray = draw(STANDARD, LOOK)
    face: np.ndarray = FACE
    if as_mask:
        face = np.zeros(gray.shape, dtype=np.uint8)
        face[200:800, 800:1300] = 1
    cv2.circle(gray, (1000, 500), 60, 255, -1)
    assert asked(gray, face_px=face) == []
    cv2.circle(gray, (1000, 500), 150, 255, -1)
    assert asked(gray, face_px=face) == ["glare-face"]


def test_dark() -> None:
    assert asked(draw(STANDARD, LOOK, black=6, white=45, ground=20, noise=1.0)) == ["dark"]
    assert asked(np.full((900, 1200), 12, dtype=np.uint8), face_px=None) == ["no-card", "dark"]


def bent(sighting: Sighting, plane: Plane, bow_mm: float) -> Sighting:
    """The same card bowed along its length, its middle raised."""
    theta, mm = plane.theta, sighting.corners_mm
    lift = bow_mm * (1 - (mm[:, 0] / 52.5 - 1) ** 2)
    shift = project(theta, mm, lift) - project(theta, mm)
    return replace(sighting, corners_px=sighting.corners_px + shift)


@pytest.mark.parametrize(("bow_mm", "codes"), [(0.05, []), (0.7, ["card-off-plane"]), (3.0, ["card-off-plane"])])
def test_a_bent_card_is_suspected(bow_mm: float, codes: list[str]) -> None:
    look = replace(LOOK, size_px=(2800, 2000), square_px=110.0, tilt_deg=20.0, shift_px=(-500.0, 0.0))
    gray = draw(STANDARD, look)
    sighting, _ = found(gray)
    assert sighting is not None
    bowed = bent(sighting, plane_of(STANDARD, look), bow_mm)
    plane = solve([bowed], size_px=look.size_px, focal35_mm=0.8 * 36.0)
    assert [g.code for g in gates(gray, bowed, plane, STATED, limit_mm=LIMIT_MM)] == codes


def test_a_focal_length_far_from_the_cameras_is_suspected() -> None:
    look = replace(LOOK, tilt_deg=32.0, square_px=110.0, shift_px=(-200.0, 0.0))
    gray = draw(STANDARD, look, blur_px=0.6)
    seen = find_boards(gray, [STANDARD])
    real = 0.8 * 36.0
    for focal35, codes in ((real, []), (1.5 * real, ["card-off-plane"])):
        plane = solve(seen, size_px=look.size_px, focal35_mm=focal35)
        closed = gates(gray, seen[0], plane, STATED, limit_mm=LIMIT_MM, focal35_mm=focal35)
        assert [g.code for g in closed if g.code != "tilt"] == codes


def test_cut_off_is_the_callers_word() -> None:
    gray = draw(STANDARD, LOOK)
    sighting, plane = found(gray)
    (gate,) = gates(gray, sighting, plane, STATED, limit_mm=LIMIT_MM, cut_off=True)
    assert gate.code == "cut-off"


def test_the_drawn_card_lies_where_the_tests_think() -> None:
    outline = plane_of(STANDARD, LOOK).to_px(STANDARD.outline_mm())
    assert outline.min() > 0
    assert outline[:, 0].max() < 800
