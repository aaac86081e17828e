"""Files that are there in full or not at all: write aside, flush, rename, flush the folder."""

from __future__ import annotations

import errno
import os
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from wearvision.errors import BadInput

SCRATCH = "tmp"
"""Folder inside a store for files on their way; whatever is old in it was left by a killed program."""
STALE_AFTER_S = 24 * 3600.0

_ADVICE = {
    errno.ENOSPC: "free some disk space and try again",
    errno.EDQUOT: "free some disk space and try again",
    errno.EROFS: "use a folder on a disk that can be written",
    errno.EACCES: "ask for the right to use this folder, or choose another",
    errno.EPERM: "ask for the right to use this folder, or choose another",
}


@contextmanager
def disk_in_words(what: str, path: Path) -> Iterator[None]:
    """Turn an `OSError` of the body into one line: what could not be done, where, what to do.

    Raises
    ------
    BadInput
    """
    try:
        yield
    except OSError as err:
        do = _ADVICE.get(err.errno or 0, "check the path and the disk")
        raise BadInput(f"{what}: {err.strerror or err}", got=str(path), do=do) from err


def part_name() -> str:
    """A name no other writer uses."""
    return f"{secrets.token_hex(8)}.part"


def stage(data: bytes, scratch: Path) -> Path:
    """Write `data` to a new file in `scratch`, flushed to the disk; nothing is left there on failure."""
    scratch.mkdir(exist_ok=True)
    temp = scratch / part_name()
    try:
        with temp.open("xb") as file:
            file.write(data)
            flush(file.fileno())
    except BaseException:
        temp.unlink(missing_ok=True)
        raise
    return temp


def settle(temp: Path, path: Path) -> None:
    """Give a staged file its name, in place of what had it before, and flush the folder."""
    temp.replace(path)
    flush_folder(path.parent)


def flush(descriptor: int) -> None:
    """Have the disk itself keep what was written to an open file."""
    os.fsync(descriptor)


def flush_folder(folder: Path) -> None:
    """Have the disk keep the names in a folder. Windows cannot do this by folder and needs no asking."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        flush(descriptor)
    finally:
        os.close(descriptor)


def sweep(scratch: Path, *, older_than_s: float = STALE_AFTER_S) -> None:
    """Remove what killed programs left in `scratch`; what is young may still be in use and stays."""
    before = time.time() - older_than_s
    with suppress(OSError):  # sweeping is a courtesy: where it fails, nothing depends on it
        for path in scratch.glob("*.part"):
            if path.lstat().st_mtime < before:
                remove(path)


def remove(path: Path) -> None:
    """Remove a file, or a folder with all in it; fine if it is gone already."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        path.unlink(missing_ok=True)
