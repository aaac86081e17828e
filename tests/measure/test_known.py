"""Which scale is used when, and what is said of it."""

from __future__ import annotations

import json

import numpy as np
import pytest

from tests.frames_kit import truths
from wearvision.app.measuring import measure_photo
from wearvision.errors import BadInput
from wearvision.measure.plane import Plane
from wearvision.measure.survey import survey
from wearvision.quantity import Measured, Unmeasured
from wearvision.stated import Stated

BLANK = np.full((600, 800), 120, dtype=np.uint8)
POINTS = (100.0, 100.0, 700.0, 400.0, 60.0)


def test_two_points_are_the_scale_where_nothing_better_is() -> None:
    seen = survey(BLANK, Stated(view="wear-face", two_points=POINTS))
    assert isinstance(seen.plane, Plane) and seen.plane.source == "two-points"
    assert isinstance(seen.mm_per_px, Measured)
    assert seen.mm_per_px.value == pytest.approx(60.0 / np.hypot(600, 300), rel=1e-3)
    assert {"edge", "distance", "tilt"} <= set(seen.mm_per_px.budget)
    assert any(what == "tilt" for what, _ in seen.not_assessed)


def test_a_diameter_that_is_not_seen_says_why_and_gives_no_scale() -> None:
    seen = survey(BLANK, Stated(view="wear-face", known_diameter_mm=100.0))
    assert isinstance(seen.plane, Unmeasured) and "circle" in seen.plane.reason


def test_a_card_goes_before_two_points_unless_these_are_asked_for() -> None:
    photo = next(iter(truths()))
    plain = measure_photo(photo, Stated(view="wear-face", two_points=POINTS)).public
    asked = measure_photo(photo, Stated(view="wear-face", two_points=POINTS, scale_from="two-points")).public
    assert plain["scale"]["source"] == "card" and plain["scale"]["flags"] == []
    assert asked["scale"]["source"] == "two-points" and asked["scale"]["flags"] == ["no-tilt-correction"]
    assert json.dumps(asked)


@pytest.mark.parametrize(
    "facts",
    [
        {"two_points": (0.0, 0.0, 1.0)}, {"two_points": (0.0, 0.0, 10.0, 10.0, 0.0)}, {"known_diameter_mm": 1.0},
        {"known_circle": "hub"}, {"scale_from": "guess"},
    ],
)  # fmt: skip
def test_facts_that_cannot_be_are_refused(facts: dict[str, object]) -> None:
    with pytest.raises(BadInput):
        Stated(**facts)  # type: ignore[arg-type]  # wrong on purpose
