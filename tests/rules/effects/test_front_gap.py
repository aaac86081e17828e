from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.rules.effects.front_gap import (
    bound_points,
    gap_share,
    inside_published,
    trend_relative_loss,
    worst_claim_points,
)

gaps = st.floats(0, 3)


def test_upper_bound_of_an_opening() -> None:
    """Up to 10 points over 1.5 to 0.25 mm (civilengineeringhandbook.tk/centrifugal-pumps-3/833.html): 8 per mm."""
    assert bound_points(0.25, 1.5) == pytest.approx(10)
    assert bound_points(0.40, 0.90) == pytest.approx(4.0)


def test_trend_form() -> None:
    """2 a s/(b1 + b2), a 0.9: compressor literature, from memory and weak [M]."""
    assert trend_relative_loss(1.0, 30, 20) == pytest.approx(0.036)


def test_worst_claim_is_one_point_per_thou_and_five_times_steeper() -> None:
    """Common practice, no source [C]."""
    assert worst_claim_points(0.40, 0.4254) == pytest.approx(1)
    assert worst_claim_points(0, 1) / bound_points(0, 1) == pytest.approx(5, abs=0.1)


@given(gaps, gaps, st.floats(0.001, 2))
def test_wider_costs_more_and_closing_gains_what_opening_cost(start: float, end: float, more: float) -> None:
    assert bound_points(start, end + more) > bound_points(start, end)
    assert bound_points(start, end) == pytest.approx(-bound_points(end, start))
    assert abs(worst_claim_points(start, end)) >= abs(bound_points(start, end))


def test_two_pumps_with_equal_gaps_are_not_equally_hurt() -> None:
    assert gap_share(0.5, 10) == 2 * gap_share(0.5, 20)


@pytest.mark.parametrize(("start", "end", "inside"), [(0.25, 1.5, True), (0.2, 0.5, False), (0.4, 1.6, False)])
def test_where_the_bound_was_published(start: float, end: float, inside: bool) -> None:
    assert inside_published(start, end) is inside
