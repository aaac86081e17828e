from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.effects.kit import FLOW_M3_S, SPEED_RPM, WATER_KG_M3
from wearvision.errors import BadInput
from wearvision.rules.effects.thrust import momentum_thrust_n, pressure_thrust_n, shaft_thrust_n


def pressure(over_pa: float = 500e3, side_factor: float = 0.5, speed_rpm: float = SPEED_RPM) -> float:
    return pressure_thrust_n(
        ring_radius_m=0.065, sleeve_radius_m=0.030, rim_radius_m=0.125, rim_over_suction_pa=over_pa,
        speed_rpm=speed_rpm, density_kg_m3=WATER_KG_M3, side_factor=side_factor,
    )  # fmt: skip


def test_thrust_of_a_closed_impeller() -> None:
    """Derived: exact integral of the half-speed profile; sum by hand."""
    momentum = momentum_thrust_n(density_kg_m3=WATER_KG_M3, flow_m3_s=FLOW_M3_S, eye_diameter_m=0.100)
    assert pressure() == pytest.approx(3595.2, abs=0.1)
    assert momentum == pytest.approx(98.2, abs=0.1)
    assert pressure() - momentum == pytest.approx(3496.9, abs=0.1)


def test_the_closed_form_is_the_integral_over_the_ring_area() -> None:
    """Midpoint rule over radii, pressure of a liquid at half speed: independent of the closed form."""
    omega, n = SPEED_RPM * math.pi / 30, 20000
    step = (0.065 - 0.030) / n
    total = 0.0
    for i in range(n):
        r = 0.030 + (i + 0.5) * step
        p = 500e3 - WATER_KG_M3 * omega**2 / 8 * (0.125**2 - r**2)
        total += 2 * math.pi * r * p * step
    assert pressure() == pytest.approx(total, rel=1e-8)


@given(st.floats(0.3, 0.7), st.floats(0.001, 0.2), st.floats(1e3, 1e6))
def test_a_faster_liquid_beside_the_shroud_pushes_less(k: float, more: float, extra_pa: float) -> None:
    assert pressure(side_factor=k + more) < pressure(side_factor=k)
    assert pressure(500e3 + extra_pa) > pressure()
    assert pressure(speed_rpm=SPEED_RPM + 100) < pressure()


def test_suction_pressure_pushes_an_overhung_shaft_outward() -> None:
    assert shaft_thrust_n(0.025, 100e3) == pytest.approx(196.35, abs=0.01)
    assert shaft_thrust_n(0.025, -50e3) < 0


def test_swapped_radii_are_asked_about() -> None:
    with pytest.raises(BadInput, match="sleeve over ring to rim"):
        pressure_thrust_n(
            ring_radius_m=0.125, sleeve_radius_m=0.030, rim_radius_m=0.065, rim_over_suction_pa=1.0,
            speed_rpm=1000, density_kg_m3=1000,
        )  # fmt: skip
