from __future__ import annotations

import errno
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import wearvision
from wearvision.errors import BadInput, BrokenRecord
from wearvision.store import files
from wearvision.store.chain import PAGE_ROWS, Chain
from wearvision.store.db import Store, open_store
from wearvision.store.event import Draft, Event, event_hash
from wearvision.store.head import EMPTY, GENESIS, HEAD_FILE, read_head, write_head

ROOT = Path(wearvision.__file__).parent.parent
REPLACED = "UPDATE events SET {} = ? WHERE seq = ?"


def drafts(count: int, at: datetime) -> list[Draft]:
    return [Draft(kind="a", tag=f"T-{i % 3}", payload={"i": i}, at=at) for i in range(count)]


def test_events_come_back_in_order_bound_to_each_other(chain: Chain, at: datetime) -> None:
    written = [chain.append("a", "T", {"i": i}, at) for i in range(3)]
    assert list(chain.events()) == written
    assert [event.seq for event in written] == [1, 2, 3]
    assert [event.prev_hash for event in written] == [GENESIS, written[0].hash, written[1].hash]
    assert chain.head() == written[-1].hash
    assert chain.seq_of(written[1].hash) == 2
    assert chain.seq_of("0" * 64) is None


def test_events_can_be_asked_for_by_tag_kind_and_number(filled: Path) -> None:
    with open_store(filled) as store:
        chain = Chain(store=store)
        every = list(chain.events())
        for tag in ("", "T-1", "Ü 2", "none"):
            for kind in ("sheet.opened", "reading", "none"):
                for after in (0, 7, 39, 40):
                    picked = [e for e in every if (e.tag, e.kind) == (tag, kind) and e.seq > after]
                    assert list(chain.events(tag=tag, kind=kind, after_seq=after)) == picked
            assert list(chain.events(tag)) == [e for e in every if e.tag == tag]


def test_more_than_a_page_of_events(chain: Chain, at: datetime) -> None:
    for count in (PAGE_ROWS, 1, PAGE_ROWS + 3):
        chain.append_many(drafts(count, at))
    report = chain.verify()
    assert report.sound
    assert report.events == 2 * PAGE_ROWS + 4
    assert [event.seq for event in chain.events()] == list(range(1, report.events + 1))


def test_reading_may_be_broken_off_while_others_write(chain: Chain, at: datetime) -> None:
    chain.append_many(drafts(PAGE_ROWS + 5, at))
    running = chain.events()
    next(running)
    chain.append("a", "", {}, at)
    assert len(list(running)) == PAGE_ROWS + 5


def test_many_are_appended_all_or_none(chain: Chain, at: datetime) -> None:
    chain.append("a", "", {}, at)
    bad = Draft(kind="a", tag="", payload={"x": object()}, at=at)
    with pytest.raises(BadInput):
        chain.append_many([*drafts(3, at), bad])
    assert len(list(chain.events())) == 1
    assert chain.append_many([]) == ()
    assert chain.verify().sound


def test_nothing_is_appended_over_what_the_caller_has_not_seen(chain: Chain, at: datetime) -> None:
    chain.append("a", "T", {}, at)
    chain.append("a", "other", {}, at)
    chain.append("a", "T", {}, at, seen=1)
    with pytest.raises(BadInput, match="meanwhile"):
        chain.append("a", "T", {}, at, seen=1)
    assert chain.append("a", "T", {}, at, seen=3).seq == 4


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25)
@given(batches=st.lists(st.integers(1, 4), max_size=4), payload=st.dictionaries(st.text(), st.text()))
def test_any_sequence_of_appends_gives_a_sound_chain(
    store: Store, at: datetime, batches: list[int], payload: dict[str, Any]
) -> None:
    chain = Chain(store=store)
    before = chain.tail().seq
    for size in batches:
        chain.append_many([Draft(kind="a", tag="T", payload=payload, at=at)] * size)
    report = chain.verify()
    assert report.sound
    assert report.head == report.recorded == chain.tail()
    assert report.events == before + sum(batches)


def test_two_programs_appending_at_once_give_one_chain(tmp_path: Path) -> None:
    script = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from wearvision.store.chain import Chain
from wearvision.store.db import open_store
with open_store(Path(sys.argv[1]), wait_s=60) as store:
    chain = Chain(store=store)
    for i in range(200):
        chain.append("a", sys.argv[2], {"i": i}, datetime.now(UTC))
"""
    folder = tmp_path / "shared"
    open_store(folder).close()
    programs = [
        subprocess.Popen([sys.executable, "-c", script, str(folder), name], cwd=ROOT) for name in ("one", "two")
    ]
    assert [program.wait(120) for program in programs] == [0, 0]
    with open_store(folder) as store:
        chain = Chain(store=store)
        report = chain.verify()
        mine = {name: [e.payload["i"] for e in chain.events(name)] for name in ("one", "two")}
    assert report.sound
    assert report.events == 400
    assert report.recorded == report.head  # the last of the two to finish records its own event
    assert mine == {"one": list(range(200)), "two": list(range(200))}


def test_the_recorded_head_never_goes_back(chain: Chain, at: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    """A writer that comes late to its rename, after another has appended, leaves the later head alone."""
    advance = Chain._advance
    other = Chain(store=chain.store)

    def late(self: Chain, staged: Path, head: Any) -> None:
        monkeypatch.setattr(Chain, "_advance", advance)
        other.append("a", "second", {}, at)
        advance(self, staged, head)

    monkeypatch.setattr(Chain, "_advance", late)
    chain.append("a", "first", {}, at)
    assert read_head(chain.store.folder).seq == 2
    assert list((chain.store.folder / files.SCRATCH).iterdir()) == []
    assert chain.verify().sound


def test_a_lagging_head_is_lawful_and_is_moved_on(chain: Chain, at: datetime) -> None:
    chain.append_many(drafts(5, at))
    for seq in range(6):
        hashes = {0: GENESIS} | {event.seq: event.hash for event in chain.events()}
        write_head(chain.store.folder, type(EMPTY)(seq=seq, hash=hashes[seq]))
        report = chain.verify()
        assert report.sound
        assert report.recorded is not None
        assert report.recorded.seq == seq
    chain.append("a", "", {}, at)
    assert read_head(chain.store.folder).seq == 6


def test_a_head_that_cannot_be_renamed_does_not_undo_the_append(
    chain: Chain, at: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(self: Path, target: Path) -> Path:
        raise PermissionError(errno.EACCES, "in use", str(target))

    with monkeypatch.context() as patched:
        patched.setattr(Path, "replace", refused)
        assert chain.append("a", "", {}, at).seq == 1
    assert read_head(chain.store.folder) == EMPTY
    chain.append("a", "", {}, at)
    assert read_head(chain.store.folder).seq == 2


def test_a_head_that_cannot_be_written_stops_the_append(
    chain: Chain, at: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_descriptor: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(files, "flush", full)
        with pytest.raises(BadInput, match="free some disk space"):
            chain.append("a", "", {}, at)
    assert list(chain.events()) == []
    assert chain.append("a", "", {}, at).seq == 1
    assert chain.verify().sound


@contextmanager
def steps_counted(store: Store) -> Iterator[list[int]]:
    """Count the steps of SQLite's machine: a measure of work that no busy machine disturbs."""
    steps = [0]

    def count() -> int:
        steps[0] += 1
        return 0

    def on_connect(connection: Any, _record: object) -> None:
        connection.set_progress_handler(count, 1)

    store.engine.dispose()
    sa.event.listen(store.engine, "connect", on_connect)
    yield steps
    sa.event.remove(store.engine, "connect", on_connect)
    store.engine.dispose()


def test_an_append_costs_the_same_in_a_long_ledger(chain: Chain, at: datetime) -> None:
    def cost() -> int:
        with steps_counted(chain.store) as steps:
            chain.append("a", "T", {}, at, seen=10**9)
        return steps[0]

    chain.append_many(drafts(20, at))
    short = cost()
    chain.append_many(drafts(5000, at))
    assert cost() <= short * 1.1 + 20
    assert short > 20  # the counter does count


# Tampering with one's hands on the file, guards put back afterwards.


def problems(folder: Path) -> list[str]:
    with open_store(folder) as store:
        return [str(problem) for problem in Chain(store=store).verify().problems]


def test_a_changed_payload_is_found_and_named(filled: Path, tamper: Callable[..., None]) -> None:
    tamper(filled, REPLACED.format("payload"), '{"i":0}', 17)
    assert problems(filled) == ["event 17: was changed after it was written"]
    with open_store(filled) as store, pytest.raises(BrokenRecord, match="event 17"):
        list(Chain(store=store).events())


def test_a_cut_off_tail_is_found_and_takes_no_new_event(
    filled: Path, tamper: Callable[..., None], at: datetime
) -> None:
    tamper(filled, "DELETE FROM events WHERE seq > 38")
    [found] = problems(filled)
    assert "records event 40" in found
    assert "tail was cut off" in found
    with open_store(filled) as store, pytest.raises(BrokenRecord, match="event 40"):
        Chain(store=store).append("a", "", {}, at)
    assert read_head(filled).seq == 40


@pytest.mark.parametrize("after", [0, 39])
def test_all_events_gone_is_found(filled: Path, tamper: Callable[..., None], after: int) -> None:
    tamper(filled, "DELETE FROM events WHERE seq > ?", after)
    assert problems(filled)


def test_a_removed_event_is_found(filled: Path, tamper: Callable[..., None]) -> None:
    tamper(filled, "DELETE FROM events WHERE seq = 5")
    found = problems(filled)
    assert any("event 6: does not follow event 4" in line for line in found)
    assert any("event 6: is not bound" in line for line in found)


@pytest.mark.parametrize("seq", [0, -3, 41, 50])
def test_an_inserted_row_with_a_wrong_hash_is_found(filled: Path, tamper: Callable[..., None], seq: int) -> None:
    tamper(filled, "INSERT INTO events VALUES (?, 'now', 'a', 'T', '{}', ?, ?)", seq, "0" * 64, "1" * 64)
    assert any(line.startswith(f"event {seq}: ") for line in problems(filled))


def test_a_row_inserted_with_a_right_hash_is_not_for_this_layer_to_judge(
    filled: Path, tamper: Callable[..., None]
) -> None:
    head = read_head(filled)
    fields = ("now", "unheard-of", "T", "{}", head.hash)
    tamper(filled, "INSERT INTO events VALUES (41, ?, ?, ?, ?, ?, ?)", *fields, event_hash(41, *fields))
    assert problems(filled) == []


def test_a_payload_in_another_spelling_is_found_even_with_a_right_hash(
    filled: Path, tamper: Callable[..., None]
) -> None:
    fields = ("now", "a", "T", '{ "i": 1 }', read_head(filled).hash)
    tamper(filled, "INSERT INTO events VALUES (41, ?, ?, ?, ?, ?, ?)", *fields, event_hash(41, *fields))
    assert problems(filled) == ["event 41: its payload is no canonical JSON object"]


def test_swapped_events_are_found(filled: Path, tamper: Callable[..., None]) -> None:
    tamper(filled, "UPDATE events SET seq = CASE seq WHEN 5 THEN -6 WHEN 6 THEN -5 ELSE seq END")
    tamper(filled, "UPDATE events SET seq = -seq WHERE seq < 0")
    assert any(line.startswith("event 5: was changed") for line in problems(filled))


def test_a_value_of_another_type_is_found(filled: Path, tamper: Callable[..., None]) -> None:
    tamper(filled, "UPDATE events SET tag = CAST(tag AS BLOB) WHERE seq = 4")
    assert "event 4: holds a value of a foreign type" in problems(filled)


def test_text_that_is_no_text_is_found(filled: Path, tamper: Callable[..., None]) -> None:
    tamper(filled, "UPDATE events SET tag = CAST(x'ff' AS TEXT) WHERE seq = 4")
    assert any("decode" in line for line in problems(filled))


@pytest.mark.parametrize(
    "sql",
    [
        "DROP TRIGGER events_no_update",
        "CREATE TRIGGER mine AFTER INSERT ON events BEGIN SELECT 1; END",
        "DROP TRIGGER blobs_no_delete",
    ],
)
def test_missing_and_foreign_triggers_are_found(filled: Path, sql: str) -> None:
    with open_store(filled) as store, store.writing() as connection:
        connection.exec_driver_sql(sql)
    [found] = problems(filled)
    assert "trigger" in found


def test_a_forged_chain_is_caught_by_the_head_on_paper(filled: Path, tamper: Callable[..., None]) -> None:
    """Whoever rewrites everything, head file included, still has another head than the printed report."""
    with open_store(filled) as store:
        printed = Chain(store=store).head()
        events = list(Chain(store=store).events())
    prev = GENESIS
    for event in events:
        text = json.dumps({"forged": event.seq}, separators=(",", ":"))
        new = event_hash(event.seq, event.at, event.kind, event.tag, text, prev)
        tamper(filled, "UPDATE events SET payload=?, prev_hash=?, hash=? WHERE seq=?", text, prev, new, event.seq)
        prev = new
    write_head(filled, type(EMPTY)(seq=len(events), hash=prev))
    assert problems(filled) == []
    with open_store(filled) as store:
        assert Chain(store=store).seq_of(printed) is None


def test_a_wreck_is_not_described_line_by_line(filled: Path, tamper: Callable[..., None], at: datetime) -> None:
    with open_store(filled) as store:
        Chain(store=store).append_many(drafts(300, at))
    tamper(filled, "UPDATE events SET hash = 'x'")
    found = problems(filled)
    assert len(found) == 101
    assert found[-1].startswith("and: ")


def test_a_damaged_head_file_is_found(filled: Path) -> None:
    (filled / HEAD_FILE).write_bytes((filled / HEAD_FILE).read_bytes() + b"\n")
    assert problems(filled) == [f"{HEAD_FILE}: {HEAD_FILE} is damaged"]


def test_events_are_values(chain: Chain, at: datetime) -> None:
    event = chain.append("a", "", {}, at)
    assert isinstance(event, Event)
    with pytest.raises(AttributeError):
        event.seq = 2  # type: ignore[misc]  # that it cannot be set is the test
