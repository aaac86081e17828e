"""Photos and other files by their SHA-256: the file first, on the disk for sure, then its row."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from wearvision.errors import BadInput, BrokenRecord
from wearvision.store.db import BLOB_FOLDER, BLOBS, Store
from wearvision.store.files import SCRATCH, disk_in_words, flush_folder, settle, stage
from wearvision.store.problem import Problem, Problems

SHA256 = re.compile(r"[0-9a-f]{64}")
SUFFIX = re.compile(r"(\.[a-z0-9]{1,8})?")
PAGE_ROWS = 256


@dataclass(frozen=True, kw_only=True)
class Blob:
    """What the ledger knows of a kept file."""

    sha256: str
    suffix: str
    size_bytes: int

    @property
    def name(self) -> str:
        """Path inside the blob folder, with forward slashes."""
        return f"{self.sha256[:2]}/{self.sha256}{self.suffix}"


@dataclass(frozen=True, kw_only=True)
class BlobReport:
    """What a check of all blobs found.

    Attributes
    ----------
    blobs, size_bytes : int
        How many were checked, and how large they are together.
    leftovers : tuple of str
        Files without a row, from a write killed before its row: harmless; putting the file again adopts it.
    problems : tuple of Problem
        Empty when every row has its file, unchanged.
    """

    blobs: int
    size_bytes: int
    leftovers: tuple[str, ...]
    problems: tuple[Problem, ...]

    @property
    def sound(self) -> bool:
        """Whether everything holds together."""
        return not self.problems


@dataclass(frozen=True, kw_only=True)
class Blobs:
    """The kept files of an open store."""

    store: Store

    @property
    def folder(self) -> Path:
        """Where the files are."""
        return self.store.folder / BLOB_FOLDER

    def put(self, data: bytes, suffix: str) -> str:
        """Keep `data`; the same bytes are kept once, under the suffix they first came with.

        Parameters
        ----------
        data : bytes
        suffix : str
            Such as `.jpg`; empty, or a dot and up to eight lower-case letters or digits.

        Returns
        -------
        str
            SHA-256, 64 hexadecimal digits.

        Raises
        ------
        BadInput
            Odd suffix, disk full or not writable.
        """
        if not SUFFIX.fullmatch(suffix):
            raise BadInput("a file suffix is a dot and lower-case letters or digits", got=suffix)
        sha = hashlib.sha256(data).hexdigest()
        known = self._find(sha)
        blob = known or Blob(sha256=sha, suffix=suffix, size_bytes=len(data))
        with disk_in_words("a photo cannot be kept", self.folder):
            if not _intact(self.folder / blob.name, blob):
                self._write(blob, data)
        if known is None:
            self._note(blob)
        return sha

    def get(self, sha: str) -> bytes:
        """The bytes kept under `sha`, checked.

        Raises
        ------
        BadInput
            If there is no such blob.
        BrokenRecord
            If its file is gone or changed.
        """
        path = self.path(sha)
        try:
            data = path.read_bytes()
        except OSError as err:
            raise _broken(f"a kept file cannot be read: {err.strerror or err}", path) from err
        if hashlib.sha256(data).hexdigest() != sha:
            raise _broken("a kept file was changed", path)
        return data

    def path(self, sha: str) -> Path:
        """Where the file of `sha` is; not checked.

        Raises
        ------
        BadInput
            If there is no such blob.
        """
        blob = self._find(sha)
        if blob is None:
            raise BadInput("there is no such file in the ledger", got=sha)
        return self.folder / blob.name

    def all(self) -> Iterator[Blob]:
        """Every blob, by its SHA-256."""
        after = ""
        while True:
            query = sa.select(BLOBS).where(BLOBS.c.sha256 > after).order_by(BLOBS.c.sha256).limit(PAGE_ROWS)
            with self.store.reading() as connection:
                page = [_blob(row) for row in connection.execute(query)]
            for blob in page:
                if blob.sha256 <= after:
                    raise BrokenRecord("the list of kept files is out of order", got=blob.sha256)
                after = blob.sha256
                yield blob
            if len(page) < PAGE_ROWS:
                return

    def verify_all(self) -> BlobReport:
        """Read every file and compare; others may put meanwhile. Damage is reported, not raised."""
        problems = Problems()
        present = {path.relative_to(self.folder).as_posix() for path in self.folder.glob("*/*")}
        known: set[str] = set()
        size_bytes = 0
        try:
            for blob in self.all():
                known.add(blob.name)
                size_bytes += blob.size_bytes
                fault = _fault(self.folder / blob.name, blob)
                if fault:
                    problems.add(f"blob {blob.sha256}", fault)
        except BrokenRecord as err:
            problems.add("blobs", err.what)
        return BlobReport(
            blobs=len(known),
            size_bytes=size_bytes,
            leftovers=tuple(sorted(present - known)),
            problems=problems.all(),
        )

    def _find(self, sha: str) -> Blob | None:
        with self.store.reading() as connection:
            row = connection.execute(sa.select(BLOBS).where(BLOBS.c.sha256 == sha)).first()
        return None if row is None else _blob(row)

    def _write(self, blob: Blob, data: bytes) -> None:
        path = self.folder / blob.name
        if not path.parent.is_dir():
            path.parent.mkdir(parents=True, exist_ok=True)
            flush_folder(self.folder)
            flush_folder(self.store.folder)
        settle(stage(data, self.store.folder / SCRATCH), path)

    def _note(self, blob: Blob) -> None:
        with self.store.writing() as connection:
            there = connection.scalar(sa.select(BLOBS.c.sha256).where(BLOBS.c.sha256 == blob.sha256))
            if there is None:
                row = {"sha256": blob.sha256, "suffix": blob.suffix, "size_bytes": blob.size_bytes}
                connection.execute(sa.insert(BLOBS), row)


def _blob(row: sa.Row[Any]) -> Blob:
    """A row as a blob; names are checked here, so that no row leads outside the folder."""
    sha, suffix, size_bytes = tuple(row)
    fits = (
        type(sha) is str
        and type(suffix) is str
        and type(size_bytes) is int
        and SHA256.fullmatch(sha)
        and SUFFIX.fullmatch(suffix)
    )
    if not fits:
        raise BrokenRecord("the list of kept files is damaged", got=f"{sha}{suffix}", do="restore a backup")
    return Blob(sha256=sha, suffix=suffix, size_bytes=size_bytes)


def _intact(path: Path, blob: Blob) -> bool:
    return path.is_file() and not _fault(path, blob)


def _fault(path: Path, blob: Blob) -> str:
    """What is wrong with a kept file; empty when nothing is."""
    try:
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
            size_bytes = file.tell()
    except OSError as err:
        return f"its file cannot be read: {err.strerror or err}"
    if digest != blob.sha256:
        return "its file was changed"
    if size_bytes != blob.size_bytes:
        return "its row states another size"
    return ""


def _broken(what: str, path: Path) -> BrokenRecord:
    return BrokenRecord(what, got=str(path), do="restore it from a backup")
