"""Gasket lands drawn with numpy: edges, least width, sizes and what is said of the rest."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from skimage.measure import find_contours

from tests.measure.face_kit import SIZE_PX, drawn_plane
from tests.measure.gasket_kit import CENTRE_MM, RADII_MM, RING, UNSTATED, draw_land, figure, look, of_kind
from wearvision.measure.chart import chart_of, grain_of
from wearvision.measure.finders.bites import Bite
from wearvision.measure.finders.gasket import roll_out, told
from wearvision.measure.finders.land_unseen import unseen
from wearvision.measure.guess_land import land_rings
from wearvision.quantity import Measured
from wearvision.stated import Stated


@pytest.mark.parametrize("tilt_deg", [0.0, 18.0])
@pytest.mark.parametrize("shadow_mm", [0.0, 1.5])
def test_a_sound_land_has_its_width_and_no_notch(tilt_deg: float, shadow_mm: float) -> None:
    plane = drawn_plane(tilt_deg=tilt_deg)
    seen = look(draw_land(plane, shadow_mm=shadow_mm), plane)
    least = figure(of_kind(seen, "gasket-land")[0], "remaining_width")
    assert abs(least.value - 12.0) < max(0.15, 1.96 * least.u)
    assert not of_kind(seen, "notch")
    assert not of_kind(seen, "crack")


def test_the_claimed_interval_holds_the_error_over_noise() -> None:
    plane, inside = drawn_plane(known=True), []
    for noise in (1.0, 3.0, 6.0):
        for seed in range(4):
            gray = draw_land(plane, bites=(("inner", 40.0 + 60 * seed, 24.0, 4.0),), noise=noise, seed=seed)
            least = figure(of_kind(look(gray, plane), "gasket-land")[0], "remaining_width")
            inside.append(abs(least.value - 8.0) < 1.96 * least.u)
    assert np.mean(inside) >= 0.9


def test_edges_agree_with_marching_squares() -> None:
    """Outside reference: scikit-image's iso-contour half way between the tones."""
    plane = drawn_plane(known=True)
    gray = draw_land(plane, noise=0.5)
    lines = find_contours(cv2.GaussianBlur(gray, (0, 0), 1.0).astype(float), 115.0)
    radii = sorted(float(np.median(np.hypot(*(plane.to_mm(line[:, ::-1]) - CENTRE_MM).T)))
                   for line in lines if len(line) > 500)  # fmt: skip
    width = figure(of_kind(look(gray, plane), "gasket-land")[0], "width")
    assert width.value == pytest.approx(radii[-1] - radii[0], abs=0.1)


def test_without_sizes_the_ring_that_is_surely_a_land_is_taken_and_that_is_said() -> None:
    plane = drawn_plane()
    seen = look(draw_land(plane), plane, UNSTATED)
    assert figure(of_kind(seen, "gasket-land")[0], "remaining_width").value == pytest.approx(12.0, abs=0.3)
    assert "size of the land" in {what for what, _ in seen.not_assessed}


def test_without_sizes_no_ring_between_unlike_neighbours_is_taken() -> None:
    """Ground between a bore and a dark rim has clear edges, too."""
    plane = drawn_plane()
    gray = draw_land(plane)
    mm = plane.to_mm(np.indices(gray.shape)[::-1].reshape(2, -1).T.astype(float)) - CENTRE_MM
    gray[(np.hypot(*mm.T) < RADII_MM[0]).reshape(gray.shape)] = 30
    seen = look(gray, plane, UNSTATED)
    assert not seen.findings
    assert any("cannot be told" in why for what, why in seen.not_assessed if what == "gasket land")


def test_without_sizes_a_sheet_on_rusty_ground_is_taken() -> None:
    """Its tone lies between those of the ground, which is darker here and brighter there."""
    plane, rng = drawn_plane(), np.random.default_rng(6)
    gray = draw_land(plane, tones=(110.0, 170.0)).astype(np.float64)
    rust = cv2.GaussianBlur(rng.normal(0, 1, gray.shape), (0, 0), 8) > 0.02
    gray[rust & (gray > 145)] -= 70
    seen = look(np.asarray(np.clip(gray, 0, 255), dtype=np.uint8), plane, UNSTATED)
    assert figure(of_kind(seen, "gasket-land")[0], "width").value == pytest.approx(12.0, abs=0.3)


@pytest.mark.parametrize("width_mm", [11.8, 12.0, 14.5])
def test_of_its_width_alone_a_ring_that_wide_is_taken_and_that_is_said(width_mm: float) -> None:
    plane = drawn_plane()
    seen = look(draw_land(plane), plane, Stated(view="gasket-land", nominal={"land_width_mm": width_mm}))
    lands = of_kind(seen, "gasket-land")
    if width_mm > 14:
        assert not lands
        return
    assert figure(lands[0], "remaining_width").value == pytest.approx(12.0, abs=0.3)
    assert "size of the land" in {what for what, _ in seen.not_assessed}


@pytest.mark.parametrize("told", ["inner", "outer"])
def test_one_diameter_and_the_width_tell_the_other(told: str) -> None:
    plane = drawn_plane()
    size = {"inner": 76.0, "outer": 100.0}[told]
    nominal = {f"land_{told}_diameter_mm": size, "land_width_mm": 12.0}
    seen = look(draw_land(plane), plane, Stated(view="gasket-land", nominal=nominal))
    assert figure(of_kind(seen, "gasket-land")[0], "remaining_width").value == pytest.approx(12.0, abs=0.3)
    assert "size of the land" not in {what for what, _ in seen.not_assessed}


def test_an_empty_photo_says_what_to_do() -> None:
    plane = drawn_plane()
    seen = look(np.full((690, 900), 120, np.uint8), plane)
    assert not seen.findings
    assert any("land_inner_diameter_mm" in why for _, why in seen.not_assessed)


@pytest.mark.parametrize(("ground", "clear"), [(150.0, True), (104.0, False)])
def test_an_edge_that_hardly_stands_out_is_told_nowhere(ground: float, clear: bool) -> None:
    plane, rng = drawn_plane(), np.random.default_rng(2)
    gray = draw_land(plane, tones=(100.0, ground)) + 3 * cv2.GaussianBlur(rng.normal(0, 6, SIZE_PX[::-1]), (0, 0), 2)
    land = roll_out(np.asarray(np.clip(gray, 0, 255), dtype=np.uint8), plane, RING, (), blur_px=0.8)
    assert told(land).mean() > 0.9 if clear else not told(land).any()


@pytest.mark.parametrize(("arc_deg", "hidden"), [(0.0, False), (6.0, False), (30.0, True)])
def test_where_an_edge_is_not_seen_the_least_width_is_not_told(arc_deg: float, hidden: bool) -> None:
    """Beside an arc of the outer edge, straight to the right, the ground is as the land is: a bite would not show."""
    plane = drawn_plane(known=True)
    gray, rng = draw_land(plane), np.random.default_rng(4)
    x, y = np.meshgrid(np.arange(gray.shape[1]), np.arange(gray.shape[0]))
    mm = plane.to_mm(np.column_stack([x.ravel(), y.ravel()]).astype(float)) - CENTRE_MM
    aside = np.abs(np.degrees(np.arctan2(mm[:, 1], mm[:, 0]))).reshape(gray.shape)
    alike = (aside < arc_deg / 2) & (np.hypot(*mm.T).reshape(gray.shape) > 49.0)
    gray[alike] = np.clip(rng.normal(80, 2, int(alike.sum())), 0, 255)
    land = of_kind(look(gray, plane), "gasket-land")[0]
    least = land.quantities["remaining_width"]
    assert isinstance(least, Measured) is not hidden
    if not isinstance(least, Measured):
        assert "outer edge is not seen" in least.reason
        assert "at 3 o'clock" in least.reason
        place = plane.to_mm(land.places_px[:1])[0] - CENTRE_MM
        assert abs(math.degrees(math.atan2(place[1], place[0]))) < 3.0


def test_a_stretch_goes_on_over_the_start_of_the_lap_and_a_bite_is_none() -> None:
    plane = drawn_plane()
    land = roll_out(draw_land(plane), plane, RING, (), blur_px=0.8)
    land = replace(land, tones=replace(land.tones, unlike=np.full_like(land.tones.unlike, -1)))
    told_at = np.ones((2, len(land.deg)), dtype=bool)
    told_at[:, :30] = told_at[:, -30:] = False
    both = unseen(land, [], told_at)
    assert [len(s.rows) for s in both] == [60, 60]
    assert both[0].rows[30] == 0
    rows = both[0].rows
    bite = Bite(edge=0, rows=rows, loss_mm=np.ones(60), log_odds=3.0, traits={})
    assert [s.edge for s in unseen(land, [bite], told_at)] == [1]


def test_a_smooth_sheet_in_the_tone_of_its_rough_ground_is_found_with_nothing_stated() -> None:
    plane = drawn_plane(tilt_deg=5.0)
    land = draw_land(plane, tones=(80.0, 150.0), noise=0.0) < 115
    grains = cv2.GaussianBlur(np.random.default_rng(3).normal(size=land.shape), (0, 0), 3.0)
    image = np.where(land, 130.0, 130.0 + 24.0 * grains / grains.std())
    gray = np.clip(np.rint(cv2.GaussianBlur(image, (0, 0), 0.8)), 0, 255).astype(np.uint8)
    assert land_rings(chart_of(gray, plane, ())) is None
    found = land_rings(grain_of(chart_of(gray, plane, ())))
    assert found is not None
    assert np.abs(np.array(found[1]) - RADII_MM).max() < 1.6 and np.hypot(*(found[0] - CENTRE_MM)) < 1.0
