from __future__ import annotations

import copy
import json
import pickle
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests import sheet_kit as kit
from wearvision.errors import BadInput, NeedsPerson, WearvisionError
from wearvision.finding import Finding
from wearvision.finding_record import finding_from_record, finding_record
from wearvision.quantity import Measured, Unmeasured
from wearvision.rules.rubric import Rubric
from wearvision.rules.sheet import (
    ConfirmedSheet,
    Log,
    PrefilledSheet,
    check_fits,
    missing,
    open_estimate,
    prefill,
    seconds_wanted,
    sights_wanted,
)

PHOTO2 = "cd" * 32


def sheet(*findings: Finding, view: str = "wear-face", kind: str = "casing") -> PrefilledSheet:
    return prefill(kit.rubric(kind), "C-7", [(kit.SHA, f) for f in findings], photos={kit.SHA: view})


def face_log(prefilled: PrefilledSheet, *typed: str) -> Log:
    log = Log()
    for point, text in zip(prefilled.points_of("wear-face"), typed, strict=True):
        log = log.commit(kit.reading(point.number, text))
    return log


def test_points_are_demanded_with_findings_or_without() -> None:
    bare = sheet()
    assert [p.criterion for p in bare.points] == ["wear-face"] * 3 + ["tongue"] * 2
    assert [p.number for p in bare.points] == [1, 2, 3, 4, 5]
    assert all(p.finding == "" and p.px is None and p.where for p in bare.points)
    one = sheet(kit.finding("G1", places_px=np.array([[110.0, 108.0], [118.0, 117.0], [101.0, 101.0]])))
    points = one.points_of("wear-face")
    assert [(p.finding, p.px) for p in points] == [("G1", (110.0, 108.0)), ("G1", (118.0, 117.0)), ("", None)]
    assert all(p.datum for p in points)


def test_points_follow_a_walk_and_a_further_place_follows_its_mark() -> None:
    far, near, middle = (kit.finding(f"G{i}", at=at) for i, at in ((1, 900.0), (2, 100.0), (3, 500.0)))
    walked = [(p.finding, p.px is None) for p in sheet(far, near, middle).points_of("wear-face")]
    assert walked == [("G2", False), ("G2", True), ("G3", False), ("G3", True), ("G1", False), ("G1", True)]


def test_only_the_largest_are_gauged_one_by_one_and_the_rest_share_a_point() -> None:
    pits = [kit.finding(f"P{i}", "pit", size=5.0 + i, at=50.0 * i) for i in range(14)]
    prefilled = sheet(*pits)
    assert {f.id for _, f in prefilled.not_gauged} == {"P0", "P1", "P2", "P3"}
    points = prefilled.points_of("wear-face")
    assert len(points) == 2 * 10 + 1
    assert "no number of their own" in points[-1].where


def test_a_finding_counts_where_its_photo_was_taken() -> None:
    pit = kit.finding("P1", "pit")
    assert sheet(pit).placed(kit.rubric().criterion("wear-face"))
    assert not sheet(pit, view="gasket-land").placed(kit.rubric().criterion("wear-face"))
    assert sheet(kit.finding("D1", "depth-section"), view="line-light").placed(kit.rubric().criterion("wear-face"))
    assert [f.id for _, f in sheet(kit.finding("V1", "vane")).unplaced] == ["V1"]


def test_a_struck_finding_stays_on_the_sheet_but_asks_nothing() -> None:
    prefilled = sheet(kit.finding("G1").strike("casting mark"))
    assert all(p.finding == "" for p in prefilled.points)
    assert prefilled.findings[0][1].struck == "casting mark"
    assert not prefilled.unplaced


@pytest.mark.parametrize(
    "change", [{"tag": " "}, {"rubric": "casing"}, {"photos": (("ab", "underside"),)}, {"stage": "repair"}]
)
def test_a_bad_sheet_is_refused(change: dict[str, Any]) -> None:
    with pytest.raises(BadInput):
        replace(sheet(), **change)
    with pytest.raises(BadInput, match="twice"):
        sheet(kit.finding("G1"), kit.finding("G1"))


def test_a_rubric_that_asks_nothing_gives_no_sheet() -> None:
    with pytest.raises(BadInput, match="asks nothing"):
        prefill(kit.rubric("side-plate"), "S-1", [], stage="assembly")
    assembly = prefill(kit.rubric("impeller"), "I-1", [], stage="assembly")
    assert {p.criterion for p in assembly.points} == {"front-clearance"}


def test_a_sheet_is_confirmed_only_when_whole() -> None:
    prefilled = sheet(kit.finding())
    log = kit.whole_log(prefilled)
    assert missing(prefilled, log) == ()
    kit.confirm(prefilled, log)
    for left_out in range(len(log.entries)):
        part = Log(log.entries[:left_out] + log.entries[left_out + 1 :])
        assert len(missing(prefilled, part)) == 1
        with pytest.raises(NeedsPerson, match=r"C-7 is not complete; still to do: (reading|check)"):
            kit.confirm(prefilled, part)


def test_the_first_of_what_is_missing_is_named() -> None:
    with pytest.raises(NeedsPerson) as caught:
        kit.confirm(sheet(kit.finding()), Log())
    assert "reading 1 (wear-face: groove G1)" in caught.value.line()
    assert "and 5 more" in caught.value.line()


def test_no_road_round_the_constructor() -> None:
    prefilled = sheet(kit.finding())
    whole = kit.confirm(prefilled)
    short = Log(whole.log.entries[:-1])
    with pytest.raises(NeedsPerson):
        replace(whole, log=short)
    with pytest.raises(BadInput, match="not for wear-face"):
        replace(whole, prefilled=sheet(kit.finding("G1"), kit.finding("G9", at=400.0)))
    with pytest.raises(NeedsPerson):
        replace(whole, confirmed_by="")
    with pytest.raises((TypeError, ValueError), match="init=False"):  # the class differs between Python versions
        replace(prefilled, points=())
    data = json.loads(json.dumps(whole.to_json()))
    data["log"] = data["log"][:-1]
    with pytest.raises(NeedsPerson):
        ConfirmedSheet.from_json(data)
    object.__setattr__(whole, "log", short)  # a determined hand, caught when the sheet is copied or used
    for road in (copy.copy, copy.deepcopy, lambda s: pickle.loads(pickle.dumps(s))):
        with pytest.raises(NeedsPerson):
            road(whole)


@pytest.mark.parametrize(
    "parts", [{"prefilled": None}, {"log": ()}, {"confirmed_at": "noon"}], ids=["sheet", "log", "time"]
)
def test_wrong_parts_are_refused(parts: dict[str, Any]) -> None:
    with pytest.raises(WearvisionError):
        replace(kit.confirm(sheet()), **parts)


def test_a_gauge_must_be_allowed_fine_and_in_order() -> None:
    prefilled = sheet()
    for gauge, said in (
        (kit.gauge("steel rule"), "not for wear-face"),
        (kit.gauge(mpe_mm=0.2), "too coarse"),
        (kit.gauge(due="2026-01-01"), "out of calibration"),
        (kit.gauge(due=""), "out of calibration"),
        (kit.gauge(last_zero=""), "zero check"),
    ):
        with pytest.raises(BadInput, match=said):
            check_fits(prefilled, kit.reading(1, instrument=gauge))
    with pytest.raises(BadInput, match="points run from 1 to 5"):
        check_fits(prefilled, kit.reading(6))


def test_a_shop_may_flag_instead_of_refusing() -> None:
    text = kit.rubric().text.replace('overdue = "refuse"', 'overdue = "flag"')
    text = text.replace('no_zero_check = "refuse"', 'no_zero_check = "flag"')
    prefilled = prefill(Rubric(text), "C-7", [])
    log = kit.whole_log(prefilled)
    assert kit.confirm(prefilled, log).doubts == ()
    late = kit.reading(1, instrument=kit.gauge(due="2026-01-01", last_zero=""))
    log = Log((replace(log.entries[0], what=late), *log.entries[1:]))
    doubts = kit.confirm(prefilled, log).doubts
    assert len(doubts) == 2
    assert all("D-12" in d for d in doubts)


@pytest.mark.parametrize(
    "change", [{"answer": "fine"}, {"how": "by phone"}, {"check": "xray"}, {"criterion": "paint"}, {"record": ""}]
)
def test_a_sight_check_must_be_one_the_rubric_lists(change: dict[str, str]) -> None:
    check = kit.sight(sheet(), "cracks", "penetrant")
    assert check_fits(sheet(), check) == ()
    with pytest.raises(BadInput):
        check_fits(sheet(), replace(check, **change))


def test_a_suspicion_stays_until_its_test_is_made() -> None:
    prefilled = sheet()
    cracks = kit.rubric().criterion("cracks")
    assert [s.id for s in sights_wanted(prefilled, Log(), cracks)] == ["eye"]
    seen = sheet(kit.finding("C1", "crack"))
    assert [s.id for s in sights_wanted(seen, Log(), cracks)] == ["eye", "penetrant"]
    log = Log().commit(kit.sight(prefilled, "cracks", "eye", "suspect"))
    again = log.amend(kit.sight(prefilled, "cracks", "eye", "pass"), "only a scratch")
    assert [s.id for s in sights_wanted(prefilled, again, cracks)] == ["eye", "penetrant"]


def test_the_estimate_stays_sealed_until_the_readings_are_in() -> None:
    prefilled = sheet(kit.finding("G1", sealed_mm=0.6), kit.finding("G2", sealed_mm=0.8, at=400.0))
    log = face_log(prefilled, "0.60 mm", "0.55 mm", "0.80 mm", "0.78 mm")
    for done in range(4):
        with pytest.raises(NeedsPerson, match="sealed") as caught:
            open_estimate(prefilled, "wear-face", Log(log.entries[:done]))
        assert "0.8" not in caught.value.line()
    assert open_estimate(prefilled, "wear-face", log) == Measured(value=0.8, u=0.1, unit="mm", how="light line")
    assert "0.8" not in json.dumps(prefilled.public_json()["findings"])
    none = sheet(kit.finding())
    log = face_log(none, "0.60 mm", "0.55 mm", "0.80 mm")
    assert isinstance(open_estimate(none, "wear-face", log), Unmeasured)


SHARED = """
[[criteria]]
id = "pump-out"
title = "Second look at the same marks"
feature = "face the vanes run against"
view = "wear-face"
quantity = "depth"
findings = ["groove"]
limit = { upper = "1/8", rule = "inclusive" }
action = "rework first"
source = "common practice, no source"
[criteria.readings]
at_least = 1
at_each_finding = 1
where = "the deepest place"
datum = "Foot on sound metal."
gauges = ["depth gauge"]
largest_error = "0.05 mm"
seating = "0.03 mm"
"""


def test_an_estimate_two_criteria_share_opens_for_neither_before_both_are_read() -> None:
    """Seen for one it is seen for the other; nor does the wish for a second reading give it away."""
    rubric = Rubric(kit.rubric().text + SHARED, "shared")
    prefilled = prefill(rubric, "C-1", [(kit.SHA, kit.finding("G1", sealed_mm=0.6))], photos={kit.SHA: "wear-face"})
    last = prefilled.points_of("pump-out")[0]
    log = face_log(prefilled, "2.50 mm", "0.40 mm", "0.30 mm")
    assert not missing(prefilled, log, "wear-face")
    assert seconds_wanted(prefilled, log) == ()
    for name in ("wear-face", "pump-out"):
        with pytest.raises(NeedsPerson, match=f"first take reading {last.number}"):
            open_estimate(prefilled, name, log)
    log = log.commit(kit.reading(last.number, "0.61 mm"))
    assert seconds_wanted(prefilled, log) == (1,)
    log = log.second(kit.reading(1, "2.48 mm"))
    for name in ("wear-face", "pump-out"):
        assert open_estimate(prefilled, name, log) == Measured(value=0.6, u=0.1, unit="mm", how="light line")


@pytest.mark.parametrize(("typed", "wanted"), [("0.80 mm", ()), ("0.81 mm", (1,)), ("0.40 mm", ()), ("0.39 mm", (1,))])
def test_a_second_reading_is_wanted_beyond_the_joint_uncertainty(typed: str, wanted: tuple[int, ...]) -> None:
    """Sealed 0.60, u 0.1; reading u 0.021 with seating: 1.96 hypot = 0.2003 mm."""
    prefilled = sheet(kit.finding("G1", sealed_mm=0.6))
    log = face_log(prefilled, typed, "0.10 mm", "0.20 mm")
    assert seconds_wanted(prefilled, log) == wanted


def test_a_wanted_second_reading_is_demanded_and_both_stand() -> None:
    prefilled = sheet(kit.finding("G1", sealed_mm=0.6))
    log = kit.whole_log(prefilled, typed={1: "1.50 mm", 2: "0.40 mm"})
    with pytest.raises(NeedsPerson, match="a second reading at 1"):
        kit.confirm(prefilled, log)
    with pytest.raises(NeedsPerson, match="second reading"):
        open_estimate(prefilled, "wear-face", log)
    amended = log.amend(kit.reading(1, "0.60 mm"), "to agree with the picture")
    with pytest.raises(NeedsPerson, match="a second reading at 1"):
        kit.confirm(prefilled, amended)
    both = kit.confirm(prefilled, log.second(kit.reading(1, "1.42 mm")))
    assert [r.value_mm for r in both.log.standing(1)] == [1.5, 1.42]


def test_stored_sheets_come_back_the_same() -> None:
    prefilled = sheet(kit.finding("G1", sealed_mm=2 / 3, flags=("faint",), by="D"), kit.finding("G2").strike("shadow"))
    whole = kit.confirm(prefilled)
    for thing in (prefilled, whole):
        stored = json.loads(json.dumps(thing.to_json()))
        again = type(thing).from_json(stored)
        assert again.digest == thing.digest
        assert again.to_json() == stored
        assert pickle.loads(pickle.dumps(thing)).digest == thing.digest
    for bad in ({"more": 1}, {"findings": None}):
        with pytest.raises(BadInput):
            PrefilledSheet.from_json(prefilled.to_json() | bad)


def test_the_public_form_of_a_finding_is_no_record() -> None:
    found = kit.finding(sealed_mm=0.7)
    back = finding_from_record(json.loads(json.dumps(finding_record(found))))
    assert back.sealed == found.sealed
    assert back.quantities == found.quantities
    assert np.array_equal(back.outline_px, found.outline_px)
    with pytest.raises(BadInput, match="not a stored finding"):
        finding_from_record(found.to_json())
