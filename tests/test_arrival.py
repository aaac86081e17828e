"""Facts of arrival: what may be stated, what a later statement changes, and the round trip."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.arrival import Arrival
from wearvision.errors import BadInput

DAYS = st.dates().map(lambda d: d.isoformat())
ARRIVALS = st.builds(
    Arrival, crate=st.text(max_size=20), running_hours=st.none() | st.floats(0, 2e6), inspected_on=st.just("") | DAYS,
    duty=st.text(st.characters(categories=["L", "N", "Zs"]), max_size=40).filter(lambda t: (t + "-").isprintable()),
    needed_by=st.just("") | DAYS,
)  # fmt: skip


@given(ARRIVALS)
def test_there_and_back(arrival: Arrival) -> None:
    assert Arrival.from_json(arrival.to_json()) == arrival
    assert arrival.with_later(Arrival(crate=arrival.crate)) == arrival
    assert arrival.stated == (arrival != Arrival(crate=arrival.crate))


@given(ARRIVALS, ARRIVALS)
def test_what_is_stated_later_wins_and_the_rest_stays(one: Arrival, two: Arrival) -> None:
    both = one.with_later(two)
    assert both.running_hours == (two.running_hours if two.running_hours is not None else one.running_hours)
    assert both.duty == (two.duty or one.duty)
    assert both.needed_by == (two.needed_by or one.needed_by)


@pytest.mark.parametrize(
    ("fact", "says"),
    [
        ({"running_hours": -1}, "running hours"),
        ({"running_hours": float("nan")}, "running hours"),
        ({"running_hours": 3e6}, "running hours"),
        ({"inspected_on": "2. 3. 2026"}, "inspected_on is not a date"),
        ({"inspected_on": "2026-02-30"}, "not a date"),
        ({"needed_by": "20260302"}, "needed_by"),
        ({"duty": "a\nb"}, "one line"),
        ({"duty": "x" * 201}, "200 letters"),
    ],
)
def test_what_cannot_be_is_refused_by_name(fact: dict[str, Any], says: str) -> None:
    with pytest.raises(BadInput, match=says):
        Arrival(crate="c", **fact)


def test_a_stored_arrival_is_whole() -> None:
    with pytest.raises(BadInput, match="missing or unknown"):
        Arrival.from_json({"crate": "c"})


def test_words_leave_out_what_nobody_stated() -> None:
    assert Arrival(crate="c").words() == {}
    assert Arrival(crate="c", running_hours=12000, duty=" a  b ").words() == {
        "running_hours": "12000 h since new", "duty": "a b",
    }  # fmt: skip
