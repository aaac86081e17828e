"""`head.json`: the last event known to be in the ledger, written beside it so that a cut-off tail shows.

The file may lag behind the ledger (a program killed between the two writes), it may never be ahead of it.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

from wearvision.errors import BrokenRecord
from wearvision.store.files import SCRATCH, settle, stage

HEAD_FILE = "head.json"
FORMAT = "wearvision.head/1"
GENESIS = hashlib.sha256(b"wearvision.ledger/1 genesis").hexdigest()
"""What the first event names as the hash before it; hashed from a text that no event can have."""


@dataclass(frozen=True, kw_only=True)
class Head:
    """Number and hash of the last event; number 0 and `GENESIS` for an empty ledger."""

    seq: int
    hash: str

    def to_bytes(self) -> bytes:
        """The one spelling of this head in a file."""
        return (
            json.dumps({"format": FORMAT, "hash": self.hash, "seq": self.seq}, separators=(",", ":")) + "\n"
        ).encode("ascii")


EMPTY = Head(seq=0, hash=GENESIS)


def parse_head(data: bytes) -> Head:
    """Read a head, exactly as `Head.to_bytes` spells it.

    Raises
    ------
    BrokenRecord
        If any byte is other than written.
    """
    try:
        fields = json.loads(data)
        head = Head(seq=fields["seq"], hash=fields["hash"])
        intact = type(head.seq) is int and type(head.hash) is str and head.to_bytes() == data
    except (ValueError, TypeError, KeyError, RecursionError):
        intact = False
    if not intact:
        raise BrokenRecord(f"{HEAD_FILE} is damaged", got=data[:40], do="restore the folder from a backup")
    return head


def read_head(folder: Path) -> Head:
    """The head recorded in `folder`.

    Raises
    ------
    BrokenRecord
        If the file is missing or damaged.
    """
    try:
        data = (folder / HEAD_FILE).read_bytes()
    except OSError as err:
        raise BrokenRecord(
            f"{HEAD_FILE} cannot be read: {err.strerror or err}",
            got=str(folder),
            do="put it back, or restore the folder from a backup",
        ) from err
    return parse_head(data)


def stage_head(folder: Path, head: Head) -> Path:
    """Write the coming head aside, so that a full disk shows before the events are committed."""
    return stage(head.to_bytes(), folder / SCRATCH)


def write_head(folder: Path, head: Head) -> None:
    """Record a head now."""
    settle(stage_head(folder, head), folder / HEAD_FILE)
