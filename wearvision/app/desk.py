"""Entering readings at the terminal: one point at a time, the box always empty, Enter commits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from wearvision.app import inspection
from wearvision.app.inspection import Task
from wearvision.app.sheets import limit_words, sheet_of
from wearvision.app.shop import Shop, now, open_shop
from wearvision.errors import BadInput, UsageError
from wearvision.pages.page import say as figure_words
from wearvision.rules.notation import parse_length
from wearvision.rules.reading import GaugeReading, Instrument, SightCheck

STOP = ("q", "quit", "stop")


@dataclass(frozen=True, kw_only=True)
class State:
    """Where a sheet stands after entering.

    Attributes
    ----------
    tag : str
    kept : int
        Entries committed now.
    missing : tuple of str
    opened : tuple of str
        Sealed estimates shown now, in words, beside the readings.
    """

    tag: str
    kept: int
    missing: tuple[str, ...]
    opened: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Field by field."""
        return {"tag": self.tag, "kept": self.kept, "missing": list(self.missing), "opened": list(self.opened)}


def read_csv(data: Path, tag: str, path: Path, gauges: Path | None, by: str) -> State:
    """Commit the readings of a CSV file."""
    with open_shop(data) as shop:
        known = inspection.read_gauges(gauges) if gauges is not None else {}
        kept = inspection.enter_csv(shop, tag, path, known, now(), by=by)
        return _state(shop, tag, kept, now())


def read_prompts(
    data: Path,
    tag: str,
    gauges: Path | None,
    by: str,
    *,
    say: Callable[[str], None],
    ask: Callable[[str], str],
) -> State:
    """Ask for what is missing, one task at a time; `q` leaves, everything committed stays."""
    if gauges is None:
        raise UsageError("no gauges are named", do="add --gauges FILE.toml with the shop's gauges")
    known = inspection.read_gauges(gauges)
    desk = _Desk(gauges=known, by=by, say=say, ask=ask)
    kept = 0
    with open_shop(data) as shop:
        _sheet_and_log(shop, tag)  # a part without a sheet is said at once
        say(f"{tag}: type each reading with its unit (1/16, .062 in, 62 mil, 1.6 mm); g takes another gauge,")
        say("q leaves, nothing is lost")
        try:
            while (task := next(inspection.tasks(*_sheet_and_log(shop, tag)), None)) is not None:
                what = desk.check(task) if task.kind == "check" else desk.reading(task)
                try:
                    inspection.enter(shop, tag, what, now(), second=task.kind == "second")
                    kept += 1
                except BadInput as error:  # asked again, with another gauge or another answer
                    say(f"  not kept: {error.line()}")
                    desk.gauge = None
        except (_Leave, EOFError, KeyboardInterrupt):
            say("")
        return _state(shop, tag, kept, now())


def _sheet_and_log(shop: Shop, tag: str) -> tuple[Any, Any]:
    record = shop.ledger.load(tag)
    return sheet_of(record), record.log


class _Leave(Exception):
    """The person leaves."""


@dataclass(kw_only=True)
class _Desk:
    gauges: dict[str, Instrument]
    by: str
    say: Callable[[str], None]
    ask: Callable[[str], str]
    gauge: Instrument | None = None
    zero_asked: frozenset[str] = frozenset()
    told: str = ""

    def reading(self, task: Task) -> GaugeReading:
        """Ask until a reading fits."""
        point, plan = task.point, task.criterion.readings
        assert point is not None
        assert plan is not None
        self._head(task)
        if task.kind == "second":
            self.say("  Please read this point once more, without looking at the first reading.")
        while True:
            gauge = self._gauge(task)
            typed = self._line(f"  [{point.number}] {point.where} > ")
            if typed.lower() in ("g", "gauge"):
                self.gauge = None
                continue
            try:
                length = parse_length(typed)
            except BadInput as error:
                self.say(f"  {error.line()}")
                continue
            self.say(f"      understood: {length.echo}")
            at = now().isoformat(timespec="seconds")
            return GaugeReading(point=point.number, typed=typed, instrument=gauge, reader=self.by, at=at)

    def check(self, task: Task) -> SightCheck:
        """Ask until a sight check is answered in the rubric's words."""
        sight = task.sight
        assert sight is not None
        self._head(task)
        answer = self._pick(sight.question, tuple(sight.answers))
        how = self._pick("  how was it looked at?", sight.how)
        record = self._line(f"  {sight.record} > ") if sight.record else ""
        at = now().isoformat(timespec="seconds")
        return SightCheck(
            criterion=task.criterion.id, check=sight.id, answer=answer, how=how, by=self.by, at=at, record=record
        )

    def _head(self, task: Task) -> None:
        criterion = task.criterion
        if self.told == criterion.id:
            return
        self.told = criterion.id
        self.say("")
        self.say(f"{criterion.title}  ({limit_words(criterion)})")
        if criterion.readings is not None:
            self.say(f"  {criterion.readings.datum}")

    def _gauge(self, task: Task) -> Instrument:
        plan = task.criterion.readings
        assert plan is not None
        fitting = [g for g in self.gauges.values() if g.kind in plan.gauges and g.mpe_mm <= plan.largest_error_mm]
        if not fitting:
            need = f"{', '.join(plan.gauges)} with an error of at most {plan.largest_error}"
            raise BadInput("no gauge in the file fits this criterion", do=f"add a {need}")
        if self.gauge is None or all(g.serial != self.gauge.serial for g in fitting):
            names = [f"{g.serial} ({g.kind})" for g in fitting]
            picked = names.index(self._pick("  which gauge?", tuple(names))) if len(names) > 1 else 0
            self.gauge = self.gauges[fitting[picked].serial]
        if self.gauge.serial not in self.zero_asked and self.gauge.zero_unchecked(now().isoformat()):
            answer = self._line(f"  was {self.gauge.serial} zeroed on a flat plate today? (y/n) > ").lower()
            self.gauge = inspection.zeroed(self.gauge, now(), answer in ("y", "yes"))
            self.gauges[self.gauge.serial] = self.gauge
            if answer not in ("y", "yes"):
                self.say("  zero it first: put it on a flat plate, set zero, then answer y")
                return self._gauge(task)
            self.zero_asked |= {self.gauge.serial}
        return self.gauge

    def _pick(self, question: str, choices: tuple[str, ...]) -> str:
        self.say(f"  {question.strip()}")
        for number, choice in enumerate(choices, start=1):
            self.say(f"    {number}  {choice}")
        while True:
            typed = self._line("  number > ")
            if typed.isascii() and typed.isdigit() and len(typed) < 4 and 1 <= int(typed) <= len(choices):
                return choices[int(typed) - 1]
            self.say(f"  a number from 1 to {len(choices)}, please")

    def _line(self, prompt: str) -> str:
        typed = self.ask(prompt).strip()
        if typed.lower() in STOP:
            raise _Leave
        return typed


def _state(shop: Shop, tag: str, kept: int, at: datetime) -> State:
    opened = []
    try:
        for criterion, quantity in inspection.open_ready(shop, tag, _last_reader(shop, tag), at):
            record = shop.ledger.load(tag)
            points = sheet_of(record).points_of(criterion.id)
            deepest = max((r.value_mm for p in points for r in record.log.standing(p.number)), default=0.0)
            opened.append(
                f"{criterion.title}: sealed estimate {figure_words(quantity)}, deepest reading {deepest:.3f} mm"
            )
    except BadInput as error:  # the entries are in; the estimate opens the next time
        opened.append(error.line())
    missing = tuple(inspection.still_missing(shop.ledger.load(tag)))
    return State(tag=tag, kept=kept, missing=missing, opened=tuple(opened))


def _last_reader(shop: Shop, tag: str) -> str:
    """Who entered last: before that person's eyes the estimate opens."""
    entries = shop.ledger.load(tag).log.entries
    what = entries[-1].what if entries else None
    return what.reader if isinstance(what, GaugeReading) else what.by if what else ""
