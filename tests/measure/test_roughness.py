"""How rough a picture looks, against scikit-image's filters."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.filters import gaussian

from wearvision.measure.roughness import LEAST_STRAY, MOST_STRAY, roughness, strays

NEAR, OVER = (1.6, 0.8), (1.2, 2.0)
"""Across, down."""


def test_strays_are_those_of_two_gaussian_filters() -> None:
    tone = np.random.default_rng(1).normal(4.0, 0.2, size=(60, 80)).astype(np.float32)
    off = np.abs(tone - gaussian(tone, NEAR[::-1], mode="mirror"))
    for most in (np.inf, 0.1):
        mean = gaussian(np.minimum(off, most), OVER[::-1], mode="mirror")
        assert np.abs(strays(tone, NEAR, OVER, most) - mean)[8:-8, 8:-8].max() < 2e-3


@pytest.mark.parametrize(("size", "seen"), [(0.0, 0.0), (0.05, 0.05), (1.0, MOST_STRAY)])
def test_of_a_fine_chequerboard_all_of_it_strays_up_to_the_most_that_counts(size: float, seen: float) -> None:
    tone = np.where(np.indices((40, 40)).sum(axis=0) % 2, size, -size).astype(np.float32) + np.float32(4.0)
    assert roughness(tone, (2.0, 2.0), OVER)[20, 20] == pytest.approx(np.log1p(seen / LEAST_STRAY), abs=0.01)
