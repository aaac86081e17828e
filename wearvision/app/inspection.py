"""Readings: what is still to take on a part, and taking it, one at a time or from a CSV file."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Literal

from wearvision.app.files import read_text
from wearvision.app.sheets import sheet_of
from wearvision.app.shop import Shop
from wearvision.errors import BadInput, NeedsPerson
from wearvision.quantity import Quantity
from wearvision.rules.entry import Entry, EntryKind, Log
from wearvision.rules.notation import LengthUnit, parse_length
from wearvision.rules.points import GaugePoint
from wearvision.rules.reading import GaugeReading, Instrument, SightCheck
from wearvision.rules.rubric import Criterion, Sight
from wearvision.rules.sheet import PrefilledSheet, check_fits, missing, sealed_until, seconds_wanted, sights_wanted
from wearvision.store.ledger import PartRecord
from wearvision.toml_lines import load_toml

CSV_COLUMNS = ("point", "reading", "gauge", "zero_checked", "criterion", "check", "answer", "how", "record", "note",
               "reader", "at", "reason", "second")  # fmt: skip
POINT = re.compile(r"[0-9]{1,6}")
YES = ("yes", "y", "1", "true")


@dataclass(frozen=True, kw_only=True)
class Task:
    """The next thing a person has to do on a sheet: a reading, a second blind one, or a sight check."""

    kind: Literal["first", "second", "check"]
    criterion: Criterion
    point: GaugePoint | None = None
    sight: Sight | None = None


def tasks(sheet: PrefilledSheet, log: Log) -> Iterator[Task]:
    """What is still to do, in walking order."""
    seconds = seconds_wanted(sheet, log)
    for criterion in sheet.criteria:
        for point in sheet.points_of(criterion.id):
            if log.first(point.number) is None:
                yield Task(kind="first", criterion=criterion, point=point)
            elif point.number in seconds:
                yield Task(kind="second", criterion=criterion, point=point)
        for sight in sights_wanted(sheet, log, criterion):
            if log.sight(criterion.id, sight.id) is None:
                yield Task(kind="check", criterion=criterion, sight=sight)


def enter(
    shop: Shop,
    tag: str,
    what: GaugeReading | SightCheck,
    at: datetime,
    *,
    second: bool = False,
    reason: str = "",
) -> PartRecord:
    """Commit one entry: a first reading or check, a second blind reading, or with a reason an amendment."""
    record = shop.ledger.load(tag)
    sheet_of(record)
    known = (
        record.log.first(what.point) if isinstance(what, GaugeReading) else record.log.sight(what.criterion, what.check)
    ) is not None
    kind: Literal["first", "second", "amendment"] = "first"
    if second:
        kind = "second"
    elif known and reason:
        kind = "amendment"
    return shop.ledger.commit(tag, Entry(kind=kind, what=what, reason=reason if kind != "first" else ""), at)


def open_ready(shop: Shop, tag: str, by: str, at: datetime) -> list[tuple[Criterion, Quantity]]:
    """Open each sealed estimate that may be seen now (see `sealed_until`); only those not opened before."""
    record = shop.ledger.load(tag)
    sheet = sheet_of(record)
    out = []
    for criterion in sheet.criteria:
        sealed = any(criterion.quantity in f.sealed for _, f in sheet.placed(criterion))
        if not sealed or criterion.id in record.opened or sealed_until(sheet, criterion.id, record.log):
            continue
        record = shop.ledger.note_opened(tag, criterion.id, by, at)
        out.append((criterion, record.opened[criterion.id]))
    return out


def read_gauges(path: Path) -> dict[str, Instrument]:
    """Gauges of the shop from a TOML file, by serial.

        [gauges."DG-07"]
        kind = "dial depth gauge"
        resolution = "0.01 mm"
        largest_error = "0.02 mm"
        due = "2027-03-31"

    Raises
    ------
    BadInput
        Naming the file and the gauge.
    """
    text = read_text(path, "the gauges", do="save the file as UTF-8")
    table = load_toml(text, path.name).get("gauges", {})
    if not isinstance(table, Mapping) or not table:
        raise BadInput("no gauges in this file", got=str(path), do='add [gauges."SERIAL"] tables')
    return {serial: _gauge(path.name, serial, facts) for serial, facts in table.items()}


def _gauge(name: str, serial: str, facts: object) -> Instrument:
    wanted = {"kind", "resolution", "largest_error", "due"}
    if (
        not isinstance(facts, Mapping)
        or set(facts) - wanted
        or not {"kind", "resolution", "largest_error"} <= set(facts)
    ):
        raise BadInput(f"{name}: gauge {serial} is not whole", got=facts, do=f"give {', '.join(sorted(wanted))}")
    try:
        return Instrument(
            kind=facts["kind"],
            serial=serial,
            resolution_mm=parse_length(str(facts["resolution"])).value_mm,
            mpe_mm=parse_length(str(facts["largest_error"])).value_mm,
            due=str(facts.get("due", "")),
        )
    except BadInput as error:
        raise BadInput(f"{name}: gauge {serial}: {error.what}", got=error.got, do=error.do) from None


def zeroed(gauge: Instrument, at: datetime, checked: bool) -> Instrument:
    """The gauge with today's zero check noted, when it was made."""
    return replace(gauge, last_zero=at.date().isoformat()) if checked else gauge


def enter_csv(shop: Shop, tag: str, path: Path, gauges: Mapping[str, Instrument], at: datetime, *, by: str = "") -> int:
    """Commit the rows of a CSV file; all of it is understood before the first row is kept.

    Columns, any order, unused ones left out: `point, reading, gauge, zero_checked` for a reading;
    `criterion, check, answer, how, record, note` for a sight check; `reader, at, reason` for both. A row about
    something already entered needs a reason and becomes an amendment, or `yes` under `second` and becomes a
    second blind reading. Nothing stands twice in one file: whether a second reading is wanted hangs on the
    sealed estimate, which a file that is then refused must not be able to sound out.

    Returns
    -------
    int
        Entries kept.

    Raises
    ------
    BadInput
        With the file's line; then nothing of the file is kept.
    """
    record = shop.ledger.load(tag)
    sheet = sheet_of(record)
    unit = sheet.rubric.file.gauges.bare_decimals
    entries: list[Entry] = []
    for line, row in _rows(path):
        try:
            what = _entry(row, gauges, unit, at, by)
            entry = Entry(kind=_kind(what, row, record.log, entries), what=what, reason=row.get("reason", ""))
            check_fits(sheet, what)
        except (BadInput, NeedsPerson) as error:
            raise BadInput(f"{path.name}:{line}: {error.what}", got=error.got, do=error.do) from None
        entries.append(entry)
    if entries:
        shop.ledger.commit_all(tag, entries, at)
    return len(entries)


def _kind(what: GaugeReading | SightCheck, row: Mapping[str, str], log: Log, before: Sequence[Entry]) -> EntryKind:
    """What a row is, told by the row and by what was committed earlier, never by an estimate."""
    key = Entry(kind="first", what=what).key
    name = f"point {key}" if isinstance(key, int) else f"check {'/'.join(key)}"
    if any(e.key == key for e in before):
        raise BadInput(f"{name} stands twice in this file", do="leave one row; a change comes in a file of its own")
    known, second = any(e.key == key for e in log.entries), row.get("second", "").lower() in YES
    if second and not known:
        raise BadInput(f"{name} has no first reading yet", do="leave the column second empty")
    if not known:
        return "first"
    if second:
        return "second"
    if not row.get("reason"):
        do = "give a reason to change it, or say yes in the column second for a second blind reading"
        raise BadInput(f"{name} is already entered", do=do)
    return "amendment"


def _rows(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    text = read_text(path, "the readings", do="save the file as UTF-8 CSV")
    head = text.partition("\n")[0]
    comma = ";" if ";" in head and "," not in head else ","
    table = csv.DictReader(
        io.StringIO(text, newline=""), restkey="", strict=True, delimiter=comma, skipinitialspace=True
    )
    try:
        names = [name.strip() for name in table.fieldnames or ()]
        table.fieldnames = names
        odd = sorted({n for n in names if n not in CSV_COLUMNS or names.count(n) > 1})
        if odd or not names:
            raise BadInput(f"{path.name}:1: unknown column, or one named twice", got=odd,
                           do=f"use {', '.join(CSV_COLUMNS)}")  # fmt: skip
        for row in table:
            spare = row.pop("", None)
            if spare and any(cell.strip() for cell in spare):
                do = f"quote a value that holds the mark {comma}"
                raise BadInput(f"{path.name}:{table.line_num}: more values than columns", got=spare, do=do)
            cells = {k: (v or "").strip() for k, v in row.items()}
            if any(cells.values()):
                yield table.line_num, cells
    except csv.Error as error:
        raise BadInput(f"{path.name}:{table.line_num}: {error}", do="check the quotes") from None


def _entry(
    row: Mapping[str, str], gauges: Mapping[str, Instrument], unit: LengthUnit | None, at: datetime, by: str
) -> GaugeReading | SightCheck:
    reader, taken = row.get("reader") or by, row.get("at") or at.isoformat(timespec="seconds")
    if row.get("point"):
        gauge = gauges.get(row.get("gauge", ""))
        if gauge is None:
            raise BadInput("no such gauge", got=row.get("gauge", ""), do=f"known: {', '.join(gauges) or 'none'}")
        if not POINT.fullmatch(row["point"]):
            raise BadInput("a point is a whole number", got=row["point"][:40])
        checked = row.get("zero_checked", "").lower() in YES
        gauge = replace(gauge, last_zero=taken[:10]) if checked else gauge
        return GaugeReading(
            point=int(row["point"]),
            typed=row.get("reading", ""),
            instrument=gauge,
            reader=reader,
            at=taken,
            assumed=unit,
        )
    return SightCheck(
        criterion=row.get("criterion", ""), check=row.get("check", ""), answer=row.get("answer", ""),
        how=row.get("how", ""), by=reader, at=taken, record=row.get("record", ""), note=row.get("note", ""),
    )  # fmt: skip


def still_missing(record: PartRecord) -> Sequence[str]:
    """What the sheet of a part still asks for, in words."""
    return missing(sheet_of(record), record.log)
