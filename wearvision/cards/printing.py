"""The printed scale card: what stands on it, on its page, and in what size.

On the card: the squares, their white margin, and a label with a QR square and the same facts in words. On the
page around it: two 100 mm check bars, across and down because printers scale the two unlike, places to note
their measured lengths, and what to do.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import replace

import cv2
import numpy as np
import segno
from numpy.typing import NDArray

from wearvision.cards.drawing import (
    BLACK,
    DARK,
    LIGHT,
    MM_PER_INCH,
    WHITE,
    Boxes,
    Mark,
    Words,
    cells,
    to_pdf,
    to_png,
    words_width_mm,
)
from wearvision.cards.layout import CELLS_PER_SQUARE, QR_MODULES, cut_box_mm, qr_square_mm
from wearvision.cards.tags import CardText
from wearvision.errors import BadInput
from wearvision.measure.board import BoardSpec, card
from wearvision.stated import View

PAGES_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Upright width and height; the large card turns them."""
CHECK_BAR_MM = 100.0
MARGIN_MM = 12.0
"""Kept free along the page's edges, where office printers cannot print."""
_HEAD_MM, _CARD_TOP_MM = 14.0, 19.0
_LINE_MM, _TICK_MM = 0.3, 4.0
_TEXT_MM, _PITCH_MM = 2.9, 4.1
_SERIAL_SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"


def new_serial(*facts: str) -> str:
    """A serial of six signs made of whatever tells one print from the next: time to the microsecond, size, number.

    No I, L, O or U among them, which are misread. The same facts give the same serial.
    """
    number = int.from_bytes(hashlib.sha256("\n".join(facts).encode()).digest()[:4], "big")
    return "".join(_SERIAL_SIGNS[number >> shift & 31] for shift in range(0, 30, 5))


def card_pdf(number: int, size: str = "standard", *, serial: str, view: View | None = None, page: str = "A4") -> bytes:
    """One page with one card, to be printed at 100 %. The same arguments give the same bytes.

    Parameters
    ----------
    number : int
        Card 0 to 4.
    size : str
        `small`, `standard` or `large`: squares of 10, 15 or 25 mm.
    serial : str
        Of this one print; the measured check bar is kept under it.
    view : View or None
        What its photos show; `None` for any.
    page : str
        `A4` or `Letter`.

    Raises
    ------
    BadInput
        For an unknown card, size, view or page, or an unfit serial.
    """
    says = CardText(card=number, size=size, serial=serial, view=view)
    if page not in PAGES_MM:
        raise BadInput("no such page", got=page, do=f"use one of {', '.join(PAGES_MM)}")
    width, height = PAGES_MM[page]
    if size == "large":
        width, height = height, width
    return to_pdf(list(_page(says, width, height)), (width, height), f"Scale card {says.text}")


def card_png(
    number: int, size: str = "standard", *, serial: str, view: View | None = None, dpi: float = 600.0
) -> bytes:
    """The cut card alone as a gray PNG.

    The resolution is the one nearest to `dpi` that puts every edge of squares and markers on a whole pixel (600
    becomes 609.6 on the standard card) and is written into the file. There is no check bar: measure the squares.

    Raises
    ------
    BadInput
        As for `card_pdf`, and for a `dpi` outside 60 to 1200.
    """
    says = CardText(card=number, size=size, serial=serial, view=view)
    if not 60 <= dpi <= 1200:
        raise BadInput("a card is drawn at 60 to 1200 dpi", got=dpi)
    px_per_mm = _whole_pixels(card(number, size).square_mm, dpi)
    left, top, right, bottom = cut_box_mm(size)
    marks = [_moved(mark, -left, -top) for mark in _card(says)]
    return to_png(marks, (right - left, bottom - top), px_per_mm)


def _whole_pixels(square_mm: float, dpi: float) -> float:
    """Pixels per mm near `dpi` at which half a cell and a third of a square are whole pixels."""
    step = 6 * CELLS_PER_SQUARE
    return step * max(1, round(dpi / MM_PER_INCH * square_mm / step)) / square_mm


def _card(says: CardText) -> Iterator[Mark]:
    """All that stands on the card itself, in board mm."""
    board = card(says.card, says.size)
    yield from _squares(board)
    yield _qr(says)
    yield from _label(says, board.square_mm)


def _squares(board: BoardSpec) -> Iterator[Mark]:
    """Black squares, then every marker as one black box with its white cells on top."""
    square, cell = board.square_mm, board.square_mm / CELLS_PER_SQUARE
    inset = (board.square_mm - board.marker_mm) / 2
    rows, cols = np.mgrid[: board.squares_y, : board.squares_x]
    dark = (rows + cols) % 2 == 0
    corners = np.stack([cols, rows, cols + 1, rows + 1], axis=2) * square
    light = corners[~dark]
    yield Boxes(mm=corners[dark])
    yield Boxes(mm=light + np.array([inset, inset, -inset, -inset]))
    book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, board.dictionary))
    white = []
    for index, (left, top) in enumerate(light[:, :2]):
        bits = book.generateImageMarker(board.first_id + index, book.markerSize + 2, borderBits=1)
        white.append(cells(np.asarray(bits) > 0, left + inset, top + inset, cell))
    yield Boxes(mm=np.concatenate(white), tone=WHITE)


def _qr(says: CardText) -> Mark:
    code = segno.make_qr(says.text, error="m", version=2, mode="alphanumeric", boost_error=False)
    modules = np.array([list(row) for row in code.matrix], bool)
    (left, top), (right, _) = qr_square_mm(says.size)[:2]
    return Boxes(mm=cells(modules, left, top, (right - left) / QR_MODULES))


def _label(says: CardText, square_mm: float) -> Iterator[Mark]:
    """The facts in words, beneath the QR square."""
    left = float(qr_square_mm(says.size)[0, 0])
    lines = (
        ("CARD", 2.2, 0.2, False, DARK),
        (str(says.card), 3.25, 1.25, True, BLACK),
        (_view_words(says.view), 4.15, 0.25, True, BLACK),
        (f"{says.size} {square_mm:g} mm", 4.55, 0.2, False, DARK),
        (says.serial, 4.95, 0.2, False, DARK),
    )
    for text, base, height, bold, tone in lines:
        yield Words(text=text, x_mm=left, y_mm=base * square_mm, size_mm=height * square_mm, bold=bold, tone=tone)


def _view_words(view: View | None) -> str:
    return "any view" if view is None else view.replace("-", " ")


def _page(says: CardText, width: float, height: float) -> Iterator[Mark]:
    """Everything on the page, in page mm."""
    left, top, right, bottom = cut_box_mm(says.size)
    yield from _head(says, width)
    for mark in _card(says):
        yield _moved(mark, MARGIN_MM - left, _CARD_TOP_MM - top)
    card_right, card_bottom = MARGIN_MM + right - left, _CARD_TOP_MM + bottom - top
    yield _cut_line(MARGIN_MM, _CARD_TOP_MM, card_right, card_bottom)
    below = max(card_bottom, _CARD_TOP_MM + CHECK_BAR_MM) + 7.0
    yield from _bars(card_right + 8.0, below)
    yield from _notes(below + 16.0)
    yield from _steps(says, MARGIN_MM + CHECK_BAR_MM + 12.0, below + 2.2, width - MARGIN_MM)
    yield from _foot(says, height)


def _head(says: CardText, width: float) -> Iterator[Mark]:
    board = card(says.card, says.size)
    facts = f"{says.size}, squares of {board.square_mm:g} mm   ·   {_view_words(says.view)}   ·   {says.serial}"
    yield Words(text=f"Scale card {says.card}", x_mm=MARGIN_MM, y_mm=_HEAD_MM, size_mm=6.0, bold=True)
    yield Words(text=facts, x_mm=width - MARGIN_MM, y_mm=_HEAD_MM, size_mm=3.4, tone=DARK, align="right")


def _cut_line(left: float, top: float, right: float, bottom: float) -> Mark:
    """Dashes just outside the card."""
    dash, gap, line = 2.0, 2.0, 0.15
    boxes = []
    for x in np.arange(left, right, dash + gap):
        boxes += [(x, edge - line / 2, min(x + dash, right), edge + line / 2) for edge in (top, bottom)]
    for y in np.arange(top, bottom, dash + gap):
        boxes += [(edge - line / 2, y, edge + line / 2, min(y + dash, bottom)) for edge in (left, right)]
    return Boxes(mm=np.array(boxes), tone=LIGHT)


def _bars(down_x: float, across_y: float) -> Iterator[Mark]:
    """Check bars: 100 mm from outer edge to outer edge of the end ticks."""
    across = _bar_mm() + np.array([MARGIN_MM, across_y] * 2)
    down = _bar_mm()[:, [1, 0, 3, 2]] + np.array([down_x, _CARD_TOP_MM] * 2)
    yield Boxes(mm=across)
    yield Boxes(mm=down)
    near = CHECK_BAR_MM / 2 - 10.0
    across_words = Words(
        text=f"across   {CHECK_BAR_MM:g} mm", x_mm=MARGIN_MM + near, y_mm=across_y + 7.2, size_mm=_TEXT_MM, tone=DARK
    )
    yield across_words
    down_words = replace(across_words, text=f"down   {CHECK_BAR_MM:g} mm", turned=True)
    yield replace(down_words, x_mm=down_x + 5.2, y_mm=_CARD_TOP_MM + near)


def _bar_mm() -> NDArray[np.float64]:
    """A bar along x from 0 to 100 mm, ticks from 0 to `_TICK_MM` in y."""
    end, mid = CHECK_BAR_MM, _TICK_MM / 2
    return np.array(
        [
            (0, 0, _LINE_MM, _TICK_MM),
            (end - _LINE_MM, 0, end, _TICK_MM),
            (0, mid - _LINE_MM / 2, end, mid + _LINE_MM / 2),
        ]
    )


def _notes(y: float) -> Iterator[Mark]:
    """Dotted places for the measured lengths, the date and the name."""
    for text, x, length in (("across", 0.0, 16.0), ("down", 33.0, 16.0), ("date, name", 64.0, 19.0)):
        words = Words(text=text, x_mm=MARGIN_MM + x, y_mm=y, size_mm=_TEXT_MM, tone=DARK)
        start = words.x_mm + words_width_mm(words) + 1.2
        yield words
        yield Boxes(mm=np.array([(start, y, start + length, y + 0.15)]), tone=LIGHT)


def _steps(says: CardText, left: float, top: float, right: float) -> Iterator[Mark]:
    """What to do, numbered; the last line is a caution."""
    steps = (
        "Print at 100 % (actual size), never “fit to page”, on matt paper.",
        "Measure both bars with a caliper, outer edge to outer edge. Note them at the left, and keep both: wearvision"
        f" card --serial {says.serial} --check ACROSS DOWN. An unmeasured print counts as ±0.5 %.",
        "If a bar is off by more than 1 mm, or the two differ by more than 0.3 mm, use another printer.",
        "Cut along the dashes and glue the card to a stiff, flat plate.",
        "Lay it in the plane of the measured face, all of it in the photo.",
        "A bent, wet, glossy or dirty card measures wrong: print a new one, with a new serial.",
    )
    y = top
    for index, text in enumerate(steps, start=1):
        yield Words(text=str(index), x_mm=left, y_mm=y, size_mm=_TEXT_MM, bold=True)
        for line in _wrapped(text, right - left - 5.0):
            yield Words(text=line, x_mm=left + 5.0, y_mm=y, size_mm=_TEXT_MM, tone=DARK)
            y += _PITCH_MM
        y += 0.4


def _wrapped(text: str, width_mm: float) -> Iterator[str]:
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and words_width_mm(Words(text=longer, x_mm=0, y_mm=0, size_mm=_TEXT_MM)) > width_mm:
            yield line
            longer = word
        line = longer
    yield line


def _foot(says: CardText, height: float) -> Iterator[Mark]:
    board = card(says.card, says.size)
    last = board.first_id + board.marker_count - 1
    geometry = (
        f"{board.squares_x} × {board.squares_y} squares of {board.square_mm:g} mm, markers"
        f" {board.marker_mm:g} mm, {board.dictionary}, ids {board.first_id} to {last}"
    )
    for text, up in ((says.text, 12.4), (geometry, 9.4)):
        yield Words(text=text, x_mm=MARGIN_MM, y_mm=height - up, size_mm=2.2, tone=DARK)


def _moved(mark: Mark, dx_mm: float, dy_mm: float) -> Mark:
    if isinstance(mark, Boxes):
        return replace(mark, mm=mark.mm + np.array([dx_mm, dy_mm] * 2))
    return replace(mark, x_mm=mark.x_mm + dx_mm, y_mm=mark.y_mm + dy_mm)
