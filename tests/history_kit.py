"""A ledger with a part inspected several times: each inspection a crate, a day, hours and depths."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests import sheet_kit as kit
from wearvision.app.shop import Shop, open_shop
from wearvision.arrival import Arrival
from wearvision.rules.entry import Entry
from wearvision.rules.reading import GaugeReading
from wearvision.rules.sheet import PrefilledSheet, prefill
from wearvision.store.ledger import Ledger

TAG = "C-1042"
KINDS = {"C": "casing", "I": "impeller", "R": "ring-pair", "B": "box-cover"}


@contextmanager
def shop() -> Iterator[Shop]:
    with TemporaryDirectory() as folder, open_shop(Path(folder) / "data", create=True) as found:
        yield found


def noon(day: str) -> datetime:
    return datetime.fromisoformat(f"{day}T12:00:00").replace(tzinfo=UTC)


def laid(book: Ledger, crate: str, day: str, tag: str = TAG, **came: Any) -> PrefilledSheet:
    """The part comes in and its sheet is laid, with one groove."""
    kind = KINDS[tag[0]]
    book.receive(tag, kind, crate, noon(day), came=Arrival(crate=crate, **came))
    sheet = prefill(kit.rubric(kind), tag, [(kit.SHA, kit.finding())], photos={kit.SHA: "wear-face"})
    book.begin(sheet, noon(day))
    return sheet


def entries(
    sheet: PrefilledSheet, day: str, depth: str = "", sights: dict[tuple[str, str], str] | None = None
) -> list[Entry]:
    """Everything the sheet asks, read on a day: `depth` at each point of the first criterion, else sound."""
    own = sheet.points_of(sheet.criteria[0].id)
    typed = {p.number: depth for p in own} if depth else {}
    out = []
    for entry in kit.whole_log(sheet, typed=typed, sights=sights).entries:
        what = replace(entry.what, at=f"{day}T09:30:00")
        if isinstance(what, GaugeReading):
            what = replace(what, instrument=replace(what.instrument, last_zero=f"{day}T08:00:00", due="2099-12-31"))
        out.append(replace(entry, what=what))
    return out


def inspect(
    book: Ledger, crate: str, day: str, depth: str = "", *, tag: str = TAG, sights: Any = None, **came: Any
) -> None:
    """One whole inspection, confirmed."""
    sheet = laid(book, crate, day, tag, **came)
    book.commit_all(tag, entries(sheet, day, depth, sights), noon(day))
    book.confirm(tag, "C. Lead", noon(day))


def three(book: Ledger, tag: str = TAG) -> None:
    """Three rebuilds under like duty: 0.70, 1.20, 1.66 mm at 4000, 8000, 12000 h."""
    duty = "river water, 2950 rpm"
    inspect(book, "Spring 24", "2024-03-04", "0.70 mm", tag=tag, running_hours=4000, duty=duty)
    inspect(book, "Spring 25", "2025-03-03", "1.20 mm", tag=tag, running_hours=8000, duty=duty)
    inspect(book, "Spring 26", "2026-03-02", "1.66 mm", tag=tag, running_hours=12000, duty=duty, needed_by="2026-04-01")
