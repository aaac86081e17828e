"""The best run against brute force over all runs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from wearvision.measure.best_path import Room, best_path
from wearvision.measure.edges import Grid

STEPS: dict[tuple[int, int], float] = {(0, 0): 0.0, (0, -1): 1.0, (0, 1): 1.0, (-1, 0): 4.0, (1, 0): 4.0}


def runs(gain: Grid, row: int, width: int, place: int) -> Iterator[float]:
    """Scores of all runs that begin at a state."""
    if not (0 <= width < gain.shape[1] and 0 <= place < gain.shape[2]):
        return
    here = float(gain[row, width, place])
    yield here
    if row + 1 < len(gain):
        for (dw, dc), cost in STEPS.items():
            yield from (here - cost + rest for rest in runs(gain, row + 1, width + dw, place + dc))


@settings(max_examples=25)
@given(seed=st.integers(0, 9999), first=st.integers(0, 4))
def test_no_run_is_better_and_the_path_is_worth_what_it_is_said_to_be(seed: int, first: int) -> None:
    gain = np.random.default_rng(seed).normal(0, 3, (5, 2, 3)).astype(np.float32)
    path, score = best_path(gain, first, Room.of(gain))
    turned = np.roll(gain, -first, axis=0)
    best = max(s for row, width, place in np.ndindex(gain.shape) for s in runs(turned, row, width, place))
    assert np.isclose(score, best, atol=1e-4)
    row, width, place = path.T
    assert (np.diff(row) == 1).all()
    cost = sum(STEPS[int(dw), int(dc)] for dw, dc in zip(np.diff(width), np.diff(place), strict=True))
    assert np.isclose(turned[row, width, place].sum() - cost, score, atol=1e-4)


def test_a_run_begins_and_ends_where_something_speaks_for_it() -> None:
    gain = np.full((14, 3, 6), -1.0, dtype=np.float32)
    gain[3:9, 1, 2] = 2.0
    path, score = best_path(gain, 0, Room.of(gain))
    assert path.tolist() == [[row, 1, 2] for row in range(3, 9)]
    assert score == 12.0


def test_the_room_can_be_used_again() -> None:
    gain = np.random.default_rng(1).normal(0, 2, (20, 4, 30)).astype(np.float32)
    room = Room.of(gain)
    best_path(gain + np.float32(1.0), 0, room)
    for first in (0, 7):
        again, fresh = best_path(gain, first, room), best_path(gain, first, Room.of(gain))
        assert np.array_equal(again[0], fresh[0])
        assert again[1] == fresh[1]


@settings(max_examples=25)
@given(seed=st.integers(0, 9999), first=st.integers(0, 19), since=st.integers(0, 19))
def test_rows_before_a_change_need_not_be_looked_at_again(seed: int, first: int, since: int) -> None:
    gain = np.random.default_rng(seed).normal(0, 2, (20, 4, 12)).astype(np.float32)
    room = Room.of(gain)
    best_path(gain, first, room)
    gain[(first + since) % 20, :, 3:9] = -4.0
    again, fresh = best_path(gain, first, room, since), best_path(gain, first, Room.of(gain))
    assert np.array_equal(again[0], fresh[0])
    assert again[1] == fresh[1]
