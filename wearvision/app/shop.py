"""The data folder of a bench: ledger and photos, opened for as long as a command runs."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from wearvision.store.blobs import Blobs
from wearvision.store.chain import Chain
from wearvision.store.db import Store, open_store
from wearvision.store.ledger import Ledger

USUAL_FOLDER = Path("wearvision-data")
"""The data folder when nobody names one."""


@dataclass(frozen=True, kw_only=True)
class Shop:
    """An open data folder.

    Attributes
    ----------
    store : Store
    folder : Path
        As the person named it.
    rubric : Path or None
        Folder of rubrics; ours when `None`.
    """

    store: Store
    folder: Path
    rubric: Path | None = None

    @property
    def ledger(self) -> Ledger:
        """Records of the parts."""
        return Ledger(chain=Chain(store=self.store))

    @property
    def blobs(self) -> Blobs:
        """Photos by their sha256."""
        return Blobs(store=self.store)


@contextmanager
def open_shop(folder: Path, rubric: Path | None = None, *, create: bool = False) -> Iterator[Shop]:
    """Open the data folder of a bench; `create` makes it when missing."""
    with open_store(folder, create=create) as store:
        yield Shop(store=store, folder=folder, rubric=rubric)


def command(verb: str, tag: str, folder: Path) -> str:
    """What to type next about a part, such as `wearvision read C-1042`; quoted, the data folder named."""
    named = [] if folder == USUAL_FOLDER else ["--data", str(folder)]
    return shlex.join(["wearvision", verb, tag, *named])


def now() -> datetime:
    """The one clock of the program: UTC, whole seconds."""
    return datetime.now(UTC).replace(microsecond=0)
