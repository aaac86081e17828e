"""A whole store in one tar file, and back.

    manifest.json       what follows, with sizes and hashes, and the chain's head
    head.json           the head of this copy
    ledger.sqlite3      the database as it was at one instant
    blobs/ab/ab12...    every file that the database names

The same content gives the same bytes. Others may read and write the store meanwhile.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
import tarfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Any

from wearvision.errors import BadInput, BrokenRecord
from wearvision.store import sqlite
from wearvision.store.blobs import Blobs
from wearvision.store.chain import Chain
from wearvision.store.db import BLOB_FOLDER, LEDGER_FILE, Store, open_store
from wearvision.store.files import SCRATCH, disk_in_words, flush, flush_folder, part_name, remove
from wearvision.store.head import HEAD_FILE, Head, read_head, write_head
from wearvision.store.problem import Problem

FORMAT = "wearvision.backup/1"
MANIFEST = "manifest.json"
MANIFEST_MOST_BYTES = 256 * 2**20
MEMBER_NAME = re.compile(
    rf"{re.escape(HEAD_FILE)}|{re.escape(LEDGER_FILE)}|{BLOB_FOLDER}/[0-9a-f]{{2}}/[0-9a-f]{{64}}(\.[a-z0-9]{{1,8}})?"
)
"""The only names that are ever written; none of them leads out of the folder."""
_CHUNK_BYTES = 2**20


@dataclass(frozen=True, kw_only=True)
class Member:
    """One file of a backup."""

    name: str
    sha256: str
    size_bytes: int


@dataclass(frozen=True, kw_only=True)
class Manifest:
    """What a backup holds: the head of its chain and its files, in order."""

    head: Head
    members: tuple[Member, ...]


def backup(folder: Path, to_file: Path) -> Manifest:
    """Copy the store in `folder` into one new file, checked through before it gets its name.

    Raises
    ------
    BadInput
        File exists, no store there, disk full or not writable.
    BrokenRecord
        The chain or a blob does not hold together; no backup is made of that.
    """
    if to_file.exists():
        raise BadInput("a backup never replaces a file", got=str(to_file), do="choose a new name")
    with open_store(folder, create=False) as store, _scratch(store.folder / SCRATCH) as copy:
        head = _copy_ledger(store, copy)
        with disk_in_words("the backup cannot be written", to_file):
            part = to_file.with_name(f".{to_file.name}.{part_name()}")
            try:
                manifest = _write_archive(part, store, copy, head)
                part.replace(to_file)
                flush_folder(to_file.absolute().parent)
            finally:
                remove(part)
    return manifest


def restore(file: Path, folder: Path) -> Manifest:
    """Unpack a backup into a new or empty folder; the folder appears only when all of it is proved sound.

    Raises
    ------
    BadInput
        Folder not empty, no backup file, disk full or not writable.
    BrokenRecord
        The file is damaged, or holds anything but what its manifest names.
    """
    folder = folder.absolute()
    sqlite.refuse_network_folder(folder)
    with disk_in_words("the backup cannot be restored", folder):
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise BadInput("a backup is restored only into an empty folder", got=str(folder), do="choose a new one")
        folder.parent.mkdir(parents=True, exist_ok=True)
        with _scratch(folder.parent, f".{folder.name}.") as copy:
            manifest = _unpack(file, copy)
            _prove(copy, manifest.head)
            _flush_folders(copy)
            if folder.exists():
                folder.rmdir()
            copy.rename(folder)
            flush_folder(folder.parent)
    return manifest


@contextmanager
def _scratch(parent: Path, prefix: str = "") -> Iterator[Path]:
    path = parent / f"{prefix}{part_name()}"
    with disk_in_words("a folder cannot be made", path):
        path.mkdir(parents=True)
    try:
        yield path
    finally:
        remove(path)


def _copy_ledger(store: Store, copy: Path) -> Head:
    """Copy the database and prove the copy against the head recorded before it was taken."""
    recorded = read_head(store.folder)
    with sqlite.database_in_words(store.ledger_path), disk_in_words("the ledger cannot be copied", copy):
        sqlite.copy_database(store.engine, copy / LEDGER_FILE)
        write_head(copy, recorded)
        with open_store(copy, create=False) as copied:
            report = Chain(store=copied).verify()
        _refuse(report.problems, store.folder)
        write_head(copy, report.head)
    return report.head


def _write_archive(part: Path, store: Store, copy: Path, head: Head) -> Manifest:
    with open_store(copy, create=False) as copied:
        blobs = tuple(Blobs(store=copied).all())
    members = [_member(copy / name, name) for name in (HEAD_FILE, LEDGER_FILE)]
    members += [
        Member(name=f"{BLOB_FOLDER}/{blob.name}", sha256=blob.sha256, size_bytes=blob.size_bytes) for blob in blobs
    ]
    manifest = Manifest(head=head, members=tuple(members))
    with part.open("xb") as file:
        with tarfile.open(fileobj=file, mode="w", format=tarfile.GNU_FORMAT) as tar:
            text = _manifest_bytes(manifest)
            tar.addfile(_header(MANIFEST, len(text)), io.BytesIO(text))
            for member in members:
                home = store.folder if member.name.startswith(BLOB_FOLDER) else copy
                _add(tar, home / member.name, member)
        file.flush()
        flush(file.fileno())
    return manifest


def _member(path: Path, name: str) -> Member:
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
        return Member(name=name, sha256=digest, size_bytes=file.tell())


def _add(tar: tarfile.TarFile, path: Path, member: Member) -> None:
    """Add a file, hashing the very bytes that go in."""
    if not path.is_file() or path.stat().st_size != member.size_bytes:
        raise _unsound(f"{member.name} is gone or has another size", path)
    with path.open("rb") as file:
        hashed = _Hashed(file)
        tar.addfile(_header(member.name, member.size_bytes), hashed)
    if hashed.digest.hexdigest() != member.sha256:
        raise _unsound(f"{member.name} was changed", path)


class _Hashed:
    """A file opened for reading that hashes what is read."""

    def __init__(self, file: IO[bytes]) -> None:
        self.file, self.digest = file, hashlib.sha256()

    def read(self, size: int = -1) -> bytes:
        data = self.file.read(size)
        self.digest.update(data)
        return data


def _header(name: str, size_bytes: int) -> tarfile.TarInfo:
    info = tarfile.TarInfo(name)
    info.size, info.mode, info.mtime = size_bytes, 0o644, 0
    return info


def _manifest_bytes(manifest: Manifest) -> bytes:
    fields = {"format": FORMAT, **asdict(manifest)}
    return (json.dumps(fields, sort_keys=True, indent=1) + "\n").encode("ascii")


def _unpack(file: Path, copy: Path) -> Manifest:
    """Write the members into `copy`, each only if the manifest names it and in the manifest's order."""
    with disk_in_words("the backup cannot be read", file):
        opened = file.open("rb")
    try:
        with opened, tarfile.open(fileobj=opened, mode="r:") as tar:
            manifest = _read_manifest(tar.next(), tar)
            for member in manifest.members:
                _extract(tar, tar.next(), member, copy / member.name)
            if tar.next() is not None:
                raise _unsound("the backup holds more than its manifest names", file)
    except tarfile.TarError as err:
        raise BrokenRecord(f"this file is no whole backup: {err}", got=str(file), do="use another backup") from err
    return manifest


def _read_manifest(info: tarfile.TarInfo | None, tar: tarfile.TarFile) -> Manifest:
    if info is None or info.name != MANIFEST or not _plain(info) or info.size > MANIFEST_MOST_BYTES:
        raise BadInput("this file is not a backup of this program", got=info and info.name)
    text = _reader(tar, info).read()
    try:
        manifest = _parse_manifest(json.loads(text))
        intact = _manifest_bytes(manifest) == text
    except (ValueError, TypeError, KeyError, RecursionError):
        intact = False
    names = [member.name for member in manifest.members] if intact else []
    if not intact or len(set(names)) < len(names) or not all(MEMBER_NAME.fullmatch(name) for name in names):
        raise BrokenRecord("the backup's manifest is damaged", got=text[:40], do="use another backup")
    return manifest


def _parse_manifest(fields: dict[str, Any]) -> Manifest:
    members = tuple(Member(**member) for member in fields["members"])
    return Manifest(head=Head(**fields["head"]), members=members)


def _extract(tar: tarfile.TarFile, info: tarfile.TarInfo | None, member: Member, target: Path) -> None:
    if info is None or info.name != member.name or not _plain(info) or info.size != member.size_bytes:
        raise BrokenRecord("the backup does not hold what its manifest names", got=member.name, do="use another backup")
    target.parent.mkdir(parents=True, exist_ok=True)
    source = _Hashed(_reader(tar, info))
    with target.open("xb") as out:
        while data := source.read(_CHUNK_BYTES):
            out.write(data)
        out.flush()
        flush(out.fileno())
    if source.digest.hexdigest() != member.sha256:
        raise BrokenRecord("a file in the backup was changed", got=member.name, do="use another backup")


def _plain(info: tarfile.TarInfo) -> bool:
    """A file proper: no link, no device, no folder, no sparse map."""
    return info.type in (tarfile.REGTYPE, tarfile.AREGTYPE) and info.sparse is None


def _reader(tar: tarfile.TarFile, info: tarfile.TarInfo) -> IO[bytes]:
    reader = tar.extractfile(info)
    assert reader is not None, "only plain files get here"
    return reader


def _prove(copy: Path, head: Head) -> None:
    """Open the unpacked store and check all of it."""
    with open_store(copy, create=False) as store:
        chain, blobs = Chain(store=store).verify(), Blobs(store=store).verify_all()
    _refuse(chain.problems + blobs.problems, copy)
    if chain.head != head or chain.recorded != head or blobs.leftovers:
        raise BrokenRecord("the backup is not the ledger its manifest names", got=chain.head.seq, do="use another")


def _flush_folders(folder: Path) -> None:
    for path in (folder, *folder.rglob("*")):
        if path.is_dir():
            flush_folder(path)


def _refuse(problems: tuple[Problem, ...], folder: Path) -> None:
    if problems:
        raise _unsound(f"{problems[0]} ({len(problems)} found)", folder)


def _unsound(what: str, path: Path) -> BrokenRecord:
    return BrokenRecord(what, got=str(path), do="run the check command and keep the older backups")
