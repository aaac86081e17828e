from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.effects.kit import SPEED_RPM, WATER_KG_M3
from wearvision.errors import BadInput
from wearvision.rules.effects.back_vanes import (
    box_pressure,
    cautious_rotation_factor,
    relief_n,
    rotation_factor,
    rotation_pressure_pa,
)

TIP_M, SLEEVE_M, RIM_PA = 0.125, 0.030, 800e3
ROTATION_PA = rotation_pressure_pa(
    density_kg_m3=WATER_KG_M3, speed_rpm=SPEED_RPM, tip_radius_m=TIP_M, sleeve_radius_m=SLEEVE_M
)


def relief(k: float) -> float:
    return relief_n(k, rotation_pa=ROTATION_PA, tip_radius_m=TIP_M, sleeve_radius_m=SLEEVE_M)


def box_kpa(k: float) -> float:
    return box_pressure(RIM_PA, k, ROTATION_PA) / 1000


@pytest.mark.parametrize(
    ("t_mm", "s_mm", "k", "box", "saved"),
    [
        pytest.param(0, 9, 0.5000, 624.3, 0, id="smooth"),
        pytest.param(8, 9, 0.9444, 173.3, 10433, id="new"),
        pytest.param(8, 11, 0.8636, 275.9, 8059, id="gap 1 to 3 mm"),
        pytest.param(6, 9, 0.8333, 312.1, 7223, id="vanes worn 2 mm"),
    ],
)
def test_rotation_box_pressure_and_relief(t_mm: float, s_mm: float, k: float, box: float, saved: float) -> None:
    """k: Stepanoff, axial thrust chapter, from memory [M]; pressure and relief derived from it; sum by hand."""
    assert pytest.approx(702.63, abs=0.01) == ROTATION_PA / 1000
    assert rotation_factor(t_mm, s_mm) == pytest.approx(k, abs=1e-4)
    assert box_kpa(rotation_factor(t_mm, s_mm)) == pytest.approx(box, abs=0.1)
    assert relief(rotation_factor(t_mm, s_mm)) == pytest.approx(saved, abs=1)


def test_what_two_millimetres_of_back_gap_cost() -> None:
    """Difference of the rows above."""
    new, open_ = rotation_factor(8, 9), rotation_factor(8, 11)
    assert box_kpa(open_) - box_kpa(new) == pytest.approx(102.7, abs=0.1)
    assert relief(new) - relief(open_) == pytest.approx(2375, abs=1)


def test_relief_at_shaft_speed_is_the_three_eighths_form() -> None:
    """(3/8)(A_R - A_s) rho (u_R^2 - u_s^2)/2, Stepanoff, from memory [M]: the same 12 188.86 N."""
    omega = SPEED_RPM * 3.141592653589793 / 30
    areas = 3.141592653589793 * (TIP_M**2 - SLEEVE_M**2)
    classic = 3 / 8 * areas * WATER_KG_M3 * omega**2 * (TIP_M**2 - SLEEVE_M**2) / 2
    assert relief(1.0) == pytest.approx(classic, rel=1e-12)
    assert relief(1.0) == pytest.approx(12188.86, abs=0.01)


@given(st.floats(0.02, 0.4), st.floats(0.01, 0.99), st.floats(300, 4000))
def test_the_three_eighths_identity_holds_everywhere(tip_m: float, part: float, speed_rpm: float) -> None:
    sleeve_m = tip_m * part
    rotation = rotation_pressure_pa(
        density_kg_m3=998, speed_rpm=speed_rpm, tip_radius_m=tip_m, sleeve_radius_m=sleeve_m
    )
    saved = relief_n(1.0, rotation_pa=rotation, tip_radius_m=tip_m, sleeve_radius_m=sleeve_m)
    assert saved == pytest.approx(3 / 8 * 3.141592653589793 * (tip_m**2 - sleeve_m**2) * rotation, rel=1e-9)


@given(st.floats(0.1, 10), st.floats(0, 5), st.floats(0.01, 3), st.floats(0.0, 1.0))
def test_worn_vanes_and_wider_gaps_slow_the_liquid(t_mm: float, gap_mm: float, more: float, worn: float) -> None:
    for k in (rotation_factor, cautious_rotation_factor):
        assert k(t_mm, t_mm + gap_mm + more) < k(t_mm, t_mm + gap_mm)
        assert k(t_mm * worn, t_mm + gap_mm) <= k(t_mm, t_mm + gap_mm)
    assert 0.5 <= cautious_rotation_factor(t_mm, t_mm + gap_mm) <= rotation_factor(t_mm, t_mm + gap_mm) <= 1


def test_the_cautious_factor_meets_the_formula_at_both_ends() -> None:
    assert cautious_rotation_factor(0, 9) == rotation_factor(0, 9) == 0.5
    assert cautious_rotation_factor(9, 9) == rotation_factor(9, 9) == 1.0


def test_what_cannot_be_is_asked_about() -> None:
    with pytest.raises(BadInput, match="higher than the space"):
        rotation_factor(10, 9)
    with pytest.raises(BadInput, match="further out"):
        relief_n(1.0, rotation_pa=1.0, tip_radius_m=0.03, sleeve_radius_m=0.125)
