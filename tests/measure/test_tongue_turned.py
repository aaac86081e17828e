"""Lips with their passage elsewhere in the picture, other openings beside them, and other edges behind them."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.face_kit import drawn_plane
from tests.measure.lip_kit import LEVELS, bay, draw_lip
from wearvision.measure.finders.tongue_band import ROUGH_MM, Sight, band_of, sight_of
from wearvision.measure.finders.tongue_behind import straight_behind
from wearvision.measure.finders.tongue_follow import Followed, follow
from wearvision.measure.finders.tongue_map import EdgeMap
from wearvision.measure.finders.tongue_rival import rival_way
from wearvision.measure.finders.tongue_seek import seek_lips, seek_turned
from wearvision.measure.finders.tongue_trace import trace_lip
from wearvision.measure.look import Look, Seen
from wearvision.measure.views.tongue import see
from wearvision.quantity import Measured
from wearvision.stated import Stated

PLANE = drawn_plane(mm_per_px=0.12, size_px=(900, 675))
LEFT, RIGHT = np.array([-25.0, 0.0]), np.array([25.0, 0.0])


def flat(x: np.ndarray) -> np.ndarray:
    return 0.0 * x


def look_at(image: np.ndarray, length_mm: float | None = 50.0) -> Look:
    nominal = {} if length_mm is None else {"lip_length_mm": length_mm}
    return Look(gray=image, plane=PLANE, stated=Stated(view="tongue", nominal=nominal))


def top_of(seen: Seen) -> Measured:
    top = seen.summary["max_deviation"]
    assert isinstance(top, Measured)
    return top


@pytest.mark.parametrize("turn", [90.0, 180.0, 262.0])
def test_a_washed_lip_is_told_wherever_its_passage_lies(turn: float) -> None:
    """At half a turn the opening's other long side lies where the lip should, sound and as long."""
    seen = see(look_at(draw_lip(PLANE, bay, turn_deg=turn)))
    assert [found.kind for found in seen.findings] == ["washout"]
    assert abs(top_of(seen).value - 2.0) < top_of(seen).u95 < 0.4
    assert "not above it" in dict(seen.not_assessed)["which edge is the lip"]


def test_a_sound_lip_turned_is_never_washed() -> None:
    for turn in (90.0, 180.0, 270.0):
        assert not see(look_at(draw_lip(PLANE, flat, turn_deg=turn))).findings


def test_unstated_a_sound_side_is_not_told_where_another_is_washed() -> None:
    seen = see(look_at(draw_lip(PLANE, bay, turn_deg=180.0), None))
    assert not seen.findings and "max_deviation" not in seen.summary
    assert "another edge looks washed" in dict(seen.not_assessed)["lip"]


def test_four_quarter_turns_of_a_map_are_the_map() -> None:
    rng = np.random.default_rng(5)
    across = np.array([0.6, 0.8])
    one = EdgeMap(
        sides=rng.random((4, 7), dtype=np.float32), lips=rng.random((7, 4), dtype=np.float32),
        origin_mm=np.array([3.0, -2.0]), across=across, down=np.array([-0.8, 0.6]), step_mm=0.5,
    )  # fmt: skip
    right = one.turned()
    assert right.sides.shape == (7, 4) and right.sides[2, 3] == one.lips[4, 3] and right.lips[3, 2] == one.sides[3, 4]
    assert right.to_mm(np.array([3.0]), np.array([2.0])) == pytest.approx(one.to_mm(np.array([4.0]), np.array([3.0])))
    back = right.turned().turned().turned()
    assert np.array_equal(back.sides, one.sides) and np.array_equal(back.lips, one.lips)
    assert back.origin_mm == pytest.approx(one.origin_mm) and back.across == pytest.approx(one.across)


def test_leads_of_turned_maps_have_their_metal_below() -> None:
    """The lip at half a turn: from its right end to its left one, metal a quarter turn on."""
    _, maps = seek_lips(draw_lip(PLANE, bay, turn_deg=180.0), PLANE, (), 50.0)
    best = seek_turned(maps, 50.0)[0]
    assert best.left_mm == pytest.approx([25.0, 0.0], abs=1.5) and best.right_mm == pytest.approx([-25.0, 0.0], abs=1.5)


def test_unstated_the_widest_opening_is_the_passage() -> None:
    """A clearer hole beside it is as long as a lip may be."""
    image = draw_lip(PLANE, bay, length_mm=45.0, height_mm=25.0).astype(np.float32)
    hole = draw_lip(PLANE, lambda x: 0 * x + 26.0, length_mm=24.0, height_mm=-16.0, noise=0.0).astype(np.float32)
    seen = see(look_at(np.clip(image + 1.3 * (hole - LEVELS[0]), 0, 255).astype(np.uint8), None))
    assert [found.kind for found in seen.findings] == ["washout"]
    assert abs(top_of(seen).value - 2.0) < top_of(seen).u95


def followed(image: np.ndarray) -> tuple[Sight, Followed]:
    sight = sight_of(look_at(image))
    coarse = follow(band_of(sight, LEFT, RIGHT, ROUGH_MM), 50.0, stride=2, rounds=2)
    assert coarse is not None
    traced = trace_lip(sight, coarse, 50.0)
    assert traced is not None
    return sight, traced[0]


def line_of(found: Followed) -> np.ndarray:
    return found.band.patch.to_grid(np.array([LEFT, RIGHT]))


def test_a_straight_edge_behind_a_way_stands_out() -> None:
    """The face lies 2.6 mm below what looks like the rim, a little darker; without it there is nothing but the face."""
    plain = draw_lip(PLANE, flat)
    shelf = draw_lip(PLANE, lambda x: 0 * x + 2.6, levels=(LEVELS[0] + 25.0, LEVELS[0]), noise=0.0).astype(np.float32)
    step = np.clip(plain.astype(np.float32) + shelf - LEVELS[0], 0, 255).astype(np.uint8)
    one, other = (straight_behind(found, line_of(found)) for _, found in (followed(plain), followed(step)))
    assert one < 0.15 and other > 0.3


def test_an_edge_behind_a_bay_leaves_its_depth_in_doubt() -> None:
    """A flank four fifths as bright as the face, 1.8 mm wide, in the bay."""

    def foot(x: np.ndarray) -> np.ndarray:
        return np.minimum(bay(x, 0.0, 14.0, 3.2), 1.4)

    rim = draw_lip(PLANE, lambda x: bay(x, 0.0, 14.0, 3.2), levels=(150.0, 120.0))
    dark = draw_lip(PLANE, foot, levels=(0.0, 65.0), noise=0.0).astype(np.float32)
    image = np.clip(rim.astype(np.float32) - dark, 0, 255).astype(np.uint8)
    _, plain = followed(draw_lip(PLANE, lambda x: bay(x, 0.0, 14.0, 3.2)))
    assert rival_way(plain) is None
    top = see(look_at(image)).summary.get("max_deviation")
    assert not isinstance(top, Measured) or abs(top.value - 3.2) < top.u95
