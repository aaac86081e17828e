"""Growth by heat against sums done by hand; coefficients as printed in the tables they name."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.errors import BadInput
from wearvision.rules.clearance.thermal import MATERIALS, front_change_axial, growth, material, ring_change_diametral

IRON, STEEL = material("grey iron"), material("stainless 316")
lengths = st.floats(1, 3000)
rises = st.floats(-50, 400)


def test_a_front_gap_closes_by_the_difference_of_two_growths() -> None:
    # alpha L dT: (11.4 - 15.9)e-6 x 250 x 150, coefficients of table B.6; derived model
    assert front_change_axial(IRON, 250, 150, STEEL, 250, 150).value_mm == pytest.approx(-0.16875, abs=1e-9)


def test_a_ring_clearance_closes_likewise() -> None:
    # (11.4 - 15.9)e-6 x 150 x 150 = -0.10125
    assert ring_change_diametral(IRON, 150, STEEL, 150, 150).value_mm == pytest.approx(-0.10125, abs=1e-9)


def test_warming_up_is_worse_than_running() -> None:
    # case 120 K, rotor 150 K: 11.4e-6 x 150 x 120 - 15.9e-6 x 150 x 150 = -0.15255
    assert ring_change_diametral(IRON, 120, STEEL, 150, 150).value_mm == pytest.approx(-0.15255, abs=1e-9)


@pytest.mark.parametrize(
    ("name", "alpha"),
    [  # materials text, table B.6; the bronzes per deg F x 1.8; duplex from memory
        ("grey iron", 11.4), ("carbon steel", 11.7), ("carbon steel 1040", 11.3), ("stainless 304", 17.2),
        ("stainless 316", 15.9), ("stainless 405", 10.8), ("stainless 440A", 10.2), ("ductile iron 60-40-18", 11.2),
        ("ductile iron 80-55-06", 10.6), ("bearing bronze C93200", 18.0), ("duplex 2205", 13.0),
    ],
)  # fmt: skip
def test_coefficients_are_those_of_the_table(name: str, alpha: float) -> None:
    assert MATERIALS[name].alpha_um_m_k == alpha


@pytest.mark.parametrize(("name", "low", "high"), [("tin bronze", 10, 10.3), ("aluminium bronze", 9, 9.5)])
def test_a_range_per_degree_fahrenheit_is_kept_as_a_range(name: str, low: float, high: float) -> None:
    of = MATERIALS[name]  # the table prints 1e-6 per deg F
    assert of.alpha_um_m_k - of.half_width_um_m_k == pytest.approx(low * 1.8, abs=0.06)
    assert of.alpha_um_m_k + of.half_width_um_m_k == pytest.approx(high * 1.8, abs=0.06)


def test_what_is_from_memory_says_so() -> None:
    assert "memory" in MATERIALS["duplex 2205"].source
    assert "memory" in MATERIALS["cast duplex CD4MCu"].source


def test_a_material_may_be_stated_by_its_coefficient() -> None:
    assert material("12.1e-6 / K").alpha_um_m_k == 12.1
    assert material("12.1e-6 per K").source == "stated in the pump file"


@pytest.mark.parametrize("name", ["unobtainium", "", "12.1", "12.1e-6"])
def test_an_unknown_material_is_refused_with_the_list(name: str) -> None:
    with pytest.raises(BadInput, match="grey iron"):
        material(name)


@given(lengths, rises, lengths, rises)
def test_a_gap_at_the_cover_changes_the_other_way(case: float, hot: float, rotor: float, warm: float) -> None:
    front = front_change_axial(IRON, case, hot, STEEL, rotor, warm, "casing")
    cover = front_change_axial(IRON, case, hot, STEEL, rotor, warm, "cover")
    assert cover.value_mm == pytest.approx(-front.value_mm, abs=1e-12)
    assert cover.u_mm == pytest.approx(front.u_mm)


@given(lengths, rises, st.floats(0, 100))
def test_a_hotter_rotor_closes_the_front_gap_further(length: float, rise: float, more: float) -> None:
    cool = front_change_axial(IRON, length, rise, STEEL, length, rise)
    hot = front_change_axial(IRON, length, rise, STEEL, length, rise + more)
    assert hot.value_mm <= cool.value_mm


@given(lengths, st.floats(-50, 400))
def test_growth_is_odd_in_the_rise_and_linear_in_the_length(length: float, rise: float) -> None:
    assert growth(IRON, length, -rise).value_mm == pytest.approx(-growth(IRON, length, rise).value_mm)
    assert growth(IRON, 2 * length, rise).value_mm == pytest.approx(2 * growth(IRON, length, rise).value_mm)
