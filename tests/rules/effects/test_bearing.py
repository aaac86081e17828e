from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.effects.kit import SPEED_RPM
from wearvision.rules.effects.bearing import life_h, life_mrev, life_ratio, pair_load_n

loads = st.floats(100, 50000)


def test_life_of_a_ball_bearing() -> None:
    """(C/P)^3, ISO 281, from memory [M]: C 63.7, P 6.0 kN; sum by hand."""
    assert life_mrev(63.7e3, 6.0e3, "ball") == pytest.approx(1196.6, abs=0.1)
    assert life_h(life_mrev(63.7e3, 6.0e3, "ball"), SPEED_RPM) == pytest.approx(6761, abs=1)


def test_a_fifth_more_load() -> None:
    """(1/1.2)^3 of the life above."""
    assert life_ratio(6.0e3, 7.2e3, "ball") == pytest.approx(0.5787, abs=1e-4)
    assert life_h(life_mrev(63.7e3, 7.2e3, "ball"), SPEED_RPM) == pytest.approx(3912, abs=1)


def test_life_of_a_roller_bearing() -> None:
    """Exponent 10/3, ISO 281, from memory [M]."""
    assert life_mrev(63.7e3, 6.0e3, "roller") == pytest.approx(2630.0, abs=0.1)


def test_equivalent_load_of_the_pair() -> None:
    """40-degree pair back to back, ISO 281 factors, from memory [M]: Fa/Fr 6, beyond 1.14."""
    assert pair_load_n(1e3, 6e3) == pytest.approx(6.15e3)


def test_the_two_branches_of_the_pair_nearly_meet() -> None:
    """At Fa/Fr 1.14 the published factors leave less than half a percent between them."""
    assert pair_load_n(1e3, 1140.0) == pytest.approx(pair_load_n(1e3, 1140.001), rel=5e-3)


@given(loads, loads, st.floats(1.001, 5))
def test_more_load_is_less_life(radial: float, axial: float, more: float) -> None:
    heavier = pair_load_n(radial, axial * more)
    assert heavier > pair_load_n(radial, axial)
    for rolling in ("ball", "roller"):
        assert life_ratio(radial, radial * more, rolling) < 1
        assert life_ratio(radial, axial, rolling) * life_ratio(axial, radial, rolling) == pytest.approx(1)
        assert life_mrev(63e3, axial, rolling) / life_mrev(63e3, radial, rolling) == pytest.approx(
            life_ratio(radial, axial, rolling)
        )
