"""Coaching: what it asks for is what resolves the limit, by the budget and not by fixed numbers."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measure.face_kit import SIZE_PX, drawn_plane
from wearvision.measure.coach import EDGE_PX, GUARD, SHARE, coach, reach_of
from wearvision.measure.plane import N, Plane

MIDDLE = (np.array(SIZE_PX, dtype=float) - 1) / 2


def _plane(mm_per_px: float, tilt_deg: float = 0.0, lens: str = "exif", scale_sd: float = 0.0) -> Plane:
    spread = np.zeros((N, N))
    spread[10, 10] = scale_sd**2
    plane = drawn_plane(tilt_deg=tilt_deg, mm_per_px=mm_per_px, known=True)
    return replace(plane, lens_source=lens, sources={"print": spread})


def test_a_frontal_photo_with_a_sure_scale_needs_the_closed_form() -> None:
    """Two edges of 0.2 px: 1.645 sqrt(2) 0.2 s = 0.15 L, so s = 0.3224 L (arithmetic)."""
    reach = reach_of(_plane(0.1), MIDDLE, 1.0)
    assert reach.mm_per_px == pytest.approx(0.1, rel=1e-6)
    assert reach.mm_per_px_most == pytest.approx(SHARE / (GUARD * math.sqrt(2) * EDGE_PX), rel=1e-6)


@given(st.floats(0.3, 3.0), st.floats(0.02, 0.6))
@settings(max_examples=30)
def test_a_photo_passes_exactly_when_the_budget_does(limit: float, scale: float) -> None:
    plane = _plane(scale)
    u = math.sqrt(2) * EDGE_PX * scale
    assert (coach(plane, MIDDLE, limit) is None) == (GUARD * u <= SHARE * limit)


def test_the_number_asked_for_is_then_enough() -> None:
    told = coach(_plane(0.31), MIDDLE, 0.4)
    assert told is not None and told.code == "too-far"
    assert "0.31 mm per pixel" in told.say and "a limit of 0.4 mm needs 0.13" in told.say
    assert coach(_plane(told.numbers["mm_per_px_most"] * 0.999), MIDDLE, 0.4) is None


def test_the_distance_comes_from_the_focal_length_or_is_left_out() -> None:
    known = coach(_plane(0.31), MIDDLE, 0.8)
    unknown = coach(_plane(0.31, lens="none"), MIDDLE, 0.8)
    assert known is not None and unknown is not None
    assert "stand about 6 cm closer" in known.say  # 307 mm away, 255 wanted
    assert "cm" not in unknown.say and "1.2 times closer" in unknown.say


def test_a_tilt_that_costs_the_limit_is_said_with_its_number() -> None:
    plane = _plane(0.23, tilt_deg=34.0)
    told = coach(plane, MIDDLE, 0.8)
    assert told is not None and told.code == "tilt"
    allowed = math.floor(told.numbers["tilt_most_deg"])
    assert f"allows {allowed}" in told.say
    assert coach(_plane(0.23, tilt_deg=allowed - 1.0), MIDDLE, 0.8) is None


def test_an_unsure_scale_asks_for_a_nearer_photo_and_then_for_a_card() -> None:
    assert coach(_plane(0.15), MIDDLE, 0.8) is None
    sure, unsure = (reach_of(_plane(0.15, scale_sd=sd), MIDDLE, 0.8).mm_per_px_most for sd in (0.0, 0.05))
    assert unsure < sure
    told = coach(_plane(0.15, scale_sd=0.1), MIDDLE, 0.8)
    assert told is not None and told.code == "scale" and "card" in told.say


def test_nearer_than_a_phone_focuses_asks_for_the_longer_lens() -> None:
    told = coach(_plane(0.2), MIDDLE, 0.1)
    assert told is not None and "longer lens" in told.say
