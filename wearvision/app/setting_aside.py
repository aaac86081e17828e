"""Readings of an inspection that a newer sheet set aside: a table of the report, so that none is lost from sight."""

from __future__ import annotations

from wearvision.pages.report import TableView
from wearvision.rules.entry import Entry
from wearvision.rules.reading import GaugeReading
from wearvision.rules.verdict import Verdict
from wearvision.store.ledger import PartRecord
from wearvision.store.record import SetAside


def set_aside(record: PartRecord) -> tuple[TableView, ...]:
    """One table of every reading and check that was set aside, with who did it and why; none when there is none."""
    rows = tuple(_row(old, entry) for old in record.set_aside for entry in old.log.entries)
    words = [Verdict(old.confirmed).word for old in record.set_aside if old.confirmed is not None]
    table = TableView(
        title="Readings set aside in this inspection", columns=("What", "Entered", "By", "Set aside by, why"),
        rows=rows, said=tuple(f"A confirmed verdict was set aside with them: {word}." for word in words),
        note="They count for nothing above; the ledger keeps them.", shares=(0.36, 0.14, 0.26, 0.24),
    )  # fmt: skip
    return (table,) if rows else ()


def set_aside_words(record: PartRecord) -> tuple[str, ...]:
    """A sentence for each time readings were set aside."""
    return tuple(
        f"{len(old.log.entries)} entries were set aside in this inspection by {old.by}: {old.reason}"
        + (f" (the verdict then: {Verdict(old.confirmed).word})" if old.confirmed is not None else "")
        for old in record.set_aside
    )


def _row(old: SetAside, entry: Entry) -> tuple[str, ...]:
    rubric, what, why = old.sheet.rubric, entry.what, f"{old.by}\n{old.reason}"
    if isinstance(what, GaugeReading):
        point = old.sheet.point(what.point)
        title = rubric.criterion(point.criterion).title
        return (f"{title}\n{point.where}", f"{what.value_mm:.3f} mm", f"{what.reader}\n{what.at}", why)
    return (f"{rubric.criterion(what.criterion).title}\n{what.check}", what.answer, f"{what.by}\n{what.at}", why)
