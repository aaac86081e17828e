"""The folder of a store: opening, creating, bringing up to date; its tables and its transactions.

    folder/ledger.sqlite3   events and the list of blobs
    folder/head.json        the last event known to be in
    folder/blobs/           photos by their SHA-256
    folder/tmp/             files on their way

The tables are neutral; what is particular to SQLite is in `wearvision.store.sqlite`.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

import sqlalchemy as sa

from wearvision.errors import BadInput, BrokenRecord
from wearvision.store import sqlite
from wearvision.store.files import SCRATCH, disk_in_words, sweep
from wearvision.store.head import EMPTY, HEAD_FILE, write_head

LEDGER_FILE = "ledger.sqlite3"
BLOB_FOLDER = "blobs"
REVISION = "0002"
"""Schema this program writes: the last script in `migrations/versions`."""

_META = sa.MetaData()
EVENTS = sa.Table(
    "events",
    _META,
    sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("at", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("tag", sa.Text, nullable=False),
    sa.Column("payload", sa.Text, nullable=False),
    sa.Column("prev_hash", sa.Text, nullable=False),
    sa.Column("hash", sa.Text, nullable=False),
    sa.Index("events_by_tag", "tag", "seq"),
    sa.Index("events_by_kind", "kind", "seq"),
)
BLOBS = sa.Table(
    "blobs",
    _META,
    sa.Column("sha256", sa.Text, primary_key=True),
    sa.Column("suffix", sa.Text, nullable=False),
    sa.Column("size_bytes", sa.Integer, nullable=False),
)


@dataclass(frozen=True, kw_only=True)
class Store:
    """An open store. Use it as a context manager, or call `close`; safe to share between threads."""

    folder: Path
    engine: sa.Engine

    @property
    def ledger_path(self) -> Path:
        """The database file."""
        return self.folder / LEDGER_FILE

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A transaction that sees the ledger as it is at one instant.

        Raises
        ------
        BadInput, BrokenRecord
            Database errors in one line, also those of the body.
        """
        with sqlite.database_in_words(self.ledger_path), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """A transaction that alone may write, from its first statement on; rolled back on any error.

        Raises
        ------
        BadInput, BrokenRecord
            Database errors in one line, also those of the body.
        """
        with (
            sqlite.database_in_words(self.ledger_path),
            self.engine.connect().execution_options(**sqlite.WRITING) as connection,
            connection.begin(),
        ):
            yield connection

    def close(self) -> None:
        """Close the database."""
        self.engine.dispose()

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, err: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def open_store(folder: Path, *, create: bool = True, wait_s: float = 10.0) -> Store:
    """Open the store in `folder`.

    Parameters
    ----------
    folder : Path
        On a local disk.
    create : bool
        Whether to begin a new store where there is none.
    wait_s : float
        How long to wait for another writer, in seconds.

    Raises
    ------
    BadInput
        Network folder, no store there, not writable, in use, written by a newer version.
    BrokenRecord
        Damaged, not a ledger, or its database is gone.
    """
    folder = folder.absolute()
    with disk_in_words("the data folder cannot be used", folder):
        sqlite.refuse_network_folder(folder)
        _refuse_gone(folder, create=create)
        folder.mkdir(parents=True, exist_ok=True)
    sweep(folder / SCRATCH)
    store = Store(folder=folder, engine=sqlite.connect(folder / LEDGER_FILE, wait_s=wait_s))
    try:
        _bring_up_to_date(store)
    except BaseException:
        store.close()
        raise
    return store


def _refuse_gone(folder: Path, *, create: bool) -> None:
    """A folder that once had a ledger must not quietly get an empty one."""
    if (folder / LEDGER_FILE).exists():
        return
    if (folder / HEAD_FILE).exists() or (folder / BLOB_FOLDER).exists():
        raise BrokenRecord(
            f"{LEDGER_FILE} is gone from this data folder",
            got=str(folder),
            do="put it back, or restore a backup into a new folder",
        )
    if not create:
        raise BadInput("there is no ledger in this folder", got=str(folder), do="check the data folder's path")


def _bring_up_to_date(store: Store) -> None:
    with store.reading() as connection:
        current = _revision(store, connection)
    with sqlite.database_in_words(store.ledger_path):
        sqlite.keep_log(store.engine)
    if current != REVISION:
        with store.writing() as connection:  # looked at again: another program may have done it meanwhile
            migrate(connection, _revision(store, connection))
    if not (store.folder / HEAD_FILE).exists():
        with store.writing() as connection:
            if connection.scalar(sa.select(EVENTS.c.seq).limit(1)) is None:
                with disk_in_words(f"{HEAD_FILE} cannot be written", store.folder):
                    write_head(store.folder, EMPTY)


def _revision(store: Store, connection: sa.Connection) -> str | None:
    """Schema of the database; None when it is new."""
    names = sa.inspect(connection).get_table_names()
    if not names and not (store.folder / HEAD_FILE).exists():
        return None
    if "alembic_version" in names:
        found = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalars().all()
        if len(found) == 1:
            return str(found[0])
    raise BrokenRecord("this database is not a ledger", got=str(store.ledger_path), do="restore it from a backup")


def migrate(connection: sa.Connection, current: str | None, target: str = REVISION) -> None:
    """Bring the schema from `current` to `target` inside the caller's transaction.

    Raises
    ------
    BadInput
        If `current` is a schema this program does not know.
    """
    from alembic import command  # slow to import, and rarely needed
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", "wearvision.store:migrations")
    config.attributes["connection"] = connection
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    if current is not None and current not in known:
        raise BadInput(
            "this ledger was written by a newer version of the program",
            got=f"schema {current}",
            do=f"install that version; this one knows schema {REVISION}",
        )
    command.upgrade(config, target)
