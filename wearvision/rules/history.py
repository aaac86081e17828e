"""How one part wears from one inspection to the next: confirmed figures in their order, a rate, the time left.

Only figures of confirmed sheets appear; an estimate from a photo cannot get here. A line follows one criterion
and one quantity. What counts towards the rate is the last unbroken run of inspections under like duty in which
the figure did not step back.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from wearvision.arrival import Arrival
from wearvision.quantity import K95, Unmeasured
from wearvision.rules.decision import Limit
from wearvision.rules.duty import same_duty
from wearvision.rules.outcome import Figure, outcome_of
from wearvision.rules.rate import OPTIMISTIC, Clock, Inspected, TimeLeft, WearRate, stepped_back, wear_rate
from wearvision.rules.reading import day_of
from wearvision.rules.rubric import Criterion
from wearvision.rules.sheet import ConfirmedSheet

Key = tuple[str, str]
UNITS: dict[Clock, tuple[str, float, str]] = {
    "running hours": ("mm/1000 h", 1000.0, "h"),
    "days": ("mm/year", 365.25, "d"),
}
"""Clock -> unit of a rate, what it is per, unit of a time."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Inspection:
    """One inspection of a part: how it came in, and the sheet a person confirmed, if one did.

    Attributes
    ----------
    arrival : Arrival
    sheet : ConfirmedSheet or None
        The last one confirmed; `None` while it is open, or was left open.
    replaced : int
        Confirmed sheets of this inspection that a newer sheet took the place of.
    """

    arrival: Arrival
    sheet: ConfirmedSheet | None = None
    replaced: int = 0


@dataclass(frozen=True, kw_only=True)
class Stand:
    """Where one criterion stood at one inspection.

    Attributes
    ----------
    arrival : Arrival
    day : str
        ISO date it is placed at: as stated, else that of its last reading.
    figure : Figure
    counted : bool
        Whether the rate rests on it.
    """

    arrival: Arrival
    day: str
    figure: Figure
    counted: bool = False

    def time(self, clock: Clock) -> float:
        """Running hours, or days since the year 1."""
        if clock == "running hours" and self.arrival.running_hours is not None:
            return self.arrival.running_hours
        return float(date.fromisoformat(self.day).toordinal())

    def to_json(self) -> dict[str, object]:
        """`{"crate", "day", "running_hours", "duty", "value_mm", "u_mm", "u95_mm", "word", "counted"}`."""
        arrival, figure = self.arrival, self.figure
        return {
            "crate": arrival.crate, "day": self.day, "running_hours": arrival.running_hours, "duty": arrival.duty,
            "value_mm": figure.value_mm, "u_mm": figure.u_mm, "u95_mm": K95 * figure.u_mm,
            "word": figure.decision.word, "counted": self.counted,
        }  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class WearLine:
    """One criterion over the inspections of a part.

    Attributes
    ----------
    criterion : Criterion
        As the latest rubric that asks it words it; its limit is the one the line is held against.
    stands : tuple of Stand
    clock : Clock
        What time is counted in; calendar days where running hours are not stated throughout.
    rate : WearRate or Unmeasured
    notes : tuple of str
        What the rate rests on and what it leaves out, in sentences.
    """

    criterion: Criterion
    stands: tuple[Stand, ...]
    clock: Clock
    rate: WearRate | Unmeasured
    notes: tuple[str, ...]

    @property
    def limit(self) -> Limit:
        """Limit of the criterion."""
        return _limit(self.criterion)

    def to_json(self) -> dict[str, object]:
        """`{"criterion", "title", "quantity", "limit", "inspections", "clock", "rate", "time_left", "notes"}`."""
        unit, per, time_unit = UNITS[self.clock]
        rate: dict[str, object]
        left: dict[str, object] | None = None
        if isinstance(self.rate, WearRate):
            rate = {"value": self.rate.rate * per, "u95": K95 * self.rate.u * per, "unit": unit,
                    "inspections": self.rate.count, "widened": self.rate.widened}  # fmt: skip
            time = self.rate.left
            left = {**vars(time), "unit": time_unit} if isinstance(time, TimeLeft) else time.to_json()
        else:
            rate = self.rate.to_json()
        return {
            "criterion": self.criterion.id, "title": self.criterion.title, "quantity": self.criterion.quantity,
            "limit": {"upper_mm": self.limit.upper_mm, "lower_mm": self.limit.lower_mm, "text": self.limit.text},
            "inspections": [s.to_json() for s in self.stands], "clock": self.clock, "rate": rate, "time_left": left,
            "notes": list(self.notes),
        }  # fmt: skip


def wear_lines(inspections: Sequence[Inspection]) -> tuple[WearLine, ...]:
    """The line of each gauged criterion, in the order of the latest rubric; those it no longer asks come last."""
    confirmed = [(i.arrival, i.sheet) for i in inspections if i.sheet is not None]
    criteria: dict[Key, Criterion] = {}
    for _, sheet in reversed(confirmed):
        for criterion in _gauged(sheet):
            criteria.setdefault((criterion.id, criterion.quantity), criterion)
    return tuple(_line(criterion, _stands(confirmed, key)) for key, criterion in criteria.items())


def _gauged(sheet: ConfirmedSheet) -> Iterable[Criterion]:
    return (c for c in sheet.prefilled.criteria if c.limit is not None and c.readings is not None)


def _stands(confirmed: Iterable[tuple[Arrival, ConfirmedSheet]], key: Key) -> list[Stand]:
    stands = []
    for arrival, sheet in confirmed:
        for criterion in _gauged(sheet):
            figure = outcome_of(sheet, criterion).figure
            if (criterion.id, criterion.quantity) == key and figure is not None:
                day = arrival.inspected_on or _day(sheet, criterion)
                stands.append(Stand(arrival=arrival, day=day, figure=figure))
    return stands


def _day(sheet: ConfirmedSheet, criterion: Criterion) -> str:
    points = sheet.prefilled.points_of(criterion.id)
    return max(day_of(r.at) for p in points for r in sheet.log.standing(p.number)).isoformat()


def _line(criterion: Criterion, stands: Sequence[Stand]) -> WearLine:
    notes: list[str] = []
    limit = _limit(criterion)
    run = _like_duty(stands, notes)
    run = _since_step_back(run, limit, notes)
    clock = _clock(run, notes)
    rate = wear_rate([_inspected(s, clock) for s in run], limit)
    if isinstance(rate, WearRate):
        if rate.widened > 1:
            notes.append(
                f"The figures scatter more than their gauges explain: uncertainties widened {rate.widened:.1f} times."
            )
        notes += [OPTIMISTIC] if rate.left else []
    marked = tuple(
        Stand(arrival=s.arrival, day=s.day, figure=s.figure, counted=bool(rate) and s in run) for s in stands
    )
    return WearLine(criterion=criterion, stands=marked, clock=clock, rate=rate, notes=tuple(notes))


def _limit(criterion: Criterion) -> Limit:
    assert criterion.limit is not None
    return criterion.limit.limit


def _inspected(stand: Stand, clock: Clock) -> Inspected:
    return Inspected(time=stand.time(clock), value_mm=stand.figure.value_mm, u_mm=stand.figure.u_mm)


def _like_duty(stands: Sequence[Stand], notes: list[str]) -> list[Stand]:
    """The last inspections between which the duty was the same; an arrival states the duty that led up to it."""
    start = len(stands) - 1
    while start > 0 and (start == len(stands) - 1 or _alike(stands[start], stands[-1])):
        start -= 1
    if len(stands) > 1:
        duty = stands[-1].arrival.duty
        notes.append(f"Under like duty: {duty}." if duty else "Duty is not stated: taken as alike throughout.")
    if start > 0:
        other = stands[start].arrival
        notes.append(
            f"Left out, because the duty was another ({other.duty or 'not stated'}): {_many(start)}. Was it the same in"
            f" other words? Then correct it: history TAG --correct '{other.crate}' --duty."
        )
    return list(stands[max(start, 0) :])


def _alike(one: Stand, other: Stand) -> bool:
    return same_duty(one.arrival.duty, other.arrival.duty)


def _since_step_back(run: list[Stand], limit: Limit, notes: list[str]) -> list[Stand]:
    start = 0
    for n in range(1, len(run)):
        if stepped_back(_inspected(run[n - 1], "days"), _inspected(run[n], "days"), limit):
            start = n
    if start:
        notes.append(
            f"The figure went back on {run[start].day}: machined, built up or exchanged; the rate counts from there."
        )
    return run[start:]


def _clock(run: Sequence[Stand], notes: list[str]) -> Clock:
    if all(s.arrival.running_hours is not None for s in run):
        return "running hours"
    if len(run) > 1:
        notes.append(
            "Time is counted in calendar days: running hours are not stated at each inspection. State running_hours"
            " in crate.toml: a part wears by the hour."
        )
    return "days"


def _many(count: int) -> str:
    return "1 earlier inspection" if count == 1 else f"{count} earlier inspections"
