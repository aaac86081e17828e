"""When a vane is told as bent, how its flags follow from what is given, and the interval of many bends together."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measure.face_kit import drawn_plane
from tests.measure.vanes_kit import DISC_MM, DrawnVane, draw_vanes
from wearvision.finding import Finding
from wearvision.measure.finders.vanes import measure_vanes
from wearvision.measure.finders.vanes_told import to_findings
from wearvision.measure.plane import Array, Plane
from wearvision.measure.vanes.align import Pair
from wearvision.measure.vanes.layout import smooth
from wearvision.measure.vanes.shape import _half_width
from wearvision.measure.vanes.siblings import against_siblings
from wearvision.measure.vanes.strips import Line
from wearvision.measure.vanes.telling import BENT_MM, FAINT, SUSPECTED, bent_probability, told_bent, unclear
from wearvision.measure.vanes.tilt import tips_aside
from wearvision.quantity import K95, Measured, Unmeasured
from wearvision.stated import Stated

STATED = Stated(view="vane-back", nominal={"disc_diameter_mm": 2 * DISC_MM})
SOUND = DrawnVane()


@given(st.floats(-12.0, 12.0), st.floats(1e-3, 4.0))
def test_the_probability_is_the_normal_distributions_beyond_the_limit(shift: float, u: float) -> None:
    true = NormalDist(shift, u)
    beyond = 1 - true.cdf(BENT_MM) + true.cdf(-BENT_MM)
    assert bent_probability(shift, u) == pytest.approx(beyond, abs=1e-9)
    assert bent_probability(-shift, u) == pytest.approx(bent_probability(shift, u))


def test_what_is_known_for_sure_is_told_at_the_limit() -> None:
    assert told_bent(BENT_MM, 0.0)
    assert not told_bent(BENT_MM - 1e-9, 0.0)


@pytest.mark.parametrize("u", [0.02, 0.1, 0.3])
def test_the_guard_band_lies_on_the_sound_side_and_grows_with_u(u: float) -> None:
    band = -NormalDist().inv_cdf(SUSPECTED) * u
    for side in (-1, 1):
        assert told_bent(side * (BENT_MM - band + 1e-3), u)
        assert not told_bent(side * (BENT_MM - band - 1e-3), u)


def test_a_shift_is_not_given_where_only_its_uncertainty_would_tell_it() -> None:
    assert unclear(0.1, 1.0)
    assert unclear(-0.5, 0.8)
    assert unclear(-2.2, 1.4)  # its 90 % interval holds 0
    assert not unclear(-2.4, 1.4)
    assert not unclear(0.1, 0.3)  # not told


def findings_of(*vanes: DrawnVane, seed: int = 1) -> tuple[Finding, ...]:
    plane = drawn_plane(tilt_deg=4.0)
    found = measure_vanes(draw_vanes(plane, vanes, seed=seed), plane, STATED)
    assert not isinstance(found, Unmeasured)
    return to_findings(found, plane)


@pytest.mark.parametrize("shift", [0.0, 0.7, 0.95, 1.2, -2.0])
def test_flags_follow_from_the_shift_and_its_uncertainty(shift: float) -> None:
    findings = findings_of(SOUND, SOUND, DrawnVane(shift_mm=shift), SOUND, SOUND)
    for found in findings:
        given = found.quantities["tip_shift"]
        assert isinstance(given, Measured)
        likely = bent_probability(given.value, given.u)
        assert ("suspected" in found.flags) is (likely >= SUSPECTED)
        assert ("faint" in found.flags) is (FAINT <= likely < SUSPECTED)
    assert any("suspected" in found.flags for found in findings) is (abs(shift) >= 0.95)


def test_a_vane_that_may_be_gone_is_faint() -> None:
    plane = drawn_plane(tilt_deg=4.0)
    found = measure_vanes(draw_vanes(plane, (SOUND,) * 5), plane, STATED)
    assert not isinstance(found, Unmeasured)
    assert not found.doubted.any()
    told = to_findings(replace(found, doubted=np.arange(5) == 2), plane)
    assert sum("faint" in one.flags for one in told) == 1


def test_of_three_vanes_the_two_straight_ones_are_still_told() -> None:
    findings = findings_of(SOUND, DrawnVane(shift_mm=5.0), SOUND)
    shifts = [found.quantities["tip_shift"] for found in findings]
    assert all(isinstance(shift, Measured) for shift in shifts)
    assert sum("suspected" in found.flags for found in findings) == 1
    assert sorted(abs(s.value) for s in shifts if isinstance(s, Measured))[1] < 0.4


def test_the_line_of_three_is_as_sure_as_the_two_that_agree() -> None:
    rng = np.random.default_rng(1)
    off = rng.normal(0, 0.1, (3, 200))
    off[1] += 6.0
    difference, doubt = against_siblings(off, np.full(off.shape, 0.1), np.ones(3, dtype=bool))
    assert np.median(doubt[0]) < 0.3
    assert np.median(np.abs(difference[[0, 2]])) < 0.2
    assert abs(float(np.median(difference[1])) - 6.0) < 0.2


def test_the_half_width_of_one_normal_distribution_is_its_own() -> None:
    one = np.ones(1)
    assert _half_width(one, 3 * one, 0.5 * one, 3.0) == pytest.approx(K95 * 0.5, rel=1e-4)


def test_the_half_width_of_some_holds_what_is_drawn_from_them() -> None:
    """Against 200000 values drawn from three distributions by their weight."""
    weight, mean, sd = np.array([0.96, 0.03, 0.01]), np.array([0.0, 1.5, -2.0]), np.array([0.1, 0.4, 0.6])
    rng = np.random.default_rng(2)
    which = rng.choice(3, 200_000, p=weight)
    drawn = rng.normal(mean[which], sd[which])
    centre = float(weight @ mean)
    half = _half_width(weight, mean, sd, centre)
    assert np.mean(np.abs(drawn - centre) <= half) == pytest.approx(0.95, abs=0.003)
    assert half < 0.5 * K95 * drawn.std()  # what is hardly believed makes no interval


def swinging(stiff: float) -> Array:
    """A line through clear places on an arc whose ends, hardly seen, swing aside."""
    u = np.linspace(-1, 1, 61)
    aside = 0.3 * u + 2.0 * np.clip(np.abs(u) - 0.6, 0, None) * np.sign(u)
    gain = np.where(np.abs(u) > 0.6, 0.15, 1.5)
    return smooth(Pair(middle_mm=aside, width_mm=4.0, gain=gain), stiff) - 0.3 * u


def test_a_line_held_straighter_swings_less() -> None:
    ends = [float(np.abs(swinging(stiff)[[0, -1]]).max()) for stiff in (0.0, 0.1, 0.4)]
    assert ends[0] > ends[1] > ends[2]


def test_one_sibling_bent_far_hardly_counts() -> None:
    """Of six that scatter by 0.05 mm one is bent: the others' line is where it is without it."""
    rng, along = np.random.default_rng(5), np.arange(0.0, 60.0, 0.75)
    bend = np.clip((along / along[-1] - 0.5) / 0.5, 0, None) ** 2
    off, sd = rng.normal(0, 0.05, (6, len(along))), np.full((6, len(along)), 0.08)
    off[1] += 4.0 * bend
    off[5] = np.nan
    whole = np.ones(6, dtype=bool)
    told, without = against_siblings(off, sd, whole)[0], against_siblings(off, sd, np.arange(6) != 1)[0]
    far = off[1] > 1.0
    assert np.allclose(told[:5, far], without[:5, far], atol=0.02)
    assert np.isnan(told[5]).all()


def test_no_shift_is_told_of_a_tip_under_a_card() -> None:
    """The vane is followed up to the card; how it would go on there is nobody's to tell."""
    plane = drawn_plane(tilt_deg=4.0)
    image = draw_vanes(plane, (SOUND,) * 5)
    vanes = measure_vanes(image, plane, STATED)
    assert not isinstance(vanes, Unmeasured)
    tip = plane.to_mm(to_findings(vanes, plane)[0].places_px[:1])[0]
    card = plane.to_px(tip + np.array([[-4.0, -4], [4, -4], [4, 4], [-4, 4]]))
    covered = measure_vanes(image, plane, STATED, (card,))
    assert not isinstance(covered, Unmeasured)
    shifts = [found.quantities["tip_shift"] for found in to_findings(covered, plane, (card,))]
    assert isinstance(shifts[0], Unmeasured)
    assert "tip" in shifts[0].reason
    assert all(isinstance(shift, Measured) for shift in shifts[1:])


LINE = Line.through(np.column_stack([np.linspace(20.0, 60.0, 50), np.linspace(0.0, 15.0, 50)]), 0.75)


ANYWHERE = 1e8 * np.eye(2)
"""Of a centre of which nothing is known."""


def test_a_print_of_another_size_moves_no_vane_against_its_siblings() -> None:
    straight = np.zeros((5, len(LINE.along_mm)))
    u = tips_aside(drawn_plane(), LINE, np.array([4.0, -1.0]), 40.0, straight, ANYWHERE)
    assert np.abs(u["print"]).max() < 1e-6


def _unsure(plane: Plane, error: float) -> Plane:
    """A plane of which nothing is unsure but one angle, rad."""
    spread = np.zeros((len(plane.theta), len(plane.theta)))
    spread[0, 0] = error**2
    return replace(plane, sources={"corner": spread})


@pytest.mark.parametrize("known", [False, True])
@pytest.mark.parametrize(("number", "bent"), [(4, None), (5, None), (7, None), (5, 1), (7, 3)])
def test_a_wrong_tilt_moves_tips_by_what_is_told(number: int, bent: int | None, known: bool) -> None:
    """Against the same places of the photo on a plane that is tilted otherwise, what the straight vanes share fitted
    away: with the centre, or without where the centre is known."""
    plane, error, centre = drawn_plane(tilt_deg=20.0, known=True), 0.004, np.array([4.0, -1.0])
    shift, counts = np.zeros((number, len(LINE.along_mm))), np.full((number, 4), True)
    if bent is not None:
        shift[bent], counts[bent] = 30.0, False
    spread = 1e-10 * np.eye(2) if known else ANYWHERE
    told = tips_aside(_unsure(plane, error), LINE, centre, 40.0, shift, spread)["corner"]
    wrong = replace(plane, theta=plane.theta + np.where(np.arange(len(plane.theta)) == 0, error, 0.0))
    rows = [int(np.argmin(np.abs(LINE.along_mm - share * 40.0))) for share in (0.25, 0.5, 0.75, 1.0)]
    points, left = (each[:, rows] for each in LINE.turned(number))
    moved = wrong.to_mm(plane.to_px((points + centre).reshape(-1, 2))).reshape(points.shape) - points - centre
    aside = ((moved - moved.mean(axis=(0, 1))) * left).sum(axis=2)
    line = np.tile(np.eye(4), (number, 1))
    shared = line if known else np.hstack([left.reshape(-1, 2), line])
    some = counts.ravel()
    rest = aside.ravel() - shared @ np.linalg.lstsq(shared[some], aside.ravel()[some], rcond=None)[0]
    assert np.allclose(told, np.abs(rest.reshape(number, 4)[:, -1]), rtol=0.05, atol=2e-3)
    assert told.max() > 0.02
