"""Lines near a guess: cells against what the words say, the line against brute force."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measure.evidence_kit import drawn
from wearvision.measure.evidence import Evidence
from wearvision.measure.plane import Array
from wearvision.measure.ribbon_line import best_line, both_lips


@pytest.mark.parametrize("width", [3.0, 5.6, 17.0])
def test_every_cell_speaks_as_the_words_say(width: float) -> None:
    found = drawn(1, 6, 80)
    told = both_lips(found, width, 10, 75)
    slack, near = max(1, round(0.06 * width)), max(3, round(0.5 * width))
    a, b = int(np.floor(width / 2 + 0.5)), int(np.ceil(width / 2 - 0.5))
    reach = a + near + 6
    for row in range(6):
        z, off = np.minimum(found.z[row, 10:75], 4.0), found.off[row, 10:75]
        for c in range(reach, 65 - reach):
            lips = [float(z[at - slack : at + slack + 1].max()) for at in (c - a, c + b)]
            left, right = off[c - a - 2 - near : c - a - 1], off[c + b + 2 : c + b + near + 3]
            usual = max((float(left.mean()) + float(right.mean())) / 2, 1.2)
            low, high = min(1 - a, b - 1), max(1 - a, b - 1)
            more = float(np.clip(off[c + low : c + high + 1].mean() - usual - 0.8, 0, 1))
            expected = min(lips) - 1.55 + 2 * more if z[c] > 0 else 0.0
            assert told[row, c] == pytest.approx(expected, abs=1e-4)


@settings(max_examples=20)
@given(seed=st.integers(0, 9999))
def test_no_line_near_the_guess_is_better(seed: int) -> None:
    rng = np.random.default_rng(seed)
    found, span = drawn(seed, 6, 80), np.arange(-2, 3)
    guess, width, reach = 40 + np.cumsum(rng.integers(-1, 2, 5)).astype(np.float64), 5.6, 2
    line, said = best_line(found, width, span, guess, reach)
    lips = both_lips(found, width, 0, 80)

    def worth(cells: Array) -> float:
        aside = np.abs(np.diff(cells)).sum() + 0.1 * abs(cells[0] - guess[0])
        return float(lips[span % 6, cells.astype(int)].sum() - aside)

    offs = [np.array(o) for o in product(range(-reach, reach + 1), repeat=5)]
    lines = [guess + off for off in offs if np.abs(np.diff(guess + off)).max() <= 1]
    assert worth(line) == pytest.approx(max(worth(one) for one in lines), abs=1e-4)
    assert said == pytest.approx(lips[span % 6, line.astype(int)], abs=1e-4)


def test_a_line_follows_a_groove_that_wanders_and_stays_in_the_strip() -> None:
    rows, columns, width = 60, 90, 8
    centre = np.rint(8 + 4 * np.sin(np.arange(rows) / 9)).astype(int)
    z, off = (np.full((rows, columns), v, dtype=np.float32) for v in (0.5, 1.0))
    for row, c in enumerate(centre):
        z[row, [c - width // 2, c + width // 2]] = 5.0
        off[row, c - width // 2 + 1 : c + width // 2] = 3.5
    found = Evidence(gray=z, plain=z, usual=np.ones(rows), z=z, off=off)
    line, said = best_line(found, float(width), np.arange(rows), np.full(rows, 8.0), 6)
    assert np.abs(line - centre).max() <= 1
    assert said.min() > 2
    edge, _ = best_line(found, float(width), np.arange(rows), np.full(rows, 1.0), 6)
    assert edge.min() >= 0
