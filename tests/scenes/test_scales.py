"""Lengths come out as well as promised, and their intervals cover as often as they say, by scale mode."""

from __future__ import annotations

from dataclasses import replace

import pytest

from wearvision.scenes.scales import COVER, MODES, WIDE, Score, score_mode

SEED = 12
PHOTOS = {"one card": 480, "four cards": 160, "one card, bent lens": 480, "crate, bent lens": 240}
WORST_PERCENT = {"one card": 0.50, "four cards": 0.20, "one card, bent lens": 0.50, "crate, bent lens": 0.35}
"""95th percentile of the error, height and print as uncertain as they are held to be."""


@pytest.fixture(scope="module", params=MODES)
def score(request: pytest.FixtureRequest) -> Score:
    return score_mode(request.param, SEED, PHOTOS[request.param])


def test_intervals_cover_and_are_not_needlessly_wide(score: Score) -> None:
    assert COVER[0] <= score.covered <= COVER[1]
    assert score.wide <= WIDE
    assert score.honest


def test_errors_stay_within_what_the_mode_promises(score: Score) -> None:
    assert score.percentile(0.95) <= WORST_PERCENT[score.mode]


def test_no_error_lies_below_the_bound_and_few_are_wasted(score: Score) -> None:
    """The estimate is nearly as good as corners and priors allow: what misses a goal by less is no fault of it."""
    assert score.rms_bound * 0.85 < score.rms < 1.3 * score.rms_bound


def test_the_routine_fails_what_is_too_narrow_or_too_wide() -> None:
    whole = score_mode("one card", SEED, 40)
    assert not replace(whole, u95=whole.u95 / 3).honest
    assert not replace(whole, u95=whole.u95 * 3).honest
