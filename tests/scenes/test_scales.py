"""Lengths come out as well as promised, and their intervals cover as often as they say, by scale mode."""

from __future__ import annotations

import pytest

from wearvision.scenes.scales import COVER, MODES, WIDE, Score, score_mode

SEED, PHOTOS = 12, 160
WORST_PERCENT = {"one card": 0.50, "four cards": 0.20, "one card, bent lens": 0.50, "crate, bent lens": 0.35}
"""95th percentile of the error, height and print as uncertain as they are held to be."""


@pytest.fixture(scope="module", params=MODES)
def score(request: pytest.FixtureRequest) -> Score:
    return score_mode(request.param, SEED, PHOTOS)


def test_intervals_cover_and_are_not_needlessly_wide(score: Score) -> None:
    assert COVER[0] <= score.covered <= COVER[1]
    assert score.wide <= WIDE
    assert score.honest


def test_errors_stay_within_what_the_mode_promises(score: Score) -> None:
    assert score.percentile(0.95) <= WORST_PERCENT[score.mode]


def test_the_routine_fails_what_is_too_narrow_or_too_wide() -> None:
    whole = score_mode("one card", SEED, 40)
    assert not Score(mode="x", error=whole.error, u95=whole.u95 / 3).honest
    assert not Score(mode="x", error=whole.error, u95=whole.u95 * 3).honest
