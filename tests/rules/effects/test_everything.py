from __future__ import annotations

import math
import random
import re
from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.rules.effects import kit
from wearvision.rules.clearance.axial import AxialStack
from wearvision.rules.clearance.rings import RingClearance
from wearvision.rules.clearance.wear import Wear
from wearvision.rules.crack import CrackSuspected
from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects import telling
from wearvision.rules.effects.everything import all_directions, all_effects
from wearvision.rules.effects.follow_ups import follow_ups
from wearvision.rules.effects.span import Span, over
from wearvision.rules.pump import BackVanes, Bearing, Duty, Impeller, Pump

BARE_WORD = re.compile(r"(clearance|gap|back space)s?", re.IGNORECASE)
WITH_ITS_KIND = re.compile(r"(radial|diametral|axial)[ _](\w+[ _]){0,2}(clearance|gap|back space)s?", re.IGNORECASE)

PUMP_FILE_KEY = re.compile(r"^\[+[a-z_]+\]+ ?[a-z_]*: ")
"""Keys of the pump file say which by themselves: see the tests of names."""
WORN = Wear(casing_axial=kit.gauge(0.3, 0.02), cover_axial=kit.gauge(0.4, 0.02), back_vanes_axial=kit.gauge(1.5, 0.1))
UNREAD_LOSS = replace(kit.VANES, height_loss_axial=None)
Case = tuple[Pump, AxialStack | None, list[RingClearance]]
CASES: dict[str, Case] = {
    "closed": (kit.CLOSED, None, [kit.ring(0.86, u_mm=0.01)]),
    "split": (kit.SPLIT, None, [kit.ring(0.6, name="left"), kit.ring(0.86, name="right")]),
    "semi-open": (replace(kit.SEMI_OPEN, back_vanes=UNREAD_LOSS), kit.stack(u_mm=0.01, wear=WORN), []),
    "as found": (kit.SEMI_OPEN, kit.stack(0.9, None), []),
    "nothing stated": (Pump(tag="P"), kit.stack(None, None), [kit.ring(0.5, new_mm=None, land_mm=None)]),
    "empty": (Pump(tag="P"), None, []),
    "every fact": (
        replace(
            kit.CLOSED, duty=replace(kit.DUTY, viscosity_mm2_s=1.0), back_vanes=kit.VANES,
            impeller=replace(kit.WHEEL, shaft_diameter_mm=50.0),
        ),
        kit.stack(), [kit.ring(0.86)],
    ),
}  # fmt: skip


def told(name: str) -> tuple[Effect | Blocked, ...]:
    pump, stack, rings = CASES[name]
    return all_effects(pump, stack, rings)


def texts(effect: Effect | Blocked) -> list[str]:
    if isinstance(effect, Blocked):
        return [effect.name, effect.title, *(PUMP_FILE_KEY.sub("", m) for m in effect.missing)]
    return [effect.name, effect.title, effect.route, *(i.text for i in effect.inputs), effect.assumption]


def bare(text: str) -> list[str]:
    """Words for a clearance that do not say which kind; route names are no clearances."""
    rest = WITH_ITS_KIND.sub("", text.replace("by gap flow", "").replace("by_gap_flow", ""))
    return BARE_WORD.findall(rest)


def test_the_search_for_bare_words_finds_one() -> None:
    assert bare("the clearance") and bare("front gap") and bare("gap_axial")
    assert not bare("axial front gap") and not bare("new diametral clearance") and not bare("by gap flow")


@pytest.mark.parametrize("name", CASES)
def test_every_clearance_says_which(name: str) -> None:
    pump, _, rings = CASES[name]
    effects = told(name)
    lines = [t for e in effects for t in texts(e)]
    lines += [t for d in all_directions(pump, rings, effects) for t in (d.name, d.title, d.because)]
    lines += follow_ups(pump.impeller or Impeller(), semi_open=True, cracks=[CrackSuspected(tag="I-1", test=None)])
    assert not [line for line in lines if bare(line)]


@pytest.mark.parametrize("name", CASES)
def test_each_is_a_range_with_its_route_inputs_and_assumption_on_one_line(name: str) -> None:
    effects = told(name)
    names = [e.name for e in effects]
    assert len(set(names)) == len(names)
    for e in effects:
        if isinstance(e, Blocked):
            assert e.missing and all(e.missing)
            continue
        assert e.low <= e.high and math.isfinite(e.low) and math.isfinite(e.high)
        assert e.route and e.inputs and e.assumption and e.unit
        assert not any("\n" in text for text in texts(e))


@pytest.mark.parametrize("name", ["closed", "split", "semi-open", "as found", "every fact"])
def test_every_route_says_how_it_stands(name: str) -> None:
    """A source, `from memory`, `derived`, `no source`, or a range over routes that say so themselves."""
    standing = ("from memory", "derived", "no source", "handbook", "holds both routes", ".tk/")
    for e in told(name):
        if isinstance(e, Effect):
            assert any(word in e.route for word in standing), e.route


def test_no_estimate_is_a_bare_number() -> None:
    for name in ("closed", "split", "semi-open"):
        for e in told(name):
            assert isinstance(e, Blocked) or e.low < e.high, e.name


def test_the_worst_claim_feeds_nothing() -> None:
    for name in CASES:
        for e in told(name):
            if isinstance(e, Effect) and not e.name.startswith("worst_claim"):
                assert not any("claim" in text.lower() for text in texts(e))


def test_kinds_of_pump_keep_their_own_lines() -> None:
    closed, semi_open = ({e.name for e in told(n)} for n in ("closed", "semi-open"))
    assert "ring_leakage_worn" in closed and "box_pressure_now" not in closed
    assert "box_pressure_now" in semi_open and "ring_leakage_worn" not in semi_open
    assert all("unbalance" in e.name for e in told("empty"))


def test_directions_by_kind_of_pump() -> None:
    words = {}
    for name, (pump, _, rings) in CASES.items():
        words[name] = {d.name: d.word for d in all_directions(pump, rings, told(name))}
    assert words["semi-open"] == {"seal_life": "shorter", "packing_life": "shorter"}
    assert words["split"] == {"axial_thrust_balance": "uneven"}
    assert words["nothing stated"] == {"seal_life": "not told", "packing_life": "not told"}
    assert words["closed"] == {}


def test_rings_that_cannot_be_told_apart_are_even_as_far_as_gauged() -> None:
    rings = [kit.ring(0.60, name="a", u_mm=0.02), kit.ring(0.62, name="b", u_mm=0.02)]
    (direction,) = all_directions(kit.SPLIT, rings, all_effects(kit.SPLIT, None, rings))
    assert direction.word == "even as far as gauged"


@pytest.mark.parametrize("name", ["closed", "split", "semi-open", "as found", "every fact"])
def test_corners_hold_whatever_lies_between_them(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each sum at points drawn between the bounds of its facts and spreads: never outside its range."""
    seen: list[tuple[Callable[..., float], tuple[Span, ...], Span]] = []

    def watched(figure: Callable[..., float], *spans: Span) -> Span:
        seen.append((figure, spans, over(figure, *spans)))
        return seen[-1][2]

    monkeypatch.setattr(telling, "over", watched)
    told(name)
    chance = random.Random(name)
    assert len(seen) >= 10
    for figure, spans, (low, high) in seen:
        slack = 1e-9 * (1 + abs(low) + abs(high))
        for _ in range(50):
            value = figure(*(chance.uniform(*span) for span in spans))
            assert low - slack <= value <= high + slack, figure


def scalars(record: type[Any]) -> st.SearchStrategy[dict[str, Any]]:
    """Any figures at all for the plain number fields of a record."""
    names = [f.name for f in fields(record) if f.type == "float | None"]
    wild = st.one_of(st.none(), st.floats(-1e3, 1e4), st.sampled_from([0.0, 1.0, 1e-300, 1e300, -1.0, 0.7]))
    return st.fixed_dictionaries(dict.fromkeys(names, wild))


@settings(max_examples=40)
@given(
    scalars(Duty), scalars(Impeller), scalars(BackVanes), scalars(Bearing),
    st.floats(0, 5), st.floats(0, 5), st.floats(0.01, 3), st.sampled_from([1, 2]),
)  # fmt: skip
def test_whatever_is_stated_there_is_an_answer_or_a_question(
    duty: dict[str, Any], wheel: dict[str, Any], vanes: dict[str, Any], bearing: dict[str, Any],
    front: float, back: float, clearance_diametral: float, suctions: Any,
) -> None:  # fmt: skip
    pump = Pump(
        tag="P", duty=Duty(**duty), impeller=Impeller(**{**wheel, "suctions": suctions}),
        back_vanes=BackVanes(**vanes), bearing=Bearing(**bearing),
    )  # fmt: skip
    for e in all_effects(pump, kit.stack(front, back), [kit.ring(clearance_diametral, u_mm=0.05)]):
        assert isinstance(e, Blocked) or e.low <= e.high
        assert not [text for text in texts(e) if bare(text)]
