"""Ways round spots on drawn rays: where they rise, how steeply, from what to what."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.face_kit import drawn_plane
from wearvision.measure.edges import Grid
from wearvision.measure.finders.pit_outline import RAYS, SAMPLES, SKIP, _levels, outlined, round_ways
from wearvision.measure.plane import Array


def risen(edge: Array, height: float = 1.0, noise: float = 0.0) -> Grid:
    """Rays (1, RAYS, SAMPLES) that rise at a place each, with some noise."""
    far = np.arange(SAMPLES)[None, :] - edge[:, None]
    rough = noise * np.random.default_rng(5).normal(size=far.shape)
    return np.asarray(height / (1 + np.exp(-2 * far)) + rough, dtype=np.float32)[None]


def test_the_way_lies_where_the_rays_rise_and_is_as_steep_as_numpy_says() -> None:
    edge = np.round(12 + 5 * np.sin(np.arange(RAYS) * 2 * np.pi / RAYS))
    tone = risen(edge)
    place, steep = round_ways(tone)
    np.testing.assert_array_equal(place[0], edge)
    np.testing.assert_allclose(steep[0], np.gradient(tone[0], axis=1)[np.arange(RAYS), place[0]], rtol=1e-6)


def test_no_step_of_a_way_is_wider_than_two_samples_nor_where_it_closes() -> None:
    tone = np.random.default_rng(7).normal(size=(40, RAYS, SAMPLES)).astype(np.float32)
    place, _ = round_ways(tone)
    moved = np.abs(place - np.roll(place, 1, axis=1))
    seam = RAYS // 2
    assert np.delete(moved, seam, axis=1).max() <= 2
    assert np.mean(moved[:, seam] <= 2) > 0.8, "two laps close nearly every way, even over noise alone"


def test_one_ray_that_errs_does_not_bend_the_way() -> None:
    edge = np.full(RAYS, 10.0)
    tone = risen(edge)
    tone[0, 6] = risen(np.full(RAYS, 20.0))[0, 0]
    place, _ = round_ways(tone)
    assert np.abs(place[0] - 10).max() <= 2


@pytest.mark.parametrize("noise", [0.0, 0.05])
def test_the_rise_is_from_the_mean_inside_to_that_outside_and_the_rest_is_rough(noise: float) -> None:
    edge = np.full(RAYS, 9.0)
    tone = risen(edge, 2.0, noise)
    rise, rough = _levels(tone, edge.astype(np.int64)[None])
    start, stop = 9 + SKIP, 9 + SKIP + SAMPLES // 4
    expect = tone[0, :, start:stop].mean(axis=1, dtype=np.float64) - tone[0, :, :9].mean(axis=1, dtype=np.float64)
    np.testing.assert_allclose(rise[0], expect, rtol=1e-9)
    assert rough[0] == pytest.approx(float(tone[0, :, start:].std(dtype=np.float64)), abs=1e-6)


def test_a_disc_is_outlined_where_it_is_on_a_tilted_plane() -> None:
    plane = drawn_plane(tilt_deg=20.0)
    height, width = plane.size_px[::-1]
    y, x = np.mgrid[:height, :width]
    off = np.hypot(*(plane.to_mm(np.column_stack([x.ravel(), y.ravel()])) - [12.0, -7.0]).T).reshape(height, width)
    gray = np.where(off < 1.5, 60, 180).astype(np.uint8)
    spots = outlined(gray, plane, np.array([[12.3, -7.2]]), np.array([1.7]))
    assert np.hypot(*(spots.centre_mm[0] - [12.0, -7.0])) < 0.05, "the rays' own mean would be half way there only"
    assert spots.radius_mm[0] == pytest.approx(1.5, abs=0.12)
    assert spots.dark[0] == pytest.approx(np.log(188 / 68), abs=0.1)
    (spot,) = spots.spots()
    assert spot.radius_mm == spots.radius_mm[0] and spot.closed == 1.0
