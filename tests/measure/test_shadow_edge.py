"""A straightedge's shadow: its soft edge against error functions, and drawn shadows on blotched metal."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from tests.measure.face_kit import drawn_plane
from tests.measure.test_light_section import ELEVATION, lit_px
from wearvision.errors import BadInput
from wearvision.measure.finders.light_elevation import find_step, join, stated_elevation
from wearvision.measure.finders.light_ground import Ground
from wearvision.measure.finders.light_line import LightLine
from wearvision.measure.finders.light_plane import Elevation, depths, sound_line, straight_line
from wearvision.measure.finders.light_section import find_sections
from wearvision.measure.finders.shadow_edge import TONE, edges, softness
from wearvision.measure.finders.shadow_line import find_shadow
from wearvision.measure.look import Look
from wearvision.measure.plane import Array, Plane
from wearvision.measure.views import line_light
from wearvision.quantity import Measured, Unmeasured
from wearvision.stated import Stated

ROWS, COLUMNS = 90, 160
ALONG = np.linspace(-45, 45, 1200)
ERF = np.vectorize(math.erf)


def soft_edge(true: Array, sigma: float, *, noise: float = 0.0, metal: Array | float = 1.0) -> NDArray[np.float32]:
    """Light 0.1 in the shadow and 0.4 beside it, on metal of some tone."""
    rows = np.arange(ROWS)[:, None]
    risen = 0.5 * (1 + ERF((rows - true[None, :]) / sigma / np.sqrt(2)))
    grain = np.random.default_rng(1).normal(0, noise, (ROWS, COLUMNS)) if noise else 0.0
    return np.asarray((0.1 + 0.3 * risen) * metal + grain, dtype=np.float32)


@given(off=st.floats(-0.5, 0.5), sigma=st.floats(1.0, 7.0))
def test_the_middle_of_a_soft_edge_is_where_half_of_the_lamp_is_seen(off: float, sigma: float) -> None:
    true = np.full(COLUMNS, 44.0 + off)
    start, columns = np.full(COLUMNS, 44), np.arange(COLUMNS)
    light = soft_edge(true, sigma)
    soft = softness(light, start, columns, 30)
    assert soft == pytest.approx(max(sigma, 1.0), rel=0.25, abs=0.4)
    told = edges(light, start, columns, soft, 1)
    assert np.abs(told.row - true).max() < 0.08
    assert told.sure().all()


def test_an_even_tone_of_the_metal_leaves_the_middle_and_noise_scatters_it_in_proportion() -> None:
    true = np.full(COLUMNS, 44.0)
    start, columns = np.full(COLUMNS, 45), np.arange(COLUMNS)
    metal = np.linspace(0.3, 1.0, COLUMNS)[None, :]
    assert np.abs(edges(soft_edge(true, 3.0, metal=metal), start, columns, 3.0, 1).row - true).max() < 0.1
    spreads = [edges(soft_edge(true, 3.0, noise=n), start, columns, 3.0, 1).row.std() for n in (0.004, 0.008)]
    assert spreads[1] / spreads[0] == pytest.approx(2.0, rel=0.3)


def drawn_shadow(
    plane: Plane, depth: Array, *, soft_mm: float = 0.25, seed: int = 0, shadow: bool = True
) -> NDArray[np.uint8]:
    """Blotched metal under a dull bar and its shadow; the shadow's far edge lies where the plane of light meets it."""
    rng = np.random.default_rng(seed)
    width, height = plane.size_px
    blotches = cv2.resize(rng.normal(0, 1, (14, 18)), (width, height), interpolation=cv2.INTER_CUBIC)
    metal = 0.45 * np.exp(0.18 * blotches)
    px = lit_px(plane, ALONG, depth)
    row = np.interp(np.arange(width), px[:, 0], px[:, 1])
    away = np.arange(height)[:, None] - row[None, :]
    level = np.arange(height)[:, None] - float(np.median(row))
    sigma = soft_mm / 0.17
    lit = 0.5 * (1 + ERF(np.clip(away / sigma / np.sqrt(2), -4, 4))) if shadow else np.ones_like(away)
    light = metal * (0.2 + 0.8 * lit)
    light = np.where((level < -32) & (level > -110), 0.3, np.where(level <= -110, metal, light))
    tone = 255 * np.clip(cv2.GaussianBlur(light, (0, 0), 0.8), 0, 1) ** (1 / TONE)
    return np.asarray(np.clip(tone + rng.normal(0, 2, tone.shape), 0, 255), dtype=np.uint8)


def groove(depth_mm: float, middle_mm: float = 14.0) -> Array:
    return depth_mm * np.clip((2.5 - np.abs(ALONG - middle_mm)) / 0.6, 0, 1)


def seen(plane: Plane, gray: NDArray[np.uint8]) -> LightLine:
    lines = find_shadow(Ground(gray=gray, plane=plane))
    assert not isinstance(lines, Unmeasured), lines
    return next(lines)


@pytest.mark.parametrize("seed", range(3))
def test_a_groove_under_a_shadow_is_as_deep_as_drawn(seed: int) -> None:
    plane, true = drawn_plane(tilt_deg=4.0 * seed), 1.0 + 0.6 * seed
    line = seen(plane, drawn_shadow(plane, groove(true), soft_mm=(0.1, 0.25, 0.4)[seed], seed=seed))
    sound = sound_line(line, straight_line(line), plane, ELEVATION, 1.0)
    told = depths(plane, plane.to_px(line.points_mm()), sound, ELEVATION)
    [finding] = find_sections(line, told, sound, plane, stated_elevation(ELEVATION))
    deep = finding.quantities["depth"]
    assert isinstance(deep, Measured)
    assert abs(deep.value - true) <= deep.u95 < 0.5


def test_a_step_under_a_shadow_tells_its_elevation() -> None:
    plane = drawn_plane()
    block = np.where(np.abs(ALONG + 15) < 4.5, -2.0, 0.0)
    gray = drawn_shadow(plane, block)
    lines = find_shadow(Ground(gray=gray, plane=plane), band_mm=11.0)
    assert not isinstance(lines, Unmeasured)
    steps = [find_step(line, plane, 2.0, None) for line in lines]
    step = next(s for s in steps if not isinstance(s, Unmeasured))
    light = join(step, plane, None)
    assert isinstance(light, Elevation)
    assert abs(light.deg - ELEVATION) < 2.5 * light.u_deg


def test_a_shadow_too_soft_or_missing_is_said() -> None:
    plane = drawn_plane()
    soft = find_shadow(Ground(gray=drawn_shadow(plane, 0 * ALONG, soft_mm=2.0), plane=plane))
    assert isinstance(soft, Unmeasured) and "too soft" in soft.reason
    rng = np.random.default_rng(2)
    noise = rng.normal(110, 4, plane.size_px[::-1]).clip(0, 255).astype(np.uint8)
    assert isinstance(find_shadow(Ground(gray=noise, plane=plane)), Unmeasured)
    bar_alone = find_shadow(Ground(gray=drawn_shadow(plane, 0 * ALONG, shadow=False), plane=plane))
    assert isinstance(bar_alone, Unmeasured)


def test_a_shadow_needs_a_face_and_a_known_kind_of_light() -> None:
    plane = drawn_plane()
    stated = Stated(view="line-light", light_kind="shadow", nominal={"light_elevation_deg": ELEVATION})
    told = line_light.see(Look(gray=drawn_shadow(plane, groove(1.0)), plane=plane, stated=stated))
    assert any("on a face only" in why for _, why in told.not_assessed)
    with pytest.raises(BadInput, match="kind of light"):
        Stated(light_kind="torch")  # type: ignore[arg-type]  # what a file may say
