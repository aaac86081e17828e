"""Scores of pairs of lips, cell by cell against what the words say."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.evidence_kit import drawn
from wearvision.measure.edges import Grid
from wearvision.measure.lip_pairs import MOST, NOWHERE, UNSEEN, lip_pairs

CELL_PX, CELL_MM = 1.4, 0.2
WIDTHS = np.array([3.0, 4.4, 9.0, 14.6, 30.0])


def said(z: Grid, off: Grid, c: int, width: float) -> float:
    """The score of one cell of a row, far from the border, in plain words."""
    slack = max(1, round(0.08 * width))
    near = max(1, round(max(4.0 / CELL_PX, 0.3 * width)))
    a, b = int(np.floor(width / 2 + 0.5)), int(np.ceil(width / 2 - 0.5))
    crest = np.minimum(z, 5.0) - 2.0
    inner, outer = (float(crest[at - slack : at + slack + 1].max()) for at in (c - a, c + b))
    left = slice(c - a - slack - near, c - a - slack + 1)
    right = slice(c + b + slack, c + b + slack + near + 1)
    inside = min(float(off[c - a + 1 : c + b].mean()), 3.0) - 1.6
    beside = max(float(off[left].mean()), float(off[right].mean())) - 1.6
    edges = np.concatenate([[0.0], np.cumsum(np.maximum(crest, 0))])
    between = edges[c + b - slack] - edges[c + slack + 1 - a]
    outside = edges[left.stop - 1] - edges[left.start] + edges[right.stop] - edges[right.start + 1]
    lips = min(inner, outer) + (inner + outer) / 2
    score = lips + (1.0 + width * CELL_MM) * inside - 3.0 * max(beside, 0.0) + 0.15 * between - 0.4 * outside
    return float(min(score, MOST))


def test_every_cell_is_scored_as_the_words_say() -> None:
    found = drawn(1, 5, 120)
    scores = lip_pairs(found, WIDTHS, CELL_PX, CELL_MM)
    assert scores.shape == (5, len(WIDTHS), 120)
    for k, width in enumerate(WIDTHS):
        reach = int(width) + 8
        for row in range(5):
            for c in range(reach, 120 - reach):
                told = said(found.z[row], found.off[row], c, width) if found.z[row, c] > 0 else UNSEEN
                assert scores[row, k, c] == pytest.approx(told, abs=1e-4)


def test_no_ribbon_crosses_the_border_and_beside_it_the_lips_alone_speak() -> None:
    found = drawn(2, 5, 120)
    scores = lip_pairs(found, WIDTHS, CELL_PX, CELL_MM)
    lips = np.minimum(found.z, 5.0) - 2.0
    for k, width in enumerate(WIDTHS):
        half = round(width / 2)
        seen = found.z[:, [0, -1]] > 0
        assert np.all(scores[:, k, [0, -1]][seen] == NOWHERE)
        assert np.all(scores[:, k, : half - 1][found.z[:, : half - 1] > 0] == NOWHERE)
    first = 3  # the innermost place of a ribbon three cells wide
    inner, outer = (lips[:, at - 1 : at + 2].max(axis=1) for at in (first - 2, first + 1))
    alone = np.where(found.z[:, first] > 0, np.minimum(inner, outer) + (inner + outer) / 2, UNSEEN)
    assert scores[:, 0, first] == pytest.approx(alone, abs=1e-5)


def test_a_strip_narrower_than_a_ribbon_holds_none() -> None:
    scores = lip_pairs(drawn(3, 5, 12), np.array([14.6]), CELL_PX, CELL_MM)
    assert np.isin(scores, [NOWHERE, UNSEEN]).all()
