"""A part inspected again: each crate an inspection of its own, and no reading crosses from one to the next."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests import history_kit as kit
from wearvision.arrival import Arrival
from wearvision.errors import BadInput, BrokenRecord, NeedsPerson
from wearvision.rules.entry import Log
from wearvision.rules.reading import GaugeReading
from wearvision.rules.sheet import ConfirmedSheet, missing
from wearvision.store.event import Draft
from wearvision.store.ledger import Ledger

TAG = kit.TAG


def typed(sheet: ConfirmedSheet) -> set[str]:
    return {e.what.typed for e in sheet.log.entries if isinstance(e.what, GaugeReading) and e.what.point <= 3}


def test_another_crate_begins_a_new_inspection_and_the_old_one_stays() -> None:
    with kit.shop() as shop:
        book = shop.ledger
        kit.inspect(book, "A", "2025-03-03", "0.70 mm", running_hours=4000)
        old = book.load(TAG)
        book.receive(TAG, "casing", "B", kit.noon("2026-03-02"), came=Arrival(crate="B", running_hours=8000))
        between = book.load(TAG)
        assert (between.sheet, between.confirmed, between.log, between.crate) == (None, None, Log(), "B")
        assert not (between.photos or between.surveys or between.marks or between.opened or between.since)
        with pytest.raises(NeedsPerson):
            between.verdict()
        with pytest.raises(NeedsPerson):
            book.confirm(TAG, "C. Lead", kit.noon("2026-03-02"))
        kit.inspect(book, "B", "2026-03-02", "1.20 mm")
        new = book.load(TAG)
        assert [i.arrival.crate for i in new.inspections] == ["A", "B"]
        assert [i.arrival.running_hours for i in new.inspections] == [4000, 8000]
        first, second = (i.sheet for i in new.inspections)
        assert first is not None
        assert second is not None
        assert old.confirmed is not None
        assert first.digest == old.confirmed.digest
        assert (typed(first), typed(second)) == ({"0.70 mm"}, {"1.20 mm"})
        assert list(book.verify()) == []


def test_the_same_crate_again_is_the_same_inspection_and_changes_nothing() -> None:
    with kit.shop() as shop:
        book = shop.ledger
        kit.inspect(book, "A", "2025-03-03", running_hours=4000)
        tail = book.chain.tail()
        book.receive(TAG, "casing", "A", kit.noon("2025-03-04"), came=Arrival(crate="A", running_hours=4000))
        book.receive(TAG, "casing", "A", kit.noon("2025-03-04"))
        assert book.chain.tail() == tail
        assert book.load(TAG).confirmed is not None


def test_facts_may_be_added_until_the_sheet_is_confirmed_and_an_order_date_always() -> None:
    with kit.shop() as shop:
        book, day = shop.ledger, "2025-03-03"
        sheet = kit.laid(book, "A", day)
        book.receive(TAG, "casing", "A", kit.noon(day), came=Arrival(crate="A", running_hours=100))
        book.receive(TAG, "casing", "A", kit.noon(day), came=Arrival(crate="A", duty="sand"))
        book.commit_all(TAG, kit.entries(sheet, day), kit.noon(day))
        book.confirm(TAG, "C. Lead", kit.noon(day))
        with pytest.raises(BadInput, match="confirmed, and other facts"):
            book.receive(TAG, "casing", "A", kit.noon(day), came=Arrival(crate="A", running_hours=900))
        book.receive(TAG, "casing", "A", kit.noon(day), came=Arrival(crate="A", needed_by="2026-01-01"))
        record = book.load(TAG)
        assert record.arrival == Arrival(crate="A", running_hours=100, duty="sand", needed_by="2026-01-01")
        assert record.confirmed is not None


def test_readings_on_an_open_sheet_are_never_dropped_without_a_word() -> None:
    with kit.shop() as shop:
        book, day = shop.ledger, "2025-03-03"
        sheet = kit.laid(book, "A", day)
        book.commit_all(TAG, kit.entries(sheet, day)[:2], kit.noon(day))
        with pytest.raises(NeedsPerson, match="open with 2 entries"):
            book.receive(TAG, "casing", "B", kit.noon("2026-03-02"))
        assert len(book.load(TAG).log.entries) == 2


def test_the_crate_of_an_earlier_inspection_opens_nothing() -> None:
    with kit.shop() as shop:
        book = shop.ledger
        kit.inspect(book, "A", "2025-03-03")
        kit.inspect(book, "B", "2026-03-02")
        with pytest.raises(NeedsPerson, match="came in again with crate B since"):
            book.receive(TAG, "casing", "A", kit.noon("2026-03-03"))
        assert book.load(TAG).crate == "B"


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ({"running_hours": 4000}, {"running_hours": 3999}, "running hours go back"),
        ({"inspected_on": "2025-03-03"}, {"inspected_on": "2025-03-02"}, "dates go back"),
    ],
)
def test_hours_and_dates_never_go_back(before: dict[str, Any], after: dict[str, Any], says: str) -> None:
    with kit.shop() as shop:
        kit.inspect(shop.ledger, "A", "2025-03-03", **before)
        with pytest.raises(BadInput, match=says):
            kit.laid(shop.ledger, "B", "2026-03-02", **after)
        assert shop.ledger.load(TAG).crate == "A"


def test_a_correction_carries_name_and_reason_and_leaves_the_first_statement() -> None:
    with kit.shop() as shop:
        book, at = shop.ledger, kit.noon("2026-03-05")
        kit.inspect(book, "A", "2025-03-03", running_hours=40000)
        with pytest.raises(BadInput, match="go back"):
            kit.laid(book, "B", "2026-03-02", running_hours=8000)
        for by, reason in (("", "typed a nought too many"), ("C. Lead", " ")):
            with pytest.raises(BadInput, match="a name and a reason"):
                book.correct(TAG, Arrival(crate="A", running_hours=4000), by, reason, at)
        with pytest.raises(BadInput, match="no inspection with this crate"):
            book.correct(TAG, Arrival(crate="Z", running_hours=4000), "C. Lead", "typo", at)
        with pytest.raises(BadInput, match="nothing to correct"):
            book.correct(TAG, Arrival(crate="A", running_hours=40000), "C. Lead", "typo", at)
        book.correct(TAG, Arrival(crate="A", running_hours=4000), "C. Lead", "typed a nought too many", at)
        kit.inspect(book, "B", "2026-03-02", running_hours=8000)
        record = book.correct(TAG, Arrival(crate="A", duty="sand"), "C. Lead", "found the log", at)
        assert record.past[0].arrival == Arrival(crate="A", running_hours=4000, duty="sand")
        stated = [e.payload["running_hours"] for e in book.chain.events(tag=TAG, kind="arrival")]
        assert stated == [40000, 4000, 8000, 4000]
        assert book.load(TAG).confirmed is not None


def test_a_renewed_sheet_of_the_same_crate_takes_the_place_of_the_confirmed_one() -> None:
    with kit.shop() as shop:
        book, day = shop.ledger, "2025-03-03"
        kit.inspect(book, "A", day, "0.70 mm")
        sheet = book.load(TAG).sheet
        assert sheet is not None
        assert book.begin(sheet, kit.noon(day), renew=True, by="C. Lead", reason="wrong gauge")
        (only,) = book.load(TAG).inspections
        assert (only.sheet, only.replaced) == (None, 1)


def test_a_ledger_from_before_reads_as_one_inspection() -> None:
    """Events as version 0.1.0 wrote them: no `arrival` anywhere."""
    with kit.shop() as shop:
        book, day = shop.ledger, "2025-03-03"
        kit.inspect(book, "A", day)
        assert not list(book.chain.events(kind="arrival"))
        (only,) = book.load(TAG).inspections
        assert only.arrival == Arrival(crate="A")
        assert only.sheet is not None


@pytest.mark.parametrize(
    "payload",
    [
        {},
        {"crate": "B"},
        {**Arrival(crate="B").to_json(), "by": "", "reason": "", "more": 1},
        {**Arrival(crate="B").to_json(), "running_hours": -1, "by": "", "reason": ""},
        {**Arrival(crate="B").to_json(), "inspected_on": "soon", "by": "", "reason": ""},
    ],
)
def test_a_senseless_arrival_is_a_broken_record(payload: dict[str, object]) -> None:
    with kit.shop() as shop:
        kit.inspect(shop.ledger, "A", "2025-03-03")
        shop.ledger.chain.append_many([Draft(kind="arrival", tag=TAG, payload=payload, at=kit.noon("2026-01-01"))])
        with pytest.raises(BrokenRecord, match="does not stand up"):
            shop.ledger.load(TAG)


def test_an_old_entry_copied_behind_a_new_sheet_is_refused() -> None:
    """Though the two sheets are the same to the byte."""
    with kit.shop() as shop:
        book = shop.ledger
        kit.inspect(book, "A", "2025-03-03")
        old = next(e for e in book.chain.events(tag=TAG) if e.kind == "entry")
        kit.laid(book, "B", "2026-03-02")
        assert book.load(TAG).log == Log()
        book.chain.append("entry", TAG, old.payload, kit.noon("2026-03-02"))
        with pytest.raises(BrokenRecord, match="before this inspection began"):
            book.load(TAG)


@settings(max_examples=15, suppress_health_check=list(HealthCheck))
@given(st.lists(st.sampled_from(["arrive", "lay", "enter", "enter", "enter all", "confirm", "renew"]), max_size=20))
def test_no_reading_of_an_older_inspection_counts_for_a_newer_verdict(steps: list[str]) -> None:
    """Each inspection reads a depth of its own; whatever the order of calls, no sheet holds another's."""
    with kit.shop() as shop:
        _walk(shop.ledger, steps)


def _walk(book: Ledger, steps: list[str]) -> None:
    number, day = 1, "2025-01-06"
    kit.laid(book, "crate 1", day)
    for step in steps:
        with suppress(NeedsPerson, BadInput):
            if step == "arrive":
                later = (datetime.fromisoformat(day).replace(tzinfo=UTC) + timedelta(days=30)).date().isoformat()
                book.receive(TAG, "casing", f"crate {number + 1}", kit.noon(later))
                number, day = number + 1, later
            elif step == "lay":
                kit.laid(book, f"crate {number}", day)
            elif step == "confirm":
                book.confirm(TAG, "C. Lead", kit.noon(day))
            else:
                _enter(book, step, number, day)
        record = book.load(TAG)
        assert [i.arrival.crate for i in record.inspections] == [f"crate {n}" for n in range(1, number + 1)]
        for n, inspection in enumerate(record.inspections, start=1):
            if inspection.sheet is not None:
                assert typed(inspection.sheet) == {depth(n)}
                assert not missing(inspection.sheet.prefilled, inspection.sheet.log)
        if record.confirmed is not None:
            assert typed(record.verdict().sheet) == {depth(number)}
    assert list(book.verify()) == []


def _enter(book: Ledger, step: str, number: int, day: str) -> None:
    record = book.load(TAG)
    if record.sheet is None:
        return
    if step == "renew":
        book.begin(record.sheet, kit.noon(day), renew=True, by="C. Lead", reason="wrong gauge")
        return
    whole = kit.entries(record.sheet, day, depth(number))
    done = len(record.log.entries)
    book.commit_all(TAG, whole[done:] if step == "enter all" else whole[done : done + 1], kit.noon(day))


def depth(number: int) -> str:
    return f"0.{number:02d} mm"
