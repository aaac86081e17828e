"""What a history counts, what it leaves out, and what time is measured in."""

from __future__ import annotations

from typing import Any

import pytest

from tests import sheet_kit as kit
from wearvision.arrival import Arrival
from wearvision.quantity import Unmeasured
from wearvision.rules.history import Inspection, WearLine, wear_lines
from wearvision.rules.rate import OPTIMISTIC, TimeLeft, WearRate
from wearvision.rules.rubric import Rubric
from wearvision.rules.sheet import ConfirmedSheet, prefill


def sheet(depth: str, rubric: Rubric | None = None) -> ConfirmedSheet:
    """A confirmed casing sheet without findings, `depth` at each place of the wear face."""
    prefilled = prefill(rubric or kit.rubric(), "C-1", [])
    own = [p.number for p in prefilled.points_of("wear-face")]
    return kit.confirm(prefilled, kit.whole_log(prefilled, typed=dict.fromkeys(own, depth)))


def inspection(crate: str, depth: str, **came: Any) -> Inspection:
    return Inspection(arrival=Arrival(crate=crate, **came), sheet=sheet(depth))


def face(*inspections: Inspection) -> WearLine:
    return next(line for line in wear_lines(inspections) if line.criterion.id == "wear-face")


def rate(line: WearLine) -> WearRate:
    assert isinstance(line.rate, WearRate), line.rate
    return line.rate


def test_hours_where_they_are_stated_throughout() -> None:
    """(1.20 - 0.70) / 4000 h; to 1/8 in = 3.175 mm (3.175 - 1.20) / 0.125 per 1000 h = 15800 h; by hand."""
    line = face(inspection("A", "0.70 mm", running_hours=0), inspection("B", "1.20 mm", running_hours=4000))
    assert line.clock == "running hours"
    assert rate(line).rate == pytest.approx(0.5 / 4000)
    left = rate(line).left
    assert isinstance(left, TimeLeft)
    assert left.value == pytest.approx(15800)
    assert OPTIMISTIC in line.notes
    assert not any("calendar" in note for note in line.notes)


@pytest.mark.parametrize("hours", [{}, {"running_hours": 4000}])
def test_days_where_hours_are_missing_and_that_is_said(hours: dict[str, Any]) -> None:
    """0.5 mm in the 365 days from 2025-03-02 to 2026-03-02."""
    line = face(
        inspection("A", "0.70 mm", inspected_on="2025-03-02"),
        inspection("B", "1.20 mm", inspected_on="2026-03-02", **hours),
    )
    assert line.clock == "days"
    assert rate(line).rate == pytest.approx(0.5 / 365)
    assert any("calendar days" in note for note in line.notes)


def test_the_day_of_the_readings_stands_in_for_one_not_stated() -> None:
    (stand,) = face(inspection("A", "0.70 mm")).stands
    assert stand.day == kit.AT[:10]


def test_one_inspection_gives_no_rate_and_says_what_it_needs() -> None:
    line = face(inspection("A", "0.70 mm", running_hours=10))
    assert isinstance(line.rate, Unmeasured)
    assert "two or more inspections under like duty" in line.rate.reason
    assert not line.stands[0].counted


def test_an_inspection_that_nobody_confirmed_has_no_figure() -> None:
    empty = Inspection(arrival=Arrival(crate="B", running_hours=4000))
    assert len(face(inspection("A", "0.70 mm", running_hours=0), empty).stands) == 1
    assert wear_lines([empty]) == ()


def test_only_steps_under_the_last_duty_count() -> None:
    """An arrival states the duty that led up to it: B's led from A to B, C's and D's from B on."""
    line = face(
        inspection("A", "0.10 mm", running_hours=0, duty="sand"),
        inspection("B", "0.90 mm", running_hours=1000, duty="sand"),
        inspection("C", "1.00 mm", running_hours=2000, duty="Clean water"),
        inspection("D", "1.10 mm", running_hours=3000, duty="clean water"),
    )
    assert [s.counted for s in line.stands] == [False, True, True, True]
    assert rate(line).rate * 1000 == pytest.approx(0.10)
    assert any("1 earlier inspection" in note for note in line.notes)
    assert any("like duty: clean water" in note for note in line.notes)


def test_duty_that_nobody_states_is_taken_as_alike_and_said() -> None:
    line = face(inspection("A", "0.10 mm", running_hours=0), inspection("B", "0.90 mm", running_hours=1000))
    assert any("Duty is not stated" in note for note in line.notes)


def test_after_rework_the_line_begins_anew() -> None:
    before = [inspection("A", "0.70 mm", running_hours=0), inspection("B", "1.20 mm", running_hours=4000)]
    machined = face(*before, inspection("C", "0.20 mm", running_hours=8000))
    assert isinstance(machined.rate, Unmeasured)
    assert any("went back" in note for note in machined.notes)
    again = face(
        *before, inspection("C", "0.20 mm", running_hours=8000), inspection("D", "0.60 mm", running_hours=12000)
    )
    assert [s.counted for s in again.stands] == [False, False, True, True]
    assert rate(again).rate * 1000 == pytest.approx(0.10)


def test_the_limit_is_that_of_the_latest_rubric_and_other_quantities_are_other_lines() -> None:
    text = kit.rubric().text
    tighter = Rubric(text.replace('limit = { upper = "1/8"', 'limit = { upper = "1/16"', 1), "rubric/casing.toml")
    other = Rubric(text.replace('quantity = "depth"', 'quantity = "height_loss"', 1), "rubric/casing.toml")
    first = Inspection(arrival=Arrival(crate="A", running_hours=0), sheet=sheet("0.70 mm"))
    second = Inspection(arrival=Arrival(crate="B", running_hours=4000), sheet=sheet("1.20 mm", tighter))
    assert face(first, second).limit.upper_mm == pytest.approx(1.5875)
    third = Inspection(arrival=Arrival(crate="B", running_hours=4000), sheet=sheet("1.20 mm", other))
    lines = [line for line in wear_lines([first, third]) if line.criterion.id == "wear-face"]
    assert [(line.criterion.quantity, len(line.stands)) for line in lines] == [("height_loss", 1), ("depth", 1)]


def test_json_names_units_and_says_why_there_is_none() -> None:
    whole = face(inspection("A", "0.70 mm", running_hours=0), inspection("B", "1.20 mm", running_hours=4000)).to_json()
    assert isinstance(whole["rate"], dict)
    assert isinstance(whole["time_left"], dict)
    assert whole["rate"]["unit"] == "mm/1000 h"
    assert whole["rate"]["value"] == pytest.approx(0.125)
    assert whole["time_left"]["unit"] == "h"
    single = face(inspection("A", "0.70 mm")).to_json()
    assert isinstance(single["rate"], dict)
    assert "unmeasured" in single["rate"]
    assert single["time_left"] is None
