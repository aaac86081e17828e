"""An event: what happened to which part and when, bound to the event before it by a hash."""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from wearvision.errors import BadInput, BrokenRecord

DOMAIN = "wearvision.event/1"
KIND = re.compile(r"[a-z][a-z0-9]*([._-][a-z0-9]+)*")
TAG_MOST = 200


@dataclass(frozen=True, kw_only=True)
class Draft:
    """An event to be appended.

    Attributes
    ----------
    kind : str
        Lower-case words joined by `.`, `-` or `_`.
    tag : str
        Tag of the part; empty when the event is about no single part.
    payload : mapping
        A JSON object; tuples are kept as lists.
    at : datetime
        With its time zone; kept in UTC to the microsecond.
    """

    kind: str
    tag: str
    payload: Mapping[str, object]
    at: datetime

    def __post_init__(self) -> None:
        if not KIND.fullmatch(self.kind):
            raise BadInput("an event's kind is lower-case words joined by dots or hyphens", got=self.kind)
        if len(self.tag) > TAG_MOST or self.tag != self.tag.strip() or not (self.tag + "-").isprintable():
            raise BadInput(
                f"a part tag is at most {TAG_MOST} printable characters without space at its ends",
                got=self.tag,
            )
        if self.at.utcoffset() is None:
            raise BadInput("an event's time needs its time zone", got=self.at.isoformat())


@dataclass(frozen=True, kw_only=True)
class Event:
    """A row of the ledger, as stored.

    Attributes
    ----------
    seq : int
        1, 2, 3, ... without a gap.
    at : str
        UTC, `2026-11-25T09:30:00.000000Z`.
    kind, tag : str
    payload_text : str
        Canonical JSON of the payload.
    prev_hash, hash : str
        Hash of the event before and of this one, 64 hexadecimal digits.
    """

    seq: int
    at: str
    kind: str
    tag: str
    payload_text: str
    prev_hash: str
    hash: str

    @property
    def payload(self) -> dict[str, Any]:
        """A fresh copy of the payload.

        Raises
        ------
        BrokenRecord
            If the text is not a JSON object in its canonical spelling.
        """
        try:
            value = json.loads(self.payload_text)
            if isinstance(value, dict) and _dump(value) == self.payload_text:
                return value
        except (ValueError, RecursionError):
            pass
        raise BrokenRecord(
            f"event {self.seq} holds no canonical JSON object",
            got=self.payload_text[:40],
            do="restore the folder from a backup",
        )

    def true_hash(self) -> str:
        """The hash these fields should have."""
        return event_hash(self.seq, self.at, self.kind, self.tag, self.payload_text, self.prev_hash)


def make_event(draft: Draft, *, seq: int, prev_hash: str) -> Event:
    """The event a draft becomes at its place in the chain."""
    at = draft.at.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")
    text = canonical_json(draft.payload)
    return Event(
        seq=seq,
        at=at,
        kind=draft.kind,
        tag=draft.tag,
        payload_text=text,
        prev_hash=prev_hash,
        hash=event_hash(seq, at, draft.kind, draft.tag, text, prev_hash),
    )


def event_hash(seq: int, at: str, kind: str, tag: str, payload_text: str, prev_hash: str) -> str:
    """SHA-256 over all fields, each as UTF-8 with its length before it, so that no two events read alike.

    `<length>:<bytes>,` for each of `wearvision.event/1`, seq in decimal, at, kind, tag, payload_text and
    prev_hash (the "netstring" of D. J. Bernstein, 1997).
    """
    digest = hashlib.sha256()
    for text in (DOMAIN, str(seq), at, kind, tag, payload_text, prev_hash):
        data = text.encode("utf-8")
        digest.update(b"%d:%s," % (len(data), data))
    return digest.hexdigest()


def canonical_json(payload: Mapping[str, object]) -> str:
    """The one spelling of a JSON object: keys sorted, no spaces, ASCII only.

    Raises
    ------
    BadInput
        If it holds anything but objects with text keys, lists, text, finite numbers, true, false and null.
    """
    try:
        return _dump(_plain(payload, "payload"))
    except (RecursionError, ValueError) as err:
        raise BadInput("a payload cannot be written as JSON", got=str(err)) from err


def _dump(value: object) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)


def _plain(value: object, where: str) -> object:
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, float) and math.isfinite(value):
        return value
    if isinstance(value, (list, tuple)):
        return [_plain(item, f"{where}[{i}]") for i, item in enumerate(value)]
    if isinstance(value, Mapping) and all(isinstance(key, str) for key in value):
        return {key: _plain(item, f"{where}.{key}") for key, item in value.items()}
    raise BadInput(f"{where} cannot be kept as JSON", got=value, do="use text, finite numbers, lists and objects")
