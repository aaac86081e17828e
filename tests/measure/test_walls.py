"""Two lines with the same ends are one groove, others stay two: drawn strips."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.test_ridges import drawn_strip
from wearvision.measure.evidence import evidence
from wearvision.measure.lips import Track, follow
from wearvision.measure.ridges import find_ribbons
from wearvision.measure.unwrap import Strip
from wearvision.measure.walls import between, walls

WIDE_MM = 0.4


def lines(*marks: tuple[float, int, int]) -> tuple[Strip, list[Track]]:
    """Dark lines of (radius, first row, rows), and their tracks by radius."""
    strip = drawn_strip(*((at, WIDE_MM, first, rows) for at, first, rows in marks), rust=0)
    found = evidence(strip)
    tracks = [follow(strip, found, r, blur_px=0.8) for r in find_ribbons(strip, found, max_width_mm=6.0, least=40.0)]
    return strip, sorted((t for t in tracks if t is not None), key=lambda t: float(t.inner_mm[0]))


@pytest.mark.parametrize("first", [100, 600])
def test_two_walls_make_one_mark(first: int) -> None:
    strip, tracks = lines((44.0, first, 240), (47.0, first + 4, 240))
    [(low, high)] = walls(tracks, 6.0)
    whole = follow(strip, evidence(strip), between(low, high, strip), blur_px=0.8)
    assert whole is not None
    assert float(np.median(whole.outer_mm - whole.inner_mm)) == pytest.approx(3.0 + WIDE_MM, abs=0.25)
    assert whole.deg[-1] - whole.deg[0] == pytest.approx(122, abs=6)


@pytest.mark.parametrize(
    ("marks", "why"),
    [
        (((44.0, 100, 240), (47.0, 160, 240)), "other ends"),
        (((40.0, 100, 240), (47.0, 100, 240)), "too far apart"),
        (((44.0, 0, 720), (47.0, 0, 720)), "circles, as tools leave"),
    ],
)
def test_others_stay_two(marks: tuple[tuple[float, int, int], ...], why: str) -> None:
    _, tracks = lines(*marks)
    assert len(tracks) >= 2, why
    assert walls(tracks, 6.0) == [], why


def test_wide_marks_are_no_walls() -> None:
    strip = drawn_strip((43.0, 1.2, 100, 240), (47.0, 1.2, 100, 240), rust=0)
    found = evidence(strip)
    tracks = [follow(strip, found, r, blur_px=0.8) for r in find_ribbons(strip, found, max_width_mm=6.0, least=40.0)]
    assert walls([t for t in tracks if t is not None], 6.0) == []
