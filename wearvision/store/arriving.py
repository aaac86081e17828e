"""Which arrival may follow in the record of a part: what a new crate, or a correction, must agree with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TypeVar

from wearvision.arrival import Arrival
from wearvision.errors import BadInput, NeedsPerson
from wearvision.store.record import PartRecord

T = TypeVar("T", float, str)


def next_arrival(record: PartRecord, said: Arrival) -> Arrival | None:
    """What to note when a part comes in with a crate; `None` when nothing of it is new.

    Raises
    ------
    BadInput
        Running hours that go back; other facts than those that a confirmed inspection stands on.
    NeedsPerson
        The crate of an earlier inspection, or readings on an open one.
    """
    if said.crate == record.crate:
        wanted = record.arrival.with_later(said)
        if record.confirmed is not None and _for_history(wanted) != _for_history(record.arrival):
            raise BadInput(
                f"the inspection of {record.tag} with crate {said.crate} is confirmed, and other facts are stated now",
                got=said.to_json(), do="name a new crate differently, or correct the facts: history with --correct",
            )  # fmt: skip
        _require_rising([*(i.arrival for i in record.past), wanted])
        return None if wanted == record.arrival else wanted
    if any(i.arrival.crate == said.crate for i in record.past):
        raise NeedsPerson(
            f"{record.tag} came in again with crate {record.crate} since: its inspection with {said.crate} is over",
            do="name the crate differently if it is a new one",
        )
    if record.log.entries and record.confirmed is None:
        raise NeedsPerson(
            f"{record.tag} came in again, and its inspection with crate {record.crate} is open with"
            f" {len(record.log.entries)} entries",
            do="confirm it first (verdict), or lay its sheet anew without them (sheet with --renew)",
        )
    _require_rising([*(i.arrival for i in record.inspections), said])
    return said


def corrected(record: PartRecord, said: Arrival) -> Arrival:
    """The facts of one inspection with a correction.

    Raises
    ------
    BadInput
        No inspection with that crate, nothing new, or hours that do not rise from one inspection to the next.
    """
    known = [i.arrival for i in record.inspections]
    before = next((a for a in known if a.crate == said.crate), None)
    if before is None:
        names = ", ".join(a.crate for a in known)
        raise BadInput(f"{record.tag} had no inspection with this crate", got=said.crate, do=f"crates: {names}")
    wanted = before.with_later(said)
    if wanted == before:
        raise BadInput("nothing to correct: these facts stand already", got=said.crate)
    _require_rising([wanted if a is before else a for a in known])
    return wanted


def _for_history(arrival: Arrival) -> Arrival:
    """What figures are placed by; when an order is needed may change at any time."""
    return replace(arrival, needed_by="")


def _require_rising(arrivals: Sequence[Arrival]) -> None:
    """Hours since new only rise, and so do dates."""
    hours = [(a.running_hours, a.crate) for a in arrivals if a.running_hours is not None]
    dates = [(a.inspected_on, a.crate) for a in arrivals if a.inspected_on]
    for what, falls in (("running hours", _falls(hours)), ("dates", _falls(dates))):
        if falls:
            raise BadInput(
                f"{what} go back from one inspection to the next: {falls}",
                do="state the hours since new and the day it came out of service",
            )


def _falls(values: Sequence[tuple[T, str]]) -> str:
    """Where values in order go down, in words; empty when they do not."""
    return next((f"{a} with {c}, {b} with {d}" for (a, c), (b, d) in pairwise(values) if b < a), "")
