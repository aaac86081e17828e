"""The whole chain gone along once: what does not fit, and what was found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from wearvision.errors import BrokenRecord
from wearvision.store.event import Event
from wearvision.store.head import EMPTY, HEAD_FILE, Head
from wearvision.store.problem import Problem, Problems
from wearvision.store.row import fields_of, typed


@dataclass(frozen=True, kw_only=True)
class ChainReport:
    """What a check of the whole chain found.

    Attributes
    ----------
    events : int
        Rows read.
    head : Head
        Last event read.
    recorded : Head or None
        What `head.json` says; None when it cannot be read.
    problems : tuple of Problem
        Empty when the chain is sound.
    """

    events: int
    head: Head
    recorded: Head | None
    problems: tuple[Problem, ...]

    @property
    def sound(self) -> bool:
        """Whether everything holds together."""
        return not self.problems


@dataclass(kw_only=True)
class Walk:
    """Goes along the chain and notes what does not fit."""

    problems: Problems
    looked_for: Head | None
    count: int = 0
    head: Head = EMPTY
    met: bool = False

    def __post_init__(self) -> None:
        self._meet()

    def step(self, row: sa.Row[Any]) -> None:
        """Take the next row: is it whole, is it the next one, is it bound to the one before?"""
        where = f"event {row.seq}"
        self.count += 1
        if row.seq != self.head.seq + 1:
            self.problems.add(where, f"does not follow event {self.head.seq}: events are missing or foreign")
        if not typed(row):
            self.problems.add(where, "holds a value of a foreign type")
        else:
            event = Event(**fields_of(row))
            if event.true_hash() != event.hash:
                self.problems.add(where, "was changed after it was written")
            if event.prev_hash != self.head.hash:
                self.problems.add(where, "is not bound to the event before it")
            self._check_payload(event)
        self.head = Head(seq=row.seq, hash=str(row.hash))
        self._meet()

    def end(self) -> None:
        """After the last row: was the recorded head among them?"""
        if self.looked_for is not None and not self.met:
            seq = self.looked_for.seq
            self.problems.add(
                HEAD_FILE, f"records event {seq}, which the ledger does not contain: its tail was cut off"
            )

    def _meet(self) -> None:
        self.met = self.met or self.head == self.looked_for

    def _check_payload(self, event: Event) -> None:
        try:
            _ = event.payload
        except BrokenRecord:
            self.problems.add(f"event {event.seq}", "its payload is no canonical JSON object")
