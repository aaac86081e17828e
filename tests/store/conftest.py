"""Stores to try things on. The filled one is made once and copied: copying does not wait for the disk."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from wearvision.store.blobs import Blobs
from wearvision.store.chain import Chain
from wearvision.store.db import LEDGER_FILE, Store, open_store
from wearvision.store.event import Draft
from wearvision.store.sqlite import GUARDS

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
TAGS = ("", "T-1", "Ü 2")
KINDS = ("sheet.opened", "reading")


def fill(store: Store, count: int = 40) -> None:
    drafts = [
        Draft(
            kind=KINDS[i % 2],
            tag=TAGS[i % 3],
            payload={"i": i, "text": "ä" * (i * 37 % 500), "mm": 1.5 + i},
            at=START + timedelta(seconds=i),
        )
        for i in range(count)
    ]
    Chain(store=store).append_many(drafts)
    for i in range(3):
        Blobs(store=store).put(bytes(range(100 + i)), (".jpg", ".png", "")[i])


@pytest.fixture(scope="session")
def filled_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("filled") / "store"
    with open_store(folder) as store:
        fill(store)
    return folder


@pytest.fixture
def filled(filled_once: Path, tmp_path: Path) -> Path:
    """A folder with 40 events and 3 blobs, closed."""
    return Path(shutil.copytree(filled_once, tmp_path / "filled"))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "store") as store:
        yield store


@pytest.fixture
def chain(store: Store) -> Chain:
    return Chain(store=store)


@pytest.fixture
def blobs(store: Store) -> Blobs:
    return Blobs(store=store)


@pytest.fixture(scope="session")
def at() -> datetime:
    return START


@pytest.fixture(scope="session")
def tamper() -> Callable[..., None]:
    """Run SQL on a closed store with the guards taken off, then put them back as they were."""

    def run(folder: Path, sql: str, *values: object) -> None:
        with closing(sqlite3.connect(folder / LEDGER_FILE)) as db:
            db.execute("PRAGMA synchronous=OFF")  # nobody pulls the plug on a test
            guards = [item for table in GUARDS.values() for item in table.items()]
            for name, _ in guards:
                db.execute(f"DROP TRIGGER {name}")
            db.execute(sql, values)
            for _, text in guards:
                db.execute(text)
            db.commit()
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    return run
