from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.effects.kit import FLOW_M3_S, HEAD_M, SPEED_RPM
from wearvision.rules.effects.average_leakage import growth, leakage_share, specific_speed


def test_specific_speed_of_the_test_pump() -> None:
    """n sqrt(Q)/H^0.75 by definition; sum by hand."""
    assert specific_speed(SPEED_RPM, FLOW_M3_S, HEAD_M) == pytest.approx(26.15, abs=0.01)


@pytest.mark.parametrize(("n_q", "share"), [(10, 0.1030), (20, 0.0340), (27, 0.0208), (40, 0.0164)])
def test_share_by_specific_speed(n_q: float, share: float) -> None:
    """Guelich, Centrifugal Pumps, ch. 3, from memory [M]."""
    assert leakage_share(n_q) == pytest.approx(share, abs=1e-4)


def test_the_branches_meet() -> None:
    """At n_q 27 they differ by 1.2 % (4.1/(0.15 x 27) = 1.0123), which supports the memory of both."""
    assert leakage_share(27 - 1e-9) / leakage_share(27) == pytest.approx(4.1 / (0.15 * 27))
    assert leakage_share(27 - 1e-9) > leakage_share(27)


@given(st.floats(5, 100), st.floats(1.001, 3))
def test_low_specific_speed_loses_most(n_q: float, more: float) -> None:
    assert leakage_share(n_q * more) < leakage_share(n_q)


def test_doubling() -> None:
    """Doubling the diametral clearance multiplies the leakage by 2.0 to 2.83 (derived)."""
    assert growth(0.43, 0.86) == pytest.approx((2.0, 2.828), abs=1e-3)


@given(st.floats(0.05, 2), st.floats(0, 4))
def test_growth_is_a_range_that_holds_one_for_no_wear(new: float, worn: float) -> None:
    low, high = growth(new, worn)
    assert 0 <= low <= high
    assert growth(new, new) == (1, 1)
    assert (low >= 1) == (worn >= new)
