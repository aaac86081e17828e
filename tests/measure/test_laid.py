"""A strip laid straight and held against the face beside: against the same said with numpy."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some
from hypothesis.extra.numpy import arrays

from tests.measure.test_sectors import ROWS, strip_of
from wearvision.measure.evidence import evidence
from wearvision.measure.laid import (
    BINS,
    LEAST_NOISE,
    SECTOR_ROWS,
    Sectors,
    _middle,
    beside,
    grey_squares,
    lay,
    seen_mean,
    slope_squares,
)
from wearvision.measure.plane import Array

REACH, CAP = 60, 25.0
BOX = (50.0, 70.0)


def drawn(hidden: slice) -> Sectors:
    """A face laid straight along a slanting line; some columns are hidden."""
    strip = strip_of(())
    strip.valid[:, hidden] = False
    return lay(evidence(strip), strip, np.arange(300, 300 + ROWS), np.linspace(170.0, 185.0, ROWS), REACH)


def test_sectors_are_means_of_what_is_seen() -> None:
    strip = strip_of(())
    strip.valid[2:7, 170] = False
    found = evidence(strip)
    laid = lay(found, strip, np.arange(ROWS), np.full(ROWS, 170.0), REACH)
    whole = ROWS // SECTOR_ROWS * SECTOR_ROWS
    part = found.gray[:whole, 170 - REACH : 171 + REACH].astype(float).reshape(-1, SECTOR_ROWS, 2 * REACH + 1)
    rest = np.delete(part[0, :, REACH], range(2, 7))
    assert laid.gray[1:] == pytest.approx(part[1:].mean(axis=1), abs=1e-5)
    assert laid.gray[0, REACH] == pytest.approx(rest.mean(), abs=1e-5)
    assert laid.seen.all()


def test_beyond_the_strip_nothing_is_seen() -> None:
    strip = strip_of(())
    laid = lay(evidence(strip), strip, np.arange(ROWS), np.full(ROWS, 20.0), REACH)
    assert not laid.seen[:, : REACH - 20].any()
    assert laid.seen[:, REACH - 20 :].all()
    for away in (-100.0, 600.0):
        assert not lay(evidence(strip), strip, np.arange(ROWS), np.full(ROWS, away), REACH).seen.any()


@pytest.mark.parametrize("hidden", [slice(0, 0), slice(120, 140), slice(190, 260)])
def test_squares_are_those_of_numpy(hidden: slice) -> None:
    laid, sides = drawn(hidden), beside(strip_of(()), BOX, 2 * REACH + 1)
    gray = np.where(laid.seen, laid.gray, np.nan).astype(float)
    parts = [gray[:, sides[0] : sides[1]], gray[:, sides[2] : sides[3]]]
    with warnings.catch_warnings(action="ignore", category=RuntimeWarning):  # a side of which nothing is seen
        level = np.array([np.where(np.isfinite(p).sum(axis=1) >= 4, np.nanmedian(p, axis=1), np.nan) for p in parts])
    far = np.abs(np.hstack([p - v[:, None] for p, v in zip(parts, level, strict=True)]))
    spread = 1.4826 * np.nanmedian(far, axis=1)
    noise = np.maximum(spread, max(0.5 * np.median(spread), LEAST_NOISE))
    left, right = np.where(np.isnan(level), level[::-1], level)
    share = np.clip((np.arange(2 * REACH + 1) - BOX[0]) / (BOX[1] - BOX[0]), 0, 1)
    off = gray - (left[:, None] * (1 - share) + right[:, None] * share)
    expected = np.minimum((off / noise[:, None]) ** 2, CAP)
    assert grey_squares(laid, sides, BOX, CAP) == pytest.approx(expected, abs=1e-9, nan_ok=True)
    assert np.array_equal(np.isnan(slope_squares(laid, sides, CAP)), ~laid.seen)


def test_a_sector_of_which_no_side_is_seen_says_nothing() -> None:
    laid = drawn(slice(0, 0))
    blind = replace(laid, seen=laid.seen & (np.abs(np.arange(2 * REACH + 1) - REACH) < 8)[None, :])
    sides = beside(strip_of(()), BOX, 2 * REACH + 1)
    assert np.isnan(grey_squares(blind, sides, BOX, CAP)).all()
    assert np.all(seen_mean(grey_squares(blind, sides, BOX, CAP)) == 0)


@given(arrays(np.float64, some.integers(1, 80), elements=some.floats(-5, 400, width=16)))
def test_the_middle_of_values_dealt_out_into_bins_is_their_median(values: Array) -> None:
    room = np.empty(BINS + 1, dtype=np.int64), np.empty(len(values), dtype=np.int64)
    assert _middle(values.copy(), *room) == np.median(values)
