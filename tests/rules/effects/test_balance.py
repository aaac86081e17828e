from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.effects.kit import SPEED_RPM
from wearvision.rules.effects.balance import (
    force_n,
    four_w_over_n_g_mm,
    local_loss_g_mm,
    per_plane_g_mm,
    permissible_g_mm,
    specific_g_mm_per_kg,
)


def test_permissible_unbalance() -> None:
    """ISO 21940-11, from memory [M]; definition of the grade read at balancemaster.com: 12 kg at 2950 rev/min."""
    assert permissible_g_mm(6.3, 12, SPEED_RPM) == pytest.approx(244.7, abs=0.1)
    assert specific_g_mm_per_kg(6.3, SPEED_RPM) == pytest.approx(20.39, abs=0.01)
    assert permissible_g_mm(2.5, 12, SPEED_RPM) == pytest.approx(97.1, abs=0.1)


def test_four_w_over_n() -> None:
    """API style 4 W/N, from memory [M]: 25.8 g mm, about grade 0.665."""
    assert four_w_over_n_g_mm(12, SPEED_RPM) == pytest.approx(25.8, abs=0.1)
    assert permissible_g_mm(0.665, 12, SPEED_RPM) == pytest.approx(four_w_over_n_g_mm(12, SPEED_RPM), rel=1e-3)


def test_two_grams_lost() -> None:
    """m r, derived: 2 g at 100 mm, 82 % of the G6.3 allowance above."""
    assert local_loss_g_mm(2, 100) == 200
    assert local_loss_g_mm(2, 100) / permissible_g_mm(6.3, 12, SPEED_RPM) == pytest.approx(0.82, abs=0.005)


def test_force_of_the_allowance() -> None:
    """Turning force of the full G6.3 allowance, derived; sum by hand."""
    assert force_n(permissible_g_mm(6.3, 12, SPEED_RPM), SPEED_RPM) == pytest.approx(23.35, abs=0.01)


@given(st.floats(0.1, 500), st.floats(300, 4000), st.floats(1.01, 3))
def test_faster_or_lighter_is_stricter(mass: float, speed: float, more: float) -> None:
    allowed = permissible_g_mm(6.3, mass, speed)
    assert permissible_g_mm(6.3, mass, speed * more) == pytest.approx(allowed / more)
    assert permissible_g_mm(6.3, mass * more, speed) == pytest.approx(allowed * more)
    assert 2 * per_plane_g_mm(allowed, 2) == allowed == per_plane_g_mm(allowed, 1)
