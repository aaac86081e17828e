"""One append-only chain of events, each bound to the one before by its hash; all else is derived from it.

The cost of an append does not grow with the ledger: only the last event is looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from wearvision.errors import BadInput, BrokenRecord, WearvisionError
from wearvision.store import sqlite
from wearvision.store.db import EVENTS, LEDGER_FILE, Store
from wearvision.store.event import Draft, Event, make_event
from wearvision.store.files import disk_in_words, remove
from wearvision.store.head import EMPTY, GENESIS, HEAD_FILE, Head, read_head, stage_head
from wearvision.store.problem import Problems
from wearvision.store.row import RESTORE, event_of, row_of
from wearvision.store.walk import ChainReport, Walk

PAGE_ROWS = 256


@dataclass(frozen=True, kw_only=True)
class Chain:
    """The events of an open store."""

    store: Store

    def append(
        self, kind: str, tag: str, payload: Mapping[str, object], at: datetime, *, seen: int | None = None
    ) -> Event:
        """Append one event; see `append_many`."""
        return self.append_many([Draft(kind=kind, tag=tag, payload=payload, at=at)], seen=seen)[0]

    def append_many(self, drafts: Iterable[Draft], *, seen: int | None = None) -> tuple[Event, ...]:
        """Append events, all or none; they are on the disk when this returns.

        Parameters
        ----------
        drafts : iterable of Draft
        seen : int, optional
            Number of the last event the caller knows. When given, nothing is appended if a later event exists
            for one of the drafts' tags.

        Raises
        ------
        BadInput
            Payload not JSON, somebody else wrote to the tag, ledger in use, disk full or not writable.
        BrokenRecord
            The ledger lost or changed what `head.json` records: a broken chain takes no new event.
        """
        drafts = tuple(drafts)
        if not drafts:
            return ()
        staged: Path | None = None
        try:
            with self.store.writing() as connection:
                tail = self._sound_tail(connection)
                if seen is not None:
                    _refuse_stale(connection, {draft.tag for draft in drafts}, seen)
                events = _chained(tail, drafts)
                connection.execute(sa.insert(EVENTS), [row_of(event) for event in events])
                with disk_in_words(f"{HEAD_FILE} cannot be written", self.store.folder):
                    staged = stage_head(self.store.folder, _head(events[-1]))
        except BaseException:
            if staged is not None:
                remove(staged)
            raise
        self._advance(staged, _head(events[-1]))
        return events

    def events(self, tag: str | None = None, kind: str | None = None, after_seq: int = 0) -> Iterator[Event]:
        """Events in order, read page by page; each one's hash is computed again.

        Raises
        ------
        BrokenRecord
            At an event that is not as it was written. Missing or inserted events are for `verify`.
        """
        where = [EVENTS.c.seq > after_seq]
        if tag is not None:
            where.append(EVENTS.c.tag == tag)
        if kind is not None:
            where.append(EVENTS.c.kind == kind)
        return map(event_of, self._rows(*where))

    def head(self) -> str:
        """Hash of the last event; `GENESIS` for an empty ledger."""
        return self.tail().hash

    def tail(self) -> Head:
        """Number and hash of the last event."""
        with self.store.reading() as connection:
            return _tail(connection)

    def seq_of(self, first_digits: str) -> int | None:
        """Number of the event whose hash begins so, such as the head printed on a report; None when not there."""
        with self.store.reading() as connection:
            begins = EVENTS.c.hash.startswith(first_digits, autoescape=True)
            return connection.scalar(sa.select(EVENTS.c.seq).where(begins))

    def verify(self) -> ChainReport:
        """Check all: the file, the guards, every event and its place, and that the recorded head is in.

        Reads the whole ledger once, in little memory; others may append meanwhile.

        Raises
        ------
        BadInput
            If the ledger cannot be read now (in use, disk failing). Damage is reported, not raised.
        """
        problems = Problems()
        recorded = self._recorded(problems)
        self._check_file(problems)
        walk = Walk(problems=problems, looked_for=recorded)
        try:
            for row in self._rows():
                walk.step(row)
        except BrokenRecord as err:
            problems.add(f"after event {walk.head.seq}", err.what)
        walk.end()
        return ChainReport(events=walk.count, head=walk.head, recorded=recorded, problems=problems.all())

    def _rows(self, *where: sa.ColumnElement[bool]) -> Iterator[sa.Row[Any]]:
        query = sa.select(EVENTS).where(*where).order_by(EVENTS.c.seq).limit(PAGE_ROWS)
        last: int | None = None
        while True:
            page_query = query if last is None else query.where(EVENTS.c.seq > last)
            with self.store.reading() as connection:
                page = connection.execute(page_query).all()
            for row in page:
                if last is not None and row.seq <= last:
                    raise BrokenRecord("events come back out of order", got=row.seq, do=RESTORE)
                last = row.seq
                yield row
            if len(page) < PAGE_ROWS:
                return

    def _sound_tail(self, connection: sa.Connection) -> Head:
        """The last event, provided that the chain still contains what `head.json` records."""
        tail = _tail(connection)
        recorded = read_head(self.store.folder)
        if recorded != tail and (recorded.seq >= tail.seq or _hash_at(connection, recorded.seq) != recorded.hash):
            raise BrokenRecord(
                f"the ledger does not contain event {recorded.seq} as {HEAD_FILE} records it",
                got=f"last event {tail.seq}",
                do=RESTORE,
            )
        return tail

    def _advance(self, staged: Path, head: Head) -> None:
        """Record the head under the write lock, unless somebody appended since and will record a later one.

        The events are in: a head that lags is lawful, and the next append moves it on. So no failure here may
        look like a failed append, and the folder needs no flush.
        """
        try:
            with self.store.writing() as connection:
                if _tail(connection) == head:
                    staged.replace(self.store.folder / HEAD_FILE)
        except (OSError, WearvisionError):
            pass
        finally:
            remove(staged)

    def _recorded(self, problems: Problems) -> Head | None:
        try:
            return read_head(self.store.folder)
        except BrokenRecord as err:
            problems.add(HEAD_FILE, err.what)
            return None

    def _check_file(self, problems: Problems) -> None:
        try:
            with self.store.reading() as connection:
                for line in sqlite.integrity(connection):
                    problems.add(LEDGER_FILE, line)
                for name in sqlite.guards_amiss(connection):
                    problems.add(LEDGER_FILE, f"trigger {name} is missing, changed or foreign")
        except BrokenRecord as err:
            problems.add(LEDGER_FILE, err.what)


def _chained(tail: Head, drafts: tuple[Draft, ...]) -> tuple[Event, ...]:
    events: list[Event] = []
    for draft in drafts:
        event = make_event(draft, seq=tail.seq + 1, prev_hash=tail.hash)
        tail = _head(event)
        events.append(event)
    return tuple(events)


def _refuse_stale(connection: sa.Connection, tags: set[str], seen: int) -> None:
    later = connection.execute(
        sa.select(EVENTS.c.tag).where(EVENTS.c.tag.in_(sorted(tags)), EVENTS.c.seq > seen).limit(1)
    ).first()
    if later is not None:
        raise BadInput("somebody else wrote to this part meanwhile", got=later.tag, do="load it again and repeat")


def _tail(connection: sa.Connection) -> Head:
    row = connection.execute(sa.select(EVENTS).order_by(EVENTS.c.seq.desc()).limit(1)).first()
    return EMPTY if row is None else _head(event_of(row))


def _hash_at(connection: sa.Connection, seq: int) -> str | None:
    if seq == 0:
        return GENESIS
    return connection.scalar(sa.select(EVENTS.c.hash).where(EVENTS.c.seq == seq))


def _head(event: Event) -> Head:
    return Head(seq=event.seq, hash=event.hash)
