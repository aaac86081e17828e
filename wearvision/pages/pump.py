"""The bench sheet of a pump as one self-contained HTML page: the arithmetic of the pad, and boxes for what was set."""

from __future__ import annotations

from dataclasses import dataclass

from wearvision.pages.page import render
from wearvision.pages.report import TableView


@dataclass(frozen=True, kw_only=True)
class PumpSheet:
    """What the page shows.

    Attributes
    ----------
    tag, name, made_at, version, file, read : str
        `file` and `read`: the pump file with its digest, and who took its readings.
    tables : tuple of TableView
    asked, steps : tuple of str
        Questions to a person; what to do and to follow up.
    boxes : tuple of str
        What is written down once it is set.
    """

    tag: str
    name: str
    made_at: str
    version: str
    file: str
    read: str
    tables: tuple[TableView, ...]
    asked: tuple[str, ...]
    steps: tuple[str, ...]
    boxes: tuple[str, ...]


def pump_sheet_page(sheet: PumpSheet) -> str:
    """The page, for screens and A4."""
    return render("pump.html.j2", s=sheet)
