"""The photos in a folder and below it, and what they are called."""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Iterable, Iterator
from io import BytesIO
from pathlib import Path

from wearvision.crates.journal import RESULTS
from wearvision.photos import kind_of, printable

_ENDINGS = {".jpg", ".jpeg", ".png", ".heic", ".heif"}


def named(folder: Path, paths: Iterable[Path]) -> dict[str, Path]:
    """Each path under its name; of two names that differ only in Unicode form, one keeps its own."""
    found: dict[str, Path] = {}
    raws = {_plain(path, folder): path for path in paths}
    for raw in sorted(raws, key=lambda raw: (not unicodedata.is_normalized("NFC", raw), raw)):
        name = unicodedata.normalize("NFC", raw)
        found[raw if name in found else name] = raws[raw]
    return found


def _plain(path: Path, folder: Path) -> str:
    """Path inside the crate as text that can be written, whatever bytes the file's name has."""
    return printable(path.relative_to(folder).as_posix())


def photos_in(folder: Path, refused: list[tuple[str, str]]) -> Iterator[Path]:
    """Files that are photos by ending or first bytes; what cannot be taken joins `refused`, by name and reason."""
    root = folder.resolve()

    def refuse(path: str | Path, why: str) -> None:
        refused.append((_plain(Path(path), folder), why))

    def closed(err: OSError) -> None:
        refuse(err.filename, f"this folder cannot be read ({err.strerror})")

    for place, folders, files in os.walk(folder, onerror=closed):
        here = Path(place)
        if here != folder and RESULTS in files:
            folders.clear()
            continue
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in [name for name in folders if (here / name).is_symlink()]:
            refuse(here / name, "a link to a folder is not followed")
        for path in (here / name for name in files if not name.startswith(".")):
            if not _looks_like_photo(path):
                continue
            if not path.is_file():
                refuse(path, "not a file")
            elif not path.resolve().is_relative_to(root):
                refuse(path, "a link that leaves the crate is not followed")
            else:
                yield path


def _looks_like_photo(path: Path) -> bool:
    if path.suffix.lower() in _ENDINGS:
        return True
    try:
        with path.open("rb") if path.is_file() else BytesIO() as file:
            start = file.read(12)
    except OSError:
        return False
    return bool(kind_of(start))
