"""A sheet of part tags to cut out: a QR square and the tag in words, so that a photo says which part it shows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import segno

from wearvision.cards.drawing import DARK, LIGHT, Boxes, Mark, Words, cells, to_pdf_pages, words_width_mm
from wearvision.cards.printing import MARGIN_MM, PAGES_MM
from wearvision.cards.tags import PartTag
from wearvision.errors import BadInput

LABEL_MM = (62.0, 40.0)
QR_MM = 30.0
"""Side of the QR square; with up to 29 modules one is 1.0 mm or more: 3 pixels at 0.3 mm per pixel."""
_PAD_MM = 5.0
_SIZES_MM = (6.0, 5.0, 4.2, 3.6, 3.0, 2.6)
_BROKEN_MM = 3.6
"""Letters this small before a word is broken."""


def tags_pdf(tags: Sequence[str], *, page: str = "A4") -> bytes:
    """Vector PDF with one label for each tag, in the order given; as many pages as it takes.

    Parameters
    ----------
    tags : sequence of str
        Each 1 to 40 plain letters, digits, spaces and `. _ + # -`; no tag twice.
    page : str
        `A4` or `Letter`.

    Raises
    ------
    BadInput
        For no tags, one given twice, one that cannot be a tag, or an unknown page.
    """
    if page not in PAGES_MM:
        raise BadInput("no such page", got=page, do=f"use one of {', '.join(PAGES_MM)}")
    if not tags:
        raise BadInput("no tags to print", do="give one tag or more")
    twice = sorted({tag for tag in tags if list(tags).count(tag) > 1})
    if twice:
        raise BadInput("a tag is given twice", got=twice, do="give each part a tag of its own")
    parts = [PartTag(part=tag) for tag in tags]
    width, height = PAGES_MM[page]
    columns, rows = int((width - 2 * MARGIN_MM) // LABEL_MM[0]), int((height - 2 * MARGIN_MM) // LABEL_MM[1])
    pages = [
        [mark for k, part in enumerate(parts[first : first + columns * rows]) for mark in _label(part, k, columns)]
        for first in range(0, len(parts), columns * rows)
    ]
    return to_pdf_pages(pages, (width, height), f"Part tags {tags[0]} to {tags[-1]}")


def _label(tag: PartTag, place: int, columns: int) -> Iterator[Mark]:
    left, top = MARGIN_MM + place % columns * LABEL_MM[0], MARGIN_MM + place // columns * LABEL_MM[1]
    right, bottom = left + LABEL_MM[0], top + LABEL_MM[1]
    line = 0.15
    frame = [
        (left, top, right, top + line), (left, bottom - line, right, bottom),
        (left, top, left + line, bottom), (right - line, top, right, bottom),
    ]  # fmt: skip
    yield Boxes(mm=np.array(frame), tone=LIGHT)
    code = segno.make_qr(tag.text, error="m")
    modules = np.array([list(row) for row in code.matrix], bool)
    yield Boxes(mm=cells(modules, left + _PAD_MM, top + _PAD_MM, QR_MM / len(modules)))
    beside = left + _PAD_MM + QR_MM + 4.0
    yield Words(text="PART", x_mm=beside, y_mm=top + _PAD_MM + 3.0, size_mm=2.8, tone=DARK)
    size, lines = _fitted(tag.part, right - 2.0 - beside)
    for k, text in enumerate(lines):
        y = top + _PAD_MM + 4.0 + 1.2 * size * (k + 1)
        yield Words(text=text, x_mm=beside, y_mm=y, size_mm=size, bold=True)


def _fitted(text: str, width_mm: float) -> tuple[float, list[str]]:
    """The largest size at which the tag fits beside its square, and its lines there."""
    for size in _SIZES_MM:
        lines = list(_wrapped(text, width_mm, size))
        broken = any(word not in " ".join(lines).split() for word in text.split())
        if len(lines) * 1.2 * size <= QR_MM - 4.0 and (not broken or size <= _BROKEN_MM):
            break
    return size, lines


def _wrapped(text: str, width_mm: float, size_mm: float) -> Iterator[str]:
    """The tag in lines that fit, broken at spaces, else anywhere: tags have no syllables."""

    def wide(line: str) -> bool:
        return words_width_mm(Words(text=line, x_mm=0, y_mm=0, size_mm=size_mm, bold=True)) > width_mm

    line = ""
    for word in text.split(" "):
        longer = f"{line} {word}".strip()
        if line and wide(longer):
            yield line
            longer = word
        while wide(longer):
            cut = next(k for k in range(len(longer) - 1, 0, -1) if k == 1 or not wide(longer[:k]))
            yield longer[:cut]
            longer = longer[cut:]
        line = longer
    yield line
