"""What a printed page is made of: fonts that travel with the file, styles, page numbers, a QR code.

The letters are reportlab's own Bitstream Vera, embedded, so that a page looks the same in ten years.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, field
from typing import Any
from xml.sax.saxutils import escape

import segno
from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Paragraph

INK, SOFT, RULE, FAINT, ACCENT = (
    HexColor(c) for c in ("#14181b", "#545d63", "#c6cccb", "#eef1f0", "#1c3fbf")
)
REGULAR, BOLD = "Vera", "VeraBd"
MARGIN = 16 * mm
NO_GLYPH = "?"


def register_fonts() -> None:
    """Make the two fonts known to reportlab; again does no harm."""
    for name in (REGULAR, BOLD):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)


def _style(name: str, size: float, *, bold: bool = False, **more: Any) -> ParagraphStyle:
    wanted = {"leading": size * 1.34, "textColor": INK, "splitLongWords": 1} | more
    return ParagraphStyle(name, fontName=BOLD if bold else REGULAR, fontSize=size, **wanted)


STYLES: dict[str, ParagraphStyle] = {
    s.name: s
    for s in (
        _style("body", 8.6), _style("soft", 8.0, textColor=SOFT), _style("small", 7.2, textColor=SOFT),
        _style("strong", 8.6, bold=True), _style("cell", 7.8), _style("cell-strong", 7.8, bold=True),
        _style("head-cell", 7.0, textColor=SOFT), _style("right", 7.8, bold=True, alignment=2),
        _style("right-head", 7.0, textColor=SOFT, alignment=2), _style("digest", 6.6),
        _style("tag", 25, bold=True, leading=29, spaceAfter=1.5 * mm),
        _style("h2", 12.5, bold=True, spaceBefore=7 * mm, spaceAfter=2 * mm, keepWithNext=1),
        _style("h3", 10, bold=True), _style("word", 10, bold=True, alignment=1),
        _style("verdict", 20, bold=True, textColor=HexColor("#ffffff"), leading=24),
        _style("verdict-line", 8.8, textColor=HexColor("#ffffff")), _style("open", 14, bold=True, leading=18),
    )
}  # fmt: skip


@dataclass
class Words:
    """Text made safe for a paragraph: escaped, and without letters the fonts lack.

    Attributes
    ----------
    lost : bool
        Whether a letter had to be replaced so far.
    """

    lost: bool = False
    _known: frozenset[int] = field(default_factory=lambda: frozenset(pdfmetrics.getFont(REGULAR).face.charToGlyph))

    def clean(self, text: str) -> str:
        """Plain text with every letter printable: accents dropped where needed, else `?`."""
        return "".join(self._letter(c) for c in unicodedata.normalize("NFC", text))

    def _letter(self, letter: str) -> str:
        if letter in "\n\t":
            return " "
        if unicodedata.category(letter).startswith("C"):
            return ""
        if ord(letter) in self._known:
            return letter
        self.lost = True
        base = "".join(c for c in unicodedata.normalize("NFKD", letter) if ord(c) in self._known)
        return base or NO_GLYPH

    def p(self, text: str, style: str = "body", *, struck: bool = False, then: str = "") -> Paragraph:
        """A paragraph; `then` adds a softer line below it."""
        body = escape(self.clean(text))
        body = f"<strike>{body}</strike>" if struck and body else body
        if then:
            soft = escape(self.clean(then))
            body += f'{"<br/>" if body else ""}<font color="#545d63" size="7.2">{soft}</font>'
        return Paragraph(body, STYLES[style])


class NumberedCanvas(Canvas):  # type: ignore[misc]  # reportlab carries no types
    """A canvas that knows at the end how many pages there are, and then writes `page x of y` on each."""

    left = ""
    middle = ""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._pages: list[dict[str, Any]] = []

    def showPage(self) -> None:
        """Keep the page for later."""
        self._pages.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Write every page with its number."""
        for number, page in enumerate(self._pages, 1):
            self.__dict__.update(page)
            self._foot(number, len(self._pages))
            super().showPage()
        super().save()

    def _foot(self, number: int, total: int) -> None:
        width, height = self._pagesize
        self.setStrokeColor(RULE)
        self.setFillColor(SOFT)
        self.setLineWidth(0.5)
        self.line(MARGIN, 13.5 * mm, width - MARGIN, 13.5 * mm)
        self.setFont(REGULAR, 7)
        room = width - 2 * MARGIN
        self.drawString(MARGIN, 9.5 * mm, fitting(self.left, room * 0.4))
        self.drawCentredString(width / 2 + 8 * mm, 9.5 * mm, fitting(self.middle, room * 0.36))
        self.drawRightString(width - MARGIN, 9.5 * mm, f"page {number} of {total}")
        if number > 1:
            self.drawString(MARGIN, height - 11 * mm, fitting(f"Wear report  {self.left}", room))


def fitting(text: str, width: float, size: float = 7) -> str:
    """`text`, cut with an ellipsis where it is wider than `width` points."""
    if pdfmetrics.stringWidth(text, REGULAR, size) <= width:
        return text
    while text and pdfmetrics.stringWidth(text + "…", REGULAR, size) > width:
        text = text[:-1]
    return text + "…"


class QrCode(Flowable):  # type: ignore[misc]  # reportlab carries no types
    """A QR code of some text, its quiet zone of 4 modules included (ISO/IEC 18004, from memory)."""

    def __init__(self, text: str, side: float) -> None:
        super().__init__()
        self.width = self.height = side
        self._rows = [list(row) for row in segno.make(text, error="m", micro=False).matrix]

    def draw(self) -> None:
        """All dark modules as one filled path, so that no seam shows between them."""
        module = self.width / (len(self._rows) + 8)
        path = self.canv.beginPath()
        for r, row in enumerate(self._rows):
            y = self.height - (r + 5) * module
            for start, length in _runs(row):
                path.rect((start + 4) * module, y, length * module, module)
        self.canv.setFillColor(INK)
        self.canv.drawPath(path, stroke=0, fill=1)


def _runs(row: list[int]) -> list[tuple[int, int]]:
    """Start and length of each run of dark modules."""
    runs, start = [], None
    for i, dark in enumerate([*row, 0]):
        if dark and start is None:
            start = i
        elif not dark and start is not None:
            runs.append((start, i - start))
            start = None
    return runs
