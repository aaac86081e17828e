from __future__ import annotations

import dataclasses
import hashlib
import math
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.errors import BadInput, BrokenRecord
from wearvision.store.event import Draft, canonical_json, event_hash, make_event
from wearvision.store.head import GENESIS

NUMBERS = st.integers() | st.floats(allow_nan=False, allow_infinity=False)
JSON = st.recursive(
    st.none() | st.booleans() | NUMBERS | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)
OBJECTS = st.dictionaries(st.text(), JSON, max_size=5)


def draft(**changes: Any) -> Draft:
    fields: dict[str, Any] = {
        "kind": "reading",
        "tag": "T-1",
        "payload": {},
        "at": datetime(2026, 3, 2, tzinfo=UTC),
    }
    return Draft(**(fields | changes))


@given(OBJECTS)
def test_a_payload_reads_back_as_it_was(payload: dict[str, Any]) -> None:
    event = make_event(draft(payload=payload), seq=1, prev_hash=GENESIS)
    assert event.payload == payload
    assert event.payload_text.isascii()
    assert event.true_hash() == event.hash


@given(OBJECTS)
def test_the_order_of_keys_does_not_matter(payload: dict[str, Any]) -> None:
    backwards = dict(reversed(payload.items()))
    assert canonical_json(payload) == canonical_json(backwards)


def test_a_payload_taken_out_cannot_change_the_event() -> None:
    event = make_event(draft(payload={"a": [1]}), seq=1, prev_hash=GENESIS)
    event.payload["a"].append(2)
    assert event.payload == {"a": [1]}


def test_tuples_become_lists() -> None:
    assert canonical_json({"a": (1, (2, 3))}) == '{"a":[1,[2,3]]}'


@pytest.mark.parametrize(
    ("payload", "where"),
    [
        ({"a": math.nan}, "payload.a"),
        ({"a": [1, math.inf]}, "payload.a[1]"),
        ({"a": {"b": {1: "x"}}}, "payload.a.b"),
        ({"a": b"x"}, "payload.a"),
        ({"a": {1, 2}}, "payload.a"),
    ],
)
def test_what_json_cannot_hold_is_refused_with_its_place(payload: dict[str, Any], where: str) -> None:
    with pytest.raises(BadInput) as caught:
        canonical_json(payload)
    assert caught.value.what.startswith(f"{where} ")


def test_a_payload_nested_without_end_is_refused() -> None:
    endless: dict[str, Any] = {}
    endless["again"] = endless
    with pytest.raises(BadInput):
        canonical_json(endless)


@pytest.mark.parametrize(
    "text", ["[]", "{", '{"a": 1}', '{"b":1,"a":1}', '{"a":1,"a":1}', '{"a":NaN}', '{"a":1e999}', '{"a":"ä"}']
)
def test_only_the_canonical_spelling_is_a_payload(text: str) -> None:
    event = dataclasses.replace(make_event(draft(), seq=1, prev_hash=GENESIS), payload_text=text)
    with pytest.raises(BrokenRecord):
        _ = event.payload


@pytest.mark.parametrize("kind", ["", "Reading", "reading ", "a..b", "ä", "a\n", "-a"])
def test_odd_kinds_are_refused(kind: str) -> None:
    with pytest.raises(BadInput):
        draft(kind=kind)


@pytest.mark.parametrize("tag", [" T", "T\n", "T\x00", "T" * 201, "\ud800"])
def test_odd_tags_are_refused(tag: str) -> None:
    with pytest.raises(BadInput):
        draft(tag=tag)


def test_times_are_kept_in_utc_to_the_microsecond() -> None:
    east = timezone(timedelta(hours=5, minutes=30))
    event = make_event(draft(at=datetime(2026, 3, 2, 4, 0, tzinfo=east)), seq=1, prev_hash=GENESIS)
    assert event.at == "2026-03-01T22:30:00.000000Z"


def test_a_time_without_a_zone_is_refused() -> None:
    with pytest.raises(BadInput):
        draft(at=datetime(2026, 3, 2))


def test_the_hash_can_be_reckoned_by_hand() -> None:
    """Spelt out as the docstring says, so that a reader with only `sha256sum` can check a chain."""
    prev = "0" * 64
    text = f'18:wearvision.event/1,1:7,20:2026-03-02T08:00:00Z,7:reading,2:Ü,7:{{"i":1}},64:{prev},'
    by_hand = hashlib.sha256(text.encode()).hexdigest()
    assert event_hash(7, "2026-03-02T08:00:00Z", "reading", "Ü", '{"i":1}', prev) == by_hand


@given(st.tuples(*[st.text(max_size=6)] * 5), st.tuples(*[st.text(max_size=6)] * 5))
def test_different_fields_never_hash_alike(one: tuple[str, ...], other: tuple[str, ...]) -> None:
    def shifted(fields: tuple[str, ...]) -> tuple[str, ...]:
        """The same letters with the border between two fields moved."""
        return (fields[0] + fields[1][:1], fields[1][1:], *fields[2:])

    def hashed(fields: tuple[str, ...]) -> str:
        at, kind, tag, payload_text, prev_hash = fields
        return event_hash(1, at, kind, tag, payload_text, prev_hash)

    assert (hashed(one) == hashed(other)) == (one == other)
    assert (hashed(one) == hashed(shifted(one))) == (one == shifted(one))


@given(st.integers(1, 10**6), OBJECTS)
def test_every_field_is_in_the_hash(seq: int, payload: dict[str, Any]) -> None:
    event = make_event(draft(payload=payload), seq=seq, prev_hash=GENESIS)
    for name in ("at", "kind", "tag", "payload_text", "prev_hash"):
        changed = dataclasses.replace(event, **{name: getattr(event, name) + "x"})
        assert changed.true_hash() != event.hash
    assert dataclasses.replace(event, seq=seq + 1).true_hash() != event.hash


def test_the_beginning_is_hashed_from_a_text_no_event_has() -> None:
    assert hashlib.sha256(b"wearvision.ledger/1 genesis").hexdigest() == GENESIS
