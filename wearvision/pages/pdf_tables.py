"""Tables, rules and pictures of a PDF page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any, TypeAlias

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, HRFlowable, Image, Table

from wearvision.pages.page import Picture
from wearvision.pages.pdf_page import INK, RULE, Words

PHOTO_HIGH = 92 * mm
Cell: TypeAlias = Any
"""Whatever reportlab lays in a table cell: text, a flowable, or a list of them."""
Style: TypeAlias = tuple[Any, ...]
EVERY = (0, 0), (-1, -1)


@dataclass(frozen=True, kw_only=True)
class Tables:
    """Makes tables whose columns are shares of a page's width, pt."""

    words: Words
    width: float

    def data(self, names: Sequence[str], rows: Sequence[Sequence[Cell]], shares: Sequence[float]) -> Flowable:
        """A ruled table with a head that repeats on every page; a name led by `>` is set flush right."""
        head = [self.words.p(n.removeprefix(">"), "right-head" if n.startswith(">") else "head-cell") for n in names]
        lines = [("LINEBELOW", (0, 0), (-1, 0), 0.8, INK), ("LINEBELOW", (0, 1), (-1, -1), 0.4, RULE)]
        return self.grid([head, *rows], shares, [*lines, ("GAP", 2.5 * mm)], repeat=1)

    def ruled(self, rows: Sequence[Sequence[Cell]], shares: Sequence[float]) -> Flowable:
        """Rows with a fine line above each."""
        return self.grid(rows, shares, [("LINEABOVE", *EVERY, 0.4, RULE), ("GAP", 2.5 * mm)])

    def grid(
        self, rows: Sequence[Sequence[Cell]], shares: Sequence[float], style: Sequence[Style] = (),
        *, repeat: int = 0,
    ) -> Flowable:  # fmt: skip
        """A table whose columns are shares of the page's width.

        `VPAD` sets the padding above and below, `GAP` the one at the right of all but the last column.
        """
        vpad = next((s[1] for s in style if s[0] == "VPAD"), 1.1 * mm)
        gap = next((s[1] for s in style if s[0] == "GAP"), 0)
        base: list[Style] = [
            ("VALIGN", *EVERY, "TOP"), ("LEFTPADDING", *EVERY, 0), ("RIGHTPADDING", *EVERY, 0),
            ("TOPPADDING", *EVERY, vpad), ("BOTTOMPADDING", *EVERY, vpad),
        ]  # fmt: skip
        base += [("RIGHTPADDING", (0, 0), (-2, -1), gap)] if gap and len(shares) > 1 else []
        rest = [s for s in style if s[0] not in ("VPAD", "GAP")]
        widths = [share * self.width for share in shares]
        return Table(
            [list(row) for row in rows], colWidths=widths, style=[*base, *rest], repeatRows=repeat, hAlign="LEFT",
            splitInRow=1,
        )  # fmt: skip


def rule() -> Flowable:
    """A strong line across the page."""
    return HRFlowable(width="100%", thickness=1.1, color=INK, spaceAfter=2 * mm)


def image(picture: Picture, width: float) -> Image:
    """A picture, at most so wide (pt) and `PHOTO_HIGH` high."""
    scale = min(width / picture.width_px, PHOTO_HIGH / picture.height_px)
    made = Image(BytesIO(picture.jpeg), picture.width_px * scale, picture.height_px * scale)
    made.hAlign = "LEFT"
    return made
