"""What a sheet still asks for, and what may be entered on it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from wearvision.errors import BadInput, NeedsPerson
from wearvision.quantity import K95, Measured, Quantity, Unmeasured
from wearvision.rules.entry import Log
from wearvision.rules.prefilled import PrefilledSheet
from wearvision.rules.reading import GaugeReading, SightCheck
from wearvision.rules.rubric import Criterion, Plan, Sight


def missing(sheet: PrefilledSheet, log: Log, only: str = "") -> tuple[str, ...]:
    """What is not yet in the log, in walking order: first readings, wanted second readings, sight checks.

    With `only`, the id of a criterion, what that criterion still lacks.
    """
    seconds = seconds_wanted(sheet, log)
    out: list[str] = []
    for criterion in sheet.criteria:
        if only and criterion.id != only:
            continue
        for point in sheet.points_of(criterion.id):
            if log.first(point.number) is None:
                out.append(f"reading {point.number} ({criterion.id}: {point.where})")
            elif point.number in seconds:
                out.append(f"a second reading at {point.number} ({criterion.id}), without looking at the first")
        for sight in sights_wanted(sheet, log, criterion):
            if log.sight(criterion.id, sight.id) is None:
                out.append(f"check {criterion.id}/{sight.id} ({sight.question})")
    return tuple(out)


def sights_wanted(sheet: PrefilledSheet, log: Log, criterion: Criterion) -> tuple[Sight, ...]:
    """Checks of a criterion that apply: a suspicion, once seen or entered, stays until its test is made."""
    suspected = bool(sheet.placed(criterion)) or any(
        isinstance(e.what, SightCheck) and _makes_suspect(criterion, e.what) for e in log.entries
    )
    return tuple(s for s in criterion.sights if s.when == "always" or suspected)


def seconds_wanted(sheet: PrefilledSheet, log: Log) -> tuple[int, ...]:
    """Points whose first reading disagrees with the sealed estimate and that have no second reading yet.

    Of a finding the deepest first reading m is held against its sealed estimate e, once all its points, of
    whatever criterion, have been read: disagreement is |m - e| > 1.96 sqrt(u_m^2 + u_e^2). Amendments do not
    take the wish away.
    """
    wanted = []
    for criterion in sheet.criteria:
        for sha, finding in sheet.placed(criterion):
            sealed = finding.sealed.get(criterion.quantity)
            there = [p for p in sheet.points if (p.photo_sha, p.finding) == (sha, finding.id)]
            own = [p for p in there if p.criterion == criterion.id]
            if not isinstance(sealed, Measured) or not own or any(log.first(p.number) is None for p in there):
                continue
            firsts = [r for p in own if (r := log.first(p.number)) is not None]
            deepest = max(firsts, key=lambda r: r.value_mm)
            if disagree(deepest, sealed, criterion.readings) and not log.has_second(deepest.point):
                wanted.append(deepest.point)
    return tuple(sorted(wanted))


def sealed_until(sheet: PrefilledSheet, criterion: str, log: Log) -> tuple[str, ...]:
    """What must be in the log before the estimate of a criterion may be seen; empty when it may.

    Everything that criterion asks for, and every other one under which one of its findings counts: a mark has
    one estimate, and who has seen it for one criterion has seen it for all.
    """
    own = _marks(sheet, sheet.rubric.criterion(criterion))
    with_it = [c for c in sheet.criteria if c.id == criterion or own & _marks(sheet, c)]
    return tuple(line for c in with_it for line in missing(sheet, log, c.id))


def _marks(sheet: PrefilledSheet, criterion: Criterion) -> set[tuple[str, str]]:
    return {(sha, finding.id) for sha, finding in sheet.placed(criterion)}


def open_estimate(sheet: PrefilledSheet, criterion: str, log: Log) -> Quantity:
    """The sealed estimate of a criterion: the largest of its findings, mm.

    Raises
    ------
    NeedsPerson
        While something is missing that `sealed_until` names, wanted second readings included.
    """
    asked = sheet.rubric.criterion(criterion)
    if still := sealed_until(sheet, criterion, log):
        raise NeedsPerson(f"the estimate of {criterion} stays sealed", do=f"first take {still[0]}")
    sealed = [f.sealed[asked.quantity] for _, f in sheet.placed(asked) if asked.quantity in f.sealed]
    known = [q for q in sealed if isinstance(q, Measured)]
    if known:
        return max(known, key=lambda q: q.value)
    return sealed[0] if sealed else Unmeasured(reason="no estimate was made from the photos")


def disagree(reading: GaugeReading, sealed: Measured, plan: Plan | None) -> bool:
    """Whether reading and sealed estimate differ by more than 1.96 times their joint standard uncertainty."""
    u = math.hypot(reading_u(reading, plan), sealed.u)
    return abs(reading.value_mm - sealed.value) > K95 * u


def reading_u(reading: GaugeReading, plan: Plan | None) -> float:
    """Standard uncertainty of a reading with its seating on the part, mm."""
    return math.hypot(reading.u_mm, seat_u(plan))


def seat_u(plan: Plan | None) -> float:
    """Standard uncertainty of seating, mm: the half-width taken as rectangular."""
    return 0.0 if plan is None else plan.seating_mm / math.sqrt(3)


def check_fits(sheet: PrefilledSheet, what: GaugeReading | SightCheck) -> tuple[str, ...]:
    """Refuse an entry that does not fit the sheet; returns the doubts it is accepted with.

    Raises
    ------
    BadInput
        Unknown point or check, gauge not allowed here or too coarse, out of calibration or without a zero
        check where the rubric refuses it, answer or way of looking that the rubric does not list.
    """
    if type(what) is GaugeReading:
        return tuple(_check_reading(sheet, what))
    if type(what) is SightCheck:
        return _check_sight(sheet, what)
    raise BadInput("only a gauge reading or a sight check can be entered", got=type(what).__name__)


def _check_reading(sheet: PrefilledSheet, reading: GaugeReading) -> Iterator[str]:
    criterion = sheet.rubric.criterion(sheet.point(reading.point).criterion)
    plan, gauge = criterion.readings, reading.instrument
    if plan is None or gauge.kind not in plan.gauges:
        allowed = ", ".join(plan.gauges) if plan else "none"
        raise BadInput(f"this gauge is not for {criterion.id}", got=gauge.kind, do=f"use {allowed}")
    if gauge.mpe_mm > plan.largest_error_mm:
        largest = f"at most {plan.largest_error} is allowed for {criterion.id}"
        raise BadInput(f"gauge {gauge.serial} is too coarse: {largest}", got=gauge.mpe_mm, do="use a finer gauge")
    rules = sheet.rubric.file.gauges
    doubts = (
        (gauge.overdue(reading.at), rules.overdue, "is out of calibration, or has no known due date",
         "use a gauge in order, or change the rubric's rule"),
        (gauge.zero_unchecked(reading.at), rules.no_zero_check, "had no zero check on the day of use",
         "zero it on a flat plate, take the reading again and say that it was checked"),
    )  # fmt: skip
    for doubtful, rule, words, do in doubts:
        if doubtful and rule == "refuse":
            raise BadInput(f"gauge {gauge.serial} {words}", do=do)
        if doubtful:
            yield f"gauge {gauge.serial} {words}"


def _check_sight(sheet: PrefilledSheet, what: SightCheck) -> tuple[str, ...]:
    criterion = next((c for c in sheet.criteria if c.id == what.criterion), None)
    sight = criterion.sight(what.check) if criterion else None
    if sight is None:
        raise BadInput("no such check on this sheet", got=(what.criterion, what.check))
    for word, got, allowed in (
        ("answer", what.answer, tuple(sight.answers)),
        ("way of looking", what.how, sight.how),
    ):
        if got not in allowed:
            raise BadInput(f"not an {word}" if word == "answer" else f"not a {word}", got=got,
                           do=f"use one of: {', '.join(allowed)}")  # fmt: skip
    if sight.record and not what.record.strip():
        raise BadInput(f"check {sight.id} needs a record", do=f"give the {sight.record}")
    return ()


def _makes_suspect(criterion: Criterion, what: SightCheck) -> bool:
    sight = criterion.sight(what.check) if what.criterion == criterion.id else None
    return sight is not None and sight.answers.get(what.answer) == "suspect"
