from __future__ import annotations

import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import datetime
from pathlib import Path

import pytest
import sqlalchemy as sa

import wearvision
from wearvision.errors import BadInput, BrokenRecord, WearvisionError
from wearvision.store import sqlite
from wearvision.store.blobs import Blobs
from wearvision.store.chain import Chain
from wearvision.store.db import _META, LEDGER_FILE, REVISION, Store, migrate, open_store
from wearvision.store.event import Draft, make_event
from wearvision.store.head import EMPTY, HEAD_FILE, Head, read_head, write_head

ROOT = Path(wearvision.__file__).parent.parent


def snapshot(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_a_new_store_is_empty_and_sound(store: Store, chain: Chain) -> None:
    report = chain.verify()
    assert report.sound
    assert report.head == report.recorded == EMPTY == read_head(store.folder)
    assert list(chain.events()) == []


def test_opening_again_changes_nothing(filled: Path) -> None:
    before = snapshot(filled)
    with open_store(filled) as store:
        assert len(list(Chain(store=store).events())) == 40
    assert snapshot(filled) == before


def test_a_mistyped_path_makes_no_store(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no ledger"):
        open_store(tmp_path / "typo", create=False)
    assert not (tmp_path / "typo").exists()


@pytest.mark.parametrize("name", ["a%sb", "ö ü", "a'b;--", "x?mode=ro", "#1"])
def test_odd_folder_names_work(tmp_path: Path, name: str, at: datetime) -> None:
    with open_store(tmp_path / name) as store:
        Chain(store=store).append("a", "", {}, at)
    assert (tmp_path / name / LEDGER_FILE).is_file()


def test_a_ledger_that_is_gone_is_not_replaced_by_an_empty_one(filled: Path) -> None:
    (filled / LEDGER_FILE).unlink()
    with pytest.raises(BrokenRecord, match="gone"):
        open_store(filled)
    (filled / HEAD_FILE).unlink()  # the blobs alone still tell
    with pytest.raises(BrokenRecord, match="gone"):
        open_store(filled)


@pytest.mark.parametrize("size", [0, 100, 4096, 20000])
def test_a_ledger_cut_short_is_broken(filled: Path, size: int) -> None:
    data = (filled / LEDGER_FILE).read_bytes()
    (filled / LEDGER_FILE).write_bytes(data[:size])
    try:
        with open_store(filled) as store:
            sound = Chain(store=store).verify().sound
    except BrokenRecord:
        sound = False
    assert not sound


@pytest.mark.parametrize("content", [b"hello", b"x" * 5000, b"SQLite format 3\x00" + b"\x00" * 200])
def test_a_file_that_is_no_database_is_refused_and_left_alone(tmp_path: Path, content: bytes) -> None:
    (tmp_path / LEDGER_FILE).write_bytes(content)
    with pytest.raises(BrokenRecord) as caught:
        open_store(tmp_path)
    assert "\n" not in str(caught.value)
    assert snapshot(tmp_path) == {LEDGER_FILE: content}


def test_another_programs_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / LEDGER_FILE)) as db:
        db.execute("CREATE TABLE theirs (x)")
    before = snapshot(tmp_path)
    with pytest.raises(BrokenRecord, match="not a ledger"):
        open_store(tmp_path)
    assert snapshot(tmp_path) == before


def test_a_newer_ledger_is_refused(filled: Path) -> None:
    with closing(sqlite3.connect(filled / LEDGER_FILE)) as db:
        db.execute("UPDATE alembic_version SET version_num = '9999'")
        db.commit()
    with pytest.raises(BadInput, match=r"newer version.*9999"):
        open_store(filled)


@pytest.mark.parametrize("place", ["file", "file/below", "proc"])
def test_a_folder_that_cannot_be_made_is_one_line(tmp_path: Path, place: str) -> None:
    (tmp_path / "file").touch()
    folder = Path("/proc/wearvision") if place == "proc" else tmp_path / place
    with pytest.raises(BadInput) as caught:
        open_store(folder)
    assert str(folder) in str(caught.value)


def test_a_ledger_in_use_is_one_line(filled: Path, at: datetime) -> None:
    with open_store(filled, wait_s=0.05) as store, closing(sqlite3.connect(filled / LEDGER_FILE)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(BadInput, match="in use"):
            Chain(store=store).append("a", "", {}, at)
        assert len(list(Chain(store=store).events())) == 40  # reading goes on
        other.rollback()
        assert Chain(store=store).append("a", "", {}, at).seq == 41


def refuse_writes(store: Store, pragma: str) -> None:
    """SQLite's own switch makes the real refusal; access rights would not stop a test run by root."""

    @sa.event.listens_for(store.engine, "connect")
    def on_connect(connection: sqlite3.Connection, _record: object) -> None:
        connection.execute(pragma)

    store.engine.dispose()


@pytest.mark.parametrize(
    ("pragma", "words"),
    [("PRAGMA query_only=ON", "cannot be opened for writing"), ("PRAGMA max_page_count=1", "disk is full")],
)
def test_a_disk_that_takes_nothing_more_is_one_line(filled: Path, at: datetime, pragma: str, words: str) -> None:
    with open_store(filled) as store:
        refuse_writes(store, pragma)
        with pytest.raises(BadInput, match=words):
            Chain(store=store).append("a", "", {"long": "x" * 100_000}, at)
    with open_store(filled) as store:
        report = Chain(store=store).verify()
        assert report.sound
        assert report.events == 40
        assert list((filled / "tmp").iterdir()) == []


def test_the_schema_is_the_last_script(store: Store) -> None:
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", "wearvision.store:migrations")
    assert ScriptDirectory.from_config(config).get_current_head() == REVISION


def test_the_scripts_make_the_tables_that_the_code_uses(store: Store) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with store.reading() as connection:
        assert compare_metadata(MigrationContext.configure(connection), _META) == []
        assert sqlite.guards_amiss(connection) == []


def test_a_ledger_of_the_first_schema_is_brought_up_to_date(tmp_path: Path, at: datetime) -> None:
    first = Store(folder=tmp_path, engine=sqlite.connect(tmp_path / LEDGER_FILE, wait_s=1))
    event = make_event(Draft(kind="a", tag="T", payload={"i": 1}, at=at), seq=1, prev_hash=EMPTY.hash)
    with first.writing() as connection:
        migrate(connection, None, "0001")
        assert sa.inspect(connection).get_table_names() == ["alembic_version", "events"]
        row = (event.seq, event.at, event.kind, event.tag, event.payload_text, event.prev_hash, event.hash)
        connection.exec_driver_sql("INSERT INTO events VALUES (?, ?, ?, ?, ?, ?, ?)", row)
    first.close()
    write_head(tmp_path, Head(seq=1, hash=event.hash))
    with open_store(tmp_path) as store:
        assert list(Chain(store=store).events()) == [event]
        assert Chain(store=store).verify().sound
        Blobs(store=store).put(b"x", ".jpg")


def test_a_failed_step_leaves_the_schema_as_it_was(tmp_path: Path) -> None:
    store = Store(folder=tmp_path, engine=sqlite.connect(tmp_path / LEDGER_FILE, wait_s=1))

    def fail_half_way() -> None:
        with store.writing() as connection:
            migrate(connection, None)
            raise RuntimeError("power cut")

    with pytest.raises(RuntimeError):
        fail_half_way()
    with store.reading() as connection:
        assert sa.inspect(connection).get_table_names() == []
    store.close()
    with open_store(tmp_path) as again:
        assert Chain(store=again).verify().sound


def test_many_programs_may_open_a_new_store_at_once(tmp_path: Path) -> None:
    script = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from wearvision.store.chain import Chain
from wearvision.store.db import open_store
sys.stdin.readline()
with open_store(Path(sys.argv[1]), wait_s=20) as store:
    Chain(store=store).append("a", "", {}, datetime.now(UTC))
"""
    programs = [
        subprocess.Popen([sys.executable, "-c", script, str(tmp_path / "new")], cwd=ROOT, stdin=subprocess.PIPE)
        for _ in range(3)
    ]
    for program in programs:
        assert program.stdin is not None
        program.stdin.write(b"go\n")
        program.stdin.close()
    assert [program.wait(60) for program in programs] == [0, 0, 0]
    with open_store(tmp_path / "new", create=False) as store:
        report = Chain(store=store).verify()
    assert report.sound
    assert report.events == 3


def test_a_store_begun_and_killed_before_its_head_is_taken_up(tmp_path: Path, at: datetime) -> None:
    with open_store(tmp_path) as store:
        (tmp_path / HEAD_FILE).unlink()
    with open_store(tmp_path) as store:
        Chain(store=store).append("a", "", {}, at)
        assert Chain(store=store).verify().sound


def test_a_head_that_is_gone_is_not_made_up(filled: Path, at: datetime) -> None:
    (filled / HEAD_FILE).unlink()
    with open_store(filled) as store:
        assert [p.where for p in Chain(store=store).verify().problems] == [HEAD_FILE]
        with pytest.raises(BrokenRecord):
            Chain(store=store).append("a", "", {}, at)
    assert not (filled / HEAD_FILE).exists()


def test_importing_the_store_does_not_load_the_migration_tool() -> None:
    script = "import sys, wearvision.store.chain; assert 'alembic' not in sys.modules"
    subprocess.run([sys.executable, "-c", script], cwd=ROOT, check=True)


def test_a_store_can_be_read_while_another_program_has_it(filled: Path, at: datetime) -> None:
    with open_store(filled) as one, open_store(filled) as two:
        event = Chain(store=one).append("a", "T-1", {}, at)
        assert Chain(store=two).head() == event.hash


def test_errors_in_words_stay_in_the_family(filled: Path) -> None:
    """An error text of SQLite that quotes damaged bytes cannot be decoded by the driver."""
    data = (filled / LEDGER_FILE).read_bytes()
    (filled / LEDGER_FILE).write_bytes(data.replace(b"CREATE TABLE events", b"CREATE TAB\xffE events"))
    with pytest.raises(WearvisionError, match="damaged"):
        open_store(filled)
