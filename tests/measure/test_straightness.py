"""Exact small cases, and the minimum zone against a linear programme."""

from __future__ import annotations

from fractions import Fraction as F

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.errors import BadInput
from wearvision.measure.straightness import least_squares_zone, minimum_zone, outermost

CASES = (
    ((0, 1, 2, 3), (0, 2, 1, 1), F(5, 3), F(1, 3), F(9, 5), F(1, 5)),
    ((0, 10, 20, 30, 40), (0, 4, 3, 7, 2), F(11, 2), F(1, 20), F(57, 10), F(7, 100)),
    ((0, 1, 2, 3, 4, 5), (0, 2, 5, 3, 4, 6), F(3), F(1), F(107, 35), F(34, 35)),
    ((0, 1, 2, 3, 4), (0, 3, 1, 4, 0), F(4), None, F(41, 10), None),
)
"""By hand with fractions, after ISO 1101 and ISO 12780: x, y, MZ, its slope, LSLI, its slope."""


@pytest.mark.parametrize(("x", "y", "zone", "tilt", "spread", "slope"), CASES)
def test_exact_cases(
    x: tuple[int, ...], y: tuple[int, ...], zone: F, tilt: F | None, spread: F, slope: F | None
) -> None:
    least, lsq = minimum_zone(np.array(x), np.array(y)), least_squares_zone(np.array(x), np.array(y))
    assert least.height == pytest.approx(float(zone), abs=1e-9)
    assert lsq.height == pytest.approx(float(spread), abs=1e-9)
    if tilt is not None and slope is not None:
        assert least.slope == pytest.approx(float(tilt), abs=1e-9)
        assert lsq.slope == pytest.approx(float(slope), abs=1e-9)


def by_linear_programme(x: np.ndarray, y: np.ndarray) -> float:
    """Least h with foot <= y - slope x <= foot + h, by SciPy's HiGHS."""
    from scipy.optimize import linprog

    one, zero = np.ones_like(x), np.zeros_like(x)
    rows = np.vstack([np.column_stack([x, one, zero]), np.column_stack([-x, -one, -one])])
    answer = linprog([0, 0, 1], A_ub=rows, b_ub=np.concatenate([y, -y]), bounds=[(None, None), (None, None), (0, None)])
    return float(answer.fun)


@pytest.mark.parametrize("seed", range(12))
def test_minimum_zone_is_that_of_a_linear_programme(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0, 60, 150))
    y = rng.normal(0, 0.05, 150) + 0.01 * x + np.where(np.abs(x - 30) < 9, 2.0, 0.0) * (seed % 2)
    assert minimum_zone(x, y).height == pytest.approx(by_linear_programme(x, y), abs=1e-7)


@given(st.lists(st.tuples(st.integers(-50, 50), st.integers(-50, 50)), min_size=2, max_size=30))
def test_zone_holds_all_points_and_is_never_the_wider(points: list[tuple[int, int]]) -> None:
    x, y = np.array(points, dtype=float).T
    if np.ptp(x) == 0:
        with pytest.raises(BadInput, match="two places"):
            minimum_zone(x, y)
        return
    zone = minimum_zone(x, y)
    rest = y - zone.slope * x - zone.foot
    assert rest.min() > -1e-9 and rest.max() < zone.height + 1e-9
    assert zone.height <= least_squares_zone(x, y).height + 1e-9


def test_points_on_a_line_need_no_zone() -> None:
    x = np.linspace(0, 9, 7)
    assert minimum_zone(x, 3 - 0.25 * x).height == pytest.approx(0, abs=1e-12)
    assert least_squares_zone(x, 3 - 0.25 * x).height == pytest.approx(0, abs=1e-12)


def test_what_is_not_finite_is_refused() -> None:
    with pytest.raises(BadInput, match="finite"):
        minimum_zone(np.array([0.0, 1.0, 2.0]), np.array([0.0, np.nan, 1.0]))


def test_the_zone_stands_on_the_outermost_places_however_they_are_sheared() -> None:
    rng = np.random.default_rng(4)
    x, y = np.linspace(0, 60, 200), rng.normal(0, 0.1, 200)
    corners = outermost(x, y)
    assert 4 <= len(corners) < 40 and {0, 199} <= set(corners.tolist())
    for tilt in (0.0, 0.03):
        sheared = y + 1.0 + tilt * x
        assert minimum_zone(x[corners], sheared[corners]).height == pytest.approx(minimum_zone(x, sheared).height)
