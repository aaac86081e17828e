from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.effects import kit
from wearvision.rules.clearance.axial import AxialStack
from wearvision.rules.clearance.wear import Patch, Wear
from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects.facts import pump_facts
from wearvision.rules.effects.tell_front import front_effects

FOUND, SET = "efficiency_loss_axial_front_gap_as_found", "efficiency_loss_axial_front_gap"
CLAIM = "worst_claim_efficiency_loss_axial_front_gap"


def told(stack: AxialStack | None) -> dict[str, Effect | Blocked]:
    return {e.name: e for e in front_effects(pump_facts(kit.SEMI_OPEN), stack)}


def range_of(effect: Effect | Blocked) -> tuple[float, float]:
    assert isinstance(effect, Effect), effect
    return effect.low, effect.high


def test_as_found_from_nothing_up_to_the_bound() -> None:
    """0.40 to 0.90 mm: at most 4.0 points by the published bound (handbook page); by hand."""
    assert range_of(told(kit.stack(0.90, None))[FOUND]) == pytest.approx((0, 4.0))


def test_after_setting_only_the_wear_is_left() -> None:
    """Wear of 0.10 mm anywhere in the casing: set at 0.254 - 0.10 = 0.154 mm to end at 0.254; by hand."""
    worn = Wear(casing_axial=kit.gauge(0.10))
    found = told(kit.stack(0.90, 1.0, front_new_mm=0.2032, wear=worn))
    assert range_of(found[SET]) == pytest.approx((0, 8 * (0.254 - 0.25)))  # nothing is published below 0.25 mm
    assert range_of(found[FOUND]) == pytest.approx((0, 8 * (1.0 - 0.25)))


def test_a_deep_groove_counts_by_its_share_of_the_face() -> None:
    """2 mm deep over 5 % of the casing, 1 mm over 2 % of the impeller: 0.12 mm averaged, 0.96 points; by hand."""
    worn = Wear(
        casing_axial=kit.gauge(2.0), casing_patches=(Patch(what="groove G1", share=0.05, depth_axial=kit.gauge(2.0)),),
        impeller_axial=kit.gauge(1.0), impeller_patches=(Patch(what="G2", share=0.02, depth_axial=kit.gauge(1.0)),),
    )  # fmt: skip
    found = told(kit.stack(0.90, None, wear=worn))
    assert range_of(found[FOUND]) == pytest.approx((0, 8 * (0.90 + 0.12 - 0.40)))
    assert range_of(found[CLAIM]) == pytest.approx((0, (0.90 + 0.12 - 0.40) / 0.0254))


def test_without_a_share_the_deepest_reading_counts_for_all_of_the_face_and_says_so() -> None:
    effect = told(kit.stack(0.40, None, wear=Wear(casing_axial=kit.gauge(0.3))))[FOUND]
    assert range_of(effect) == pytest.approx((0, 8 * 0.3))
    assert isinstance(effect, Effect)
    assert any("casing up to 100 % of it worn, extent not known" in i.amount for i in effect.inputs)


def test_a_gap_closed_below_the_one_as_new_is_a_gain() -> None:
    low, high = range_of(told(kit.stack())[SET])
    assert low < 0 == high


@pytest.mark.parametrize(("front", "said"), [(0.9, ""), (2.0, "0.50 mm of it outside the published 0.25 to 1.5 mm")])
def test_beyond_what_was_published_the_bound_stops_and_says_so(front: float, said: str) -> None:
    effect = told(kit.stack(front, None))[FOUND]
    assert isinstance(effect, Effect)
    assert range_of(effect)[1] <= 8 * (1.5 - 0.40) + 1e-9
    assert (said in effect.route) if said else ("outside" not in effect.route)


def test_the_worst_claim_is_named_as_such_and_is_no_estimate() -> None:
    effect = told(kit.stack(0.90, None))[CLAIM]
    assert isinstance(effect, Effect)
    assert effect.title.startswith("Worst claim") and "no estimate" in effect.title
    assert effect.high == pytest.approx(0.5 / 0.0254)
    assert "no source" in effect.route


def test_the_worst_claim_never_takes_more_than_the_pump_has() -> None:
    """2.6 mm at a point per 0.0254 mm would be 102 points; the pump has 70 (stated)."""
    assert range_of(told(kit.stack(3.0, None))[CLAIM]) == pytest.approx((0, 70))


def test_share_and_trend_by_hand() -> None:
    """s/b2 0.90/20; 2 x 0.9 x 0.90/(30 + 20) = 3.24 % (compressor literature, from memory and weak [M])."""
    found = told(kit.stack(0.90, None))
    assert range_of(found["axial_front_gap_over_vane_width"]) == pytest.approx((0.02, 0.045))
    assert range_of(found["efficiency_trend_axial_front_gap"]) == pytest.approx((0, 3.24))


@given(st.floats(0, 3), st.floats(0, 1), st.floats(0, 0.05))
def test_a_wider_gap_never_costs_less(front: float, more: float, u_mm: float) -> None:
    near, far = told(kit.stack(front, None, u_mm=u_mm)), told(kit.stack(front + more, None, u_mm=u_mm))
    for name in (FOUND, CLAIM):
        a, b = range_of(near[name]), range_of(far[name])
        assert a[0] <= b[0] and a[1] <= b[1]


def test_without_a_gap_or_a_stack() -> None:
    assert told(None) == {}
    assert isinstance(told(kit.stack(None, None))[FOUND], Blocked)


@given(st.floats(0, 3), st.floats(0, 0.5), st.floats(0, 0.5), st.floats(0, 3))
def test_more_of_the_face_worn_never_costs_less_and_never_more_than_was_published(
    front: float, share: float, more: float, depth: float
) -> None:
    found = []
    for part in (share, share + more):
        patch = Patch(what="groove G1", share=part, depth_axial=kit.gauge(depth))
        wear = Wear(casing_axial=kit.gauge(depth), casing_patches=(patch,))
        found.append(range_of(told(kit.stack(front, None, wear=wear))[FOUND]))
    assert found[0][1] <= found[1][1] + 1e-9 and found[1][1] <= 10 + 1e-9
    anywhere = range_of(told(kit.stack(front, None, wear=Wear(casing_axial=kit.gauge(depth))))[FOUND])
    assert found[1][1] <= anywhere[1] + 1e-9
