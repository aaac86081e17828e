"""What warmth tells of a gasket land that grey does not."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.measure.face_kit import SIZE_PX, drawn_plane
from tests.measure.gasket_kit import CENTRE_MM, RADII_MM, colour_land, draw_land, figure, look, of_kind
from wearvision.measure.finders.land_look import Figure, unlike_of
from wearvision.measure.unwrap import unwrap, unwrapped_as
from wearvision.measure.warmth import LEVELS, warmth_of
from wearvision.quantity import Measured, Unmeasured

BITES = (("inner", 100.0, 20.0, 4.0),)


@pytest.mark.parametrize("shadow_mm", [0.8, 1.5])
def test_a_sheet_of_its_grounds_grey_is_told_by_its_colour(shadow_mm: float) -> None:
    """Its shadow shows where it lies; by greys alone no bite does, and that is said."""
    plane = drawn_plane(known=True)
    gray = draw_land(plane, bites=BITES, tones=(150, 150), shadow_mm=shadow_mm)
    plain = look(gray, plane)
    assert not of_kind(plain, "notch")
    unmeasured = of_kind(plain, "gasket-land")[0].quantities["remaining_width"]
    assert isinstance(unmeasured, Unmeasured)
    assert "not seen" in unmeasured.reason
    seen = look(gray, plane, colour=colour_land(gray, plane, bites=BITES, warm=1.3))
    assert len(of_kind(seen, "notch")) == 1
    least = figure(of_kind(seen, "gasket-land")[0], "remaining_width")
    assert abs(least.value - 8.0) < least.u95


def test_what_differs_in_warmth_alone_is_told_apart_by_it() -> None:
    rng = np.random.default_rng(3)
    where = np.repeat([2, 1, 2], 40)
    tone, grain, warm = (rng.normal(0, 1, (300, 120)).astype(np.float32) for _ in range(3))
    warm += np.where(where == 2, np.float32(5), np.float32(0))
    level = np.zeros(300, np.float32)
    figures = [Figure(values=v, usual=level, spread=1.0) for v in (tone, grain, warm)]
    seen = np.ones(tone.shape, dtype=bool)
    told = unlike_of(*figures, where, seen)
    assert np.mean(told[:, where == 2] > 0) > 0.95
    assert np.mean(told[:, where == 1] < 0) > 0.95
    assert np.abs(unlike_of(*figures[:2], None, where, seen)).mean() < 0.3


def test_a_photo_without_colours_is_told_as_one_in_grey() -> None:
    plane = drawn_plane(known=True)
    gray = draw_land(plane, bites=BITES)
    plain = look(gray, plane)
    same = look(gray, plane, colour=colour_land(gray, plane, bites=(), warm=1.0))
    for kind, name in (("gasket-land", "remaining_width"), ("notch", "loss")):
        (one,), (other,) = (of_kind(seen, kind) for seen in (plain, same))
        assert isinstance(one.quantities[name], Measured)
        assert figure(other, name).value == pytest.approx(figure(one, name).value, abs=0.05)


@pytest.mark.parametrize("share", [1.0, 0.5])
def test_warmth_is_the_logarithm_of_red_over_blue_and_shade_hardly_moves_it(share: float) -> None:
    colour = np.empty((60, 80, 3), np.uint8)
    colour[:] = np.rint(share * np.array([220, 150, 110]))
    warm = warmth_of(colour, drawn_plane(known=True))
    assert np.ptp(warm.image) == 0
    assert warm.image[0, 0] == pytest.approx(128 + LEVELS * np.log(2.0), abs=4)
    assert warm.plane.size_px == (80, 60)


def test_another_picture_of_a_ring_is_rolled_out_at_the_places_of_its_strip() -> None:
    plane = drawn_plane(known=True, tilt_deg=12.0)
    width, height = SIZE_PX
    x, y = np.meshgrid(np.arange(width, dtype=np.float64), np.arange(height, dtype=np.float64))
    picture = np.rint(120 + 90 * np.sin(x / 180) * np.cos(y / 150)).astype(np.uint8)
    strip = unwrap(picture, plane, CENTRE_MM, RADII_MM)
    small = cv2.resize(picture, (width // 4, height // 4), interpolation=cv2.INTER_AREA)
    again = unwrapped_as(strip, small, plane.shrunk(4, (width // 4, height // 4)))
    assert again.shape == strip.values.shape
    assert np.abs(again - strip.values)[strip.valid].max() < 3
