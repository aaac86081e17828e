from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
import sqlalchemy as sa

from wearvision.errors import BadInput, BrokenRecord
from wearvision.store import sqlite
from wearvision.store.db import Store, open_store

# Form of the lines: Linux manual page proc_pid_mountinfo(5).
MOUNTS = r"""22 1 254:0 / / rw,relatime shared:1 - ext4 /dev/vda rw
30 22 0:40 / /mnt/share rw,relatime shared:9 master:2 - nfs4 server:/export rw,vers=4.2
31 22 0:41 / /mnt/with\040space rw - cifs //server/share rw
32 22 0:42 / /home/me/remote rw - fuse.sshfs me@host: rw
33 30 254:1 / /mnt/share/local rw - xfs /dev/vdb rw
34 22 0:43 / /over rw - tmpfs tmpfs rw
35 22 0:44 / /over rw - nfs server:/x rw
"""


@pytest.mark.parametrize(
    ("folder", "kind"),
    [
        ("/srv/data", "ext4"),
        ("/mnt/share/a/b", "nfs4"),
        ("/mnt/shared", "ext4"),
        ("/mnt/with space", "cifs"),
        ("/home/me/remote/x", "fuse.sshfs"),
        ("/mnt/share/local/x", "xfs"),
        ("/over/x", "nfs"),
    ],
)
def test_the_innermost_mount_counts(folder: str, kind: str) -> None:
    assert sqlite.disk_kind(Path(folder), MOUNTS) == kind


@pytest.mark.parametrize(
    "kind", ["nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "ceph", "lustre", "fuse.sshfs", "fuse.rclone"]
)
def test_a_network_folder_is_refused_with_its_reason(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = tmp_path / "mounts"
    table.write_text(f"22 1 0:1 / / rw - {kind} server:/x rw\n")
    monkeypatch.setattr(sqlite, "MOUNTS", table)
    with pytest.raises(BadInput, match=f"network folder \\({kind}\\).*locks do not hold"):
        open_store(tmp_path / "store")
    assert not (tmp_path / "store").exists()


@pytest.mark.parametrize("kind", ["ext4", "xfs", "btrfs", "tmpfs", "overlay", "zfs", "vfat", "fuseblk", "apfs"])
def test_local_disks_pass(kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    table = tmp_path / "mounts"
    table.write_text(f"22 1 0:1 / / rw - {kind} /dev/x rw\n")
    monkeypatch.setattr(sqlite, "MOUNTS", table)
    sqlite.refuse_network_folder(tmp_path)


def test_a_link_to_a_network_folder_is_seen_through(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "far").mkdir()
    (tmp_path / "near").symlink_to(tmp_path / "far")
    table = tmp_path / "mounts"
    table.write_text(f"1 0 0:1 / / rw - ext4 /dev/x rw\n2 1 0:2 / {tmp_path}/far rw - nfs server:/x rw\n")
    monkeypatch.setattr(sqlite, "MOUNTS", table)
    with pytest.raises(BadInput, match="network folder"):
        open_store(tmp_path / "near" / "store")


def test_where_there_is_no_mount_table_every_folder_passes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sqlite, "MOUNTS", tmp_path / "nowhere")
    sqlite.refuse_network_folder(tmp_path)


def test_every_connection_is_set_up(store: Store) -> None:
    """Numbers: SQLite's own documentation of each pragma (FULL is 2)."""
    expected = {"synchronous": 2, "foreign_keys": 1, "recursive_triggers": 1, "busy_timeout": 10000}
    with store.reading() as one, store.reading() as two:
        for connection in (one, two):
            for name, value in expected.items():
                assert connection.exec_driver_sql(f"PRAGMA {name}").scalar() == value
            assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"


@pytest.mark.parametrize(
    ("statement", "table"),
    [
        ("UPDATE events SET tag = 'x'", "events"),
        ("UPDATE events SET seq = 99 WHERE seq = 1", "events"),
        ("DELETE FROM events", "events"),
        ("DELETE FROM events WHERE seq = 40", "events"),
        ("REPLACE INTO events SELECT * FROM events WHERE seq = 3", "events"),
        (
            "INSERT OR REPLACE INTO events SELECT seq, at, kind, 'x', payload, prev_hash, hash FROM events",
            "events",
        ),
        (
            "INSERT INTO events SELECT 0, at, kind, tag, payload, prev_hash, hash FROM events WHERE seq=1",
            "events",
        ),
        (
            "INSERT INTO events SELECT 99, at, kind, tag, payload, prev_hash, hash FROM events WHERE seq=1",
            "events",
        ),
        ("UPDATE blobs SET suffix = '.gif'", "blobs"),
        ("DELETE FROM blobs", "blobs"),
        ("REPLACE INTO blobs SELECT sha256, '.gif', 1 FROM blobs", "blobs"),
    ],
)
@pytest.mark.parametrize("recursive", ["ON", "OFF"])
def test_the_guards_refuse_any_change(filled: Path, statement: str, table: str, recursive: str) -> None:
    """By any program's connection, whether or not it lets REPLACE fire the guard against DELETE."""
    db = sqlite3.connect(filled / "ledger.sqlite3")
    try:
        before = db.execute(f"SELECT * FROM {table}").fetchall()
        db.execute(f"PRAGMA recursive_triggers={recursive}")
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            db.execute(statement)
        assert db.execute(f"SELECT * FROM {table}").fetchall() == before
    finally:
        db.close()


def test_a_refused_change_is_one_line_of_the_family(store: Store) -> None:
    with pytest.raises(BrokenRecord, match="append-only"), store.writing() as connection:
        connection.exec_driver_sql("INSERT INTO events VALUES (5, '', '', '', '', '', '')")


def test_a_fault_of_the_program_is_not_called_damage(store: Store) -> None:
    with pytest.raises(sa.exc.ProgrammingError), store.reading() as connection:
        connection.exec_driver_sql("SELECT ?", (1, 2))
