from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.errors import BadInput
from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects.span import Span, around, hull, over
from wearvision.rules.effects.telling import Fact, Figure, fact, gauged, number, over_routes, tell, told_before
from wearvision.rules.gauged import Gauged

WHAT = Figure(name="sum", title="Sum", unit="mm", route="a + b", assumption="none")
finite = st.floats(-1e6, 1e6)


def test_both_bounds_of_each_fact_are_tried() -> None:
    told = tell(WHAT, (fact("a", 1.0), Fact(words="b", span=Span(2, 3))), lambda a, b: a - b)
    assert isinstance(told, Effect) and (told.low, told.high) == (-2, -1)
    assert [i.text for i in told.inputs] == ["a 1", "b 2 to 3"]


def test_a_spread_comes_before_the_facts_and_is_not_listed() -> None:
    told = tell(WHAT, (fact("a", 10.0, "mm"),), lambda part, a: part * a, spreads=(Span(0, 1),))
    assert isinstance(told, Effect) and (told.low, told.high) == (0, 10)
    assert [i.text for i in told.inputs] == ["a 10 mm"]


def test_what_is_missing_is_named_with_its_unit_and_once() -> None:
    speed = fact("speed", None, "rev/min")
    told = tell(WHAT, (speed, fact("a", 1.0), speed, fact("tag", None)), lambda *_: 0.0)
    assert told == Blocked(name="sum", title="Sum", missing=("speed (rev/min)", "tag"))


def test_a_blocked_figure_passes_on_what_it_waits_for() -> None:
    told = tell(WHAT, (told_before("loss", Blocked(name="x", title="X", missing=("flow (m3/h)",))),), lambda a: a)
    assert isinstance(told, Blocked) and told.missing == ("flow (m3/h)",)


def test_facts_that_contradict_each_other_become_a_question_not_a_crash() -> None:
    def never(_: float) -> float:
        raise BadInput("the wear ring must be smaller than the impeller", got=(2, 1), do="check")

    told = tell(WHAT, (fact("a", 1.0),), never)
    assert isinstance(told, Blocked)
    assert told.missing == ("facts that agree: the wear ring must be smaller than the impeller (got (2, 1)); check",)
    for wild in (lambda a: a**1e300, lambda a: 1 / (a - a), lambda a: a * 1e308 * 10):
        assert isinstance(tell(WHAT, (fact("a", 2.0),), wild), Blocked)


def test_routes_stand_together_and_a_blocked_one_is_named() -> None:
    one = Effect(name="a", title="A", low=1, high=2, unit="mm", route="", inputs=(), assumption="")
    two = Effect(name="b", title="B", low=4, high=5, unit="mm", route="", inputs=(), assumption="")
    none = Blocked(name="c", title="C", missing=("head (m)",))
    both, half = over_routes(WHAT, (one, two)), over_routes(WHAT, (one, none))
    assert isinstance(both, Effect) and (both.low, both.high) == (1, 5)
    assert isinstance(half, Effect) and [i.text for i in half.inputs] == ["A 1 to 2 mm", "C not known"]
    assert over_routes(WHAT, (none, none)) == Blocked(name="sum", title="Sum", missing=("head (m)",))


def test_a_gauged_length_is_its_interval_cut_off_at_zero() -> None:
    assert gauged("gap", Gauged(value_mm=0.1, u_mm=0.1)).span == pytest.approx((0.0, 0.296), abs=1e-4)
    assert gauged("gap", None).span is None


@pytest.mark.parametrize(
    ("value", "text"), [(12345.6, "12350"), (1e6, "1000000"), (0.01234, "0.01234"), (-0.0, "0"), (999.96, "1000")]
)
def test_numbers_for_people(value: float, text: str) -> None:
    assert number(value) == text


@given(st.lists(st.tuples(finite, st.floats(0, 1e3)), min_size=1, max_size=4))
def test_a_span_is_never_upside_down(pairs: list[tuple[float, float]]) -> None:
    spans = [around(value, u95) for value, u95 in pairs]
    whole = hull(spans)
    assert all(whole.low <= s.low <= s.high <= whole.high for s in spans)
    total = over(lambda *v: sum(v), *spans)
    assert total.low <= total.high
    assert total.low == pytest.approx(sum(s.low for s in spans), abs=1e-3)
