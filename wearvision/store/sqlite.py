"""All that is particular to SQLite: how to connect, how to lock, the guards, the error codes, local disks."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

from wearvision.errors import BadInput, BrokenRecord, WearvisionError

PRAGMAS = {
    "synchronous": "FULL",
    "foreign_keys": "ON",
    "recursive_triggers": "ON",  # or REPLACE slips past the guard against DELETE
    "trusted_schema": "OFF",
    "cell_size_check": "ON",
}
BEGIN = "wearvision_begin"
"""Execution option of a connection: the statement that begins its transactions; `BEGIN` when not given."""
WRITING = {BEGIN: "BEGIN IMMEDIATE"}
"""Take the write lock at once: who reads first and locks later may be refused half way."""
_NO_TRANSACTION = {BEGIN: ""}

GUARDS: dict[str, dict[str, str]] = {
    "events": {
        "events_no_update": (
            "CREATE TRIGGER events_no_update BEFORE UPDATE ON events "
            "BEGIN SELECT RAISE(ABORT, 'events are append-only'); END"
        ),
        "events_no_delete": (
            "CREATE TRIGGER events_no_delete BEFORE DELETE ON events "
            "BEGIN SELECT RAISE(ABORT, 'events are append-only'); END"
        ),
        "events_only_next": (
            "CREATE TRIGGER events_only_next BEFORE INSERT ON events "
            "WHEN NEW.seq IS NOT (SELECT COALESCE(MAX(seq), 0) + 1 FROM events) "
            "BEGIN SELECT RAISE(ABORT, 'events are append-only, one after the other'); END"
        ),
    },
    "blobs": {
        "blobs_no_update": (
            "CREATE TRIGGER blobs_no_update BEFORE UPDATE ON blobs "
            "BEGIN SELECT RAISE(ABORT, 'blobs are append-only'); END"
        ),
        "blobs_no_delete": (
            "CREATE TRIGGER blobs_no_delete BEFORE DELETE ON blobs "
            "BEGIN SELECT RAISE(ABORT, 'blobs are append-only'); END"
        ),
        "blobs_no_replace": (
            "CREATE TRIGGER blobs_no_replace BEFORE INSERT ON blobs "
            "WHEN EXISTS (SELECT 1 FROM blobs WHERE sha256 = NEW.sha256) "
            "BEGIN SELECT RAISE(ABORT, 'blobs are append-only'); END"
        ),
    },
}
"""Table -> trigger -> its text. Migrations use these: once shipped a text stays, a better guard is new."""

NETWORK_KINDS = re.compile(
    r"nfs\d*|cifs|smb\d*|smbfs|ncpfs|afs|9p|ceph|glusterfs|lustre|beegfs|ocfs2|gfs2|davfs|"
    r"fuse\.(sshfs|s3fs|rclone|davfs\d*|glusterfs|ceph|gvfsd-fuse|smbnetfs|curlftpfs|juicefs|mfs)"
)
MOUNTS = Path("/proc/self/mountinfo")


def connect(path: Path, *, wait_s: float) -> sa.Engine:
    """An engine for the database file; nothing is opened yet.

    Each connection keeps a write-ahead log, flushes every commit to the disk and waits up to `wait_s` for
    another writer. Transactions are begun by ourselves: the driver's own habit leaves reads outside them.
    """
    engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)))

    @sa.event.listens_for(engine, "connect")
    def on_connect(connection: Any, _record: object) -> None:
        connection.isolation_level = None
        connection.execute(f"PRAGMA busy_timeout={round(wait_s * 1000)}")
        for name, value in PRAGMAS.items():
            connection.execute(f"PRAGMA {name}={value}")

    @sa.event.listens_for(engine, "begin")
    def on_begin(connection: sa.Connection) -> None:
        statement = connection.get_execution_options().get(BEGIN, "BEGIN")
        if statement:
            connection.exec_driver_sql(statement)

    return engine


def keep_log(engine: sa.Engine) -> None:
    """Switch the database to a write-ahead log; it stays so.

    Raises
    ------
    BadInput
        If the disk cannot hold such a log.
    """
    with engine.connect().execution_options(**_NO_TRANSACTION) as connection:
        mode = connection.exec_driver_sql("PRAGMA journal_mode").scalar()
        if mode != "wal":
            mode = connection.exec_driver_sql("PRAGMA journal_mode=WAL").scalar()
    if mode != "wal":
        raise BadInput("this disk cannot hold the ledger's log", got=mode, do="use a folder on a local disk")


def integrity(connection: sa.Connection) -> list[str]:
    """What SQLite itself finds amiss in the file; empty when sound."""
    found = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
    return [] if found == ["ok"] else [str(line) for line in found]


def guards_amiss(connection: sa.Connection) -> list[str]:
    """Names of triggers that are missing, changed, or not ours."""
    rows = connection.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
    present = {str(name): sql for name, sql in rows}
    ours = {name: sql for guards in GUARDS.values() for name, sql in guards.items()}
    return sorted(name for name in present | ours if present.get(name) != ours.get(name))


def copy_database(engine: sa.Engine, target: Path) -> None:
    """Copy the database as it is at one instant, while others write (SQLite's online backup)."""
    with engine.connect() as connection, closing(sqlite3.connect(target)) as copy:
        source = connection.connection.driver_connection
        assert isinstance(source, sqlite3.Connection)
        source.backup(copy)


@contextmanager
def database_in_words(path: Path) -> Iterator[None]:
    """Turn a database error of the body into one line of the family.

    Raises
    ------
    BadInput
        In use, not writable, disk full, disk failing.
    BrokenRecord
        Damaged, not a database, or a change that the guards refuse.
    """
    try:
        yield
    except DBAPIError as err:
        if isinstance(err.orig, (sqlite3.ProgrammingError, sqlite3.InterfaceError)):
            raise  # a fault of this program, not of the file
        raise _in_words(err.orig, path) from err
    except (sqlite3.Error, UnicodeDecodeError) as err:  # the driver chokes on error texts that quote damage
        raise _in_words(err, path) from err


def _in_words(err: BaseException | None, path: Path) -> WearvisionError:
    code = getattr(err, "sqlite_errorcode", 0) & 0xFF
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return BadInput("the ledger is in use by another program", got=str(path), do="let it finish and try again")
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return BadInput(
            f"the ledger cannot be opened for writing: {err}",
            got=str(path),
            do="check that the disk and the folder can be written",
        )
    if code == sqlite3.SQLITE_FULL:
        return BadInput("the disk is full", got=str(path), do="free some disk space and try again")
    if code == sqlite3.SQLITE_IOERR:
        return BadInput(f"the disk cannot be read or written: {err}", got=str(path), do="check the disk")
    if code == sqlite3.SQLITE_CONSTRAINT:
        return BrokenRecord(f"the ledger refuses this change: {err}", got=str(path))
    if code == sqlite3.SQLITE_NOTADB:
        return BrokenRecord("this file is not a ledger", got=str(path), do="restore it from a backup")
    return BrokenRecord(f"the ledger is damaged: {err}", got=str(path), do="restore it from a backup")


def refuse_network_folder(folder: Path) -> None:
    """Refuse a folder on another machine: locks do not hold there, and two benches would spoil the ledger.

    Known through the kernel's mount table (Linux); elsewhere every folder passes.

    Raises
    ------
    BadInput
    """
    try:
        mounts = MOUNTS.read_text(encoding="utf-8", errors="surrogateescape")
    except OSError:
        return
    kind = disk_kind(folder, mounts)
    if NETWORK_KINDS.fullmatch(kind):
        raise BadInput(
            f"a ledger on a network folder ({kind}) gets spoiled, because file locks do not hold there",
            got=str(folder),
            do="use a folder on this machine's own disk, and the backup command to copy it elsewhere",
        )


def disk_kind(folder: Path, mounts: str) -> str:
    """File system kind of the mount that holds `folder`, from a mount table; `''` when none does.

    Source: Linux manual page proc_pid_mountinfo(5): field 5 is the mount point, with octal escapes; the kind
    follows the lone hyphen. The longest mount point holds, of equals the last.
    """
    resolved = folder.resolve()
    best, kind = -1, ""
    for line in mounts.splitlines():
        place, _, source = line.partition(" - ")
        point = re.sub(r"\\([0-7]{3})", lambda m: chr(int(m[1], 8)), place.split(" ")[4])
        if resolved.is_relative_to(point) and len(point) >= best:
            best, kind = len(point), source.split(" ")[0]
    return kind
