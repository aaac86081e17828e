"""Whether anything in a picture looks like the corner mark of a QR square.

Any straight line through the middle of such a mark crosses dark, bright, dark, bright and dark of 1 : 1 : 3 : 1 : 1
modules (ISO/IEC 18004). A picture without three of them has no QR square, and the decoder need not look at it.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled

Gray = NDArray[np.uint8]
WINDOW_PX, LEAST_DARKER = 61, 12.0
"""Dark is what is darker, by so many grey levels, than the mean of a window."""
LEAST_PX, MOST_PX = 13, 200
"""Width of a mark."""
OFF, OFF_PX = 0.35, 0.8
"""How far a stretch may be from its share of the width: as a part of a module, and beyond."""
CELL_PX, LEAST_LINES, LEAST_MARKS = 16, 3, 3
"""A mark is a cell in which the middles of so many rows are also those of a column; a QR square has three."""


def may_hold_code(gray: Gray) -> bool:
    """Whether a QR square may be in a picture (H, W)."""
    darker = cv2.subtract(cv2.blur(gray, (WINDOW_PX, WINDOW_PX)), gray)
    _, dark = cv2.threshold(darker, LEAST_DARKER, 255, cv2.THRESH_BINARY)
    return _marks(np.asarray(dark, dtype=np.uint8)) >= LEAST_MARKS


@compiled
def _marks(dark: Gray) -> int:
    """Cells with enough middles in a mask (H, W), 255 or 0."""
    height, width = dark.shape
    lines = np.zeros((height // CELL_PX + 1, width // CELL_PX + 1), np.int64)
    marks = 0
    for row in range(height):
        a, b, c, d, start = 0, 0, 0, 0, 0
        for column in range(1, width + 1):
            if column < width and dark[row, column] == dark[row, column - 1]:
                continue
            last = column - start
            if dark[row, column - 1] and _fits(a, b, c, d, last):
                middle = column - last - d - (c + 1) // 2
                if _crosses(dark, row, middle):
                    cell = row // CELL_PX, middle // CELL_PX
                    lines[cell] += 1
                    marks += lines[cell] == LEAST_LINES
            a, b, c, d, start = b, c, d, last, column
    return marks


@compiled
def _fits(a: int, b: int, c: int, d: int, e: int) -> bool:
    """Whether five stretches in a row are 1 : 1 : 3 : 1 : 1."""
    total = a + b + c + d + e
    module = total / 7
    near = OFF * module + OFF_PX
    outer = abs(a - module) <= near and abs(b - module) <= near and abs(d - module) <= near and abs(e - module) <= near
    return LEAST_PX <= total <= MOST_PX and outer and abs(c - 3 * module) <= 2 * near


@compiled
def _crosses(dark: Gray, row: int, column: int) -> bool:
    """Whether the column through a dark place crosses a mark there."""
    up_dark, up_bright, up_end = _stretch(dark, row, column, -1)
    down_dark, down_bright, down_end = _stretch(dark, row, column, 1)
    return _fits(up_end, up_bright, up_dark + down_dark - 1, down_bright, down_end)


@compiled
def _stretch(dark: Gray, row: int, column: int, step: int) -> tuple[int, int, int]:
    """Dark, bright and dark places from one on, up or down, each as far as a mark may reach."""
    lengths = [0, 0, 0]
    for part in range(3):
        while 0 <= row < len(dark) and (dark[row, column] > 0) == (part != 1) and lengths[part] < MOST_PX:
            lengths[part] += 1
            row += step
    return lengths[0], lengths[1], lengths[2]
