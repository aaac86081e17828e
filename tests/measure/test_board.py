"""Boards: geometry against OpenCV's own ChArUco class, and boards from TOML."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from wearvision.errors import BadInput
from wearvision.measure.board import BoardSpec, board_from_toml, card

THREE = BoardSpec(name="three", dictionary="DICT_5X5_100", squares_x=3, squares_y=3, square_mm=25.0, marker_mm=18.75)
TEXT = """
[board]
dictionary = "DICT_5X5_100"
squares_x = 3
squares_y = 3
square_mm = 25
marker_mm = 18.75
first_id = 4
"""


@pytest.mark.parametrize("spec", [card(0), card(4, "small"), THREE], ids=lambda s: s.name)
def test_geometry_is_that_of_opencv(spec: BoardSpec) -> None:
    ids = np.arange(spec.first_id, spec.first_id + spec.marker_count)
    board = cv2.aruco.CharucoBoard(
        (spec.squares_x, spec.squares_y), spec.square_mm, spec.marker_mm,
        cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, spec.dictionary)), ids,
    )  # fmt: skip
    inner = np.asarray(board.getChessboardCorners()).reshape(-1, 3)[:, :2]
    markers = np.asarray(board.getObjPoints()).reshape(-1, 4, 3)[..., :2]
    np.testing.assert_allclose(spec.inner_corners_mm(), inner, atol=1e-4)
    np.testing.assert_allclose(spec.marker_corners_mm(), markers, atol=1e-4)


def test_the_cards_paper_is_115_by_85_mm() -> None:
    np.testing.assert_allclose(np.ptp(card(0).outline_mm(), axis=0), [115.0, 85.0])


def test_a_board_from_toml() -> None:
    board = board_from_toml(TEXT)
    assert (board.name, board.first_id, board.square_mm, board.card) == ("board", 4, 25, None)


def test_keys_may_stand_at_the_top() -> None:
    assert board_from_toml(TEXT.replace("[board]", 'name = "bench"')).name == "bench"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("squares_x = 3", "", "lacks squares_x"),
        ("squares_x = 3", "squares_x = 3.5", "squares_x: a int"),
        ("squares_x = 3", "squares_x = true", "squares_x: a int"),
        ("squares_x = 3", "squares_x = 1", "two squares"),
        ("square_mm = 25", 'square_mm = "25"', "square_mm: a float"),
        ("square_mm = 25", "square_mm = inf", "finite"),
        ("square_mm = 25", "square_size = 25", "unknown key"),
        ("marker_mm = 18.75", "marker_mm = 26", "smaller than its square"),
        ("first_id = 4", "first_id = -1", "first_id"),
        ('"DICT_5X5_100"', '"5X5"', "not an ArUco dictionary"),
        ("[board]", "[board", "not TOML"),
    ],
)
def test_a_wrong_board_file_says_what_is_wrong(old: str, new: str, says: str) -> None:
    with pytest.raises(BadInput, match=says):
        board_from_toml(TEXT.replace(old, new, 1))


def test_no_such_card() -> None:
    with pytest.raises(BadInput, match="no such card"):
        card(5)
    with pytest.raises(BadInput, match="no such card size"):
        card(0, "huge")
