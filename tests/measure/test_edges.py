"""Edge tools against closed forms and against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter1d, uniform_filter1d
from scipy.optimize import least_squares

from wearvision.measure.edges import FEW, along, fit_circles, median, peak_offset, quantile, slope


def test_slope_agrees_with_scipy_on_smooth_rows() -> None:
    x = np.arange(200.0)
    rows = np.stack([np.sin(x / 15), np.tanh((x - 100) / 6), 0.02 * x]).astype(np.float32)
    oracle = gaussian_filter1d(rows.astype(float), 1.5, axis=1, order=1, mode="nearest")
    assert np.allclose(slope(rows, 1.5)[:, 10:-10], oracle[:, 10:-10], atol=2e-3)


def test_along_wraps_only_when_closed() -> None:
    rows = np.random.default_rng(3).normal(size=(30, 4)).astype(np.float32)
    assert np.allclose(along(rows, 5, closed=True), uniform_filter1d(rows, 5, axis=0, mode="wrap"), atol=1e-6)
    assert np.allclose(along(rows, 5, closed=False), uniform_filter1d(rows, 5, axis=0, mode="nearest"), atol=1e-6)
    assert along(rows, 1, closed=True) is rows


@given(st.floats(-0.5, 0.5), st.floats(0.1, 10))
def test_peak_offset_is_exact_for_parabolas(at: float, bend: float) -> None:
    left, top, right = (-bend * (x - at) ** 2 for x in (-1.0, 0.0, 1.0))
    assert float(peak_offset(np.array(left), np.array(top), np.array(right))) == pytest.approx(at, abs=1e-6)


@given(st.lists(st.floats(-1e3, 1e3, width=32), min_size=1, max_size=30))
def test_the_median_is_numpy_s(values: list[float]) -> None:
    double = np.array(values)
    single = double.astype(np.float32)
    assert median(double) == float(np.median(double))
    assert median(single) == float(np.median(single))


@pytest.mark.parametrize("count", [2 * FEW - 1, 2 * FEW, 2 * FEW + 1])
def test_the_median_of_many_is_numpy_s(count: int) -> None:
    values = np.random.default_rng(count).integers(0, 99, count).astype(np.float64)
    kept = values.copy()
    assert median(values) == float(np.median(values))
    assert np.array_equal(values, kept)


@given(
    values=st.lists(st.floats(-1e3, 1e3, allow_subnormal=False), min_size=1, max_size=40), share=st.floats(0.0, 1.0)
)
def test_the_quantile_is_numpy_s(values: list[float], share: float) -> None:
    assert quantile(np.array(values), share) == pytest.approx(float(np.quantile(values, share)), abs=1e-9)


def test_peak_offset_of_a_plateau_is_zero() -> None:
    assert float(peak_offset(np.array(1.0), np.array(1.0), np.array(1.0))) == 0.0


def _points(rng: np.random.Generator, sd: float) -> tuple[np.ndarray, np.ndarray]:
    angle = rng.uniform(0, 2 * np.pi, 400)
    group = rng.integers(0, 2, 400)
    radius = np.array([20.0, 50.0])[group] + rng.normal(0, sd, 400)
    wild = rng.random(400) < 0.15
    radius[wild] += rng.uniform(0.5, 2, wild.sum())
    return np.column_stack([2 + radius * np.cos(angle), -1 + radius * np.sin(angle)]), group


def test_concentric_circles_through_points_with_outliers() -> None:
    points, group = _points(np.random.default_rng(5), 0.05)
    start, loose = np.array([1.5, -0.5, 20.3, 49.6]), np.full(4, 5.0)
    fit = fit_circles(points, group, start, loose)
    assert np.allclose(fit.centre_mm, [2, -1], atol=0.03)
    assert np.allclose(fit.radii_mm, [20, 50], atol=0.03)
    assert np.all(fit.share > 0.75)
    assert np.all(fit.share < 0.95)


def test_circles_with_no_outliers_are_those_of_scipy_s_least_squares() -> None:
    rng = np.random.default_rng(8)
    angle, group = rng.uniform(0, 2.5, 90), np.repeat([0, 1, 1], 30)
    far = np.array([20.0, 50.0])[group] + rng.normal(0, 0.05, 90)
    points = np.column_stack([far * np.cos(angle), far * np.sin(angle)])
    start = np.array([0.3, -0.2, 20.2, 49.7])
    fit = fit_circles(points, group, start, np.full(4, 1e6), floor_mm=50.0)  # all weights are 1 to a millionth
    oracle = least_squares(lambda t: np.hypot(*(points - t[:2]).T) - t[2:][group], start, xtol=1e-14).x
    np.testing.assert_allclose([*fit.centre_mm, *fit.radii_mm], oracle, atol=1e-5)  # its steps end there


@pytest.mark.parametrize("missing", [0, 1])
def test_a_circle_without_points_stays_where_it_was(missing: int) -> None:
    points, group = _points(np.random.default_rng(9), 0.02)
    start, loose = np.array([2.0, -1.0, 20.0, 50.0]), np.full(4, 5.0)
    fit = fit_circles(points[group != missing], group[group != missing], start, loose)
    assert fit.radii_mm[missing] == pytest.approx(start[2 + missing])
    assert fit.share[missing] == 0.0


def test_the_claimed_error_of_the_circles_is_met() -> None:
    rng = np.random.default_rng(6)
    scores = []
    for _ in range(60):
        points, group = _points(rng, 0.1)
        fit = fit_circles(points, group, np.array([2.0, -1.0, 20.0, 50.0]), np.full(4, 5.0))
        error = np.array([*fit.centre_mm, *fit.radii_mm]) - [2, -1, 20, 50]
        scores.append(error / np.sqrt(np.diag(fit.covariance)))
    spread = float(np.std(np.array(scores)))
    assert 0.7 < spread < 1.35


def test_a_tight_prior_holds_a_short_arc() -> None:
    angle = np.radians(np.linspace(-20, 20, 80))
    points = np.column_stack([50.3 * np.cos(angle), 50.3 * np.sin(angle)])
    start = np.array([0.0, 0.0, 50.0])
    fit = fit_circles(points, np.zeros(80, dtype=np.int64), start, np.array([5.0, 5.0, 1e-4]))
    assert fit.radii_mm[0] == pytest.approx(50.0, abs=1e-3)
    assert fit.centre_mm[0] == pytest.approx(0.3, abs=0.02)
