"""Which marks are grooves: tracks made by hand, one sign changed at a time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.test_walls import wall
from wearvision.measure.finders.worn import apart, is_groove, is_whole, lies_on
from wearvision.measure.lips import Track

PX_MM = 0.12


def mark(width_mm: float, arc_deg: float, *, dense: float = 6.0, clear: float = 0.8, dark: float = -0.3) -> Track:
    """A mark at 40 mm with a score per row of the search; a row of the search is three of the strip."""
    track = wall(40.0, 20.0, arc_deg)
    return replace(
        track, outer_mm=track.inner_mm + width_mm, clear=clear, dark=dark, score=dense * len(track.deg) / 3,
        strength=np.ones(len(track.deg)),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("track", "groove"),
    [
        (mark(1.0, 60), True),
        (mark(0.4, 60), False),  # a scratch
        (mark(0.55, 90), True),
        (mark(0.55, 50), False),  # what is thin is long
        (mark(1.0, 60, dark=-0.05), False),
        (mark(1.0, 60, clear=0.4, dark=-0.2), False),
        (mark(1.0, 60, dense=0.5), True),
        (mark(2.0, 60, dense=0.5, clear=0.65), False),  # what is wide shows more
        (mark(2.0, 60, dense=0.5, clear=0.95), True),  # its lips say what its score does not
        (mark(2.0, 60, dense=0.5, clear=0.75), True),  # dark all along
        (mark(2.0, 60, dense=0.5, clear=0.75, dark=-0.2), False),
        (mark(4.5, 30), False),  # stout, as rust is
        (mark(4.5, 30, clear=0.95), True),  # rust has no such lips
        (mark(6.0, 30, clear=0.95), False),
    ],
)
def test_signs_of_a_groove(track: Track, groove: bool) -> None:
    assert is_groove(track, PX_MM) == groove


@pytest.mark.parametrize(
    ("track", "groove"),
    [
        (mark(2.0, 200, dense=0.4, clear=0.4), True),
        (mark(2.0, 200, dense=0.2, clear=0.4), False),
        (mark(2.0, 200, dense=0.4, clear=0.1), False),
        (mark(2.0, 200, dense=0.4, clear=0.4, dark=-0.05), True),
        (mark(2.0, 200, dense=0.4, clear=0.4, dark=-0.03), False),
    ],
)
def test_relief_needs_fewer_signs_but_not_none(track: Track, groove: bool) -> None:
    assert not is_groove(track, PX_MM)
    assert is_groove(track, PX_MM, relief=True) == groove


@pytest.mark.parametrize(
    ("track", "groove"),
    [
        (mark(2.0, 60, dense=0.5, clear=0.6), True),  # the score was that of one wall
        (mark(2.0, 60, dense=0.5, clear=0.4), False),
        (mark(2.0, 60, dense=0.5, clear=0.6, dark=-0.15), False),
        (replace(mark(2.0, 60, dense=0.5, clear=0.6), dark_share=0.7), False),
    ],
)
def test_a_stretched_wall_shows_both_lips_and_a_dark_inside(track: Track, groove: bool) -> None:
    assert not is_groove(track, PX_MM)
    assert is_whole(track, PX_MM) == groove


def test_of_two_on_each_other_the_longer_and_clearer_stays() -> None:
    long, short, other = mark(2.0, 200), mark(2.0, 40), wall(47.0, 20.0, 100)
    assert lies_on(short, long)
    assert not lies_on(other, long)
    beside = replace(long, inner_mm=long.outer_mm - 0.1, outer_mm=long.outer_mm + 2.0)
    assert lies_on(beside, long, 0.0)
    assert not lies_on(beside, long)
    assert apart([short, other, long]) == [long, other]
