"""How dark a groove is, against the same said with numpy."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.test_ridges import drawn_strip
from wearvision.measure.across import BESIDE, SECTOR, darkness, profiles
from wearvision.measure.edges import log_gray


@pytest.mark.parametrize("count", [5, SECTOR, 2 * SECTOR - 1, 100, 301])
def test_darkness_is_that_of_medians_over_sectors(count: int) -> None:
    strip = drawn_strip((40.0, 1.5, 0.0, 300.0))
    gray = log_gray(strip.values)
    rows = np.arange(20, 20 + count)
    inner = (39.2 - strip.start_mm) / strip.step_mm + 2 * np.sin(rows / 9)
    outer = inner + 1.6 / strip.step_mm
    across, beside = profiles(strip, gray, rows, inner, outer)
    runs = max(1, count // SECTOR)
    middle, sides = (
        np.median(part[: len(part) // runs * runs].reshape(runs, len(part) // runs, -1), axis=1)
        for part in (across, beside)
    )
    sides = sides.reshape(runs, 2, BESIDE)
    dark = middle.min(axis=1) - np.median(sides, axis=2).mean(axis=1)
    noise = np.hypot(*sides.std(axis=2).T)
    told = darkness(strip, gray, rows, inner, outer)
    assert told == pytest.approx((np.median(dark), np.mean(dark < -np.maximum(0.04, 2.5 * noise))))
