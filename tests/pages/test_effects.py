from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.pages.effects import blocked_rows, bounds, effect_rows, facts_of, how
from wearvision.rules.effect import Blocked, Effect, Input
from wearvision.rules.effects.direction import sealing_directions
from wearvision.rules.effects.span import Span


def effect(low: float, high: float, unit: str = "m3/h") -> Effect:
    return Effect(
        name="leak", title="Ring leakage, new", low=low, high=high, unit=unit, route="gap flow (from memory)",
        inputs=(Input("speed", "2950 rev/min"), Input("head", "50 m")), assumption="rings run true",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("low", "high", "printed"),
    [
        (4.926, 5.792, ("4.92", "5.80")), (0, 0.0, ("0", "0")), (2347.2, 11870.4, ("2300", "11900")),
        (0.5227, 0.6742, ("0.522", "0.675")), (-1.574, 0, ("-1.58", "0")), (0, 3 * 0.08, ("0", "0.240")),
        (0, 244.71, ("0", "245")),
        (5, 5, ("5.00", "5.00")),
    ],
)  # fmt: skip
def test_bounds_are_rounded_outward(low: float, high: float, printed: tuple[str, str]) -> None:
    assert bounds(effect(low, high)) == printed


def test_what_is_permitted_is_rounded_down() -> None:
    assert bounds(replace(effect(0, 1268.9, "g mm"), name="permissible_unbalance")) == ("0", "1260")


@given(st.floats(-1e6, 1e6), st.floats(0, 1e6))
def test_what_is_printed_holds_the_range(low: float, width: float) -> None:
    printed = tuple(map(float, bounds(effect(low, low + width))))
    slack = 1e-9 * max(abs(low), abs(low + width))
    assert printed[0] - slack <= low and low + width <= printed[1] + slack
    assert "e" not in "".join(bounds(effect(low, low + width)))


def test_how_it_came_is_one_line() -> None:
    line = "Route: gap flow (from memory). From: speed, head. Holds if: rings run true."
    assert how(effect(1, 2)) == line


def test_a_numbered_row_for_each_effect_and_direction() -> None:
    blocked = Blocked(name="b", title="B", missing=("x",))
    rows = effect_rows([effect(1, 2), blocked, effect(3, 4, "1")], sealing_directions(Span(1, 2)))
    assert [(r.number, r.low, r.high, r.unit) for r in rows] == [
        ("1", "1.00", "2.00", "m3/h"), ("2", "3.00", "4.00", "ratio"),
        ("3", "", "", "shorter"), ("4", "", "", "shorter"),
    ]  # fmt: skip
    assert rows[2].title == "Life of a mechanical seal" and rows[2].how.startswith("The box pressure rises")


def test_missing_facts_say_which_figures_they_block() -> None:
    blocked = [
        Blocked(name="a", title="Leakage", missing=("head (m)", "speed (rev/min)")),
        Blocked(name="b", title="Loss", missing=("speed (rev/min)", "flow (m3/h)")),
        Blocked(name="c", title="Cost", missing=("flow (m3/h)", "speed (rev/min)", "tariff")),
    ]
    assert blocked_rows([*blocked, effect(1, 2)]) == [
        ("speed (rev/min)", "Leakage; Loss; Cost"), ("flow (m3/h)", "Loss; Cost"), ("head (m)", "Leakage"),
        ("tariff", "Cost"),
    ]  # fmt: skip


def test_facts_that_block_the_same_figures_share_a_row() -> None:
    blocked = [Blocked(name="a", title="Cost", missing=("hours (h/year)", "tariff (EUR/kWh)"))]
    assert blocked_rows(blocked) == [("hours (h/year), tariff (EUR/kWh)", "Cost")]


def test_what_was_said_before_is_referred_to_by_its_number() -> None:
    long = "head across the ring by Stepanoff, from memory"
    first = replace(effect(1, 2), route=f"gap flow; {long}", assumption="rings run true all round the year")
    second = replace(first, name="loss", title="Loss", route=f"{long}; share of the flow",
                     inputs=(Input("Ring leakage, new", "1 to 2 m3/h"), Input("flow", "100 m3/h")))  # fmt: skip
    rows = effect_rows([first, second])
    assert rows[0].how.startswith(f"Route: gap flow; {long}. From: speed, head.")
    assert rows[1].how == "Route: as [1]; share of the flow. From: [1], flow. Holds if: as [1]."


def test_each_fact_is_listed_once_with_its_amount() -> None:
    again = replace(effect(1, 2), title="Loss", inputs=(Input("Ring leakage, new", "1 to 2"), Input("head", "50 m")))
    assert facts_of([effect(1, 2), again]) == ["speed 2950 rev/min", "head 50 m"]
