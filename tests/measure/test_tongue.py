"""The lip's finder on drawn lips of known curve; its error bars against its errors."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.face_kit import drawn_plane
from tests.measure.lip_kit import bay, draw_lip
from wearvision.measure.finders.tongue import sound_line
from wearvision.measure.finders.tongue_figures import WIDER
from wearvision.measure.finders.tongue_map import turns_deg
from wearvision.measure.label import with_label
from wearvision.measure.look import Look, Seen
from wearvision.measure.views.tongue import see
from wearvision.quantity import Measured
from wearvision.stated import Stated

PLANE = drawn_plane(mm_per_px=0.12, size_px=(900, 675))


def look_at(image: np.ndarray, length_mm: float | None = 50.0) -> Look:
    nominal = {} if length_mm is None else {"lip_length_mm": length_mm}
    return Look(gray=image, plane=PLANE, stated=Stated(view="tongue", nominal=nominal))


def figure(quantities: object, name: str) -> Measured:
    got = quantities[name]  # type: ignore[index]  # a mapping of quantities
    assert isinstance(got, Measured)
    return got


def flat(x: np.ndarray) -> np.ndarray:
    return 0.0 * x


@pytest.fixture(scope="module")
def washed() -> Seen:
    return see(look_at(draw_lip(PLANE, bay)))


def test_a_bay_is_measured(washed: Seen) -> None:
    """Depth, area and root mean square of depth cos^2: d, half d, d sqrt(3 half / 4 L) by integration."""
    (found,) = washed.findings
    assert found.kind == "washout" and found.flags == ()
    assert figure(found.quantities, "max_deviation").value == pytest.approx(2.0, abs=0.08)
    assert figure(found.quantities, "area").value == pytest.approx(20.0, rel=0.04)
    assert figure(found.quantities, "rms_deviation").value == pytest.approx(2 * np.sqrt(0.75 * 10 / 50), rel=0.04)
    assert figure(found.quantities, "straightness").value < figure(found.quantities, "max_deviation").value + 0.2
    assert figure(washed.summary, "lip_length").value == pytest.approx(50.0, abs=0.3)
    assert figure(washed.summary, "eroded_length").value == pytest.approx(17.0, abs=3.0)


def test_a_bay_that_reaches_a_corner_counts_up_to_it() -> None:
    """Half of the bay lies within the lip; where the corner is, is in doubt by a part of its own."""
    (found,) = see(look_at(draw_lip(PLANE, lambda x: bay(x, middle=25.0)))).findings
    area = figure(found.quantities, "area")
    assert area.value == pytest.approx(10.0, abs=0.4) and abs(area.value - 10.0) < area.u95
    assert area.budget["ends"] == pytest.approx(WIDER[2] * 0.2 * 2.0, rel=0.1)


def test_the_first_gauge_place_is_the_deepest(washed: Seen) -> None:
    place = PLANE.to_mm(washed.findings[0].places_px[:1])[0]
    assert place == pytest.approx([6.0, 2.0], abs=1.5)


def test_straightness_is_the_zone_of_the_lip_itself(washed: Seen) -> None:
    """Against SciPy's convex hull: the minimum zone stands on one of its sides."""
    from scipy.spatial import ConvexHull

    x = np.linspace(-25, 25, 251)
    points = np.column_stack([x, bay(x)])
    hull = points[ConvexHull(points).vertices]
    sides = np.roll(hull, -1, axis=0) - hull
    steep = sides[np.abs(sides[:, 0]) > 1e-9]
    zone = min(np.ptp(points[:, 1] - s[1] / s[0] * points[:, 0]) for s in steep)
    assert figure(washed.findings[0].quantities, "straightness").value == pytest.approx(zone, abs=0.12)


@pytest.mark.parametrize("turn", [0.0, 37.0, 170.0])
def test_a_sound_lip_has_no_washout_but_figures(turn: float) -> None:
    seen = see(look_at(draw_lip(PLANE, flat, turn_deg=turn)))
    assert seen.findings == ()
    top = figure(seen.summary, "max_deviation")
    assert top.value <= top.u95 and top.u95 < 0.3
    assert figure(seen.summary, "lip_length").value == pytest.approx(50.0, abs=0.4)


def ragged(x: np.ndarray) -> np.ndarray:
    """A bay whose edge runs up and down by 0.3 mm: its deepest place lies 1.5 mm and 0.3 mm behind the line."""
    deep = bay(x, 0.0, 12.0, 1.5)
    return np.asarray(deep + 0.3 * np.clip(deep / 1.5, 0, 1) * np.cos(2 * np.pi * x / 1.6))


def test_the_deepest_place_of_a_ragged_bay_is_told_with_its_doubt() -> None:
    """Averaged along the edge it would be told 0.2 mm too shallow."""
    (found,) = see(look_at(draw_lip(PLANE, ragged))).findings
    top = figure(found.quantities, "max_deviation")
    assert top.value == pytest.approx(1.8, abs=0.12) and top.budget["ragged"] > 0.05
    assert figure(found.quantities, "area").value == pytest.approx(18.0, rel=0.06)


def test_a_smooth_bay_is_not_ragged_and_a_shallow_one_may_be_chance() -> None:
    deep, shallow = (
        figure(see(look_at(draw_lip(PLANE, lambda x, d=depth: bay(x, depth=d)))).summary, "max_deviation").budget
        for depth in (2.0, 0.22)
    )
    assert deep.get("ragged", 0.0) < 0.05 and deep["wander"] < 0.05 < 0.09 <= shallow["wander"]


@pytest.mark.parametrize("noise", [1.0, 3.0, 6.0])
def test_errors_stay_within_their_bars(noise: float) -> None:
    """Depths and places of its own for each noise: 95 % bars hold, and are not idle."""
    for seed in range(3):
        rng = np.random.default_rng([7, seed, int(noise)])
        depth, half, middle = rng.uniform(0.8, 3.0), rng.uniform(6, 11), rng.uniform(-8, 8)
        image = draw_lip(PLANE, lambda x, d=depth, h=half, m=middle: bay(x, m, h, d), noise=noise, seed=seed)
        (found,) = see(look_at(image)).findings
        top, area = (figure(found.quantities, name) for name in ("max_deviation", "area"))
        assert abs(top.value - depth) < top.u95 < 0.5
        assert abs(area.value - half * depth) < area.u95 < 0.55 * half * depth


def test_unstated_and_sound_is_told_where_both_corners_are_seen() -> None:
    seen = see(look_at(draw_lip(PLANE, flat), None))
    assert not seen.findings and figure(seen.summary, "max_deviation").value < 0.3
    assert figure(seen.summary, "lip_length").value == pytest.approx(50.0, abs=0.4)
    assert "not stated" in dict(seen.not_assessed)["which edge is the lip"]


def test_unstated_with_a_corner_out_of_the_picture_is_not_told() -> None:
    wide = draw_lip(PLANE, flat, length_mm=130.0)
    seen = see(look_at(wide, None))
    assert not seen.findings and "max_deviation" not in seen.summary


def test_a_shadow_across_the_opening_is_not_its_lip() -> None:
    """The upper half of the opening lies in shade; what closes the opening is the last edge down."""
    image = draw_lip(PLANE, bay).astype(np.float32)
    shade = draw_lip(PLANE, lambda x: 0 * x - 14.0, height_mm=30.0, levels=(1.0, 0.0), noise=0.0)
    floor = draw_lip(PLANE, bay, levels=(150.0, 110.0)).astype(np.float32)
    seen = see(look_at(np.where(shade > 0, floor, image).astype(np.uint8)))
    assert not seen.findings or figure(seen.findings[0].quantities, "max_deviation").value == pytest.approx(2, abs=0.2)
    assert seen.findings or "max_deviation" not in seen.summary


def test_unstated_but_washed_is_told_with_its_doubt() -> None:
    seen = see(look_at(draw_lip(PLANE, bay), None))
    assert len(seen.findings) == 1
    assert "not stated" in dict(seen.not_assessed)["which edge is the lip"]


def test_a_wall_without_an_opening_has_no_lip() -> None:
    seen = see(look_at(draw_lip(PLANE, flat, levels=(150.0, 150.0))))
    assert not seen.findings and "no clear straight edge" in dict(seen.not_assessed)["lip"]


def test_a_blank_picture_has_no_lip() -> None:
    seen = see(look_at(np.full((675, 900), 120, dtype=np.uint8)))
    assert not seen.findings and "lip" in dict(seen.not_assessed)


def test_texture_is_called_texture(washed: Seen) -> None:
    assert "no roughness" in figure(washed.summary, "washed_texture").how


def test_the_sound_line_leaves_a_bay_to_one_side() -> None:
    x = np.arange(0.1, 60, 0.2)
    y = 1.0 + 0.004 * (x - 30) + bay(x, 42, 18, 3.0) + np.random.default_rng(1).normal(0, 0.02, len(x))
    found = sound_line(x, y, 0.15)
    assert found is not None
    height, tilt, weight, spread, covariance = found
    assert height == pytest.approx(1.0, abs=0.03) and tilt == pytest.approx(0.004, abs=0.0015)
    assert spread < 0.05 and weight[(x > 30) & (x < 54)].max() == 0
    assert np.linalg.eigvalsh(covariance).min() > 0


def test_an_edge_without_a_straight_part_has_no_line() -> None:
    x = np.arange(0, 40, 0.2)
    assert sound_line(x, 6.0 * np.sin(x / 40 * np.pi) ** 1.0 + 0.8 * np.sin(3 * x), 0.05) is None


def test_an_outline_that_is_no_card_stays() -> None:
    line = np.array([[0.0, 0], [5, 0], [5, 5], [0, 5], [0, 3]])
    assert with_label(np.zeros((675, 900), dtype=np.uint8), PLANE, line) is line


def test_directions_are_those_of_long_edges() -> None:
    from wearvision.measure.chart import chart_of

    turns = turns_deg(chart_of(draw_lip(PLANE, flat, turn_deg=25.0), PLANE, ()))
    assert turns[0] == pytest.approx(25.0, abs=0.5)


def test_a_washout_no_deeper_than_its_doubt_is_not_told() -> None:
    seen = see(look_at(draw_lip(PLANE, lambda x: bay(x, 6.0, 10.0, 0.22))))
    top = figure(seen.summary, "max_deviation")
    assert not seen.findings and abs(top.value - 0.22) < top.u95
    assert top.value > top.u95 or "neither sound nor washed" in dict(seen.not_assessed)["a slight washout"]


def test_another_border_behind_the_way_is_doubt_of_the_bay() -> None:
    """A rim that falls off in two steps, 0.8 mm apart: which of them a way follows is not known."""
    one, two = draw_lip(PLANE, bay), draw_lip(PLANE, lambda x: bay(x) + 0.8)
    both = (0.5 * one.astype(np.float32) + 0.5 * two.astype(np.float32)).astype(np.uint8)
    clear, double = (see(look_at(image)).summary for image in (one, both))
    assert "rim" not in figure(clear, "area").budget
    assert figure(double, "area").budget["rim"] > 1.0


def test_a_bay_that_ends_nowhere_is_not_told() -> None:
    seen = see(look_at(draw_lip(PLANE, lambda x: bay(x, half=18.0, depth=11.0))))
    assert seen.findings == ()
