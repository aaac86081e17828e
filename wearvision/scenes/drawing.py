"""The printed card as a bitmap, by OpenCV's own board drawing."""

from __future__ import annotations

import cv2
import numpy as np
import segno
from numpy.typing import NDArray

from wearvision.cards.layout import qr_square_mm
from wearvision.scenes.spec import Card


def card_bitmap(card_number: int = 0, px_per_square: int = 300) -> NDArray[np.uint8]:
    """Gray drawing of a card, margin of a third of a square all round.

    Parameters
    ----------
    card_number : 0 to 4; the card uses ids 17 * card_number to 17 * card_number + 16.
    px_per_square : divisible by 3; 300 is 20 px per mm on the standard card.
    """
    ids = np.arange(17 * card_number, 17 * card_number + 17, dtype=np.int32)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    board = cv2.aruco.CharucoBoard((7, 5), 15.0, 10.5, dictionary, ids)
    margin = px_per_square // 3
    size = (7 * px_per_square + 2 * margin, 5 * px_per_square + 2 * margin)
    return np.asarray(board.generateImage(size, None, margin, 1), dtype=np.uint8)


def sheet_bitmap(card: Card, view: str = "wear-face", px_per_square: int = 300) -> NDArray[np.uint8]:
    """Gray drawing of the whole sheet: card 0 and, where the card has a serial, its label."""
    board = card_bitmap(0, px_per_square)
    if not card.serial:
        return board
    per_mm = px_per_square / card.square_mm
    left, top, right, _ = card.box_mm
    wide = np.full((board.shape[0], round((right - left) * per_mm)), 255, dtype=np.uint8)
    wide[:, : board.shape[1]] = board
    words = f"WV1/C0/{card.name}/{card.serial}/{view}".upper()
    modules = np.array([list(row) for row in segno.make(words, version=2, error="m", micro=False).matrix])
    corner, far = qr_square_mm(card.name)[[0, 2]]
    side = round((far[0] - corner[0]) * per_mm)
    square = cv2.resize((1 - modules.astype(np.uint8)) * 255, (side, side), interpolation=cv2.INTER_NEAREST)
    x, y = round((corner[0] - left) * per_mm), round((corner[1] - top) * per_mm)
    wide[y : y + side, x : x + side] = square
    for i, line in enumerate(("CARD 0", card.name.upper(), card.serial, view.upper().replace("-", " "))):
        at = (x, y + side + round((0.45 + 0.42 * i) * px_per_square))
        cv2.putText(wide, line, at, cv2.FONT_HERSHEY_SIMPLEX, px_per_square / 140, 0, px_per_square // 40, cv2.LINE_AA)
    return wide
