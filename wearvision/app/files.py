"""Small texts that people hand in, and pages that are there in full or not at all."""

from __future__ import annotations

from pathlib import Path

from wearvision.errors import BadInput
from wearvision.store.files import disk_in_words, part_name, remove

MOST_BYTES = 8 * 2**20
"""No file of readings, gauges, marks or boards is larger; what is, is another file named by mistake."""


def read_text(path: Path, what: str, *, do: str) -> str:
    """UTF-8 text of a file; a byte order mark is dropped. A pipe will do.

    Parameters
    ----------
    path : Path
    what : str
        What it holds, such as `the readings`, for the message.
    do : str
        What to do when it is no UTF-8 text.

    Raises
    ------
    BadInput
        When it cannot be read, is too large or no text.
    """
    with disk_in_words(f"{what} cannot be read", path), path.open("rb") as file:
        data = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise BadInput(f"{what}: this file is too large", got=str(path), do="check the file's name")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise BadInput(f"{what}: no UTF-8 text at line {line}", got=str(path), do=do) from None


def write_whole(path: Path, data: str | bytes) -> None:
    """Write a page under its name once all of it is on its way; a reader never meets half of one.

    Raises
    ------
    BadInput
        When the folder cannot be made or written, or the disk is full.
    """
    with disk_in_words("this file cannot be written", path):
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.parent / f".{part_name()}"
        try:
            part.write_bytes(data.encode("utf-8", "backslashreplace") if isinstance(data, str) else data)
            part.replace(path)
        finally:
            remove(part)
