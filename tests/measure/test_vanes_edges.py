"""How edges of vanes in plan are followed, what all of them share, how they scatter, and the pair of lines beside."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.face_kit import drawn_plane
from tests.measure.vanes_kit import DISC_MM, DrawnVane, draw_vanes, traces_of
from wearvision.measure.chart import chart_of
from wearvision.measure.plane import Array
from wearvision.measure.vanes.refine import beside
from wearvision.measure.vanes.settle import Settled, settle
from wearvision.measure.vanes.siblings import EDGE_SD_MM, offsets
from wearvision.measure.vanes.strips import Strips
from wearvision.measure.vanes.trace import _placed, _shared
from wearvision.measure.vanes.traces import SHADED

ACROSS_MM = np.arange(-4.0, 4.01, 0.16)


def lines(places_mm: tuple[float, ...], heights: Array) -> Strips:
    """A strip (1, S, M) with bell-shaped lines at some places, each of its own height at every station (S, P)."""
    bells = np.stack([np.exp(-0.5 * ((ACROSS_MM - place) / 0.2) ** 2) for place in places_mm])
    values = (heights @ bells)[None].astype(np.float32)
    return Strips(
        values=values, seen=np.ones(values.shape, dtype=bool), across_mm=ACROSS_MM, left=np.zeros((1, len(heights), 2))
    )


@pytest.mark.parametrize("sense", [1, -1])
def test_an_edge_is_followed_in_one_sense(sense: int) -> None:
    """A broken edge has two lines of opposite sense; now the one, now the other is stronger."""
    rng = np.random.default_rng(3)
    heights = np.column_stack([2.6 + rng.normal(0, 0.5, 60), -2.2 - rng.normal(0, 0.5, 60)]) * sense
    strips = lines((0.1, 0.6), heights)
    place = _placed(strips.values, strips, np.full((1, 60), 0.3))[0][0]
    seen = np.isfinite(place)
    assert seen.mean() > 0.8
    assert np.abs(place[seen] - 0.1).max() < 0.1


def test_a_stretch_without_the_edge_is_not_seen() -> None:
    heights = np.full((60, 1), 3.0)
    heights[20:40] = 0.2
    strips = lines((0.1,), heights)
    place = _placed(strips.values, strips, np.zeros((1, 60)))[0][0]
    assert np.isnan(place[22:38]).all()
    assert np.isfinite(place[np.r_[:18, 42:60]]).all()


def test_what_all_edges_share_is_told_whatever_one_vane_does() -> None:
    rng, along = np.random.default_rng(4), np.linspace(0, 1, 80)
    common = np.column_stack([0.5 * along**3, -0.3 * along**2])
    off = common + rng.normal(0, 0.05, (6, 80, 2))
    off[2] += (0.9 * along**2)[:, None]
    off[4, 30:50] = np.nan
    assert np.abs(_shared(off) - common)[4:-4].max() < 0.12


def test_of_two_vanes_nothing_is_shared() -> None:
    assert not _shared(np.full((2, 40, 2), 0.4)).any()


def edges_told(off: Array, strength: Array) -> tuple[Array, Array]:
    """Shifts and their standard deviations of one vane whose edges (S, 2) lie so far off and are so clear."""
    pair = np.zeros((len(off), 2))
    place, sd = offsets(replace(traces_of(1), edge_mm=off[None], strength=strength[None], pair_mm=pair))
    return place[0], sd[0]


def test_the_clearer_edge_counts_for_more_as_its_noise_has_it() -> None:
    """Against edges drawn with the noise they are held to have: what is told is as sure as it says, and surer."""
    rng = np.random.default_rng(6)
    strength = np.column_stack([rng.uniform(2, 3, 4000), rng.uniform(6, 9, 4000)])
    off = 0.2 + rng.normal(0, 1, strength.shape) * EDGE_SD_MM / strength
    place, sd = edges_told(off, strength)
    assert np.std(place - 0.2) < 0.6 * np.std(off.mean(axis=1))
    assert 0.9 < np.std((place - 0.2) / sd) < 1.0  # edges apart by chance widen it


def test_edges_that_disagree_are_known_worse_and_one_alone_by_itself() -> None:
    off, clear = np.array([[0.0, 0.0], [0.0, 0.6], [np.nan, 0.6], [np.nan, np.nan], [0.0, 3.0]]), np.full((5, 2), 6.0)
    place, sd = edges_told(off, clear)
    assert place[:3] == pytest.approx([0.0, 0.3, 0.6])
    assert sd[0] == pytest.approx(EDGE_SD_MM / 6 / 2**0.5)
    assert sd[1] == pytest.approx(0.3)  # half of how far they lie apart
    assert sd[2] == pytest.approx(EDGE_SD_MM / 6)
    assert np.isnan(place[3:]).all()
    assert np.isnan(sd[3:]).all()


def test_the_pair_beside_is_among_those_told() -> None:
    """Where the strip right of the vanes is taken for them, they themselves are told as one that may be it."""
    plane = drawn_plane(tilt_deg=4.0)
    image = draw_vanes(plane, (DrawnVane(),) * 5, seed=2)
    found = settle(image, plane, (), 0.8, diameter_mm=2 * DISC_MM, number=None)
    assert isinstance(found, Settled)
    one = found.layout
    wrong = replace(one, line=one.line.moved(np.full(len(one.line.along_mm), -one.width_mm)))
    told = beside(chart_of(image, plane, ()), plane, wrong)
    assert told
    assert [it.score for it in told] == sorted((it.score for it in told), reverse=True)
    middle = one.line.points_mm[len(one.line.points_mm) // 2]
    near = [float(np.hypot(*(it.line.points_mm - middle).T).min()) for it in told]
    assert min(near) < 1.0


def test_what_is_darker_than_both_its_sides_is_not_believed_to_be_tops() -> None:
    plane = drawn_plane(tilt_deg=4.0)
    found = settle(draw_vanes(plane, (DrawnVane(),) * 5, seed=3), plane, (), 0.8, diameter_mm=2 * DISC_MM, number=None)
    assert isinstance(found, Settled)
    tops = found.traces
    assert tops.stands_out > 0.1
    assert tops.alike() == tops.holds()
    shadows = replace(tops, strips=replace(tops.strips, values=-tops.strips.values))
    assert shadows.stands_out < 0
    assert shadows.alike() == pytest.approx(SHADED * tops.holds())
    unseen = replace(tops, seen=np.zeros_like(tops.seen))
    assert unseen.stands_out == np.inf
