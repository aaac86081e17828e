"""What is already measured, so that nothing finished is done twice: `results.jsonl` in the output folder.

One line per finished photo, appended and flushed to disk before the next. A line is known by its key: the
sha256 of the photo's bytes and a digest of all else that decides the result. It carries a check of key and result, and
counts only while that agrees. A run that was killed leaves at most one torn line, at the end; opening the journal cuts
it off. One run at a time holds the folder.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from wearvision.errors import BadInput

RESULTS = "results.jsonl"
LOCK = ".results.lock"

BEFORE = b',"record":'
"""What stands before a result; in no name, whose quotes are escaped."""
Key = tuple[str, str]
"""sha256 of the photo's bytes; digest of the facts it was measured under."""


def sha256_of(path: Path) -> str:
    """Lower-case hexadecimal sha256 of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def digest_of(*facts: Any) -> str:
    """Digest of anything JSON can say: stated facts, the rubric's text, the software's version."""
    text = json.dumps(facts, sort_keys=True, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


class Journal:
    """The finished photos of one output folder; a context manager that holds the folder's lock.

    Only keys and places are kept in memory, some 200 bytes a photo; records are read back when asked for.

    Parameters
    ----------
    folder : Path
        Made when missing.

    Attributes
    ----------
    dropped : int
        Lines found torn or unreadable on opening; their photos count as not done.

    Raises
    ------
    BadInput
        When another run holds the folder, or it cannot be written or locked.
    """

    def __init__(self, folder: Path) -> None:
        self.folder, self.dropped = folder, 0
        self._places: dict[Key, int] = {}
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._lock = _lock(folder / LOCK)
        except OSError as err:
            raise _unusable(folder, err) from None
        try:
            self._out = (folder / RESULTS).open("ab", buffering=0)
            self._load(folder / RESULTS)
            self._file = (folder / RESULTS).open("rb")
        except OSError as err:
            self._lock.close()
            raise _unusable(folder, err) from None
        _sync_folder(folder)

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the folder."""
        self._file.close()
        self._out.close()
        self._lock.close()

    def __len__(self) -> int:
        return len(self._places)

    def __contains__(self, key: Key) -> bool:
        return key in self._places

    def add(self, key: Key, name: str, record: str) -> None:
        """Append one finished photo; on return it is on disk. A key written again replaces the older line.

        Parameters
        ----------
        key : Key
        name : str
            Of the photo, for people who read the file.
        record : str
            One JSON object as `compact` writes it.

        Raises
        ------
        BadInput
            When the disk does not take it; the journal stays whole.
        """
        body = _bytes(record)
        head = compact({"sha256": key[0], "digest": key[1], "name": name, "check": _check(key, body)})
        data = _bytes(head[:-1]) + BEFORE + body + b"}\n"
        place = os.fstat(self._out.fileno()).st_size
        try:
            while data:  # a nearly full disk takes a part
                data = data[self._out.write(data) :]
            os.fsync(self._out.fileno())
        except OSError as err:
            with suppress(OSError):
                self._out.truncate(place)
            do = "free some space, then run again to go on"
            raise BadInput("a result could not be written", got=err.strerror, do=do) from None
        self._places[key] = place

    def record(self, key: Key) -> dict[str, Any]:
        """The record of a finished photo; `KeyError` when it is not finished."""
        self._file.seek(self._places[key])
        record: dict[str, Any] = json.loads(self._file.readline())["record"]
        return record

    def _load(self, path: Path) -> None:
        place = 0
        with path.open("rb") as file:
            for line in file:
                if not line.endswith(b"\n"):
                    self.dropped += 1
                    self._out.truncate(place)
                    return
                key = _key_of(line)
                if key is None:
                    self.dropped += 1
                else:
                    self._places[key] = place
                place += len(line)


def _key_of(line: bytes) -> Key | None:
    """Key of a line that is as it was written; else `None`."""
    head, _, body = line.removesuffix(b"}\n").partition(BEFORE)
    try:
        entry = json.loads(head + b"}")
        key = entry["sha256"], entry["digest"]
        return key if entry["check"] == _check(key, body) else None
    except (ValueError, KeyError, TypeError):
        return None


def _check(key: Key, body: bytes) -> str:
    """Hash of a result under its key, lower-case hexadecimal."""
    return hashlib.sha256(f"{key[0]} {key[1]} ".encode() + body).hexdigest()


def compact(record: Mapping[str, Any]) -> str:
    """JSON on one line, no spaces; `ValueError` on a nan, `TypeError` on what JSON cannot say."""
    return json.dumps(record, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def write_lines(path: Path, records: Iterable[Mapping[str, Any]]) -> int:
    """Write compact JSON Lines in the order given, whole or not at all; returns the number of lines."""
    draft, count = path.with_name(f".{path.name}.draft"), 0
    with draft.open("wb") as file:
        for record in records:
            file.write(_bytes(compact(record)) + b"\n")
            count += 1
        file.flush()
        os.fsync(file.fileno())
    draft.replace(path)
    _sync_folder(path.parent)
    return count


def _bytes(text: str) -> bytes:
    """UTF-8; a lone surrogate (a file name that is no UTF-8) becomes its JSON escape."""
    return text.encode("utf-8", "backslashreplace")


def _unusable(folder: Path, error: OSError) -> BadInput:
    got = f"{folder}: {error.strerror}"
    return BadInput("the output folder cannot be used", got=got, do="choose another folder")


def _lock(path: Path) -> IO[str]:
    """Take the lock the system drops with its process, so that none is ever stale."""
    file = path.open("a+", encoding="ascii")
    try:
        if sys.platform == "win32":
            import msvcrt

            file.seek(1 << 20)  # beyond the text: a locked range cannot be read there
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        file.seek(0)
        holder = file.read().strip()
        file.close()
        raise BadInput(
            "another run is writing to this folder", got=f"{path.parent}: {holder or 'process unknown'}",
            do="wait for it, or choose another folder",
        ) from None  # fmt: skip
    except OSError:
        file.close()
        raise
    file.seek(0)
    file.truncate()
    file.write(f"process {os.getpid()}\n")
    file.flush()
    return file


def _sync_folder(folder: Path) -> None:
    """Make a new name in a folder survive a power cut, where the system can."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
