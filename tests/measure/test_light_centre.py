"""Middle of a line of light against Gaussian lines in closed form, on ground that is level, steep, dark or clipped."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from wearvision.measure.finders.light_centre import Middle, middles, usual_width

ROWS, COLUMNS = 120, 200
WIDTH = 2.3548


def drawn(
    true: NDArray[np.float64], sigma: float, *, peak: float = 60.0, ground: NDArray[np.floating] | float = 90.0,
    noise: float = 0.0, seed: int = 0,
) -> NDArray[np.float32]:  # fmt: skip
    """A Gaussian line with its middle at `true` (COLUMNS,)."""
    rows = np.arange(ROWS)[:, None]
    line = peak * np.exp(-0.5 * ((rows - true[None, :]) / sigma) ** 2)
    grain = np.random.default_rng(seed).normal(0, noise, (ROWS, COLUMNS)) if noise else 0.0
    return np.asarray(line + ground + grain, dtype=np.float32)


def told(values: NDArray[np.float32], true: NDArray[np.float64], sigma: float) -> Middle:
    """Middles with a start that is up to two samples off."""
    start = np.rint(true + 2 * np.sin(np.arange(COLUMNS))).astype(np.int64)
    return middles(values, start, np.arange(COLUMNS), WIDTH * sigma, 1)


@given(off=st.floats(-0.5, 0.5), sigma=st.floats(2.0, 8.0), steep=st.floats(-0.4, 0.4))
def test_a_gaussian_line_on_steep_ground_has_its_middle(off: float, sigma: float, steep: float) -> None:
    true = np.full(COLUMNS, 60.0 + off)
    values = drawn(true, sigma, ground=90 + steep * np.arange(ROWS)[:, None])
    assert np.abs(told(values, true, sigma).row - true).max() < 0.12


def test_a_bleached_core_leaves_the_middle_where_it_is() -> None:
    true = 60.0 + 0.3 * np.sin(np.arange(COLUMNS) / 30)
    full = drawn(true, 5.0, peak=200.0, ground=0.0)
    bleached = np.where(full > 120, 240 - full, full).astype(np.float32) + 80
    assert np.abs(told(bleached, true, 5.0).row - true).max() < 0.15
    clipped = np.minimum(full, 120) + np.float32(80)
    assert np.abs(told(clipped, true, 5.0).row - true).max() < 0.1


def test_a_sharp_dip_stays_as_deep() -> None:
    along = np.arange(COLUMNS)
    true = 55.0 + 12 * np.clip(1 - np.abs(along - 100) / 15, 0, None)
    row = told(drawn(true, 3.0), true, 3.0).row
    assert row.max() == pytest.approx(true.max(), abs=0.6)
    assert np.median(np.abs(row - true)) < 0.1


def test_scatter_grows_as_the_noise() -> None:
    """A line told from white noise scatters in proportion to it (weights of a centre of mass; derived)."""
    true = np.full(COLUMNS, 60.0)
    spreads = [told(drawn(true, 4.0, noise=n, seed=3), true, 4.0).row.std() for n in (0.5, 1.0, 2.0)]
    assert spreads[1] / spreads[0] == pytest.approx(2.0, rel=0.35)
    assert spreads[2] / spreads[1] == pytest.approx(2.0, rel=0.5)


def test_places_without_light_are_not_sure() -> None:
    true = np.full(COLUMNS, 60.0)
    values = drawn(true, 4.0, noise=2.0)
    values[:, 80:120] = 90 + np.random.default_rng(5).normal(0, 2, (ROWS, 40)).astype(np.float32)
    sure = told(values, true, 4.0).sure()
    assert sure[:78].all() and sure[122:].all()
    assert sure[83:117].mean() < 0.1


@pytest.mark.parametrize("sigma", [2.0, 4.0, 7.0])
def test_the_width_of_a_line_is_that_at_half_its_peak(sigma: float) -> None:
    true = np.full(COLUMNS, 60.0)
    got = usual_width(drawn(true, sigma, noise=1.0), np.ones((ROWS, COLUMNS), np.bool_), np.full(COLUMNS, 60),
                      np.arange(COLUMNS), 40)  # fmt: skip
    assert got == pytest.approx(WIDTH * sigma, abs=2.5)
