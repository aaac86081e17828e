"""The promise at the ledger: no road to a verdict without the readings, and nothing ever lost."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests import sheet_kit as kit
from wearvision.errors import BadInput, BrokenRecord, NeedsPerson, WearvisionError
from wearvision.finding import Finding
from wearvision.rules.entry import Entry, Log
from wearvision.rules.reading import GaugeReading
from wearvision.rules.sheet import ConfirmedSheet, PrefilledSheet, missing, prefill
from wearvision.rules.verdict import Verdict
from wearvision.store.chain import Chain
from wearvision.store.db import open_store
from wearvision.store.event import event_hash
from wearvision.store.ledger import Ledger

AT = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
TAG = "C-1042"
OTHER = "cd" * 32
QUICK = settings(max_examples=12, suppress_health_check=list(HealthCheck))


@contextmanager
def ledger() -> Iterator[Ledger]:
    with TemporaryDirectory() as folder, open_store(Path(folder) / "data") as store:
        yield Ledger(chain=Chain(store=store))


def laid(book: Ledger, *, sealed_mm: float | None = None) -> PrefilledSheet:
    book.receive(TAG, "casing", "Trial crate", AT)
    sheet = prefill(kit.rubric(), TAG, [(kit.SHA, kit.finding(sealed_mm=sealed_mm))], photos={kit.SHA: "wear-face"})
    assert book.begin(sheet, AT)
    return sheet


def entries(sheet: PrefilledSheet) -> list[Entry]:
    return list(kit.whole_log(sheet).entries)


def test_a_whole_sheet_yields_a_verdict_that_survives_reloading() -> None:
    with ledger() as book:
        sheet = laid(book)
        for entry in entries(sheet):
            book.commit(TAG, entry, AT)
        word = book.confirm(TAG, "C. Lead", AT).verdict().word
        assert book.load(TAG).verdict().word == word == "reuse"
        assert list(book.verify()) == []


@QUICK
@given(st.data())
def test_no_sequence_of_calls_yields_a_verdict_with_a_reading_missing(data: st.DataObject) -> None:
    with ledger() as book:
        sheet = laid(book)
        whole = entries(sheet)
        kept = data.draw(st.lists(st.sampled_from(range(len(whole))), max_size=2 * len(whole)))
        done: set[int] = set()
        for number in kept:
            if number in done:
                with pytest.raises(BadInput):
                    book.commit(TAG, whole[number], AT)
            else:
                book.commit(TAG, whole[number], AT)
            done.add(number)
            with suppress(NeedsPerson):
                book.confirm(TAG, "C. Lead", AT)
            record = book.load(TAG)
            complete = not missing(sheet, record.log)
            assert (record.confirmed is not None) == complete
            if not complete:
                with pytest.raises(NeedsPerson):
                    record.verdict()
                with pytest.raises(BadInput):
                    Verdict(sheet)  # type: ignore[arg-type]  # the wrong type on purpose
            else:
                assert record.verdict().word == "reuse"
                break


@QUICK
@given(st.lists(st.tuples(st.integers(1, 5), st.decimals("0.10", "2.00", places=2)), min_size=1, max_size=12))
def test_amendments_never_lose_the_first_reading(changes: list[tuple[int, object]]) -> None:
    with ledger() as book:
        sheet = laid(book)
        firsts: dict[int, str] = {}
        for number, typed in changes:
            reading = kit.fitting(sheet, sheet.point(number), f"{typed} mm")
            if number not in firsts:
                firsts[number] = reading.typed
                book.commit(TAG, Entry(kind="first", what=reading), AT)
                continue
            with pytest.raises(BadInput):
                book.commit(TAG, Entry(kind="first", what=reading), AT)
            book.commit(TAG, Entry(kind="amendment", what=reading, reason="misread the scale"), AT)
        log = book.load(TAG).log
        assert {n: r.typed for n in firsts if (r := log.first(n))} == firsts
        assert len(log.entries) == len(changes)


def raw_insert(book: Ledger, kind: str, payload: dict[str, object]) -> None:
    """A row with a right hash, by somebody who knows how; the guards of the table do not stop an insert."""
    tail = book.chain.tail()
    text = json.dumps(payload, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    at = "2026-03-02T12:00:00.000000Z"
    last = list(book.chain.events())[-1]
    at = last.at
    row = {"seq": tail.seq + 1, "at": at, "kind": kind, "tag": TAG, "payload": text, "prev_hash": tail.hash}
    row["hash"] = event_hash(tail.seq + 1, at, kind, TAG, text, tail.hash)
    with book.chain.store.engine.begin() as connection:
        columns = ", ".join(row)
        marks = ", ".join(f":{name}" for name in row)
        connection.execute(sa.text(f"INSERT INTO events ({columns}) VALUES ({marks})"), row)


@pytest.mark.parametrize("skip", range(8))
def test_a_confirmation_inserted_raw_is_no_verdict(skip: int) -> None:
    with ledger() as book:
        sheet = laid(book)
        whole = entries(sheet)
        for number, entry in enumerate(whole):
            if number != skip % len(whole):
                book.commit(TAG, entry, AT)
        raw_insert(book, "confirmed", {"by": "X", "at": "2026-03-02T12:00:00", "digest": "0" * 64, "word": "reuse"})
        with pytest.raises(BrokenRecord, match="does not stand up"):
            book.load(TAG)
        assert list(book.verify())


def test_a_grade_written_by_hand_is_found() -> None:
    with ledger() as book:
        sheet = laid(book)
        deep = {1: "4.2 mm"}
        for entry in kit.whole_log(sheet, typed=deep).entries:
            book.commit(TAG, entry, AT)
        record = book.load(TAG)
        assert record.sheet is not None
        true = ConfirmedSheet(
            prefilled=record.sheet, log=record.log, confirmed_by="X", confirmed_at="2026-03-02T12:00:00"
        )
        assert Verdict(true).word == "do not reuse"
        payload = {"by": "X", "at": "2026-03-02T12:00:00", "digest": true.digest, "word": "reuse"}
        raw_insert(book, "confirmed", dict(payload))
        with pytest.raises(BrokenRecord):
            book.load(TAG)


@pytest.mark.parametrize(
    "kind", ["entry", "sheet", "part", "opened", "photo", "survey", "marks", "confirmed", "nonsense"]
)
@pytest.mark.parametrize("payload", [{}, {"sheet": "x"}, {"kind": 3}, {"photo": []}])
def test_a_senseless_row_is_a_broken_record_and_no_traceback(kind: str, payload: dict[str, object]) -> None:
    with ledger() as book:
        laid(book)
        raw_insert(book, kind, payload)
        with pytest.raises(BrokenRecord):
            book.load(TAG)


def test_an_entry_for_another_sheet_is_refused_on_loading() -> None:
    with ledger() as book:
        sheet = laid(book)
        raw_insert(book, "entry", {"sheet": "0" * 64, **entries(sheet)[0].to_json()})
        with pytest.raises(BrokenRecord):
            book.load(TAG)


def test_the_estimate_stays_sealed_until_the_readings_are_in() -> None:
    with ledger() as book:
        sheet = laid(book, sealed_mm=0.6)
        for entry in entries(sheet):
            if isinstance(entry.what, GaugeReading) and sheet.point(entry.what.point).criterion == "wear-face":
                with pytest.raises(NeedsPerson):
                    book.note_opened(TAG, "wear-face", "C. Lead", AT)
                book.commit(TAG, entry, AT)
        assert book.note_opened(TAG, "wear-face", "C. Lead", AT).opened.keys() == {"wear-face"}


def test_a_closed_sheet_takes_no_entry_and_a_new_inspection_begins_empty() -> None:
    with ledger() as book:
        sheet = laid(book)
        for entry in entries(sheet):
            book.commit(TAG, entry, AT)
        book.confirm(TAG, "C. Lead", AT)
        with pytest.raises(BadInput):
            book.commit(TAG, entries(sheet)[0], AT)
        assert not book.begin(sheet, AT)
        with pytest.raises(NeedsPerson, match="sets them aside"):
            book.begin(sheet, AT, renew=True)
        assert book.begin(sheet, AT, renew=True, by="C. Lead", reason="came back from the machine shop")
        record = book.load(TAG)
        assert record.confirmed is None
        assert record.log == Log()
        (old,) = record.set_aside
        assert old.log.entries == tuple(entries(sheet))
        assert (old.by, old.reason) == ("C. Lead", "came back from the machine shop")
        assert old.confirmed is not None


def test_a_new_sheet_inserted_raw_over_readings_is_a_broken_record() -> None:
    """Or a deep reading could be dropped by laying the same sheet once more."""
    with ledger() as book:
        sheet = laid(book)
        book.commit(TAG, entries(sheet)[0], AT)
        raw_insert(book, "sheet", sheet.to_json())
        with pytest.raises(BrokenRecord, match="nobody has set aside"):
            book.load(TAG)


def test_a_sheet_of_another_stage_never_stands_for_the_parts_own() -> None:
    """Or a part would come out as reuse by what is measured at assembly alone, no wear reading asked for."""
    assembly = prefill(kit.rubric(), TAG, [], stage="assembly")
    with ledger() as book:
        laid(book)
        with pytest.raises(BadInput, match="assembly"):
            book.begin(assembly, AT)
        raw_insert(book, "sheet", assembly.to_json())
        with pytest.raises(BrokenRecord, match="assembly"):
            book.load(TAG)


def test_readings_survive_a_second_triage() -> None:
    with ledger() as book:
        sheet = laid(book)
        book.commit(TAG, entries(sheet)[0], AT)
        other = prefill(kit.rubric(), TAG, [], photos={kit.SHA: "wear-face"})
        assert not book.begin(other, AT)
        assert len(book.load(TAG).log.entries) == 1


def survey(*findings: Finding, sha: str = OTHER) -> dict[str, object]:
    return {
        "photo": {"file": "C-1042/later.jpg", "sha256": sha}, "usable": True, "view": "wear-face",
        "findings": [f.to_json() for f in findings],
    }  # fmt: skip


def photo(sha: str = OTHER) -> dict[str, object]:
    return {"sha256": sha, "file": "C-1042/later.jpg", "stated": {}}


def test_no_verdict_passes_over_a_mark_found_after_the_sheet_was_laid() -> None:
    with ledger() as book:
        sheet = laid(book)
        for entry in entries(sheet):
            book.commit(TAG, entry, AT)
        book.keep_photo(TAG, photo(), survey(kit.finding("G3")), AT)
        with pytest.raises(NeedsPerson, match=r"groove G3 of C-1042/later\.jpg"):
            book.confirm(TAG, "C. Lead", AT)
        with pytest.raises(NeedsPerson):
            book.load(TAG).verdict()
        whole = prefill(
            kit.rubric(), TAG, [*sheet.findings, (OTHER, kit.finding("G3", at=300.0))],
            photos={kit.SHA: "wear-face", OTHER: "wear-face"},
        )  # fmt: skip
        assert book.begin(whole, AT, renew=True, by="C. Lead", reason="another photo")
        assert book.load(TAG).late == ()


def test_a_later_photo_without_marks_stands_in_no_verdicts_way() -> None:
    with ledger() as book:
        sheet = laid(book)
        for entry in entries(sheet):
            book.commit(TAG, entry, AT)
        book.keep_photo(TAG, photo(), survey(), AT)
        assert book.confirm(TAG, "C. Lead", AT).verdict().word == "reuse"


def test_a_confirmation_inserted_raw_over_a_later_mark_is_no_verdict() -> None:
    with ledger() as book:
        sheet = laid(book)
        for entry in entries(sheet):
            book.commit(TAG, entry, AT)
        record = book.load(TAG)
        assert record.sheet is not None
        true = ConfirmedSheet(
            prefilled=record.sheet, log=record.log, confirmed_by="X", confirmed_at="2026-03-02T12:00:00"
        )
        book.keep_photo(TAG, photo(), survey(kit.finding("G3")), AT)
        raw_insert(book, "confirmed", {"by": "X", "at": true.confirmed_at, "digest": true.digest, "word": "reuse"})
        with pytest.raises(BrokenRecord, match="later finding"):
            book.load(TAG)


def test_a_deep_reading_taken_out_of_the_table_lets_no_verdict_through() -> None:
    """The deleted row belongs to this part, the rows around it to others: the part alone looks untouched."""
    with ledger() as book:
        sheet = laid(book)
        whole = entries(sheet)
        for entry in whole:
            book.commit(TAG, entry, AT)
        book.receive("C-2", "casing", "Trial crate", AT)
        with book.chain.store.engine.begin() as connection:
            for (name,) in connection.execute(sa.text("SELECT name FROM sqlite_master WHERE type='trigger'")).all():
                connection.execute(sa.text(f"DROP TRIGGER {name}"))
            connection.execute(sa.text("DELETE FROM events WHERE payload LIKE :it"), {"it": '%"point":1,%'})
        book.commit(TAG, Entry(kind="first", what=kit.fitting(sheet, sheet.point(1), "0.01 mm")), AT)
        assert not missing(sheet, book.load(TAG).log)
        with pytest.raises(BrokenRecord, match="does not hold together"):
            book.confirm(TAG, "C. Lead", AT)


def test_entries_go_in_together_or_not_at_all() -> None:
    with ledger() as book:
        sheet = laid(book)
        whole = entries(sheet)
        odd = Entry(kind="first", what=kit.reading(99))
        for batch in ([*whole[:2], odd], [*whole[:2], whole[0]]):
            with pytest.raises(BadInput):
                book.commit_all(TAG, batch, AT)
            assert book.load(TAG).log == Log()
        assert book.commit_all(TAG, whole, AT).log.entries == tuple(whole)


@pytest.mark.parametrize(("taken", "fits"), [
    ("2026-03-01T08:00:00", True), ("2026-03-03T08:00:00", True), ("2026-02-27T08:00:00", False),
    ("2025-03-02T08:00:00", False), ("2026-03-05T08:00:00", False),
])  # fmt: skip
def test_a_reading_is_taken_after_its_sheet_was_laid_and_not_in_the_future(taken: str, fits: bool) -> None:
    """Or an expired gauge would be in order on an earlier day."""
    with ledger() as book:
        laid(book)
        reading = kit.reading(1, instrument=kit.gauge(last_zero=taken[:10]), at=taken)
        if fits:
            book.commit(TAG, Entry(kind="first", what=reading), AT)
        else:
            with pytest.raises(BadInput, match="before its sheet was laid"):
                book.commit(TAG, Entry(kind="first", what=reading), AT)


def test_marks_of_persons_are_kept_with_the_sheet() -> None:
    with ledger() as book:
        sheet = laid(book)
        book.begin(sheet, AT, renew=True, marks={OTHER: [{"action": "strike"}]})
        with pytest.raises(BrokenRecord):
            book.load(TAG)
    with ledger() as book:
        sheet = laid(book)
        book.keep_photo(TAG, photo(kit.SHA), survey(sha=kit.SHA), AT)
        for names in (["G1"], ["G1", "G2"]):
            book.begin(sheet, AT, renew=True, marks={kit.SHA: [{"target": name} for name in names]})
        assert book.load(TAG).marks == {kit.SHA: ({"target": "G1"}, {"target": "G2"})}


def test_a_tag_typed_wrong_is_met_with_the_right_one() -> None:
    with ledger() as book:
        with pytest.raises(BadInput, match="no part is known yet"):
            book.load("c-1042")
        laid(book)
        with pytest.raises(BadInput, match="did you mean C-1042"):
            book.load("c-1042")
        for number in range(20):
            book.receive(f"Z-{number}", "casing", "", AT)
        with pytest.raises(BadInput, match=r"known parts: .* and 16 more") as error:
            book.load("qqqqqqqq")
        assert len(error.value.line()) < 200


@QUICK
@given(st.integers(0, 2**31))
def test_every_flipped_byte_of_a_stored_row_is_found(seed: int) -> None:
    rng = random.Random(seed)
    with ledger() as book:
        sheet = laid(book)
        for entry in entries(sheet):
            book.commit(TAG, entry, AT)
        book.confirm(TAG, "C. Lead", AT)
        seq = rng.randint(1, book.chain.tail().seq)
        column = rng.choice(["at", "kind", "tag", "payload", "prev_hash", "hash"])
        with book.chain.store.engine.begin() as connection:
            for (name,) in connection.execute(sa.text("SELECT name FROM sqlite_master WHERE type='trigger'")).all():
                connection.execute(sa.text(f"DROP TRIGGER {name}"))
            old = connection.execute(sa.text(f"SELECT {column} FROM events WHERE seq={seq}")).scalar_one().encode()
            at = rng.randrange(len(old))
            new = bytes([*old[:at], (old[at] ^ (1 << rng.randrange(7))) & 0x7F, *old[at + 1 :]])
            if new == old:
                return
            connection.execute(
                sa.text(f"UPDATE events SET {column}=:new WHERE seq={seq}"), {"new": new.decode("utf-8", "replace")}
            )
        assert not book.chain.verify().sound
        with suppress(WearvisionError):
            assert book.load(TAG).confirmed is None  # an event that lost its tag: then there is no verdict either
