"""The clearances of a pump as its bench sheet, and as sections of a part's report."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

from wearvision import __version__
from wearvision.app.clearance import Clearances, Table, amount
from wearvision.app.files import write_whole
from wearvision.app.sheets import file_name, when
from wearvision.pages.effects import blocked_rows, effect_rows, facts_of
from wearvision.pages.pump import PumpSheet, pump_sheet_page
from wearvision.pages.report import ReportView, TableView

COLUMNS = ("Clearance", ">mm, 95 %", "Held against", "Decision")
SHARES = (0.40, 0.17, 0.29, 0.14)
RULES = "The maker's manual and its table of settings rule over every figure here."


def write_pump_sheet(found: Clearances, out: Path, at: datetime) -> Path:
    """Write the bench sheet of the pump into `out`: every table, what to do, and boxes for what was set."""
    path = out / f"pump-{file_name(found.pump.tag)}.html"
    front = ("Front gap, axial, as set", "Back gap, axial, after it") if found.stack else ()
    rings = tuple(f"Clearance, diametral, as fitted: {ring.pair.name}" for ring in found.rings)
    sheet = PumpSheet(
        tag=found.pump.tag, name=found.pump.name, made_at=when(at), version=__version__, file=found.file,
        read=_read(found), tables=pump_tables(found), asked=found.questions,
        steps=(*_acts(found), *_known(found), *_steps(found)), boxes=(*front, *rings, "By", "Date"),
    )  # fmt: skip
    write_whole(path, pump_sheet_page(sheet))
    return path


def with_pump(view: ReportView, found: Clearances) -> ReportView:
    """The report with the clearances, the effects and the follow-up list of its pump."""
    stated = (
        ("pump", f"{found.pump.tag} {found.pump.name}".strip()), ("pump file", f"{found.file}; {_read(found)}")
    )  # fmt: skip
    asked = tuple(f"Question: {q}" for q in found.questions)
    return replace(
        view, tables=(*view.tables, *pump_tables(found)), stated=(*view.stated, *stated),
        follow_ups=(*view.follow_ups, *_acts(found), *asked, *_known(found), *_steps(found)),
    )  # fmt: skip


def _read(found: Clearances) -> str:
    pump = found.pump
    return f"read by {pump.read_by}, {pump.read_at}" if pump.read_by else "no readings of its own"


def _acts(found: Clearances) -> tuple[str, ...]:
    """What follows from each table that is not within."""
    open_still = [t for t in found.tables if t.word != "within"]
    both = (found.both_rings,) if open_still and found.both_rings else ()
    return (*(f"{t.title} ({t.word}): {' '.join(t.advice)}" for t in open_still), *both)


def _known(found: Clearances) -> tuple[str, ...]:
    return tuple(f"Not known yet: {m}" for m in found.missing)


def _steps(found: Clearances) -> tuple[str, ...]:
    judged = (f"Judged: {line}" for line in found.judged)
    return (*judged, *(f"{line[:1].upper()}{line[1:]}" for line in found.follow_ups))


def pump_tables(found: Clearances) -> tuple[TableView, ...]:
    """One table for the axial stack, one for each ring pair, one for the effects, one for what blocks the rest."""
    tables = [_clearances(found.pump.tag, table) for table in found.tables]
    if found.both_rings:
        tables[-1] = replace(tables[-1], said=(*tables[-1].said, found.both_rings))
    return (*tables, *_effects(found), *_blocked(found))


def _clearances(tag: str, table: Table) -> TableView:
    rows = tuple((_with(line.label, line.note), amount(line), line.limit, line.word) for line in table.lines)
    return TableView(
        title=f"Pump {tag}: {table.title[:1].lower()}{table.title[1:]}", columns=COLUMNS, rows=rows, said=table.advice,
        note=RULES, shares=SHARES,
    )  # fmt: skip


def _effects(found: Clearances) -> tuple[TableView, ...]:
    """The ranges, and below them how each was worked out, by number."""
    rows = effect_rows(found.effects, found.directions)
    if not rows:
        return ()
    facts = f"Facts: {'; '.join(facts_of(found.effects))}."
    return (
        TableView(title=f"Pump {found.pump.tag}: what reuse costs", columns=("No.", "Effect", ">From", ">To", "Unit"),
                  rows=tuple(row[:-1] for row in rows), shares=(0.06, 0.54, 0.12, 0.12, 0.16),
                  note="Ranges, never one figure. How each was worked out, and what must hold:",
                  notes=(*(f"[{row.number}] {row.how}" for row in rows), facts)),
    )  # fmt: skip


def _blocked(found: Clearances) -> tuple[TableView, ...]:
    """What to state, and the figures that wait for it."""
    rows = tuple(blocked_rows(found.effects))
    if not rows:
        return ()
    return (
        TableView(title=f"Pump {found.pump.tag}: not worked out", rows=rows, shares=(0.34, 0.66),
                  columns=("State in the pump file", "Figures that wait for it")),
    )  # fmt: skip


def _with(first: str, below: str) -> str:
    return f"{first}\n{below}" if below else first
