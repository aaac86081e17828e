"""Thrust, bearing, cost and balance as they are told."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.effects import kit
from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects.facts import pump_facts
from wearvision.rules.effects.tell_balance import balance_effects
from wearvision.rules.effects.tell_bearing import bearing_effects
from wearvision.rules.effects.tell_cost import cost_effects
from wearvision.rules.effects.tell_thrust import thrust_effects
from wearvision.rules.pump import Bearing, Pump

Kind = Literal["ball", "roller", "angular-contact pair"]
KNOWN = pump_facts(kit.SEMI_OPEN)


def effect(low: float, high: float, unit: str = "points", name: str = "x") -> Effect:
    return Effect(name=name, title=name, low=low, high=high, unit=unit, route="", inputs=(), assumption="")


def range_of(told: Effect | Blocked) -> tuple[float, float]:
    assert isinstance(told, Effect), told
    return told.low, told.high


def test_thrust_spans_the_half_speed_figure() -> None:
    """3496.9 N at half speed (derived, by hand); liquid at 0.4 and 0.6 of shaft speed gives the ends."""
    duty = replace(kit.DUTY, suction_pressure_kpa=0.0)
    pump = replace(kit.CLOSED, duty=replace(duty, rim_pressure_kpa=500.0))
    (told,) = thrust_effects(pump_facts(pump), [kit.ring(0.43)])
    low, high = range_of(told)
    assert low < 3496.9 < high
    square = (low + high) / 2
    assert square == pytest.approx(3496.9 - (0.26 - 0.25) * (5182.0 - 3595.2) / 0.25, abs=20)


def test_thrust_only_where_its_form_holds() -> None:
    two = [kit.ring(0.43, name="a"), kit.ring(0.43, name="b")]
    assert thrust_effects(pump_facts(kit.SPLIT), two) == ()
    assert thrust_effects(pump_facts(kit.CLOSED), two) == ()


def test_a_fifth_more_load_on_any_ball_bearing() -> None:
    """All axial: (1/1.2)^3 = 0.5787 (ISO 281, from memory [M]); none axial: 1."""
    told = bearing_effects(KNOWN, Bearing(kind="ball"), effect(1200, 1200, "N"))
    assert range_of(told[0]) == pytest.approx((0.5787, 1.0), abs=1e-4)
    assert isinstance(told[1], Blocked)


def test_hours_of_any_bearing_from_its_makers_load() -> None:
    """C 63.7, P 6.0 kN: 6761 h as new; a fifth more, all of it axial: 3912 h (ISO 281, from memory [M])."""
    of = Bearing(kind="ball", rating_kn=63.7, equivalent_load_kn=6.0, axial_load_kn=6.0)
    known = pump_facts(replace(kit.SEMI_OPEN, bearing=of))
    told = {e.name: e for e in bearing_effects(known, of, effect(1200, 1200, "N"))}
    assert range_of(told["bearing_life_now"]) == pytest.approx((3912, 6761), abs=1)


def test_life_of_the_pair_by_hand() -> None:
    """Fr 1, Fa 6 kN: P 6.15 kN; Fa 7.2: 7.266 kN; (63.7/7.266)^3 = 673.8 Mrev = 3807 h (ISO 281, from memory [M])."""
    told = {e.name: e for e in bearing_effects(KNOWN, kit.PAIR, effect(1200, 1200, "N"))}
    assert range_of(told["bearing_life_factor"])[0] == pytest.approx((6.15 / 7.266) ** 3)
    assert range_of(told["bearing_life_now"])[0] == pytest.approx(3807, abs=1)


@given(st.floats(-3000, 5000), st.floats(0, 5000), st.sampled_from(["ball", "roller", "angular-contact pair"]))
def test_more_lost_relief_is_less_life(lost: float, more: float, kind: Kind) -> None:
    of = replace(kit.PAIR, kind=kind)
    a, b = (bearing_effects(KNOWN, of, effect(n, n, "N"))[0] for n in (lost, lost + more))
    assert range_of(b)[0] <= range_of(a)[0] + 1e-12 and range_of(b)[1] <= range_of(a)[1] + 1e-12
    assert range_of(a)[0] <= range_of(a)[1]


def test_a_load_that_would_turn_round_is_asked_about() -> None:
    told = bearing_effects(KNOWN, kit.PAIR, effect(-7000, -7000, "N"))[0]
    assert isinstance(told, Blocked) and "turn round" in told.missing[0]


def test_without_a_thrust_change_no_bearing_line() -> None:
    assert bearing_effects(KNOWN, kit.PAIR, None) == ()


def test_energy_and_cost_by_hand() -> None:
    """13.6203 kW useful; 13.6203 (1/0.6571 - 1/0.70)/0.92 = 1.3808 kW; x 8000 h = 11 046 kWh; x 0.15 = 1657."""
    total, energy, cost = cost_effects(KNOWN, [effect(0, 4.29)])
    assert range_of(total) == (0, 4.29)
    assert range_of(energy) == pytest.approx((0, 11046), abs=3)
    assert range_of(cost) == pytest.approx((0, 1657), abs=1)
    assert isinstance(cost, Effect) and cost.unit == "EUR/year"


def test_losses_add_up_and_a_blocked_one_blocks_the_sum() -> None:
    assert range_of(cost_effects(KNOWN, [effect(0, 1), effect(1, 2)])[0]) == (1, 3)
    blocked = cost_effects(KNOWN, [effect(0, 1), Blocked(name="b", title="B", missing=("head (m)",))])
    assert all(isinstance(e, Blocked) and "head (m)" in e.missing for e in blocked)
    assert cost_effects(KNOWN, []) == ()


def test_cost_names_all_it_misses() -> None:
    told = cost_effects(pump_facts(Pump(tag="P")), [effect(0, 1)])
    assert isinstance(told[2], Blocked)
    assert set(told[2].missing) == {
        "[duty] tariff: tariff (money/kWh)", "[duty] flow: flow (m3/h)", "[duty] head: head (m)",
        "[duty] density: density (kg/m3)", "[duty] efficiency: pump efficiency as new (%)",
        "[duty] motor_efficiency: motor efficiency (%)", "[duty] hours: running hours (h/year)",
    }  # fmt: skip


def test_balance_by_hand() -> None:
    """244.7 g mm (ISO 21940-11, from memory [M]); 2 g at 100 mm with or against it: 0 to 444.7."""
    told = {e.name: e for e in balance_effects(KNOWN, kit.WHEEL)}
    assert range_of(told["permissible_unbalance"]) == pytest.approx((0, 244.7), abs=0.1)
    assert range_of(told["permissible_unbalance_four_w_over_n"]) == pytest.approx((0, 25.8), abs=0.1)
    assert range_of(told["unbalance_after_loss"]) == pytest.approx((0, 444.7), abs=0.1)
    heavy = pump_facts(replace(kit.SEMI_OPEN, impeller=replace(kit.WHEEL, lost_mass_g=5.0)))
    told = {e.name: e for e in balance_effects(heavy, kit.WHEEL)}
    assert range_of(told["unbalance_after_loss"]) == pytest.approx((500 - 244.7, 500 + 244.7), abs=0.1)


def test_two_suctions_have_two_planes() -> None:
    assert kit.SPLIT.impeller is not None
    told = {e.name: e for e in balance_effects(pump_facts(kit.SPLIT), kit.SPLIT.impeller)}
    assert range_of(told["permissible_unbalance_per_plane"])[1] == pytest.approx(244.7 / 2, abs=0.1)
    assert "permissible_unbalance_per_plane" not in {e.name for e in balance_effects(KNOWN, kit.WHEEL)}


def test_turning_force_by_hand() -> None:
    """Up to 444.7 g mm at 308.92 rad/s: 42.4 N (derived)."""
    told = {e.name: e for e in balance_effects(KNOWN, kit.WHEEL)}
    assert range_of(told["unbalance_force_after_loss"]) == pytest.approx((0, 42.44), abs=0.02)
