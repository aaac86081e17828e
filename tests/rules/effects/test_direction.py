from __future__ import annotations

import pytest

from wearvision.rules.effects.direction import sealing_directions
from wearvision.rules.effects.span import Span


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (Span(100, 150), "shorter"), (Span(0, 5), "shorter"), (Span(-9, -2), "longer"), (Span(-1, 1), "either way"),
        (Span(0, 0), "unchanged"), (None, "not told"),
    ],
)  # fmt: skip
def test_direction_follows_the_box_pressure(change: Span | None, word: str) -> None:
    seal, packing = sealing_directions(change)
    assert seal.word == packing.word == word


def test_a_direction_carries_no_number() -> None:
    for change in (Span(1, 2), Span(-2, -1), Span(-1, 1), Span(0, 0), None):
        for d in sealing_directions(change):
            assert not any(c.isdigit() for value in d.to_json().values() for c in str(value))
