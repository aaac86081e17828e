"""Elevation of the light from a step of known height: the textbook's formula, drawn lines, and honest error bars."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.face_kit import drawn_plane
from tests.measure.test_light_section import ELEVATION, drawn_line, lit_px
from wearvision.measure.finders.light_elevation import (
    ELEVATION_SD_DEG,
    Step,
    figure,
    find_step,
    join,
    stated_elevation,
)  # fmt: skip
from wearvision.measure.finders.light_ground import Ground
from wearvision.measure.finders.light_line import LightLine, find_line
from wearvision.measure.finders.light_plane import Elevation
from wearvision.measure.look import Look, Seen
from wearvision.measure.plane import Array, Plane
from wearvision.measure.views import line_light
from wearvision.quantity import Measured, Unmeasured
from wearvision.stated import Stated

ALONG = np.linspace(-45, 45, 1200)


def block(height_mm: float, middle_mm: float = -15.0, long_mm: float = 9.0) -> Array:
    """Depth along the line under a flat block."""
    return np.where(np.abs(ALONG - middle_mm) < long_mm / 2, -height_mm, 0.0)


def groove(depth_mm: float, middle_mm: float = 18.0, wide_mm: float = 5.0) -> Array:
    return depth_mm * np.clip((wide_mm / 2 - np.abs(ALONG - middle_mm)) / 0.6, 0, 1)


def line_over(depth: Array, plane: Plane, seed: int = 0) -> LightLine:
    line = find_line(Ground(gray=drawn_line(plane, depth, ALONG, seed=seed), plane=plane))
    assert isinstance(line, LightLine)
    return line


def step_on(depth: Array, height_mm: float, plane: Plane, seed: int = 0) -> Step:
    step = find_step(line_over(depth, plane, seed), plane, height_mm, None)
    assert isinstance(step, Step)
    return step


def test_the_shift_of_a_step_is_its_height_over_the_tangent() -> None:
    """The textbooks' formula s = h / tan(elevation), for a far camera square to the plane, and what is told of it."""
    plane, height = drawn_plane(), 1.5
    px = lit_px(plane, np.zeros(2), np.array([0.0, -height]))
    shift = float(np.hypot(*np.diff(plane.to_mm(px), axis=0)[0]))
    assert shift == pytest.approx(height / np.tan(np.radians(ELEVATION)), rel=0.02)
    assert step_on(block(height), height, plane).deg == pytest.approx(ELEVATION, abs=1.0)


@pytest.mark.parametrize("tilt_deg", [-12.0, 0.0, 15.0])
def test_a_step_tells_the_elevation_as_well_as_it_says(tilt_deg: float) -> None:
    plane = drawn_plane(tilt_deg=tilt_deg)
    shares = []
    for seed, height in enumerate((1.0, 1.5, 2.0, 3.0)):
        light = join(step_on(block(height) + groove(1.2), height, plane, seed), plane, None)
        assert isinstance(light, Elevation)
        told = figure(light, plane)
        shares.append(abs(told.value - ELEVATION) / told.u)
        assert told.u < 2.0
    assert np.sqrt(np.mean(np.square(shares))) < 1.6


def test_a_wrong_height_of_the_step_is_what_its_uncertainty_says() -> None:
    plane = drawn_plane()
    right, wrong = (step_on(block(2.0), height, plane) for height in (2.0, 2.02))
    assert wrong.deg - right.deg == pytest.approx(right.height_u_deg, rel=0.1)


def test_an_error_of_the_scale_does_not_reach_a_depth_told_from_a_step() -> None:
    """Depth over step is a ratio of shifts: the print scale drops out, but not of a depth under a stated elevation."""
    plane = drawn_plane()
    seen = see(block(2.0) + groove(1.5), {"light_step_mm": 2.0}, plane)
    stated = see(groove(1.5), {"light_elevation_deg": ELEVATION}, plane)
    budgets = [s.findings[0].quantities["depth"] for s in (seen, stated)]
    assert all(isinstance(b, Measured) for b in budgets)
    prints = [b.budget["print"] for b in budgets if isinstance(b, Measured)]
    assert prints[0] < 0.3 * prints[1]


def see(depth: Array, nominal: dict[str, float], plane: Plane) -> Seen:
    gray = drawn_line(plane, depth, ALONG)
    return line_light.see(Look(gray=gray, plane=plane, stated=Stated(view="line-light", nominal=nominal)))


def test_a_depth_comes_from_the_step_alone() -> None:
    seen = see(block(2.0) + groove(1.5), {"light_step_mm": 2.0}, drawn_plane())
    [finding] = seen.findings
    depth, light = finding.quantities["depth"], seen.summary["light_elevation"]
    assert isinstance(depth, Measured) and isinstance(light, Measured)
    assert abs(depth.value - 1.5) <= depth.u95 < 0.3
    assert abs(light.value - ELEVATION) <= light.u95 and "step" in light.how


def test_a_step_tells_which_way_the_light_comes_down() -> None:
    """A step alone, which would otherwise count as a dip, and no section with it."""
    assert see(block(2.0), {"light_step_mm": 2.0}, drawn_plane()).findings == ()


def test_stated_and_step_are_joined_and_asked_about_when_they_contradict_each_other() -> None:
    plane = drawn_plane()
    step = step_on(block(2.0), 2.0, plane)
    joint = join(step, plane, ELEVATION + 0.5)
    assert isinstance(joint, Elevation)
    assert joint.u_deg < min(step.u_deg, ELEVATION_SD_DEG)
    assert min(step.deg, ELEVATION + 0.5) <= joint.deg <= max(step.deg, ELEVATION + 0.5)
    contradiction = join(step, plane, ELEVATION + 12)
    assert isinstance(contradiction, Unmeasured) and "52 degrees are stated" in contradiction.reason
    seen = see(block(2.0) + groove(1.5), {"light_step_mm": 2.0, "light_elevation_deg": 52.0}, plane)
    assert seen.findings == () and any("52 degrees" in why for _, why in seen.not_assessed)


def test_no_step_a_slanting_one_and_two_that_differ_are_said() -> None:
    plane = drawn_plane()
    none = find_step(line_over(groove(1.0, wide_mm=4.0), plane), plane, 2.0, None)
    assert isinstance(none, Unmeasured) and "no flat step" in none.reason
    slant = np.where(block(1.0) < 0, -1.0 - 0.15 * (ALONG + 15.0), 0.0)
    assert isinstance(find_step(line_over(slant, plane), plane, 1.0, None), Unmeasured)
    both = line_over(block(2.0) + np.where(np.abs(ALONG - 20) < 4.5, 1.0, 0.0), plane)
    two = find_step(both, plane, 2.0, None)
    assert isinstance(two, Unmeasured) and "more than one" in two.reason
    assert isinstance(find_step(both, plane, 2.0, ELEVATION), Step)


def test_a_stated_elevation_is_the_same_in_every_plane() -> None:
    light = stated_elevation(33.0)
    assert (light.deg, light.u_deg, light.on(drawn_plane())) == (33.0, ELEVATION_SD_DEG, 33.0)
