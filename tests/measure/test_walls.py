"""Two lines with the same ends are one groove, others stay two: drawn strips."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.test_ridges import drawn_strip
from wearvision.measure.evidence import Evidence, evidence
from wearvision.measure.lips import Track, follow
from wearvision.measure.ridges import find_ribbons
from wearvision.measure.unwrap import Strip
from wearvision.measure.walls import between, walls

WIDE_MM = 0.4
PER_ROW = ("deg", "inner_mm", "outer_mm", "strength")


def lines(*marks: tuple[float, float, float]) -> tuple[Strip, Evidence, list[Track]]:
    """Dark lines of (radius, first degree, degrees), and their tracks by radius."""
    return followed(drawn_strip(*((at, WIDE_MM, first, arc) for at, first, arc in marks), rust=0))


def followed(strip: Strip) -> tuple[Strip, Evidence, list[Track]]:
    """A strip, its evidence, and the tracks of its marks by radius."""
    found = evidence(strip)
    tracks = [follow(strip, found, r, blur_px=0.8) for r in find_ribbons(strip, found, max_width_mm=6.0, least=40.0)]
    return strip, found, sorted((t for t in tracks if t is not None), key=lambda t: float(t.inner_mm[0]))


@pytest.mark.parametrize("first", [50, 300])
def test_two_walls_make_one_mark(first: int) -> None:
    strip, found, tracks = lines((44.0, first, 120), (47.0, first + 2, 120))
    [(low, high)] = walls(tracks, 6.0, strip, found.gray)
    whole = follow(strip, found, between(low, high, strip), blur_px=0.8)
    assert whole is not None
    assert float(np.median(whole.outer_mm - whole.inner_mm)) == pytest.approx(3.0 + WIDE_MM, abs=0.25)
    assert whole.deg[-1] - whole.deg[0] == pytest.approx(122, abs=6)


def wall(inner_mm: float, first_deg: float, arc_deg: float, score: float = 100.0) -> Track:
    """A dark line 0.4 mm wide, a row of the strip every two thirds of a degree."""
    deg = first_deg + np.arange(0.0, arc_deg + 0.1, 2 / 3)
    inner = np.full(len(deg), inner_mm)
    return Track(
        deg=deg, inner_mm=inner, outer_mm=inner + WIDE_MM, clear=0.8, end_u_deg=(0.5, 0.5), hidden_deg=0.0,
        doubt_mm=(0.1, 0.1), cut=(False, False), full=False, score=score, strength=np.ones(len(deg)), dark=-0.2,
        dark_share=1.0,
    )  # fmt: skip


def wide(inner_mm: float, first_deg: float, arc_deg: float) -> Track:
    """A mark too wide for a line."""
    track = wall(inner_mm, first_deg, arc_deg)
    return replace(track, outer_mm=track.inner_mm + 0.6)


@pytest.mark.parametrize(
    ("low", "high", "arc_deg"),
    [
        (wall(44.0, 50, 150), wall(46.0, 52, 60), 150),  # one wall fades sooner
        (wall(44.0, 50, 120), wall(44.8, 175, 120), 245),  # the dark wall changes sides
        (wall(44.0, 250, 110), wall(44.8, 5, 100), 215),  # the same over the seam
        (wall(44.0, 50, 100), wall(44.1, 230, 60), 240),  # two pieces of one groove
    ],
)
def test_walls_that_fade_or_take_turns_make_one_mark(low: Track, high: Track, arc_deg: float) -> None:
    strip = drawn_strip(rust=0)
    assert walls([high, low], 6.0, strip, evidence(strip).gray) == [(low, high)]
    whole = between(low, high, strip)
    assert len(whole.rows) * strip.step_deg == pytest.approx(arc_deg, abs=1)
    width = high.outer_mm[0] - low.inner_mm[0]
    assert np.allclose((whole.outer - whole.inner) * strip.step_mm, width)


@pytest.mark.parametrize(
    ("gap_mm", "clear", "pairs"),
    [
        (0.0, 0.6, 1),
        (0.2, 0.6, 1),
        (-0.3, 0.6, 1),
        (0.4, 0.6, 0),  # face between them
        (-0.6, 0.6, 0),  # mostly the same mark
        (0.0, 0.9, 0),  # both lips of either are seen
    ],
)
def test_two_unsure_marks_with_no_face_between_them_are_one(gap_mm: float, clear: float, pairs: int) -> None:
    low = replace(wall(44.0, 0, 300), outer_mm=wall(44.0, 0, 300).outer_mm + 0.6, clear=clear, score=3000.0)
    high = wall(45.0 + gap_mm, 100, 60)
    high = replace(high, outer_mm=high.outer_mm + 2.6, clear=clear, score=600.0)
    strip = drawn_strip(rust=0)
    assert len(walls([low, high], 6.0, strip, evidence(strip).gray)) == pairs


@pytest.mark.parametrize(
    ("low", "high", "why"),
    [
        (wall(44.0, 50, 150), wall(46.0, 100, 40), "no end in common"),
        (wall(44.0, 50, 120), wall(44.8, 250, 60), "a long gap between them"),
        (wall(44.0, 50, 120), wall(44.8, 90, 180), "side by side too long"),
        (wall(44.0, 50, 120), wall(47.0, 175, 120), "too far apart to take turns"),
        (wide(44.0, 50, 150), wall(46.0, 52, 60), "one shows both its lips"),
    ],
)
def test_neighbours_stay_two(low: Track, high: Track, why: str) -> None:
    strip = drawn_strip(rust=0)
    assert walls([low, high], 6.0, strip, evidence(strip).gray) == [], why


@pytest.mark.parametrize(
    ("high", "cut", "pairs"),
    [
        (wall(46.0, 175, 25), (True, False), 1),
        (wall(46.0, 175, 25), (False, False), 0),
        (wall(46.0, 90, 80), (True, True), 0),  # the view ends all four: that says nothing
    ],
)
def test_an_end_where_the_view_ends_may_be_common(high: Track, cut: tuple[bool, bool], pairs: int) -> None:
    """A card or the frame hides one wall sooner than the other."""
    strip = drawn_strip(rust=0)
    low, high = (replace(t, cut=cut) for t in (wall(44.0, 50, 150), high))
    assert len(walls([low, high], 6.0, strip, evidence(strip).gray)) == pairs


@pytest.mark.parametrize(("arc_deg", "wide_mm", "pairs"), [(150.0, 0.7, 1), (158.0, 0.7, 0), (150.0, 1.3, 0)])
def test_marks_of_their_own_with_exactly_the_same_ends_are_walls(arc_deg: float, wide_mm: float, pairs: int) -> None:
    strip = drawn_strip(rust=0)
    low, high = wall(44.0, 50, 150, score=1000.0), wall(46.5, 51, arc_deg, score=1000.0)
    marks = [replace(t, outer_mm=t.inner_mm + wide_mm) for t in (low, high)]
    assert len(walls(marks, 6.0, strip, evidence(strip).gray)) == pairs


@pytest.mark.parametrize(
    ("first", "dark", "pairs"),
    [
        (200, -0.3, 1),  # one wall dark on this side of the lamp, the other on that
        (60, -0.3, 0),  # two shadows thrown to one side
        (200, -0.05, 0),
    ],
)
def test_walls_that_are_dark_on_either_side_go_round(first: float, dark: float, pairs: int) -> None:
    low, high = (replace(wall(at, turn, 230), dark=dark) for at, turn in ((44.0, 20), (46.5, first)))
    strip = drawn_strip(rust=0)
    assert len(walls([low, high], 6.0, strip, evidence(strip).gray)) == pairs


@pytest.mark.parametrize(("first", "pairs"), [(200, 1), (40, 0)])
def test_circles_that_are_darkest_on_either_side_go_round(first: float, pairs: int) -> None:
    """Both are followed all the way; where each is dark says which side of the lamp it faces."""
    strip = drawn_strip((44.2, WIDE_MM, 20, 180), (46.7, WIDE_MM, first, 180), rust=0)
    low, high = (replace(wall(at, 0, 359), full=True) for at in (44.0, 46.5))
    assert len(walls([low, high], 6.0, strip, evidence(strip).gray)) == pairs


def test_a_narrow_mark_is_no_wall_together_with_a_wide_one() -> None:
    strip = drawn_strip(rust=0)
    low, high = wall(44.0, 50, 150), wall(46.0, 52, 60)
    assert len(walls([low, high], 6.0, strip, evidence(strip).gray)) == 1
    wide = replace(high, outer_mm=high.inner_mm + 1.5)
    assert walls([low, wide], 6.0, strip, evidence(strip).gray) == []


def test_of_two_pairs_the_clearer_is_taken() -> None:
    """Lines that begin and end together, before one that takes turns with one of them."""
    strip = drawn_strip(rust=0)
    low, high, other = wall(44.0, 50, 150), wall(46.0, 52, 150), wall(43.3, 205, 100)
    assert walls([other, low, high], 6.0, strip, evidence(strip).gray) == [(low, high)]


@pytest.mark.parametrize(("arc_deg", "pairs"), [(170, 1), (120, 0)])
def test_two_that_share_the_whole_circle_are_walls_whatever_each_looks_like(arc_deg: float, pairs: int) -> None:
    """A deep groove's dark wall changes sides with the lamp: here one wall, there the other."""
    low, high = (
        replace(wide(at, first, arc_deg), score=3000.0, dark=-0.6) for at, first in ((44.0, 5), (45.5, 185))
    )
    strip = drawn_strip(rust=0)
    assert len(walls([low, high], 6.0, strip, evidence(strip).gray)) == pairs


def test_a_groove_in_its_own_right_is_no_wall() -> None:
    strip = drawn_strip(rust=0)
    pair = wall(44.0, 50, 150), wall(46.0, 52, 60)
    wide = replace(pair[0], outer_mm=pair[0].inner_mm + 0.9, score=1000.0)
    assert walls([wide, pair[1]], 6.0, strip, evidence(strip).gray) == []


@pytest.mark.parametrize(
    ("marks", "why"),
    [
        (((44.0, 50, 120), (47.0, 80, 120)), "other ends"),
        (((40.0, 50, 120), (47.0, 50, 120)), "too far apart"),
        (((44.0, 0, 360), (47.0, 0, 360)), "circles, as tools leave"),
    ],
)
def test_others_stay_two(marks: tuple[tuple[float, float, float], ...], why: str) -> None:
    strip, found, tracks = lines(*marks)
    assert len(tracks) >= 2, why
    assert walls(tracks, 6.0, strip, found.gray) == [], why


@pytest.mark.parametrize(("share", "rows", "pairs"), [(1.0, 540, 1), (0.3, 540, 0), (1.0, 450, 1), (1.0, 360, 0)])
def test_circles_lit_the_opposite_way_are_walls_when_equally_strong(share: float, rows: int, pairs: int) -> None:
    """Two lines all the way round, or nearly so, one bright where the other is dark, as a lamp lights two walls."""
    strip = drawn_strip(rust=0)
    lamp = np.cos(np.radians(strip.deg(np.arange(len(strip.values), dtype=np.float64))))
    values = strip.values.copy()
    for radius, tone in ((44.0, 50.0), (46.5, -50.0 * share)):
        at = round((radius - strip.start_mm) / strip.step_mm)
        values[:, at - 2 : at + 3] += (tone * lamp)[:, None].astype(np.float32)
    strip, found, tracks = followed(replace(strip, values=values))
    assert [t.full for t in tracks] == [True, True]
    part = replace(tracks[1], full=rows == 540, **{n: getattr(tracks[1], n)[:rows] for n in PER_ROW})
    assert len(walls([tracks[0], part], 6.0, strip, found.gray)) == pairs


@pytest.mark.parametrize(("grey", "arc", "pairs"), [(-40.0, 112, 0), (40.0, 112, 1), (40.0, 60, 0), (8.0, 112, 0)])
def test_wide_marks_are_walls_only_with_the_same_ends_and_one_as_bright_as_the_other_is_dark(
    grey: float, arc: float, pairs: int
) -> None:
    strip = drawn_strip((43.0, 1.2, 50, 120), rust=0)
    other = drawn_strip((47.0, 1.2, 50, arc), grey=grey, rust=0).values - drawn_strip(rust=0).values
    strip = replace(strip, values=strip.values + other)
    lips = [[wall(r + by, 50, a, score=1000.0) for by in (-0.6, 0.6)] for r, a in ((43.0, 120), (47.0, arc))]
    marks = [replace(low, outer_mm=high.inner_mm) for low, high in lips]
    assert len(walls(marks, 6.0, strip, evidence(strip).gray)) == pairs
