"""Events and the rows they are stored in."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import sqlalchemy as sa

from wearvision.errors import BrokenRecord
from wearvision.store.event import Event

RESTORE = "keep the folder as it is, and restore a backup into a new one"


def row_of(event: Event) -> dict[str, object]:
    """An event as the columns of its row."""
    fields = asdict(event)
    fields["payload"] = fields.pop("payload_text")
    return fields


def fields_of(row: sa.Row[Any]) -> dict[str, Any]:
    """The columns of a row under the names of an `Event`; nothing is checked."""
    fields = dict(row._mapping)
    fields["payload_text"] = fields.pop("payload")
    return fields


def typed(row: sa.Row[Any]) -> bool:
    """Whether each column of a row holds what the table was made for; SQLite itself keeps anything."""
    values: tuple[object, ...] = tuple(row)
    return type(values[0]) is int and all(type(text) is str for text in values[1:])


def event_of(row: sa.Row[Any]) -> Event:
    """The event of a row, its hash computed again.

    Raises
    ------
    BrokenRecord
        When it is not as it was written.
    """
    if typed(row):
        event = Event(**fields_of(row))
        if event.true_hash() == event.hash:
            return event
    raise BrokenRecord("an event was changed after it was written", got=f"event {row.seq}", do=RESTORE)
