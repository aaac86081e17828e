"""Cracks across gasket lands drawn with numpy, and what is none."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from tests.measure.face_kit import drawn_plane
from tests.measure.gasket_kit import CENTRE_MM, RADII_MM, RING, draw_land, figure, look, of_kind
from wearvision.measure.finders.bite_end import walled
from wearvision.measure.finders.bites import Bite
from wearvision.measure.finders.dark_line import dark_lines
from wearvision.measure.finders.gasket import roll_out, settled
from wearvision.measure.plane import Array, Plane


def test_a_crack_from_edge_to_edge_is_suspected() -> None:
    plane = drawn_plane()
    (crack,) = of_kind(look(draw_land(plane, crack_deg=-70.0), plane), "crack")
    assert crack.flags == ("suspected",)
    for name, true in (("length", 12.0), ("width", 0.5)):
        got = figure(crack, name)
        assert abs(got.value - true) < 1.96 * got.u


@pytest.mark.parametrize("tones", [(40.0, 120.0), (150.0, 90.0)])
@pytest.mark.parametrize("noise", [1.0, 3.0])
def test_a_short_fine_crack_within_the_land_is_suspected(tones: tuple[float, float], noise: float) -> None:
    plane = drawn_plane(mm_per_px=0.15, size_px=(1020, 782))
    gray = draw_land(plane, tones=tones, noise=noise * tones[0] / 80, crack_deg=40.0, crack_mm=(41.0, 47.0, 0.2))
    (crack,) = of_kind(look(gray, plane), "crack")
    length = figure(crack, "length")
    assert abs(length.value - 6.0) < 1.96 * length.u
    middle = plane.to_mm(crack.places_px[:1])[0] - CENTRE_MM
    assert math.degrees(math.atan2(middle[1], middle[0])) == pytest.approx(40.0, abs=1.0)


def test_a_lathe_line_a_stain_and_a_bites_shadow_are_no_cracks() -> None:
    plane = drawn_plane()
    bites = (("outer", 100.0, 6.0, 6.0), ("inner", 200.0, 14.0, 4.0))
    gray = draw_land(plane, bites=bites, shadow_mm=1.0, stain=True, lathe_mm=44.0)
    assert not of_kind(look(gray, plane), "crack")


@pytest.mark.parametrize("end_mm", [43.0, 45.0, 47.5])
def test_a_crack_over_against_a_wide_bite_or_from_its_tip_is_a_crack(end_mm: float) -> None:
    plane = drawn_plane()
    gray = draw_land(plane, bites=(("outer", 60.0, 24.0, 3.0),), crack_deg=60.0, crack_mm=(38.0, end_mm, 0.4))
    seen = look(gray, plane)
    (notch,), (crack,) = of_kind(seen, "notch"), of_kind(seen, "crack")
    assert figure(notch, "loss").value == pytest.approx(3.0, abs=0.3)
    length = figure(crack, "length")
    assert abs(length.value - (min(end_mm, 47.0) - 38.0)) < 1.96 * length.u


def test_a_crack_across_through_a_stain_at_its_edge_is_no_wall_of_a_bite() -> None:
    """The stain may be taken for a bite narrower than the crack is long; the crack goes on to the other edge."""
    plane = drawn_plane()
    land = settled(roll_out(draw_land(plane, crack_deg=60.0), plane, RING, (), blur_px=0.8))
    lines = dark_lines(land)
    rows = np.flatnonzero(np.abs(land.deg - 60.0) < 6.0)
    traits = {"arc_mm": 7.0, "loss": 4.0}
    stain = Bite(edge=0, rows=rows, loss_mm=np.full(len(rows), 4.0), log_odds=3.0, traits=traits)
    (bite,), (line,) = walled(land, [stain], lines)
    assert bite is stain
    assert np.ptp(lines.mm(line)) > 9.0


def test_a_dark_crack_from_a_shallow_bite_does_not_carry_it_on() -> None:
    plane = drawn_plane()
    gray = draw_land(plane, bites=(("outer", 60.0, 8.0, 1.5),), crack_deg=60.0, crack_mm=(40.0, 48.4, 0.4))
    seen = look(gray, plane)
    (notch,), (crack,) = of_kind(seen, "notch"), of_kind(seen, "crack")
    assert figure(notch, "loss").value == pytest.approx(1.5, abs=0.35)
    length = figure(crack, "length")
    assert abs(length.value - 8.4) < 1.96 * length.u


def test_bright_stains_on_a_land_do_not_hide_a_fine_crack() -> None:
    """Their edges are no grain: they are darker than one side only."""
    plane, rng = drawn_plane(), np.random.default_rng(3)
    gray = draw_land(plane, crack_deg=60.0, crack_mm=(*RADII_MM, 0.2)).astype(np.float64)
    blotch = cv2.GaussianBlur(rng.normal(0, 1, gray.shape), (0, 0), 6) > 0.045
    blotch &= aside_mm(plane, gray.shape, 60.0) > 2.0
    stained = cv2.GaussianBlur(np.where(blotch & (gray < 110), 135.0, gray), (0, 0), 0.6)
    cracks = of_kind(look(np.asarray(np.rint(stained), dtype=np.uint8), plane), "crack")
    assert cracks
    length = figure(cracks[0], "length")
    assert abs(length.value - 12.0) < 1.96 * length.u


@pytest.mark.parametrize(("dark", "told"), [(0.75, 0), (0.35, 1)])
def test_a_pale_line_as_true_as_a_tools_is_a_scratch(dark: float, told: int) -> None:
    plane = drawn_plane(mm_per_px=0.12, size_px=(1275, 978))
    gray = draw_land(plane, noise=1.0)
    line = aside_mm(plane, gray.shape, 60.0)
    gray[(line < 0.25) & (gray < 110)] = round(80 * dark)
    assert len(of_kind(look(gray, plane), "crack")) == told


def aside_mm(plane: Plane, shape: tuple[int, ...], deg: float) -> Array:
    """How far each pixel lies off the straight line from the land's centre at an angle, mm."""
    mm = plane.to_mm(np.indices(shape)[::-1].reshape(2, -1).T.astype(float)) - CENTRE_MM
    way = np.array([math.cos(math.radians(deg)), math.sin(math.radians(deg))])
    off = np.abs(mm @ np.array([-way[1], way[0]]))
    return np.where(mm @ way > 0, off, np.inf).reshape(shape)
