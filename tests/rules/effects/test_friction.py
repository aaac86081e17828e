from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.effects.kit import RIM_M, RING_M, SPEED_RPM
from wearvision.rules.effects.friction import (
    CENTRE,
    PRACTICE,
    SPREAD,
    gap_friction,
    gap_reynolds,
    ring_friction,
    yamada,
)
from wearvision.rules.effects.leakage import flow_coefficient, rim_speed_m_s, ring_head_m


def test_yamada_for_the_test_ring() -> None:
    """Yamada 1962, formula from memory [M]: V 17, u 20.08 m/s, radial gap 0.215 mm, nu 1e-6 m2/s; sum by hand."""
    axial, surface = gap_reynolds(17, 20.08, 0.215e-3, 1e-6)
    assert axial == pytest.approx(7310, abs=1)
    assert surface == pytest.approx(4317, abs=1)
    assert yamada(axial, surface) == pytest.approx(0.0315, abs=1e-4)


@pytest.mark.parametrize("viscosity_m2_s", [0.3e-6, 1e-6, 10e-6, 100e-6])
def test_the_speed_that_the_gap_sets_settles(viscosity_m2_s: float) -> None:
    head_m, ring_m_s = ring_head_m(SPEED_RPM, RIM_M, RING_M), rim_speed_m_s(SPEED_RPM, RING_M)
    friction = ring_friction(
        clearance_diametral_m=0.43e-3, land_m=0.020, head_m=head_m, surface_speed_m_s=ring_m_s,
        viscosity_m2_s=viscosity_m2_s,
    )  # fmt: skip
    speed = flow_coefficient(friction, 0.020, 0.43e-3) * (2 * 9.80665 * head_m) ** 0.5
    assert friction == pytest.approx(gap_friction(*gap_reynolds(speed, ring_m_s, 0.215e-3, viscosity_m2_s)), rel=1e-9)
    if viscosity_m2_s <= 1e-6:
        assert PRACTICE.low < friction < PRACTICE.high


def test_laminar_and_turbulent_meet_near_re_2000() -> None:
    """96/Re: flow between parallel plates, exact solution, textbook, from memory [M]."""
    assert gap_friction(500, 0) == pytest.approx(96 / 500)
    assert gap_friction(5000, 0) == yamada(5000, 0)
    assert yamada(2500, 0) == pytest.approx(96 / 2500, rel=0.1)


def test_the_spread_about_the_centre_is_that_of_practice() -> None:
    assert pytest.approx(PRACTICE.low) == CENTRE * (1 - SPREAD)
    assert pytest.approx(PRACTICE.high) == CENTRE * (1 + SPREAD)


@given(st.floats(2e2, 1e5), st.floats(0, 5e4), st.floats(1.001, 3))
def test_thicker_liquid_and_faster_ring_rub_more(axial: float, surface: float, more: float) -> None:
    assert gap_friction(axial / more, surface / more) > gap_friction(axial, surface)
    assert gap_friction(axial, surface * more) >= gap_friction(axial, surface)
