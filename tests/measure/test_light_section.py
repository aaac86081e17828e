"""Depth under a line of light: triangulation against rays and planes worked out on their own, and drawn lines."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.measure.face_kit import drawn_plane
from wearvision.measure.finders.light_elevation import stated_elevation
from wearvision.measure.finders.light_ground import Ground
from wearvision.measure.finders.light_line import LightLine, find_line
from wearvision.measure.finders.light_plane import Sound, depths, sound_line, steepness_deg, straight_line
from wearvision.measure.finders.light_section import find_sections
from wearvision.measure.look import Look
from wearvision.measure.plane import Array, Plane
from wearvision.measure.views import line_light
from wearvision.quantity import Measured, Unmeasured
from wearvision.stated import Stated

ELEVATION = 40.0
ALONG, TOWARDS = np.array([1.0, 0.0]), np.array([0.0, 1.0])
FLAT = Sound(point_mm=np.zeros(2), along=ALONG, towards=TOWARDS, spread_mm=0.0, level_u_mm=0.0)


def lit_px(plane: Plane, along_mm: Array, depth_mm: Array, elevation_deg: float = ELEVATION) -> Array:
    """Where the camera sees the light on a surface that lies `depth` below the plane: by projection, not by rays."""
    rotation, shift = plane.pose
    away = np.sign((shift @ rotation)[2])
    aside = depth_mm / np.tan(np.radians(elevation_deg))
    world = np.column_stack([along_mm, np.zeros_like(along_mm), depth_mm * away])
    world[:, :2] += np.outer(aside, TOWARDS)
    camera = world @ rotation.T + shift
    uv = camera[:, :2] / camera[:, 2:]
    return np.asarray(plane.focal_px * uv + plane.theta[8:10])


@pytest.mark.parametrize("tilt_deg", [0.0, 10.0, 20.0])
@pytest.mark.parametrize("elevation_deg", [25.0, 40.0, 65.0])
def test_triangulation_is_the_inverse_of_projection(tilt_deg: float, elevation_deg: float) -> None:
    plane = drawn_plane(tilt_deg=tilt_deg)
    along, depth = np.linspace(-30, 30, 7), np.array([0.0, 0.5, 1.0, 2.0, 3.0, 0.2, 0.0])
    px = lit_px(plane, along, depth, elevation_deg)
    assert depths(plane, px, FLAT, elevation_deg) == pytest.approx(depth, abs=1e-9)


def test_a_camera_that_looks_along_the_light_is_told() -> None:
    plane = drawn_plane(tilt_deg=25.0)
    angles = [
        steepness_deg(plane, plane.to_px(np.zeros((1, 2))), replace(FLAT, towards=side * TOWARDS), 65.0)
        for side in (1, -1)
    ]
    assert min(angles) < 1.0
    assert max(angles) == pytest.approx(50.0, abs=1.0)


def test_seen_from_straight_above_the_shift_is_depth_over_the_tangent() -> None:
    """The formula of the textbooks, for a far camera square to the plane."""
    plane = drawn_plane(tilt_deg=0.0, mm_per_px=0.17)
    px = lit_px(plane, np.array([0.0]), np.array([1.0]))
    shift = plane.to_mm(px)[0] - np.array([0.0, 0.0])
    assert shift[1] == pytest.approx(1 / np.tan(np.radians(ELEVATION)), rel=0.02)


def drawn_line(plane: Plane, depth: Array, along: Array, *, seed: int = 0) -> NDArray[np.uint8]:
    """A noisy picture with a bright line, 2 px wide at one sigma, where the light would be seen."""
    rng = np.random.default_rng(seed)
    width, height = plane.size_px
    px = lit_px(plane, along, depth)
    columns = np.arange(width)
    row = np.interp(columns, px[:, 0], px[:, 1])
    lit = (columns > px[:, 0].min()) & (columns < px[:, 0].max())
    line = np.exp(-0.5 * ((np.arange(height)[:, None] - row[None, :]) / 2.0) ** 2) * lit
    return np.asarray(np.clip(rng.normal(110, 4, (height, width)) + 60 * line, 0, 255), dtype=np.uint8)


def test_a_drawn_groove_is_as_deep_as_drawn() -> None:
    errors, bounds = [], []
    for seed, true in enumerate((0.8, 1.2, 1.8, 2.5)):
        plane = drawn_plane(tilt_deg=4.0 * seed)
        along = np.linspace(-45, 45, 1200)
        depth = true * np.clip((2.5 - np.abs(along - 8)) / 0.6, 0, 1)
        gray = drawn_line(plane, depth, along, seed=seed)
        line = find_line(Ground(gray=gray, plane=plane))
        assert isinstance(line, LightLine)
        sound = sound_line(line, straight_line(line), plane, ELEVATION)
        told = depths(plane, plane.to_px(line.points_mm()), sound, ELEVATION)
        [finding] = find_sections(line, told, sound, plane, stated_elevation(ELEVATION))
        deep = finding.quantities["depth"]
        assert isinstance(deep, Measured)
        errors.append(abs(deep.value - true))
        bounds.append(deep.u95)
    assert np.median(errors) < 0.08
    assert all(e <= u for e, u in zip(errors, bounds, strict=True))


def straight() -> tuple[Plane, LightLine]:
    """A line over a face without any wear, as it is found."""
    plane = drawn_plane()
    line = find_line(Ground(gray=drawn_line(plane, np.zeros(1200), np.linspace(-45, 45, 1200)), plane=plane))
    assert isinstance(line, LightLine)
    return plane, line


def test_what_is_shallow_against_the_metal_beside_it_is_not_told() -> None:
    plane, line = straight()
    sound = sound_line(line, straight_line(line), plane, ELEVATION)
    place, light = (line.column - line.column.mean()) * line.patch.step_mm, stated_elevation(ELEVATION)
    dip = 0.26 * (np.abs(place) < 2.0)
    assert len(find_sections(line, dip, sound, plane, light)) == 1
    assert find_sections(line, 0.05 + 0.9 * dip, sound, plane, light) == ()


def test_a_dip_with_little_sound_metal_on_one_side_is_told_and_doubted_more() -> None:
    plane, line = straight()
    sound = sound_line(line, straight_line(line), plane, ELEVATION)
    from_end = (line.column - line.column[0]) * line.patch.step_mm
    told = {}
    for name, start in (("one-sided", 0.6), ("whole", 10.0), ("open", 0.0)):
        dip = 0.9 * ((from_end >= start) & (from_end < start + 3.0))
        told[name] = find_sections(line, dip, sound, plane, stated_elevation(ELEVATION))
    assert [[f.flags for f in found] for found in told.values()] == [[("one-sided",)], [()], []]
    depth = [told[name][0].quantities["depth"] for name in ("one-sided", "whole")]
    assert all(isinstance(d, Measured) and abs(d.value - 0.9) < d.u95 for d in depth)
    one_sided, whole = (d.budget["level"] for d in depth if isinstance(d, Measured))
    assert one_sided > 3 * whole


def test_a_band_is_no_longer_than_what_is_open() -> None:
    plane = drawn_plane()
    gray = drawn_line(plane, np.zeros(1200), np.linspace(-45, 45, 1200))
    ring = np.radians(np.arange(0, 360, 5))
    outline = plane.to_px(30.0 * np.column_stack([np.cos(ring), np.sin(ring)]))
    band = Ground(gray=gray, plane=plane, within_px=outline).band(np.zeros(2), np.array([1.0, 0.0]), 8.0)
    assert band is not None
    patch, free = band
    assert 60.0 < (free.shape[1] - 1) * patch.step_mm < 65.0
    assert free.any(axis=0).sum() * patch.step_mm == pytest.approx(60.0, abs=0.6)
    away = Ground(gray=gray, plane=plane, within_px=outline).band(np.array([0.0, 60.0]), np.array([1.0, 0.0]), 8.0)
    assert away is None


def test_no_line_no_elevation_or_a_flat_light_are_said() -> None:
    plane = drawn_plane()
    noise = np.random.default_rng(1).normal(110, 4, plane.size_px[::-1]).clip(0, 255).astype(np.uint8)
    assert isinstance(find_line(Ground(gray=noise, plane=plane)), Unmeasured)
    for nominal, words in (({}, "light_elevation_deg"), ({"light_elevation_deg": 3.0}, "cannot be triangulated")):
        seen = line_light.see(Look(gray=noise, plane=plane, stated=Stated(view="line-light", nominal=nominal)))
        assert seen.findings == ()
        assert any(words in why for _, why in seen.not_assessed)


def test_what_does_not_run_straight_is_no_line_of_light() -> None:
    plane = drawn_plane()
    along = np.linspace(-45, 45, 1200)
    seen = line_light.see(Look(
        gray=drawn_line(plane, 4.0 - (along / 14) ** 2, along), plane=plane,
        stated=Stated(view="line-light", nominal={"light_elevation_deg": ELEVATION}),
    ))  # fmt: skip
    assert seen.findings == () and any("hardly runs straight" in why for _, why in seen.not_assessed)
