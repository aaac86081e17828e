"""Finding boards: drawn photos whose corners are known."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.measure.drawn_board import STANDARD, Look, draw, plane_of
from wearvision.errors import BadInput
from wearvision.measure.board import BoardSpec, card
from wearvision.measure.scale import Sighting, default_specs, find_boards

FACING = Look(size_px=(900, 700), square_px=56.0)
THREE = BoardSpec(
    name="three", dictionary="DICT_5X5_100", squares_x=3, squares_y=3, square_mm=25.0, marker_mm=18.75, first_id=4
)  # fmt: skip


def only(gray: np.ndarray, spec: BoardSpec = STANDARD) -> Sighting:
    found = find_boards(gray, [spec])
    assert len(found) == 1
    return found[0]


def off(sighting: Sighting, spec: BoardSpec, look: Look) -> np.ndarray:
    return sighting.corners_px - plane_of(spec, look).to_px(sighting.corners_mm)


@pytest.mark.parametrize(
    ("look", "blur_px"),
    [
        (FACING, 0.8),
        (Look(size_px=(900, 700), square_px=36.0), 0.8),
        (Look(size_px=(1000, 800), square_px=90.0, tilt_deg=0.0), 2.0),
        (Look(size_px=(900, 700), square_px=56.0, tilt_deg=45.0, roll_deg=190.0), 0.8),
        (Look(size_px=(900, 700), square_px=56.0, k1=-0.05, shift_px=(60.0, 40.0)), 0.8),
    ],
    ids=["usual", "25 px markers", "soft", "tilted, upside down", "barrel lens"],
)
def test_corners_lie_where_they_were_drawn(look: Look, blur_px: float) -> None:
    """No half-pixel step (opencv #25539), scatter below 0.1 px."""
    sighting = only(draw(STANDARD, look, blur_px=blur_px))
    inner = off(sighting, STANDARD, look)[: sighting.inner_count]
    assert sighting.inner_count == 24
    assert np.abs(inner.mean(axis=0)).max() < 0.03
    assert np.sqrt(np.mean(inner**2)) < 0.08
    assert np.abs(inner).max() < 0.2


def test_marker_corners_scatter_like_chessboard_corners_but_for_one_shift() -> None:
    sighting = only(draw(STANDARD, FACING))
    n = sighting.inner_count
    rim = n + 4 * 17
    assert (n, len(sighting.corners_px)) == (24, rim + 24)
    for group in (slice(n, rim), slice(rim, None)):
        error, pull = off(sighting, STANDARD, FACING)[group], sighting.pull[group]
        shift = float(np.mean(np.sum(error * pull, axis=1)))
        rest = error - shift * pull
        assert abs(shift) < 0.2
        assert np.sqrt(np.mean(rest**2)) < 0.06


def test_a_fresh_photo_of_each_card_is_told_apart() -> None:
    for number in range(5):
        spec = card(number)
        assert [s.spec.card for s in find_boards(draw(spec, FACING), default_specs())] == [number]


def test_two_boards_in_one_photo() -> None:
    left = Look(size_px=(1300, 600), square_px=50.0, shift_px=(-330.0, 0.0))
    right = Look(size_px=(1300, 600), square_px=50.0, shift_px=(330.0, 0.0), roll_deg=70.0)
    both = np.hstack([draw(card(1), left)[:, :650], draw(card(3), right)[:, 650:]])
    assert {s.spec.card for s in find_boards(both, default_specs())} == {1, 3}


def test_a_board_of_three_squares_brings_its_marker_corners() -> None:
    look = Look(size_px=(700, 600), square_px=100.0)
    sighting = only(draw(THREE, look), THREE)
    assert (sighting.inner_count, len(sighting.corners_px)) == (4, 32)
    assert np.abs(off(sighting, THREE, look)[:4]).max() < 0.1


def test_a_board_running_out_of_the_photo_keeps_what_is_seen() -> None:
    look = Look(size_px=(900, 700), square_px=56.0, shift_px=(380.0, 0.0))
    sighting = only(draw(STANDARD, look))
    assert 0.2 < sighting.in_view_share < 0.8
    assert sighting.inner_count <= 24 * sighting.in_view_share
    assert np.abs(off(sighting, STANDARD, look)[: sighting.inner_count]).max() < 0.2


def test_a_covered_part_is_left_out() -> None:
    gray = draw(STANDARD, FACING)
    gray[:, :400] = 128
    sighting = only(gray)
    assert 4 <= sighting.inner_count < 24
    assert np.abs(off(sighting, STANDARD, FACING)[: sighting.inner_count]).max() < 0.2


def test_glare_is_counted_and_its_corners_dropped() -> None:
    gray = draw(STANDARD, FACING)
    spot = np.zeros(gray.shape, dtype=np.float32)
    cv2.circle(spot, (560, 330), 110, 400.0, -1)
    washed = np.clip(gray + cv2.GaussianBlur(spot, (0, 0), 12), 0, 255).astype(np.uint8)
    sighting = only(washed)
    assert 0.1 < sighting.glare_share < 0.6
    assert sighting.inner_count < 24
    assert np.median(np.abs(off(sighting, STANDARD, FACING))) < 0.2
    assert only(gray).glare_share == 0.0


@pytest.mark.parametrize("blur_px", [0.5, 0.8, 1.2])
def test_edge_width_is_the_blur(blur_px: float) -> None:
    """The drawn blur (as sampled on pixels) and the square pixel (variance 1/12) together, within 6 %."""
    weights = cv2.getGaussianKernel(15, blur_px).ravel()
    variance = float(weights @ np.arange(-7, 8) ** 2)
    look = Look(size_px=(1300, 1000), square_px=100.0)
    sigma = only(draw(STANDARD, look, blur_px=blur_px)).edge_sigma_px
    assert sigma == pytest.approx(np.sqrt(variance + 1 / 12), rel=0.06)


def test_edge_width_of_a_narrow_tilted_card_is_not_that_of_its_markers() -> None:
    look = Look(size_px=(900, 700), square_px=45.0, tilt_deg=40.0)
    assert only(draw(STANDARD, look)).edge_sigma_px < 1.1


def test_tones_are_those_drawn() -> None:
    sighting = only(draw(STANDARD, FACING, black=50, white=180))
    assert sighting.black == pytest.approx(50, abs=2)
    assert sighting.white == pytest.approx(180, abs=2)


@pytest.mark.parametrize("tilt_deg", [60.0, 70.0, 80.0])
@pytest.mark.parametrize("shift_px", [0.0, 300.0, 420.0])
def test_hard_photos_never_crash(tilt_deg: float, shift_px: float) -> None:
    look = Look(size_px=(900, 700), square_px=56.0, tilt_deg=tilt_deg, shift_px=(shift_px, shift_px))
    for sighting in find_boards(draw(STANDARD, look), default_specs()):
        assert np.all(np.isfinite(sighting.corners_px))


@pytest.mark.parametrize("shape", [(1, 1), (3, 500), (240, 320), (1001, 777)])
def test_photos_without_a_card(shape: tuple[int, int]) -> None:
    noise = np.random.default_rng(2).integers(0, 256, shape, dtype=np.uint8)
    for gray in (noise, np.zeros(shape, dtype=np.uint8), np.full(shape, 255, dtype=np.uint8)):
        assert find_boards(gray, default_specs()) == []


def test_two_markers_are_not_enough() -> None:
    gray = draw(STANDARD, FACING)
    corners = plane_of(STANDARD, FACING).to_px(STANDARD.marker_corners_mm()[2:].reshape(-1, 2))
    for quad in corners.reshape(-1, 4, 2):
        cv2.fillConvexPoly(gray, np.rint(quad).astype(np.int32), 200)
    assert find_boards(gray, [STANDARD]) == []


def test_a_mirrored_card_is_not_a_card() -> None:
    assert find_boards(np.ascontiguousarray(draw(STANDARD, FACING)[:, ::-1]), default_specs()) == []


def test_bad_calls_say_so() -> None:
    gray = np.zeros((20, 20), dtype=np.uint8)
    with pytest.raises(BadInput, match="gray 8-bit"):
        find_boards(np.zeros((20, 20, 3), dtype=np.uint8), default_specs())
    with pytest.raises(BadInput, match="share marker ids"):
        find_boards(gray, [card(0), card(0, "small")])
    with pytest.raises(BadInput, match="unknown ArUco dictionary"):
        find_boards(gray, [BoardSpec(
            name="x", dictionary="DICT_9X9", squares_x=3, squares_y=3, square_mm=2, marker_mm=1
        )])  # fmt: skip
