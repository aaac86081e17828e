"""Marks in millimetres, and the two ways to put them on a sheet: vector PDF and PNG.

A drawing is a list of filled boxes and lines of words, y down from the top left of its sheet. Lines are boxes
too, so that nothing depends on how a printer widens strokes. The boxes of one mark become one path, filled at
once: drawn one by one, boxes that touch show hairlines between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import FILL_NON_ZERO, Canvas

MM_PER_INCH = 25.4
PT_PER_MM = 72 / MM_PER_INCH
BLACK, DARK, LIGHT, WHITE = 0.0, 0.35, 0.7, 1.0
"""Tones, 0 black to 1 white."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Boxes:
    """Filled boxes of one tone: (N, 4) mm as left, top, right, bottom. They may overlap."""

    mm: NDArray[np.float64]
    tone: float = BLACK


@dataclass(frozen=True, kw_only=True)
class Words:
    """One line of words at the base line `y_mm`; `size_mm` is the font size. A turned line runs downwards."""

    text: str
    x_mm: float
    y_mm: float
    size_mm: float
    bold: bool = False
    tone: float = BLACK
    align: Literal["left", "right"] = "left"
    turned: bool = False


Mark = Boxes | Words


def cells(filled: NDArray[np.bool_], left_mm: float, top_mm: float, cell_mm: float) -> NDArray[np.float64]:
    """Boxes covering the filled cells of a grid: every run along rows and every run along columns.

    The two sets cover the same area and each bridges the other's seams.
    """
    runs = [(start, row, stop, row + 1) for row, line in enumerate(filled) for start, stop in _runs(line)]
    runs += [(col, start, col + 1, stop) for col, line in enumerate(filled.T) for start, stop in _runs(line)]
    corner = np.array([left_mm, top_mm, left_mm, top_mm])
    return corner + np.array(runs, float).reshape(-1, 4) * cell_mm


def _runs(line: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.pad(line.astype(np.int8), 1)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def words_width_mm(words: Words) -> float:
    """Length of the line in the PDF's font, mm."""
    return float(stringWidth(words.text, _font(words), words.size_mm))


def to_pdf(marks: Sequence[Mark], page_mm: tuple[float, float], title: str) -> bytes:
    """One page; the same marks always give the same bytes. Viewers are asked not to scale when printing."""
    return to_pdf_pages([marks], page_mm, title)


def to_pdf_pages(pages: Sequence[Sequence[Mark]], page_mm: tuple[float, float], title: str) -> bytes:
    """The same for several pages of one size."""
    out = BytesIO()
    canvas = Canvas(out, pagesize=(page_mm[0] * PT_PER_MM, page_mm[1] * PT_PER_MM), invariant=1)
    canvas.setTitle(title)
    canvas.setCreator("wearvision")
    canvas.setViewerPreference("PrintScaling", "None")
    for number, marks in enumerate(pages):
        if number:
            canvas.showPage()
        for mark in marks:
            canvas.setFillGray(mark.tone)
            if isinstance(mark, Boxes):
                _boxes_to_pdf(canvas, mark, page_mm[1])
            else:
                _words_to_pdf(canvas, mark, page_mm[1])
    canvas.save()
    return out.getvalue()


def _boxes_to_pdf(canvas: Canvas, boxes: Boxes, height_mm: float) -> None:
    path = canvas.beginPath()
    for left, top, right, bottom in boxes.mm * PT_PER_MM:
        path.rect(left, height_mm * PT_PER_MM - bottom, right - left, bottom - top)
    canvas.drawPath(path, stroke=0, fill=1, fillMode=FILL_NON_ZERO)


def _words_to_pdf(canvas: Canvas, words: Words, height_mm: float) -> None:
    canvas.saveState()
    canvas.translate(words.x_mm * PT_PER_MM, (height_mm - words.y_mm) * PT_PER_MM)
    canvas.rotate(-90 if words.turned else 0)
    canvas.setFont(_font(words), words.size_mm * PT_PER_MM)
    draw = canvas.drawRightString if words.align == "right" else canvas.drawString
    draw(0, 0, words.text)
    canvas.restoreState()


def _font(words: Words) -> str:
    return "Helvetica-Bold" if words.bold else "Helvetica"


def to_png(marks: Sequence[Mark], sheet_mm: tuple[float, float], px_per_mm: float) -> bytes:
    """Gray PNG with its resolution written in; box edges are rounded to whole pixels, turned words left out."""
    width, height = (round(side * px_per_mm) for side in sheet_mm)
    picture = Image.new("L", (width, height), 255)
    draw = ImageDraw.Draw(picture)
    for mark in marks:
        tone = round(255 * mark.tone)
        if isinstance(mark, Words):
            font = ImageFont.load_default(mark.size_mm * px_per_mm)
            at = (mark.x_mm * px_per_mm, mark.y_mm * px_per_mm)
            stroke = round(mark.size_mm * px_per_mm / 40) if mark.bold else 0
            draw.text(at, mark.text, tone, font, "ls" if mark.align == "left" else "rs", stroke_width=stroke)
            continue
        for left, top, right, bottom in np.rint(mark.mm * px_per_mm).astype(int).tolist():
            draw.rectangle((left, top, right - 1, bottom - 1), fill=tone)
    out = BytesIO()
    picture.save(out, "PNG", dpi=(px_per_mm * MM_PER_INCH, px_per_mm * MM_PER_INCH), optimize=True)
    return out.getvalue()
