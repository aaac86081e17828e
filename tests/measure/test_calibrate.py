"""A crate finds out its camera's lens, and knows whether it may use it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wearvision.measure.calibrate import LEAST_SHOTS, Calibration, calibrate
from wearvision.measure.lens import Lens
from wearvision.measure.plane import Plane
from wearvision.measure.pose import MOVED, solve
from wearvision.quantity import Unmeasured
from wearvision.scenes.coverage import FOCAL35_MM, SIZE_PX, draw_camera
from wearvision.scenes.scale_cards import Shot, draw_print, draw_shot


def crate(seed: int, count: int = 12, k1: float = 0.05) -> tuple[np.ndarray, list[Shot]]:
    rng = np.random.default_rng(seed)
    camera = draw_camera(rng, 0.0)
    camera[1] = k1
    prints = [draw_print(rng, 0)]
    return camera, [draw_shot(rng, camera, prints) for _ in range(count)]


def calibrated(shots: list[Shot]) -> Calibration:
    found = calibrate([s.sightings for s in shots], size_px=SIZE_PX, focal35_mm=FOCAL35_MM)
    assert isinstance(found, Calibration)
    return found


@pytest.mark.parametrize(("seed", "k1"), [(1, 0.05), (2, -0.05), (3, 0.01)])
def test_the_lens_is_found_within_what_is_claimed(seed: int, k1: float) -> None:
    camera, shots = crate(seed, k1=k1)
    found = calibrated(shots)
    z = (found.lens.mean - camera) / np.sqrt(np.diag(found.lens.covariance))
    assert np.abs(z).max() < 3
    assert abs(found.lens.mean[1] - k1) < 0.006
    assert found.evidence.convincing
    assert found.evidence.better >= 10


def test_photos_of_different_lenses_do_not_convince() -> None:
    shots = [s for k, k1 in enumerate((-0.08, 0.08, 0.0, -0.08, 0.08)) for s in crate(10 + k, 2, k1)[1]]
    assert not calibrated(shots).evidence.convincing


def test_few_photos_do_not_calibrate() -> None:
    found = calibrate([s.sightings for s in crate(4, LEAST_SHOTS - 1)[1]], size_px=SIZE_PX)
    assert isinstance(found, Unmeasured)
    assert "4 photos" in found.reason


def test_photos_from_one_place_count_once() -> None:
    """A burst agrees on what the print has wrong: no lens is told by that."""
    rng = np.random.default_rng(14)
    _, shots = crate(14, LEAST_SHOTS - 1)
    still = shots[0].sightings[0]
    burst = [
        (replace(still, corners_px=still.corners_px + 0.03 * rng.standard_normal(still.corners_px.shape)),)
        for _ in range(6)
    ]
    found = calibrate([*burst, *(s.sightings for s in shots[1:])], size_px=SIZE_PX, focal35_mm=FOCAL35_MM)
    assert isinstance(found, Unmeasured)
    assert found.reason == f"only {LEAST_SHOTS - 1} photos show a card from different places ({LEAST_SHOTS + 4} in all)"


def test_the_order_of_the_photos_does_not_matter_and_twice_is_the_same() -> None:
    _, shots = crate(5, 6)
    once, again, back = calibrated(shots), calibrated(shots), calibrated(shots[::-1])
    np.testing.assert_array_equal(once.lens.mean, again.lens.mean)
    np.testing.assert_allclose(once.lens.mean, back.lens.mean, rtol=1e-6, atol=1e-6)


def test_a_lens_that_moved_is_not_used_and_that_is_said() -> None:
    camera, shots = crate(6)
    lens = calibrated(shots).lens

    def seen(shot: Shot, lens: Lens | None) -> Plane:
        plane = solve(shot.sightings, size_px=SIZE_PX, focal35_mm=FOCAL35_MM, lens=lens)
        assert isinstance(plane, Plane)
        return plane

    rng = np.random.default_rng(7)
    good = seen(draw_shot(rng, camera, [draw_print(rng, k) for k in range(4)]), lens)
    assert (good.lens_source, good.doubts) == ("calibrated", ())
    camera[1] -= 0.08
    other = draw_shot(rng, camera, [draw_print(rng, k) for k in range(4)])
    plane = seen(other, lens)
    assert (plane.lens_source, plane.doubts[-1]) == ("exif", MOVED)
    np.testing.assert_allclose(plane.theta, seen(other, None).theta)


def test_a_lens_turns_with_the_picture() -> None:
    """A quarter turn: x of the sensor becomes y of the upright photo."""
    spread = np.diag([1.0, 2.0, 3.0, 4.0, 5.0])
    lens = Lens(mean=np.array([8.0, 0.02, 1990.0, 1510.0, 0.0]), covariance=spread, size_px=(4000, 3000), sigma_px=0.1)
    turned = lens.turned(np.array([[0.0, -1.0], [1.0, 0.0]]), np.array([2999.0, 0.0]), (3000, 4000))
    np.testing.assert_allclose(turned.mean, [8.0, 0.02, 1489.0, 1990.0, 0.0])
    np.testing.assert_allclose(np.diag(turned.covariance), [1, 2, 4, 3, 5])
    assert turned.size_px == (3000, 4000)


def test_one_card_of_another_print_or_bent_among_four_is_named() -> None:
    rng = np.random.default_rng(8)
    camera = draw_camera(rng, 0.0)
    shot = draw_shot(rng, camera, [draw_print(rng, k) for k in range(4)])
    small = shot.sightings[2]
    wrong = replace(small, corners_mm=small.corners_mm / 0.97)
    plane = solve(
        [*shot.sightings[:2], wrong, shot.sightings[3]], size_px=SIZE_PX, focal35_mm=FOCAL35_MM, checks=shot.checks
    )
    assert isinstance(plane, Plane)
    assert [name for name, _ in plane.doubts] == ["card 2 standard"]
    assert 2.3 < float(plane.doubts[0][1].split(" %")[0]) < 3.3
    assert "smaller than the others" in plane.doubts[0][1]
    all_good = solve(shot.sightings, size_px=SIZE_PX, focal35_mm=FOCAL35_MM, checks=shot.checks)
    assert isinstance(all_good, Plane)
    assert all_good.doubts == ()
    px = np.array([[1000.0, 800.0], [3000.0, 2200.0]])
    lengths = [float(np.linalg.norm(np.diff(p.to_mm(px), axis=0))) for p in (plane, all_good)]
    assert lengths[0] == pytest.approx(lengths[1], rel=0.001)
