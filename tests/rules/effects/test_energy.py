from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.effects.kit import FLOW_M3_S, HEAD_M, WATER_KG_M3
from wearvision.errors import BadInput
from wearvision.rules.effects.energy import drawn_kw, extra_kwh, hydraulic_kw

efficiencies = st.floats(0.3, 0.9)


def test_power_of_the_test_pump() -> None:
    """rho g Q H of 100 m3/h and 50 m; sum by hand: 9806.65 x 50/36 = 13 620 W."""
    assert hydraulic_kw(FLOW_M3_S, HEAD_M, WATER_KG_M3) == pytest.approx(13.6203, abs=1e-4)


def test_extra_energy_by_hand() -> None:
    """10 kW useful, 70.0 to 65.71 %: 15.2184 - 14.2857 = 0.9327 kW; 8000 h: 7461 kWh."""
    assert extra_kwh(useful_kw=10, efficiency_new=0.70, loss_points=4.29, hours=8000) == pytest.approx(7461, abs=1)


@given(st.floats(0.1, 500), efficiencies, st.floats(0, 20), st.floats(0, 8784), st.floats(0.5, 1))
def test_energy_is_conserved(useful: float, eta: float, points: float, hours: float, drive: float) -> None:
    """What is drawn above the new pump is what the worn pump draws less what the new one drew; useful work is one."""
    worn = drawn_kw(useful, eta - points / 100, drive)
    extra = extra_kwh(useful_kw=useful, efficiency_new=eta, loss_points=points, hours=hours, drive_efficiency=drive)
    assert worn * (eta - points / 100) * drive == pytest.approx(useful)
    assert extra + drawn_kw(useful, eta, drive) * hours == pytest.approx(worn * hours, rel=1e-9, abs=1e-6)
    assert extra >= -1e-6


@given(efficiencies, st.floats(0, 15), st.floats(0.01, 5))
def test_more_loss_costs_more(eta: float, points: float, more: float) -> None:
    def cost(loss: float) -> float:
        return extra_kwh(useful_kw=10, efficiency_new=eta, loss_points=loss, hours=1000)

    assert cost(points + more) > cost(points) >= 0 > cost(-more)


def test_what_cannot_be_is_asked_about() -> None:
    with pytest.raises(BadInput, match="more running hours"):
        extra_kwh(useful_kw=10, efficiency_new=0.7, loss_points=1, hours=9000)
    with pytest.raises(BadInput, match="no efficiency"):
        extra_kwh(useful_kw=10, efficiency_new=0.3, loss_points=30, hours=100)
    with pytest.raises(BadInput, match=r"give 0\.7"):
        drawn_kw(10, 70)
