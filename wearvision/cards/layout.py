"""Where things lie on a printed card, in millimetres; nothing is drawn or read here.

Board coordinates as in `measure.board`: origin at the outer corner of the top-left square, x right, y down.
A card is one drawing in three sizes, so every length here is a multiple of its square. To the right of the
squares and their white margin lies the label: a QR square on top, words beneath.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.board import MARGIN_RATIO, card

QR_MODULES = 25
"""Modules along the card's QR square: version 2 of ISO/IEC 18004, error correction M."""
QR_RATIO = 1.6
"""Side of the QR square in squares: 24 mm on the standard card, a module as wide as 0.64 marker cells."""
CELLS_PER_SQUARE = 10
"""A marker is 7 cells of a tenth of a square: 5 bits and a black border."""


def qr_square_mm(size: str = "standard") -> NDArray[np.float64]:
    """Outer corners of the QR square, (4, 2), board mm: top left, top right, bottom right, bottom left.

    The white around it is at least the 4 modules that ISO/IEC 18004 asks for (figure from memory).
    """
    board = card(0, size)
    left = board.size_mm[0] + MARGIN_RATIO * board.square_mm
    side = QR_RATIO * board.square_mm
    return np.array([[left, 0.0], [left + side, 0.0], [left + side, side], [left, side]])


def cut_box_mm(size: str = "standard") -> tuple[float, float, float, float]:
    """Cut edge of the card, board mm: left, top, right, bottom; 144 x 85 mm on the standard card."""
    board = card(0, size)
    margin = MARGIN_RATIO * board.square_mm
    return -margin, -margin, float(qr_square_mm(size)[1, 0]) + margin, board.size_mm[1] + margin
