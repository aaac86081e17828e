from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.effects.kit import RIM_M, RING_M, SPEED_RPM, WATER_M2_S
from wearvision.rules.effects.friction import PRACTICE, gap_reynolds, ring_friction, spread, yamada
from wearvision.rules.effects.leakage import flow_coefficient, rim_speed_m_s, ring_head_m


def test_yamada_for_the_test_ring() -> None:
    """Yamada 1962, formula from memory [M]: V 17, u 20.08 m/s, radial gap 0.215 mm, nu 1e-6 m2/s; sum by hand."""
    axial, surface = gap_reynolds(17, 20.08, 0.215e-3, 1e-6)
    assert axial == pytest.approx(7310, abs=1)
    assert surface == pytest.approx(4317, abs=1)
    assert yamada(axial, surface) == pytest.approx(0.0315, abs=1e-4)


def test_the_speed_that_the_gap_sets_settles() -> None:
    head_m = ring_head_m(SPEED_RPM, RIM_M, RING_M)
    friction, axial = ring_friction(
        clearance_diametral_m=0.43e-3, land_m=0.020, head_m=head_m,
        surface_speed_m_s=rim_speed_m_s(SPEED_RPM, RING_M), viscosity_m2_s=WATER_M2_S,
    )  # fmt: skip
    speed = flow_coefficient(friction, 0.020, 0.43e-3) * (2 * 9.80665 * head_m) ** 0.5
    again = gap_reynolds(speed, rim_speed_m_s(SPEED_RPM, RING_M), 0.215e-3, WATER_M2_S)
    assert axial == pytest.approx(again[0], rel=1e-9)
    assert friction == pytest.approx(yamada(*again), rel=1e-9)
    assert PRACTICE.low < friction < PRACTICE.high


def test_the_spread_of_practice_and_of_the_formula_is_the_same() -> None:
    assert spread(0.03) == pytest.approx(PRACTICE)


@given(st.floats(2e3, 1e5), st.floats(0, 5e4), st.floats(1.001, 3))
def test_thicker_liquid_and_faster_ring_rub_more(axial: float, surface: float, more: float) -> None:
    assert yamada(axial / more, surface / more) > yamada(axial, surface)
    assert yamada(axial, surface * more) >= yamada(axial, surface)
