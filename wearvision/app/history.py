"""The history of one part: confirmed figures over its inspections, wear rate, time left, plots."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from wearvision.app.shop import Shop
from wearvision.arrival import Arrival
from wearvision.errors import NeedsPerson, UsageError
from wearvision.pages.history import HistoryRow, HistoryView, bounds_words, count_words, step_of
from wearvision.pages.page import say
from wearvision.pages.plots import Ahead, Mark, Plot
from wearvision.quantity import K95, Measured
from wearvision.rules.history import UNITS, Stand, WearLine, wear_lines
from wearvision.rules.rate import TimeLeft, WearRate, speed_factor
from wearvision.store.ledger import PartRecord

QUANTITY_WORDS = {"clearance": "diametral clearance"}
MOST_DAYS = 36525.0


@dataclass(frozen=True, kw_only=True)
class Speeds:
    """Speed so far and speed to come, rev/min, both above 0."""

    now_rpm: float
    next_rpm: float

    def __post_init__(self) -> None:
        _ = self.factor

    @property
    def factor(self) -> tuple[float, float]:
        """How many times as fast wear by slurry goes, least and most."""
        return speed_factor(self.now_rpm, self.next_rpm)


@dataclass(frozen=True, kw_only=True)
class PartHistory:
    """Everything the history of a part tells.

    Attributes
    ----------
    tag, kind : str
    lines : tuple of WearLine
    notes : tuple of str
        About the part as a whole.
    speeds : Speeds or None
    """

    tag: str
    kind: str
    lines: tuple[WearLine, ...]
    notes: tuple[str, ...]
    speeds: Speeds | None = None

    @property
    def views(self) -> tuple[HistoryView, ...]:
        """For people."""
        return tuple(history_view(line, self.speeds) for line in self.lines)

    def to_json(self) -> dict[str, Any]:
        """Everything, schema `wearvision.history/1`."""
        return {
            "schema": "wearvision.history/1", "tag": self.tag, "kind": self.kind, "notes": list(self.notes),
            "lines": [{**line.to_json(), "said": list(_said(line, self.speeds))} for line in self.lines],
        }  # fmt: skip


def part_history(
    shop: Shop, tag: str, *, now_rpm: float | None = None, next_rpm: float | None = None
) -> PartHistory:
    """The history of a part, from a ledger proved sound.

    Parameters
    ----------
    now_rpm, next_rpm : float, optional
        Speed so far and speed to come, both or none: what that does to wear by slurry is told as a range.

    Raises
    ------
    NeedsPerson
        When no sheet of the part was ever confirmed.
    BrokenRecord
        When any event of the ledger is missing, changed or foreign.
    """
    if (now_rpm is None) != (next_rpm is None):
        raise UsageError("one speed alone says nothing", do="give both --rpm and --next-rpm")
    speeds = None if now_rpm is None or next_rpm is None else Speeds(now_rpm=now_rpm, next_rpm=next_rpm)
    record = shop.ledger.load(tag)
    if not any(i.sheet for i in record.inspections):
        raise NeedsPerson(f"no inspection of {tag} is confirmed yet", do="take its readings and confirm its sheet")
    shop.ledger.require_sound()
    return PartHistory(
        tag=tag, kind=record.kind, lines=wear_lines(record.inspections), notes=_notes(record), speeds=speeds
    )


def correct_arrival(
    shop: Shop, tag: str, crate: str, hours: float | None, inspected_on: str, duty: str, *, by: str, reason: str,
    at: datetime,
) -> None:  # fmt: skip
    """Correct what was stated about one inspection; the first statement stays on record."""
    if not crate:
        raise UsageError("facts of which inspection?", do="add --correct CRATE")
    said = Arrival(crate=crate, running_hours=hours, inspected_on=inspected_on, duty=duty)
    shop.ledger.correct(tag, said, by, reason, at)


def _notes(record: PartRecord) -> tuple[str, ...]:
    count = len(record.inspections)
    notes = [f"{count} inspection{'s' if count > 1 else ''}: {', '.join(i.arrival.crate for i in record.inspections)}."]
    open_ones = [i.arrival.crate for i in record.inspections if i.sheet is None]
    if open_ones:
        notes.append(f"Not confirmed, so not counted: {', '.join(open_ones)}.")
    for inspection in record.inspections:
        if inspection.replaced:
            notes.append(f"{inspection.arrival.crate}: an earlier confirmed sheet was replaced by a new one.")
    return tuple(notes)


def history_views(record: PartRecord) -> tuple[HistoryView, ...]:
    """What a report shows: the criteria with figures of two or more inspections."""
    return tuple(history_view(line) for line in wear_lines(record.inspections) if len(line.stands) > 1)


def history_view(line: WearLine, speeds: Speeds | None = None) -> HistoryView:
    """One line in words, with its plot."""
    return HistoryView(
        title=line.criterion.title, limit=line.limit.text, rows=tuple(_row(s) for s in line.stands),
        said=_said(line, speeds), notes=line.notes, plot=_plot(line) if len(line.stands) > 1 else None,
    )  # fmt: skip


def _row(stand: Stand) -> HistoryRow:
    hours = stand.arrival.running_hours
    figure = Measured(value=stand.figure.value_mm, u=stand.figure.u_mm, unit="mm")
    return HistoryRow(
        crate=stand.arrival.crate, duty=stand.arrival.duty, day=stand.day,
        hours="not stated" if hours is None else count_words(hours, 1.0),
        figure=say(figure, signed=True).removesuffix(" mm"), word=stand.figure.decision.word, counted=stand.counted,
    )  # fmt: skip


def _said(line: WearLine, speeds: Speeds | None) -> tuple[str, ...]:
    rate = line.rate
    if not isinstance(rate, WearRate):
        return (f"{_lead(rate.reason)}{f'; {rate.hint}' if rate.hint else ''}.",)
    _, per, unit = UNITS[line.clock]
    worn = say(Measured(value=rate.rate * per, u=rate.u * per, unit="mm"), signed=True)
    per_words = "1000 running hours" if unit == "h" else "year"
    said = [f"Wear rate {worn} per {per_words}, from {rate.count} inspections."]
    left = rate.left
    if not isinstance(left, TimeLeft):
        return (*said, f"{_lead(left.reason)}.")
    about = f"{count_words(left.value, step_of(left.low, left.high))}\u00a0{unit}"
    bounds = f"{bounds_words(left.low, left.high)}\u00a0{unit}{_dates(line, left)}"
    said.append(f"Time left to the limit: {about} (95\u00a0%: {bounds}).")
    if left.low <= 0:
        said.append("It may be at its limit already.")
    if speeds is not None:
        said.append(_at_speed(left, speeds, unit))
    return tuple(said)


def _dates(line: WearLine, left: TimeLeft) -> str:
    """In days, the dates that the bounds mean; hours do not tell a date."""
    if line.clock != "days" or left.high > MOST_DAYS:
        return ""
    last = date.fromisoformat(line.stands[-1].day)
    low, high = (last + timedelta(days=days) for days in (max(0.0, left.low), left.high))
    return f", {low:%Y-%m} to {high:%Y-%m}"


def _at_speed(left: TimeLeft, speeds: Speeds, unit: str) -> str:
    low, high = speeds.factor
    left_then = bounds_words(left.low / high, left.high / low)
    return (
        f"At {speeds.next_rpm:g} rpm instead of {speeds.now_rpm:g} wear by slurry goes {low:.2f} to {high:.2f} times as"
        f" fast (speed to the power 2.5 to 3, from memory): {left_then}\u00a0{unit} left instead."
    )


def _plot(line: WearLine) -> Plot:
    first = line.stands[0].time(line.clock)
    days = line.clock == "days"
    zero = first if days else 0.0
    name = f"days since {line.stands[0].day}" if days else "running hours, h"
    stands = [s for s in line.stands if days or s.arrival.running_hours is not None]
    what = QUANTITY_WORDS.get(line.criterion.quantity, line.criterion.quantity.replace("_", " "))
    return Plot(
        alt=f"{line.criterion.title}, {len(stands)} inspections: {' '.join(_said(line, None))}", x_name=name,
        y_name=f"{what}, mm", limits=_limits(line), line=_ends(line, zero), ahead=_ahead(line, zero),
        marks=tuple(
            Mark(x=s.time(line.clock) - zero, y=s.figure.value_mm, half=K95 * s.figure.u_mm, counted=s.counted)
            for s in stands
        ),
    )  # fmt: skip


def _limits(line: WearLine) -> tuple[tuple[float, str], ...]:
    """Each side of the limit with its words."""
    limit = line.limit
    sides = ((limit.upper_mm, "limit"), (limit.lower_mm, "lower limit" if limit.upper_mm is not None else "limit"))
    return tuple((v, f"{name} {v:.4f}".rstrip("0").rstrip(".") + " mm") for v, name in sides if v is not None)


def _ends(line: WearLine, zero: float) -> tuple[tuple[float, float], tuple[float, float]] | None:
    rate = line.rate
    if not isinstance(rate, WearRate):
        return None
    start = next(s for s in line.stands if s.counted).time(line.clock)
    slope = rate.rate if line.limit.upper_mm is not None else -rate.rate
    return ((start - zero, rate.last_mm - slope * (rate.last_time - start)), (rate.last_time - zero, rate.last_mm))


def _ahead(line: WearLine, zero: float) -> Ahead | None:
    rate = line.rate
    if not (isinstance(rate, WearRate) and isinstance(rate.left, TimeLeft)):
        return None
    end = line.limit.upper_mm if line.limit.upper_mm is not None else line.limit.lower_mm
    assert end is not None
    last, left = rate.last_time - zero, rate.left
    return Ahead(x=last + left.value, y=end, low=last + left.low, high=last + left.high)


def _lead(text: str) -> str:
    return text[:1].upper() + text[1:]
