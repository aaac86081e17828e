from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.rules.effects.front_gap import (
    bound_points,
    gap_share,
    opening_axial_mm,
    outside_axial_mm,
    trend_relative_loss,
    worst_claim_points,
)

gaps = st.floats(0, 3)


def test_upper_bound_of_an_opening() -> None:
    """Check 3a: up to 10 points over 1.5 to 0.25 mm (civilengineeringhandbook.tk/centrifugal-pumps-3/833.html)."""
    assert bound_points(0.25, 1.5) == pytest.approx(10)
    assert bound_points(0.40, 0.90) == pytest.approx(4.0)


def test_trend_form() -> None:
    """Check 3b: 2 a s/(b1 + b2), a 0.9: compressor literature, from memory and weak [M]."""
    assert trend_relative_loss(1.0, 30, 20) == pytest.approx(0.036)


def test_worst_claim_is_one_point_per_thou_and_five_times_steeper() -> None:
    """Common practice, no source [C]."""
    assert worst_claim_points(0.40, 0.4254) == pytest.approx(1)
    assert worst_claim_points(0.3, 1.3) / bound_points(0.3, 1.3) == pytest.approx(5, abs=0.1)


@given(gaps, gaps, st.floats(0.001, 2))
def test_wider_costs_more_and_closing_gains_what_opening_cost(start: float, end: float, more: float) -> None:
    assert bound_points(start, end + more) >= bound_points(start, end)
    assert worst_claim_points(start, end + more) > worst_claim_points(start, end)
    assert bound_points(start, end) == pytest.approx(-bound_points(end, start))
    assert abs(worst_claim_points(start, end)) >= abs(bound_points(start, end))


def test_two_pumps_with_equal_gaps_are_not_equally_hurt() -> None:
    assert gap_share(0.5, 10) == 2 * gap_share(0.5, 20)


@pytest.mark.parametrize(
    ("start", "end", "points", "outside"),
    [(0.25, 1.5, 10.0, 0.0), (0.2, 0.5, 2.0, 0.05), (0.4, 2.0, 8.8, 0.5), (0.1, 0.2, 0.0, 0.1), (2.0, 0.4, -8.8, 0.5)],
)
def test_the_bound_ends_where_its_publication_ends(start: float, end: float, points: float, outside: float) -> None:
    """Published for 0.25 to 1.5 mm (the same page); by hand."""
    assert bound_points(start, end) == pytest.approx(points)
    assert outside_axial_mm(start, end) == pytest.approx(outside)


@given(gaps, gaps)
def test_what_is_counted_and_what_is_not_make_the_whole_opening(start: float, end: float) -> None:
    counted = abs(bound_points(start, end)) / 8
    assert counted + outside_axial_mm(start, end) == pytest.approx(abs(opening_axial_mm(start, end)))
    assert abs(bound_points(start, end)) <= 10 + 1e-9
