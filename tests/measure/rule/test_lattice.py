"""Numbering of marks along a row, and the rough period before it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearvision.measure.rule.lattice import Chain, find_chain, fit_law, grow, longest_chain, peaks_of
from wearvision.measure.rule.pitch import Pitch, rough_pitch


def seen(n: np.ndarray, period_px: float, lean: float) -> np.ndarray:
    """Marks of an even scale on a line that leans away: the projective map t = p n / (1 + lean n)."""
    return period_px * n / (1 + lean * n)


@given(st.floats(4, 40), st.floats(-0.002, 0.002), st.integers(30, 150))
@settings(max_examples=40)
def test_the_law_of_a_line_in_perspective_is_exact(period_px: float, lean: float, count: int) -> None:
    n = np.arange(count) - count // 2
    t = seen(n, period_px, lean)
    law, scatter = fit_law(n, t)
    assert scatter < 1e-3
    lattice = grow(Chain(n=n, t_px=t, peaks=(t, np.ones(count)), worth=1.0))
    assert lattice is not None
    np.testing.assert_allclose(lattice.number(t), n, atol=5e-3)
    middle = float(t[count // 2])
    slope = (seen(np.array([1e-4]), period_px, lean) - seen(np.array([-1e-4]), period_px, lean))[0] / 2e-4
    assert float(lattice.period_px(middle)) == pytest.approx(slope, rel=2e-3)
    assert len(law) == 8


def test_four_marks_keep_their_cross_ratio() -> None:
    """The cross ratio of four points is what projection keeps (Hartley and Zisserman 2003, 2.5)."""
    n = np.arange(-40, 41)
    lattice = grow(Chain(n=n, t_px=seen(n, 12.0, 0.003), peaks=(seen(n, 12.0, 0.003), np.ones(81)), worth=1.0))
    assert lattice is not None
    a, b, c, d = lattice.place(np.array([-30.0, -10.0, 5.0, 35.0]))
    ratio = (a - c) * (b - d) / ((b - c) * (a - d))
    assert ratio == pytest.approx((-30 - 5) * (-10 - 35) / ((-10 - 5) * (-30 - 35)), rel=1e-4)


def test_a_chain_steps_over_marks_that_are_missing() -> None:
    place = np.delete(np.arange(60) * 9.0, [7, 8, 20, 33])
    n, chain = longest_chain(place, np.full(len(place), 9.0))
    assert len(chain) == 56 and n[-1] == 59
    np.testing.assert_array_equal(place[chain], 9.0 * n)


def test_marks_beyond_the_end_of_a_rule_are_not_made_up() -> None:
    rng = np.random.default_rng(3)
    n = np.arange(50)
    marks, chance = 10.0 * n, np.sort(rng.uniform(500, 900, 30))
    place = np.concatenate([marks, chance])
    strength = np.concatenate([np.full(50, 20.0), rng.uniform(3, 30, 30)])
    lattice = grow(Chain(n=n, t_px=marks, peaks=(place, strength), worth=1.0))
    assert lattice is not None and lattice.n[-1] <= 53


def test_sub_pixel_places_of_dark_lines() -> None:
    t = np.arange(400.0)
    true = np.arange(15, 390, 9.37)
    profile = 200 - 90 * np.exp(-0.5 * ((t[:, None] - true) / 1.1) ** 2).sum(axis=1)
    place, strength = peaks_of(profile.astype(np.float32), t, 1.0)
    off = (place[strength > 0.5 * strength.max()] - true)[1:-1]
    assert np.sqrt(np.mean(off**2)) < 0.025 and np.abs(off).max() < 0.04  # a parabola leans towards whole pixels


@pytest.mark.parametrize("period_px", [4.3, 7.7, 19.0, 61.0])
@pytest.mark.parametrize("lean", [0.0, 0.12])
def test_rough_period_under_noise_and_in_perspective(period_px: float, lean: float) -> None:
    """A row whose scale changes by 1.6 to 1 from end to end, as at 35 degrees of tilt seen from close by."""
    t = np.arange(2000.0)
    far = (t - 1000) / 1000
    turns = 1000 / period_px * far / (1 - lean * far)
    turns -= turns[0]
    dark = np.exp(-0.5 * ((np.mod(turns + 0.5, 1) - 0.5) * period_px / 1.3) ** 2)
    noise = np.random.default_rng(5).normal(0, 4, 2000)
    row = (180 - 60 * dark + noise).astype(np.float32).reshape(1, -1)
    pitch = rough_pitch(row, np.ones(row.shape, dtype=bool), t)[0]
    chain = find_chain(row[0], t, pitch)
    assert chain is not None
    lattice = grow(chain)
    assert lattice is not None
    assert float(lattice.period_px(1000.0)) == pytest.approx(period_px, rel=0.01)
    assert len(lattice.n) > 0.9 * turns[-1]


def test_noise_has_no_lattice() -> None:
    t = np.arange(1500.0)
    for seed in range(6):
        row = np.random.default_rng(seed).normal(120, 20, 1500).astype(np.float32)
        chain = find_chain(row, t, Pitch(period_px=9.0, slope=0.0, clear=0.1))
        assert chain is None or (lattice := grow(chain)) is None or lattice.scatter > 0.03
