"""Vanes in plan on drawn impellers: number, alignment, shift, shortening, missing ones, and honest intervals."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measure.face_kit import drawn_plane
from tests.measure.vanes_kit import CENTRE_MM, DISC_MM, DrawnVane, draw_vanes, traces_of, vane_line
from wearvision.finding import Finding
from wearvision.measure.chart import Chart, chart_of
from wearvision.measure.finders.vanes import measure_vanes
from wearvision.measure.finders.vanes_told import to_findings
from wearvision.measure.look import Look, Seen
from wearvision.measure.plane import Array, Plane
from wearvision.measure.vanes.align import best_shifts, pile, viterbi
from wearvision.measure.vanes.foot import Where, camera_foot, lifted
from wearvision.measure.vanes.layout import widths
from wearvision.measure.vanes.rim import axis_by_rim
from wearvision.measure.vanes.siblings import centre_u, centred
from wearvision.measure.vanes.strips import Line, Strips, edges_across
from wearvision.measure.vanes.traces import Traces
from wearvision.measure.views.vanes import see
from wearvision.quantity import Measured, Unmeasured
from wearvision.stated import Stated

STATED = Stated(view="vane-back", nominal={"disc_diameter_mm": 2 * DISC_MM})
FIVE = Stated(view="vane-back", nominal={"disc_diameter_mm": 2 * DISC_MM, "vane_count": 5})
SOUND = DrawnVane()
EVERYWHERE = Where(middle_mm=np.zeros(2), spread_mm2=1e6 * np.eye(2))
ANYWHERE = Where(middle_mm=np.zeros(2), spread_mm2=2.25 * np.eye(2))
NOISE_MM = 0.15
"""Of a vane's place, drawn."""


@pytest.fixture(scope="module")
def plane() -> Plane:
    return drawn_plane(tilt_deg=4.0)


def look_at(plane: Plane, vanes: tuple[DrawnVane, ...], stated: Stated = STATED, **how: float) -> Seen:
    image = draw_vanes(plane, vanes, **how)  # type: ignore[arg-type]  # numbers only here
    return see(Look(gray=image, plane=plane, stated=stated))


def matched(seen: Seen, plane: Plane, number: int, k: int, wrap_deg: float = 40.0) -> Finding:
    """The finding nearest to the middle of a drawn vane."""
    line = vane_line(number, k, wrap_deg, SOUND)
    middle = plane.to_px(line[len(line) // 2][None] + np.array(CENTRE_MM))[0]
    return min(seen.findings, key=lambda f: float(np.hypot(*(f.outline_px.mean(axis=0) - middle))))


def value(found: Finding, name: str) -> Measured:
    quantity = found.quantities[name]
    assert isinstance(quantity, Measured), quantity
    return quantity


@pytest.mark.parametrize("number", [3, 4, 5, 6, 7, 8])
def test_vanes_are_counted(plane: Plane, number: int) -> None:
    seen = look_at(plane, (SOUND,) * number, wrap_deg=30.0)
    count = seen.summary["vane_count"]
    assert isinstance(count, Measured)
    assert count.value == number
    assert [f.id for f in seen.findings] == [f"V{i}" for i in range(1, number + 1)]
    assert [f.detail["index"] for f in seen.findings] == list(range(1, number + 1))


def test_outlines_reach_from_root_to_end_and_correspond(plane: Plane) -> None:
    """So that an overlay can lay the siblings' median where a vane would stand: a short one has as many points."""
    vanes = (SOUND, DrawnVane(short_mm=5.0), SOUND, SOUND, SOUND)
    seen = look_at(plane, vanes)
    assert len({len(f.outline_px) for f in seen.findings}) == 1
    for k, vane in enumerate(vanes):
        outline = plane.to_mm(matched(seen, plane, 5, k).outline_px) - np.array(CENTRE_MM)
        half = len(outline) // 2
        end = (outline[half - 1] + outline[half]) / 2
        off = float(np.hypot(*(end - vane_line(5, k, 40.0, vane)[-1])))
        assert off < 1.0 + value(matched(seen, plane, 5, k), "shortening").u95, (k, off)


def test_two_vanes_are_counted_when_two_are_stated(plane: Plane) -> None:
    two = Stated(view="vane-back", nominal={"disc_diameter_mm": 2 * DISC_MM, "vane_count": 2})
    seen = look_at(plane, (SOUND,) * 2, two)
    count = seen.summary["vane_count"]
    assert isinstance(count, Measured)
    assert count.value == 2
    assert len(seen.findings) == 2
    for found in seen.findings:
        shift = found.quantities["tip_shift"]
        assert isinstance(shift, Unmeasured)  # one other is nothing to compare with
        assert "siblings" in shift.reason


@pytest.mark.parametrize("number", [3, 5])
def test_two_stated_do_not_make_two_of_more(plane: Plane, number: int) -> None:
    two = Stated(view="vane-back", nominal={"disc_diameter_mm": 2 * DISC_MM, "vane_count": 2})
    seen = look_at(plane, (SOUND,) * number, two)
    count = seen.summary["vane_count"]
    assert isinstance(count, Measured)
    assert count.value == number
    assert seen.findings == ()


def test_why_the_edges_are_not_told_names_what_the_photo_could_show(plane: Plane) -> None:
    said = dict(look_at(plane, (SOUND,) * 5).not_assessed)
    assert "mm up" in said["rounding of the vanes' edges"]


def test_a_number_other_than_stated_is_told(plane: Plane) -> None:
    seen = look_at(plane, (SOUND,) * 6, FIVE)
    said = dict(seen.not_assessed)
    assert seen.findings == ()
    assert "6 were found, 5 are stated" in said["number of vanes"]
    assert "all vanes changed alike" in said


@pytest.mark.parametrize("shift", [3.0, -3.0, 1.2])
def test_a_bent_vane_is_measured_with_its_side(plane: Plane, shift: float) -> None:
    vanes = (SOUND, SOUND, DrawnVane(shift_mm=shift), SOUND, SOUND)
    seen = look_at(plane, vanes)
    for k in range(5):
        got = value(matched(seen, plane, 5, k), "tip_shift")
        true = shift if k == 2 else 0.0
        assert abs(got.value - true) < 0.5  # three pixels of this coarse picture
        assert abs(got.value - true) <= 1.3 * got.u95
    bent = value(matched(seen, plane, 5, 2), "bend_angle")
    assert np.sign(bent.value) == np.sign(shift)


def test_a_missing_vane_is_told_and_counted(plane: Plane) -> None:
    seen = look_at(plane, (SOUND, DrawnVane(there=False), SOUND, SOUND, SOUND, SOUND))
    count = seen.summary["vane_count"]
    assert isinstance(count, Measured)
    assert count.value == 6
    gone = matched(seen, plane, 6, 1)
    assert isinstance(gone.quantities["tip_shift"], Unmeasured)
    assert "missing" in gone.quantities["tip_shift"].reason
    assert "suspected" in gone.flags


@pytest.mark.parametrize("rust", [60, 140])
def test_a_missing_vane_is_told_on_a_rusty_disc_and_none_of_its_siblings(plane: Plane, rust: int) -> None:
    vanes = (SOUND, SOUND, SOUND, DrawnVane(there=False), DrawnVane(shift_mm=5.0), SOUND)
    image = draw_vanes(plane, vanes, rust=rust, seed=rust, noise=4.0)
    seen = see(Look(gray=image, plane=plane, stated=STATED))
    for k, vane in enumerate(vanes):
        told = matched(seen, plane, 6, k).quantities["tip_shift"]
        assert ("missing" in getattr(told, "reason", "")) is not vane.there


def test_a_stub_is_told_with_what_is_gone(plane: Plane) -> None:
    cut = 30.0
    seen = look_at(plane, (SOUND, SOUND, DrawnVane(short_mm=cut), SOUND, SOUND, SOUND))
    stub = matched(seen, plane, 6, 2)
    shift, short = stub.quantities["tip_shift"], value(stub, "shortening")
    assert isinstance(shift, Unmeasured)
    assert "inner part" in shift.reason
    assert abs(short.value - cut) < short.u95
    assert "suspected" in stub.flags
    assert sum("suspected" in f.flags for f in seen.findings) == 1


def test_a_short_vane_is_measured(plane: Plane) -> None:
    errors = []
    for seed in range(1, 5):
        seen = look_at(plane, (SOUND, SOUND, SOUND, DrawnVane(short_mm=6.0), SOUND), seed=seed)
        got = value(matched(seen, plane, 5, 3), "shortening")
        errors.append(abs(got.value - 6.0))
        assert errors[-1] < got.u95
    assert np.median(errors) < 1.0


def test_the_intervals_hold_over_noise_levels(plane: Plane) -> None:
    """Claimed uncertainty against true error (after trackpy's `test_ep`): of 40 vanes at least 85 % are covered."""
    inside, errors = [], []
    for seed, noise in enumerate((1.0, 2.0, 4.0, 7.0)):
        vanes = (SOUND, DrawnVane(shift_mm=2.0 + seed), SOUND, SOUND, SOUND)
        image = draw_vanes(plane, vanes, noise=noise, seed=seed, shadow_deg=80.0 * seed)
        seen = see(Look(gray=image, plane=plane, stated=STATED))
        for k in range(5):
            got = matched(seen, plane, 5, k).quantities["tip_shift"]
            if isinstance(got, Measured):
                errors.append(abs(got.value - vanes[k].shift_mm))
                inside.append(errors[-1] <= got.u95)
    assert len(inside) >= 16
    assert np.mean(inside) >= 0.85
    assert np.median(errors) < 0.15


def test_what_shows_no_vanes_is_unmeasured(plane: Plane) -> None:
    blank = np.full(plane.size_px[::-1], 90, dtype=np.uint8)
    result = measure_vanes(blank, plane, STATED)
    assert isinstance(result, Unmeasured)
    assert result.hint
    seen = see(Look(gray=blank, plane=plane, stated=STATED))
    assert seen.findings == ()
    assert seen.not_assessed[0][0] == "vanes"


def test_gauge_places_lie_on_the_vane_and_never_under_a_card(plane: Plane) -> None:
    image = draw_vanes(plane, (SOUND,) * 5)
    vanes = measure_vanes(image, plane, STATED)
    assert not isinstance(vanes, Unmeasured)
    free = to_findings(vanes, plane)
    assert all(len(f.places_px) == 3 for f in free)
    tip = free[0].places_px[0]
    card = tip + np.array([[-9.0, -9], [9, -9], [9, 9], [-9, 9]])
    for outline in (card, card[::-1]):
        assert len(to_findings(vanes, plane, (outline,))[0].places_px) == 2


def strips_of(shift_mm: Array, number: int = 5) -> Strips:
    """Strips of straight vanes whose centre lies `shift_mm` away: two bright edges each."""
    line = Line.through(np.column_stack([np.linspace(20.0, 60.0, 50), np.zeros(50)]), 1.0)
    _, left = line.turned(number)
    across = np.arange(-12.0, 12.01, 0.5)
    off = (left @ shift_mm)[..., None]
    noise = np.random.default_rng(3).normal(0, 0.3, (*left.shape[:2], len(across)))
    values = ((np.abs(across - off) < 3.0) + noise).astype(np.float32)
    return Strips(values=values, seen=np.ones(values.shape, dtype=bool), across_mm=across, left=left)


@settings(max_examples=12)
@given(st.floats(-2.5, 2.5), st.floats(-2.5, 2.5), st.integers(3, 8))
def test_alignment_agrees_with_a_brute_force_search(x: float, y: float, number: int) -> None:
    """Grid refinement against every place on a fine grid, and both against the truth."""
    strips = strips_of(np.array([x, y]), number)
    size = edges_across(strips, 1.0, 0.6)[1]
    [found] = best_shifts(size, strips, np.zeros(2), 3.0, (1.0, 0.5, 0.25), (EVERYWHERE,))
    one = np.arange(-3.0, 3.01, 0.25)
    brute = max((np.array([a, b]) for a in one for b in one), key=lambda d: pile(size, strips, d))
    assert pile(size, strips, found) >= 0.97 * pile(size, strips, brute)
    column_mm = 0.5  # neither can place a centre better than the strips' columns, along either axis
    assert np.abs(found - [x, y]).max() <= column_mm
    assert np.abs(brute - [x, y]).max() <= column_mm


def bent_offsets(traces: Traces, centre: Array, seed: int) -> tuple[Array, float]:
    """Offsets of vanes about a centre that is off, the first bent by 6 mm, one not seen in part; and the tip."""
    rng = np.random.default_rng(seed)
    along, left = traces.line.along_mm, traces.strips.left
    tip = float(along[-1])
    noise = np.repeat(rng.normal(0.0, NOISE_MM, (len(left), len(along) // 10 + 1)), 10, axis=1)[:, : len(along)]
    off = left @ centre + 0.3 * np.sin(along / 9.0) + noise
    off[0] += 6.0 * np.clip((along / tip - 0.4) / 0.6, 0, None) ** 2
    off[-1, len(along) // 2 : len(along) // 2 + 12] = np.nan
    return off, tip


@settings(max_examples=15)
@given(st.floats(-0.8, 0.8), st.floats(-0.8, 0.8), st.integers(4, 8), st.integers(0, 99))
def test_the_centre_of_symmetry_agrees_with_a_brute_force_search(x: float, y: float, number: int, seed: int) -> None:
    """Against every centre on a fine grid, by the mean distance to the vanes' median; one vane is bent, one covered."""
    traces = traces_of(number)
    off, tip = bent_offsets(traces, np.array([x, y]), seed)
    _, found, _ = centred(off, NOISE_MM + 0 * off, traces, tip, ANYWHERE)
    one = np.arange(-1.0, 1.01, 0.1)
    places = [np.array([a, b]) for a in one for b in one]
    moved = [off - traces.strips.left @ place for place in places]
    brute = places[int(np.argmin([np.nanmean(np.abs(m - np.nanmedian(m, axis=0))) for m in moved]))]
    assert np.hypot(*(found - brute)) < 0.3  # two steps of the grid
    assert np.hypot(*(found - [x, y])) < 0.35  # twice the noise of a vane's place; how honest it is the next test tells


def test_the_centres_interval_holds_and_widens_where_few_vanes_tell() -> None:
    """Of 60 centres with a bent vane at least 90 % lie in their ellipse of 95 % (5.99: chi squared, 2 degrees)."""
    inside, told = [], {}
    for number in (4, 6, 8):
        traces = traces_of(number)
        for seed in range(20):
            off, tip = bent_offsets(traces, np.array([0.3, -0.2]), seed)
            _, found, cov = centred(off, NOISE_MM + 0 * off, traces, tip, ANYWHERE)
            gap = found - [0.3, -0.2]
            inside.append(float(gap @ np.linalg.inv(cov) @ gap) < 5.99)
        told[number] = float(centre_u(traces, cov, tip).max())
    assert np.mean(inside) >= 0.9
    assert told[4] > told[6] > told[8] > 0.02


@pytest.mark.parametrize("depth_mm", [4.0, 9.0, 16.0])
def test_the_rim_tells_depth_and_axis(depth_mm: float) -> None:
    """A disc projected through the camera itself, `depth_mm` below the tops, seen aslant and partly covered."""
    tilted = drawn_plane(tilt_deg=18.0)
    chart, axis = drawn_rim(tilted, depth_mm)
    foot, height = camera_foot(tilted)
    seems = foot + (axis - foot) * height / (height + depth_mm)
    told = axis_by_rim(chart, tilted, seems + np.array([0.6, -0.4]), DISC_MM)
    assert told is not None
    assert np.hypot(*(told.middle_mm - axis)) < 0.3  # half of the map's step
    assert told.far(axis[None])[0] < 5.99  # chi squared, 95 %, 2 degrees
    assert axis_by_rim(chart, tilted, seems, 0.8 * DISC_MM) is None  # no rim of such a size


def drawn_rim(plane: Plane, depth_mm: float) -> tuple[Chart, Array]:
    """Map of a bright disc that lies deeper than the plane, a strip of it covered; and where its axis stands."""
    foot, height = camera_foot(plane)
    axis = np.array(CENTRE_MM)
    turn = np.linspace(0, 2 * np.pi, 400)
    ring = axis + DISC_MM * np.column_stack([np.cos(turn), np.sin(turn)])
    image = np.full(plane.size_px[::-1], 70, dtype=np.uint8)
    seen = plane.to_px(foot + (ring - foot) * height / (height + depth_mm))
    cv2.fillPoly(image, [np.round(seen * 16).astype(np.int32)], 140, cv2.LINE_AA, 4)
    cover = plane.to_px(axis + np.array([[20.0, 30], [80, 30], [80, 50], [20, 50]]))
    cv2.fillPoly(image, [np.round(cover).astype(np.int32)], 200)
    image = np.clip(image + np.random.default_rng(1).normal(0, 3, image.shape), 0, 255).astype(np.uint8)
    return chart_of(image, plane, (cover,)), axis


def test_straight_vanes_and_shadows_as_wide_leave_the_centre_where_it_is(plane: Plane) -> None:
    """Four straight vanes: a shadow on the same side of two that lie opposite each other looks like a centre beside."""
    for shadow in (12.0, 102.0):
        image = draw_vanes(plane, (SOUND, DrawnVane(shift_mm=4.0), SOUND, SOUND), wrap_deg=0.0, shadow_deg=shadow)
        vanes = measure_vanes(image, plane, STATED)
        assert not isinstance(vanes, Unmeasured)
        assert np.hypot(*(vanes.centre_mm - CENTRE_MM)) < 0.35  # two pixels


def test_a_stated_thickness_narrows_what_is_tried() -> None:
    assert widths(None).min() < 3.0
    tried = widths(6.9)
    assert tried.min() > 3.0
    assert tried.min() < 0.8 * 6.9 < 6.9 < tried.max() < 10.0


def test_dynamic_programming_agrees_with_every_path() -> None:
    """All 4^5 paths of a small table, against the one found."""
    gain = np.random.default_rng(4).normal(size=(5, 4)).astype(np.float32)
    paths = np.array(np.meshgrid(*[np.arange(4)] * 5, indexing="ij")).reshape(5, -1).T
    steps = np.diff(paths, axis=1)
    worth = gain[np.arange(5), paths].sum(axis=1) - 0.3 * (steps**2).sum(axis=1)
    worth[np.abs(steps).max(axis=1) > 2] = -np.inf
    assert viterbi(gain, 0.3, 2).tolist() == paths[int(np.argmax(worth))].tolist()


def test_what_lies_deeper_seems_drawn_to_the_cameras_foot() -> None:
    """Projected through the camera itself: a point 8 mm below the plane, and where it seems to lie on it."""
    plane = drawn_plane(tilt_deg=15.0)
    rotation, shift = plane.pose
    deep = replace(plane, theta=plane.theta.copy())
    away = 8.0 if (rotation.T @ shift)[2] > 0 else -8.0
    camera = rotation @ np.array([30.0, 12.0, away]) + shift
    uv = camera[:2] / camera[2]
    seems = deep.to_mm((plane.focal_px * uv + plane.theta[8:10])[None])[0]
    assert np.allclose(lifted(plane, seems, 8.0), [30.0, 12.0], atol=1e-6)
    assert camera_foot(plane)[1] == pytest.approx(plane.distance_mm)
