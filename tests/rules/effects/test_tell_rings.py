from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.effects import kit
from wearvision.rules.clearance.rings import RingClearance
from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects.facts import pump_facts
from wearvision.rules.effects.ring_routes import average, gap_flow
from wearvision.rules.effects.tell_rings import ring_effects
from wearvision.rules.pump import Pump


def told(pump: Pump, *rings: RingClearance) -> dict[str, Effect | Blocked]:
    return {e.name: e for e in ring_effects(pump_facts(pump), rings)}


def range_of(effect: Effect | Blocked) -> tuple[float, float]:
    assert isinstance(effect, Effect), effect
    return effect.low, effect.high


def test_the_gap_flow_route_spans_the_friction_range() -> None:
    """lambda 0.02 to 0.04 [C] for the test ring: 4.926 to 5.792 m3/h, by hand."""
    found = told(kit.CLOSED, kit.ring(0.86))
    assert range_of(found["ring_leakage_new_by_gap_flow"]) == pytest.approx((4.926, 5.792), abs=1e-3)
    low, high = range_of(found["ring_leakage_worn_by_gap_flow"])
    assert low < 12.182 < high


def test_the_specific_speed_route_is_an_average_with_its_spread_and_grows_by_two_to_2_83() -> None:
    """n_q 26.15: 4.1/26.15^1.6 = 0.02212 of 100 m3/h (Guelich, from memory [M]), a third either way."""
    found = told(kit.CLOSED, kit.ring(0.86))
    new, worn = (range_of(found[f"ring_leakage_{s}_by_specific_speed"]) for s in ("new", "worn"))
    assert new == pytest.approx((2.212 * 2 / 3, 2.212 * 4 / 3), abs=2e-3)
    assert (worn[0] / new[0], worn[1] / new[1]) == pytest.approx((2.0, 2.8284), abs=1e-3)


def test_both_routes_stand_side_by_side_within_one_range() -> None:
    found = told(kit.CLOSED, kit.ring(0.86))
    for name in ("ring_leakage_worn", "efficiency_loss_rings"):
        low, high = range_of(found[name])
        routes = [range_of(found[f"{name}_by_{key}"]) for key in ("gap_flow", "specific_speed")]
        assert (low, high) == (min(r[0] for r in routes), max(r[1] for r in routes))


def test_seventy_percent_becomes_65_71() -> None:
    """70.0 % new, clearance doubled: 65.71 % at lambda 0.03, so 4.29 points lie in the range; by hand."""
    low, high = range_of(told(kit.CLOSED, kit.ring(0.86))["efficiency_loss_rings_by_gap_flow"])
    assert low < 4.29 < high


def test_double_suction_leaks_at_two_rings() -> None:
    one = told(kit.CLOSED, kit.ring(0.86))
    two = told(kit.SPLIT, kit.ring(0.86, name="left"), kit.ring(0.86, name="right"))
    for state in ("new", "worn"):
        name = f"ring_leakage_{state}_by_gap_flow"
        assert range_of(two[name]) == pytest.approx(tuple(2 * v for v in range_of(one[name])))


def test_double_suction_with_one_ring_read_is_blocked_by_the_other() -> None:
    found = told(kit.SPLIT, kit.ring(0.86))
    assert all(isinstance(e, Blocked) and "second wear ring" in e.missing[-1] for e in found.values())


def test_each_figure_is_blocked_by_exactly_what_it_needs() -> None:
    bare = Pump(tag="P", duty=replace(kit.DUTY, efficiency=None, head_m=None), impeller=kit.WHEEL)
    found = told(bare, kit.ring(0.6, new_mm=None, land_mm=None))
    new = "[[rings]] design_clearance_diametral: new diametral clearance at the front ring (mm)"
    land = "[[rings]] land_length_axial: axial length of the land at the front ring (mm)"
    expected = {
        "ring_leakage_new_by_gap_flow": {new, land},
        "ring_leakage_worn_by_gap_flow": {land},
        "ring_leakage_new_by_specific_speed": {"[duty] head: head (m)"},
        "ring_leakage_worn_by_specific_speed": {"[duty] head: head (m)", new},
        "efficiency_loss_rings_by_gap_flow": {"[duty] efficiency: pump efficiency as new (%)", new, land},
    }
    for name, missing in expected.items():
        effect = found[name]
        assert isinstance(effect, Blocked) and set(effect.missing) == missing, name


def test_one_route_alone_still_tells_and_says_so() -> None:
    whole = told(kit.CLOSED, kit.ring(0.86, land_mm=None))["efficiency_loss_rings"]
    assert isinstance(whole, Effect)
    assert any(i.text.endswith("by gap flow not known") for i in whole.inputs)


def test_viscosity_and_pressures_enter_where_stated() -> None:
    oil = replace(kit.DUTY, viscosity_mm2_s=40.0)
    thick = told(replace(kit.CLOSED, duty=oil), kit.ring(0.86))["ring_leakage_new_by_gap_flow"]
    water = told(kit.CLOSED, kit.ring(0.86))["ring_leakage_new_by_gap_flow"]
    assert range_of(thick)[1] < range_of(water)[0]
    assert isinstance(thick, Effect) and "Yamada" in thick.route
    pressed = replace(kit.CLOSED, duty=replace(kit.DUTY, rim_pressure_kpa=600.0))
    both = told(pressed, kit.ring(0.86))["ring_leakage_new_by_gap_flow"]
    assert isinstance(both, Effect) and "static head" in both.route
    assert range_of(both)[0] <= range_of(water)[0] and range_of(both)[1] >= range_of(water)[1]


@given(st.floats(0.44, 2.0), st.floats(1.01, 2.0), st.floats(0, 0.02))
def test_a_wider_clearance_never_leaks_less(c_mm: float, more: float, u_mm: float) -> None:
    near, far = told(kit.CLOSED, kit.ring(c_mm, u_mm=u_mm)), told(kit.CLOSED, kit.ring(c_mm * more, u_mm=u_mm))
    for name in ("ring_leakage_worn_by_gap_flow", "ring_leakage_worn_by_specific_speed", "efficiency_loss_rings"):
        a, b = range_of(near[name]), range_of(far[name])
        assert a[0] <= b[0] and a[1] <= b[1]


part = st.floats(0, 1)


@given(st.floats(-1, 1), part, part, st.floats(0.5, 1.2), st.booleans())
def test_nothing_inside_the_bounds_falls_outside_the_range(
    first: float, second: float, where: float, c_mm: float, viscous: bool
) -> None:
    duty = replace(kit.DUTY, viscosity_mm2_s=1.0) if viscous else kit.DUTY
    pump, ring = replace(kit.CLOSED, duty=duty), kit.ring(c_mm, u_mm=0.02)
    found, known = told(pump, ring), pump_facts(pump)
    for route in (gap_flow(known, [ring]), average(known, [ring])):
        facts = [f.span.low + where * (f.span.high - f.span.low) for f in route.facts_worn if f.span]
        new = route.new(first, second, *(f.span.low for f in route.facts_new if f.span))
        worn = route.worn(first, second, *facts)
        low, high = range_of(found[f"ring_leakage_worn_by_{route.key}"])
        assert low - 1e-9 <= worn <= high + 1e-9
        loss = 70 * (1 - (100 + new) / (100 + worn))
        low, high = range_of(found[f"efficiency_loss_rings_by_{route.key}"])
        assert low - 1e-9 <= loss <= high + 1e-9


def test_no_rings_no_lines() -> None:
    assert told(kit.SEMI_OPEN) == {}
