"""Rubrics, findings, gauges and whole logs for tests of the rules."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from wearvision.finding import Finding, Kind
from wearvision.quantity import Measured, Quantity
from wearvision.rules.points import GaugePoint
from wearvision.rules.reading import GaugeKind, GaugeReading, Instrument, SightCheck
from wearvision.rules.rubric import Rubric
from wearvision.rules.sheet import ConfirmedSheet, Log, PrefilledSheet, sights_wanted

RUBRICS = Path(__file__).parent.parent / "rubric"
SHA = "ab" * 32
AT = "2026-03-02T09:30:00"


def rubric(kind: str = "casing") -> Rubric:
    return Rubric((RUBRICS / f"{kind}.toml").read_text(encoding="utf-8"), f"rubric/{kind}.toml")


def finding(
    name: str = "G1", kind: Kind = "groove", *, sealed_mm: float | None = None, size: float = 20.0, at: float = 100.0,
    **more: Any,
) -> Finding:  # fmt: skip
    outline = np.array([[at, at], [at + size, at], [at + size, at + size], [at, at + size]])
    sealed: dict[str, Quantity] = {}
    if sealed_mm is not None:
        sealed["depth"] = Measured(value=sealed_mm, u=0.1, unit="mm", how="light line")
    width = Measured.of(4.2, "mm", edge=0.03, print=0.02)
    return Finding(id=name, kind=kind, outline_px=outline, quantities={"width": width}, sealed=sealed, **more)


def gauge(kind: GaugeKind = "depth gauge", **more: Any) -> Instrument:
    fields: dict[str, Any] = {
        "serial": "D-12", "resolution_mm": 0.01, "mpe_mm": 0.02, "last_zero": "2026-03-02T08:00:00",
        "due": "2026-12-31",
    }  # fmt: skip
    return Instrument(kind=kind, **(fields | more))


def reading(point: int, typed: str = "0.50 mm", *, instrument: Instrument | None = None, at: str = AT) -> GaugeReading:
    return GaugeReading(point=point, typed=typed, instrument=instrument or gauge(), reader="A. Fitter", at=at)


def fitting(sheet: PrefilledSheet, point: GaugePoint, typed: str) -> GaugeReading:
    """A reading at a point with the first gauge its criterion allows."""
    plan = sheet.rubric.criterion(point.criterion).readings
    assert plan is not None
    return reading(point.number, typed, instrument=gauge(plan.gauges[0], mpe_mm=min(0.02, plan.largest_error_mm)))


def sight(sheet: PrefilledSheet, criterion: str, check: str, outcome: str = "pass") -> SightCheck:
    """An answer with the wanted outcome."""
    asked = sheet.rubric.criterion(criterion).sight(check)
    assert asked is not None
    answer = next(a for a, o in asked.answers.items() if o == outcome)
    record = "PT-26-014" if asked.record else ""
    return SightCheck(criterion=criterion, check=check, answer=answer, how=asked.how[0], by="B. Fitter", at=AT,
                      record=record)  # fmt: skip


def sound(sheet: PrefilledSheet, criterion: str) -> str:
    """A typed length well inside the limit."""
    text = sheet.rubric.criterion(criterion).limit
    assert text is not None
    limit = text.limit
    if limit.lower_mm is None:
        assert limit.upper_mm is not None
        return f"{limit.upper_mm * 0.2:.3f} mm"
    upper = limit.upper_mm if limit.upper_mm is not None else limit.lower_mm * 2
    return f"{limit.lower_mm + (upper - limit.lower_mm) / 4:.3f} mm"


def whole_log(
    sheet: PrefilledSheet, *, typed: dict[int, str] | None = None, sights: dict[tuple[str, str], str] | None = None
) -> Log:
    """Everything the sheet asks for: sound unless told otherwise."""
    log = Log()
    for point in sheet.points:
        text = (typed or {}).get(point.number)
        if text is None and point.role:
            text = (
                "100.000 mm" if point.role == "inner" else f"{100 + float(sound(sheet, point.criterion)[:-3]):.3f} mm"
            )
        log = log.commit(fitting(sheet, point, text or sound(sheet, point.criterion)))
    for criterion in sheet.criteria:
        for _ in range(2):
            for asked in sights_wanted(sheet, log, criterion):
                if log.sight(criterion.id, asked.id) is None:
                    outcome = (sights or {}).get((criterion.id, asked.id), "pass")
                    log = log.commit(sight(sheet, criterion.id, asked.id, outcome))
    return log


def confirm(sheet: PrefilledSheet, log: Log | None = None) -> ConfirmedSheet:
    return ConfirmedSheet(
        prefilled=sheet, log=log or whole_log(sheet), confirmed_by="C. Lead", confirmed_at="2026-03-02T11:00:00"
    )
