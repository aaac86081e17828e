"""Whatever single byte is changed, anywhere: it is reported, or it does not matter."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wearvision.errors import BrokenRecord
from wearvision.store.blobs import Blob, Blobs
from wearvision.store.chain import Chain
from wearvision.store.db import LEDGER_FILE, open_store
from wearvision.store.event import Event
from wearvision.store.head import HEAD_FILE

PROPERTY = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=50)
EVENT_COLUMNS = ("seq", "at", "kind", "tag", "payload", "prev_hash", "hash")
BLOB_COLUMNS = ("sha256", "suffix", "size_bytes")


def fresh_copy(folder: Path, tmp_path: Path) -> Path:
    shutil.rmtree(tmp_path / "copy", ignore_errors=True)
    return Path(shutil.copytree(folder, tmp_path / "copy"))


def everything(folder: Path) -> tuple[list[list[Event]], list[Blob]]:
    """All that can be asked of a store, each way of asking on its own."""
    with open_store(folder, create=False) as store:
        chain = Chain(store=store)
        asked = [chain.events(), *(chain.events(tag=t) for t in ("", "T-1", "Ü 2"))]
        asked += [chain.events(kind=k) for k in ("sheet.opened", "reading")]
        return [list(events) for events in asked], list(Blobs(store=store).all())


def sound(folder: Path) -> bool:
    try:
        with open_store(folder, create=False) as store:
            return Chain(store=store).verify().sound and Blobs(store=store).verify_all().sound
    except BrokenRecord:
        return False


def flipped(raw: bytes, data: st.DataObject) -> bytes:
    changed = bytearray(raw)
    changed[data.draw(st.integers(0, len(raw) - 1))] ^= data.draw(st.integers(1, 255))
    return bytes(changed)


def flip_value(value: Any, data: st.DataObject) -> tuple[Any, str]:
    """Another value with one byte changed, and how to put it into SQL: text may become no text at all."""
    if isinstance(value, int):
        return value ^ (1 << data.draw(st.integers(0, 16))), "?"
    return flipped(value.encode(), data), "CAST(? AS TEXT)"


@PROPERTY
@given(data=st.data())
def test_any_byte_of_any_event(
    filled_once: Path, tmp_path: Path, tamper: Callable[..., None], data: st.DataObject
) -> None:
    folder = fresh_copy(filled_once, tmp_path)
    column, seq = data.draw(st.sampled_from(EVENT_COLUMNS)), data.draw(st.integers(1, 40))
    with closing(sqlite3.connect(folder / LEDGER_FILE)) as db:
        [value] = db.execute(f"SELECT {column} FROM events WHERE seq = ?", [seq]).fetchone()
    if value == "":  # an empty tag has no byte to flip: give it one
        new, mark = data.draw(st.characters(codec="ascii", categories=("L", "N"))), "?"
    else:
        new, mark = flip_value(value, data)
    try:
        tamper(folder, f"UPDATE events SET {column} = {mark} WHERE seq = ?", new, seq)
    except sqlite3.IntegrityError:
        return  # a number that is taken: the table itself refuses
    assert not sound(folder)


@PROPERTY
@given(data=st.data())
def test_any_byte_of_any_blob_row(
    filled_once: Path, tmp_path: Path, tamper: Callable[..., None], data: st.DataObject
) -> None:
    folder = fresh_copy(filled_once, tmp_path)
    column = data.draw(st.sampled_from(BLOB_COLUMNS))
    with closing(sqlite3.connect(folder / LEDGER_FILE)) as db:
        rows = db.execute(f"SELECT rowid, {column} FROM blobs WHERE {column} <> ''").fetchall()
    rowid, value = data.draw(st.sampled_from(rows))
    new, mark = flip_value(value, data)
    tamper(folder, f"UPDATE blobs SET {column} = {mark} WHERE rowid = ?", new, rowid)
    assert not sound(folder)


@PROPERTY
@given(data=st.data())
def test_any_byte_of_any_blob_file_and_of_the_head(filled_once: Path, tmp_path: Path, data: st.DataObject) -> None:
    folder = fresh_copy(filled_once, tmp_path)
    path = data.draw(st.sampled_from([*sorted(folder.glob("blobs/*/*")), folder / HEAD_FILE]))
    path.write_bytes(flipped(path.read_bytes(), data))
    assert not sound(folder)


@settings(PROPERTY, max_examples=120)
@given(data=st.data())
def test_any_byte_of_the_database_file(filled_once: Path, tmp_path: Path, data: st.DataObject) -> None:
    """Reported, or every event and blob reads back as it was, whichever way one asks."""
    folder = fresh_copy(filled_once, tmp_path)
    raw = (folder / LEDGER_FILE).read_bytes()
    for _ in range(data.draw(st.integers(1, 3))):
        raw = flipped(raw, data)
    (folder / LEDGER_FILE).write_bytes(raw)
    try:
        found = everything(folder)
    except BrokenRecord:
        return
    assert found == everything(filled_once) or not sound(folder)


def test_the_untouched_store_is_sound(filled: Path) -> None:
    """Or none of the above would say anything."""
    assert sound(filled)


@pytest.mark.parametrize("table", ["events", "blobs"])
def test_putting_the_guards_off_and_on_again_is_no_damage(
    filled: Path, tamper: Callable[..., None], table: str
) -> None:
    tamper(filled, f"SELECT * FROM {table}")
    assert sound(filled)
