from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.effects.kit import FLOW_M3_S, RIM_M, RING_M, SPEED_RPM
from wearvision.errors import BadInput
from wearvision.rules.effects.leakage import (
    annulus_area_m2,
    flow_coefficient,
    rim_speed_m_s,
    ring_head_from_static_m,
    ring_head_m,
    ring_leakage_m3_s,
)
from wearvision.rules.effects.volumetric import relative_loss, volumetric_efficiency

clearances_m = st.floats(1e-4, 3e-3)
lands_m = st.floats(5e-3, 6e-2)
frictions = st.floats(0.01, 0.08)


def leak(c_mm: float, *, land_mm: float = 20, friction: float = 0.03) -> float:
    """Leakage of the test pump's ring, m3/h."""
    return 3600 * ring_leakage_m3_s(
        ring_diameter_m=RING_M, clearance_diametral_m=c_mm / 1000, land_m=land_mm / 1000, friction=friction,
        head_m=ring_head_m(SPEED_RPM, RIM_M, RING_M),
    )  # fmt: skip


def test_speeds_and_head_across_the_ring() -> None:
    """0.75 (u2^2 - u1^2)/2g: Stepanoff, Centrifugal and Axial Flow Pumps, from memory [M]; sum done by hand."""
    assert rim_speed_m_s(SPEED_RPM, RIM_M) == pytest.approx(38.615, abs=1e-3)
    assert rim_speed_m_s(SPEED_RPM, RING_M) == pytest.approx(20.080, abs=1e-3)
    assert ring_head_m(SPEED_RPM, RIM_M, RING_M) == pytest.approx(41.602, abs=1e-3)


def test_leakage_of_a_new_ring() -> None:
    """Gap-flow form with 1.5 velocity heads (eng-tips.com thread 71993; form after Stepanoff [M]); sum by hand."""
    assert annulus_area_m2(RING_M, 0.43e-3) * 1e6 == pytest.approx(87.81, abs=0.01)
    k = flow_coefficient(0.03, 0.020, 0.43e-3)
    assert k == pytest.approx(0.5877, abs=1e-4)
    assert k * math.sqrt(2 * 9.80665 * 41.602) == pytest.approx(16.787, abs=2e-3)
    assert leak(0.43) == pytest.approx(5.307, abs=1e-3)
    assert volumetric_efficiency(100, leak(0.43)) == pytest.approx(0.9496, abs=1e-4)


def test_leakage_of_a_ring_opened_to_twice() -> None:
    """As above, diametral clearance doubled; the other losses unchanged (derived)."""
    assert flow_coefficient(0.03, 0.020, 0.86e-3) == pytest.approx(0.6746, abs=1e-4)
    assert leak(0.86) == pytest.approx(12.182, abs=2e-3)
    assert volumetric_efficiency(100, leak(0.86)) == pytest.approx(0.8914, abs=1e-4)
    assert leak(0.86) / leak(0.43) == pytest.approx(2.296, abs=1e-3)
    assert 70.0 * (1 - relative_loss(100, leak(0.43), leak(0.86))) == pytest.approx(65.71, abs=0.01)


def test_leakage_at_the_ends_of_the_friction_range() -> None:
    """lambda 0.02 to 0.04: common practice, no source [C]; so no leakage is known better than 10 %."""
    assert leak(0.43, friction=0.02) == pytest.approx(5.792, abs=1e-3)
    assert leak(0.43, friction=0.04) == pytest.approx(4.926, abs=1e-3)


def test_a_second_ring_by_hand() -> None:
    """D 150 mm, land 25 mm, lambda 0.025, 40 m across the ring: same form, other figures."""
    for c_mm, k, litres in ((0.50, 0.6030, 1.990), (1.00, 0.6860, 4.527)):
        assert flow_coefficient(0.025, 0.025, c_mm / 1000) == pytest.approx(k, abs=1e-4)
        q = ring_leakage_m3_s(
            ring_diameter_m=0.150, clearance_diametral_m=c_mm / 1000, land_m=0.025, friction=0.025, head_m=40
        )
        assert 1000 * q == pytest.approx(litres, abs=1e-3)


def test_static_head_form_agrees_where_static_is_all_the_rotation() -> None:
    """With a static rise of (u2^2 - u1^2)/2g both forms of the head across the ring are one (derived)."""
    whole = ring_head_m(SPEED_RPM, RIM_M, RING_M) / 0.75
    assert ring_head_from_static_m(whole, SPEED_RPM, RIM_M, RING_M) == pytest.approx(0.75 * whole)


@given(clearances_m, lands_m, frictions, st.floats(1.01, 6.0))
def test_growth_lies_between_the_ratio_and_its_power_one_and_a_half(
    c_m: float, land_m: float, friction: float, ratio: float
) -> None:
    def q(clearance_diametral_m: float) -> float:
        return ring_leakage_m3_s(
            ring_diameter_m=0.2, clearance_diametral_m=clearance_diametral_m, land_m=land_m, friction=friction,
            head_m=30,
        )  # fmt: skip

    factor = q(c_m * ratio) / q(c_m)
    assert ratio * (1 - 1e-9) <= factor <= ratio**1.5 * (1 + 1e-9)


@given(clearances_m, lands_m, frictions, st.floats(1.001, 3.0))
def test_more_friction_or_land_leaks_less_more_head_leaks_by_its_root(
    c_m: float, land_m: float, friction: float, more: float
) -> None:
    def q(*, land: float = land_m, lam: float = friction, head_m: float = 30.0) -> float:
        return ring_leakage_m3_s(
            ring_diameter_m=0.2, clearance_diametral_m=c_m, land_m=land, friction=lam, head_m=head_m
        )

    assert q(land=land_m * more) < q() and q(lam=friction * more) < q()
    assert q(head_m=30 * more) == pytest.approx(q() * math.sqrt(more))


@given(st.floats(300, 4000), st.floats(1.01, 2.0))
def test_leakage_follows_the_speed(speed_rpm: float, more: float) -> None:
    """The head across the ring goes with the square of the speed, so the leakage goes with the speed."""
    slow, fast = ring_head_m(speed_rpm, RIM_M, RING_M), ring_head_m(speed_rpm * more, RIM_M, RING_M)
    assert fast == pytest.approx(slow * more**2)


def test_a_closed_gap_leaks_nothing() -> None:
    assert leak(0.0) == 0.0


@given(st.floats(0.001, 0.2), st.floats(0, 0.05), st.floats(0, 0.05))
def test_flow_is_conserved(flow: float, new: float, worn: float) -> None:
    """What goes through the impeller is what is delivered plus what leaks back."""
    assert flow / volumetric_efficiency(flow, worn) == pytest.approx(flow + worn)
    assert (1 - relative_loss(flow, new, worn)) * (flow + worn) == pytest.approx(flow + new)
    assert FLOW_M3_S / volumetric_efficiency(FLOW_M3_S, 0) == FLOW_M3_S


@pytest.mark.parametrize("bad", [-0.1e-3, math.nan, math.inf])
def test_an_impossible_clearance_is_asked_about(bad: float) -> None:
    with pytest.raises(BadInput, match="diametral clearance"):
        annulus_area_m2(RING_M, bad)


def test_swapped_diameters_and_an_eaten_head_are_asked_about() -> None:
    with pytest.raises(BadInput, match="smaller than the impeller"):
        ring_head_m(SPEED_RPM, RING_M, RIM_M)
    with pytest.raises(BadInput, match="nothing across"):
        ring_head_from_static_m(10, SPEED_RPM, RIM_M, RING_M)
