"""Do lengths come out as well as promised, and do their intervals cover, by what the scale came from?

One routine for all kinds of scale. Nothing is a picture: what the finders read of one (corners, marks, edges) is drawn
through a known camera, with the errors that are held possible, and the same solvers make a plane of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import partial

import numpy as np

from wearvision.scenes.coverage import WIDE, Row, Score
from wearvision.scenes.scale_cards import cards, crates, cut_cards
from wearvision.scenes.scale_circles import circles
from wearvision.scenes.scale_points import points
from wearvision.scenes.scale_rule import rules

Draw = Callable[[np.random.Generator, int, int, float], Iterator[list[Row]]]
"""So many photos with so many lengths each, heights off by that share of what is held possible: the lengths of one
photo after the other, none where there was no answer."""
MODES: dict[str, Draw] = {
    "one card": partial(cards, count=1, k1_most=0.0),
    "four cards": partial(cards, count=4, k1_most=0.0),
    "one card, bent lens": partial(cards, count=1, k1_most=0.05),
    "crate, bent lens": partial(crates, k1_most=0.05),
    "card cut off": partial(cut_cards, k1_most=0.02),
    "rule": rules,
    "two circles": partial(circles, alone=False),
    "one circle": partial(circles, alone=True),
    "two points": points,
}
TWO_VALUED = {"one circle"}
"""Of two tilts that look alike one is told and the other held by the interval: half of the errors are next to none,
half nearly as large as the interval, and the middle one says nothing of its width."""


def score_mode(mode: str, seed: int, photos: int, lengths: int = 2, loose: float = 1.0) -> Score:
    """Draw photos and measure lengths under one of `MODES`."""
    rng = np.random.default_rng([seed, list(MODES).index(mode)])
    told = [rows for rows in MODES[mode](rng, photos, lengths, loose) if rows]
    error, u95, bound = np.array([row for rows in told for row in rows]).T
    most = math.inf if mode in TWO_VALUED else WIDE
    return Score(mode=mode, error=error, u95=u95, bound=bound, photos=len(told), asked=photos, wide_most=most)
