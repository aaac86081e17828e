"""Gasket lands drawn with numpy: edges, least width, bites, cracks and what is said of the rest."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.measure import find_contours

from tests.measure.face_kit import SIZE_PX, drawn_plane
from wearvision.finding import Finding
from wearvision.measure.finders.bite_end import walled
from wearvision.measure.finders.bites import Bite
from wearvision.measure.finders.dark_line import dark_lines
from wearvision.measure.finders.gasket import Ring, roll_out, settled, told
from wearvision.measure.finders.land_unseen import unseen
from wearvision.measure.finders.notch import land_findings, left_of
from wearvision.measure.finders.way import best_way
from wearvision.measure.look import Look, Seen
from wearvision.measure.plane import Array, Plane
from wearvision.measure.views.gasket_land import see
from wearvision.quantity import Measured
from wearvision.stated import Stated

RADII_MM = (38.0, 50.0)
STATED = Stated(view="gasket-land", nominal={"land_inner_diameter_mm": 76.0, "land_outer_diameter_mm": 100.0})
UNSTATED = Stated(view="gasket-land")
CENTRE_MM = np.array([3.0, -2.0])
RING = Ring(centre_mm=CENTRE_MM, radii_mm=RADII_MM, covariance=np.eye(4) * 0.01)


def notched(angle: Array, middle_deg: float, arc_deg: float, loss_mm: float) -> Array:
    """Loss by angle: a rounded bite."""
    away = (np.degrees(angle) - middle_deg + 180) % 360 - 180
    return np.asarray(loss_mm * np.sqrt(np.clip(1 - (2 * away / arc_deg) ** 2, 0, None)))


def draw_land(
    plane: Plane, *, bites: tuple[tuple[str, float, float, float], ...] = (), tones: tuple[float, float] = (80, 150),
    noise: float = 2.0, seed: int = 1, shadow_mm: float = 0.0, stain: bool = False, crack_deg: float | None = None,
    crack_mm: tuple[float, float, float] = (*RADII_MM, 0.5), lathe_mm: float | None = None,
) -> NDArray[np.uint8]:  # fmt: skip
    """Land on its ground: bites are (edge, middle, arc, loss); a shadow falls to one side of the land.

    A crack runs outward between two radii and is so wide, a lathe line runs half way round at a radius.
    """
    rng = np.random.default_rng(seed)
    width, height = plane.size_px
    x, y = np.meshgrid(np.arange(2 * width) / 2 - 0.25, np.arange(2 * height) / 2 - 0.25)
    mm = plane.to_mm(np.column_stack([x.ravel(), y.ravel()])) - CENTRE_MM
    radius, angle = np.hypot(*mm.T), np.arctan2(mm[:, 1], mm[:, 0])
    image = np.full(len(mm), tones[1]) + 6 * np.sin(mm[:, 0] / 4) * np.cos(mm[:, 1] / 5)
    if shadow_mm:
        image[_on_land(mm - [shadow_mm, 0.4 * shadow_mm], bites)] *= 0.45
    land = _on_land(mm, bites)
    image[land] = tones[0]
    if stain:
        spot = np.hypot(mm[:, 0] - RADII_MM[1] + 1.0, mm[:, 1]) < 3.0
        image[land & spot] = 0.5 * sum(tones)
    if crack_deg is not None:
        low, high, wide = crack_mm
        wander = 0.3 * np.sin(1.7 * radius)
        aside = np.abs(radius * (angle - math.radians(crack_deg)) + wander)
        image[land & (radius > low) & (radius < high) & (aside < wide / 2)] *= 0.4
    if lathe_mm is not None:
        image[land & (np.abs(radius - lathe_mm) < 0.25) & (angle > 0)] *= 0.4
    small = cv2.resize(image.reshape(2 * height, 2 * width), (width, height), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), 0.8) + rng.normal(0, noise, (height, width))
    return np.asarray(np.clip(np.rint(small), 0, 255), dtype=np.uint8)


def _on_land(mm: Array, bites: tuple[tuple[str, float, float, float], ...]) -> NDArray[np.bool_]:
    radius, angle = np.hypot(*mm.T), np.arctan2(mm[:, 1], mm[:, 0])
    inner, outer = np.full(len(mm), RADII_MM[0]), np.full(len(mm), RADII_MM[1])
    for edge, middle, arc, loss in bites:
        if edge == "inner":
            inner += notched(angle, middle, arc, loss)
        else:
            outer -= notched(angle, middle, arc, loss)
    return np.asarray((radius > inner) & (radius < outer))


def look(gray: NDArray[np.uint8], plane: Plane, stated: Stated = STATED) -> Seen:
    return see(Look(gray=gray, plane=plane, stated=stated))


def of_kind(seen: Seen, kind: str) -> list[Finding]:
    return [f for f in seen.findings if f.kind == kind]


def figure(finding: Finding, name: str) -> Measured:
    got = finding.quantities[name]
    assert isinstance(got, Measured)
    return got


@pytest.mark.parametrize("tilt_deg", [0.0, 18.0])
@pytest.mark.parametrize("shadow_mm", [0.0, 1.5])
def test_a_sound_land_has_its_width_and_no_notch(tilt_deg: float, shadow_mm: float) -> None:
    plane = drawn_plane(tilt_deg=tilt_deg)
    seen = look(draw_land(plane, shadow_mm=shadow_mm), plane)
    least = figure(of_kind(seen, "gasket-land")[0], "remaining_width")
    assert abs(least.value - 12.0) < max(0.15, 1.96 * least.u)
    assert not of_kind(seen, "notch")
    assert not of_kind(seen, "crack")


@pytest.mark.parametrize("tones", [(80.0, 150.0), (170.0, 110.0), (95.0, 120.0)])
@pytest.mark.parametrize("edge", ["inner", "outer"])
def test_a_bite_is_found_with_loss_and_what_is_left(edge: str, tones: tuple[float, float]) -> None:
    plane = drawn_plane(tilt_deg=8.0)
    seen = look(draw_land(plane, bites=((edge, 60.0, 20.0, 5.0),), tones=tones, shadow_mm=0.8), plane)
    (notch,) = of_kind(seen, "notch")
    assert figure(notch, "loss").value == pytest.approx(5.0, abs=0.25)
    left = figure(notch, "remaining_width")
    assert abs(left.value - 7.0) < 1.96 * left.u < 0.6
    assert figure(notch, "arc").value == pytest.approx(20.0, abs=2.0)
    angle = np.radians(np.linspace(50, 70, 2001))
    loss = notched(angle, 60.0, 20.0, 5.0)
    start, way = (RADII_MM[0], 1.0) if edge == "inner" else (RADII_MM[1], -1.0)
    area = abs(float(np.trapezoid((start + way * loss) ** 2 - start**2, angle))) / 2
    assert figure(notch, "area").value == pytest.approx(area, rel=0.08)
    least = figure(of_kind(seen, "gasket-land")[0], "remaining_width")
    assert abs(least.value - 7.0) < 1.96 * least.u < 0.6


def test_a_bite_right_through_leaves_next_to_nothing() -> None:
    plane = drawn_plane()
    seen = look(draw_land(plane, bites=(("outer", 100.0, 30.0, 12.6),)), plane)
    land = of_kind(seen, "gasket-land")[0]
    assert figure(land, "remaining_width").value < 1.0


def test_a_stain_cut_off_at_the_edge_is_no_notch() -> None:
    plane = drawn_plane()
    assert not of_kind(look(draw_land(plane, stain=True), plane), "notch")


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


def test_the_best_way_is_the_best_of_all_ways() -> None:
    """Against every way there is through a small grid."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        worth, cost = rng.normal(0, 1, (4, 4)), float(rng.uniform(0, 1))
        ways = np.array(list(itertools.product(range(4), repeat=4)))
        total = worth[np.arange(4), ways].sum(axis=1) - cost * np.abs(np.diff(ways, axis=1)).sum(axis=1)
        assert best_way(worth, cost).tolist() == ways[int(np.argmax(total))].tolist()


def test_what_may_be_a_bite_or_not_is_within_the_interval() -> None:
    """A dark even line along an edge: a stain, or a bite in its own shadow; both have to lie within."""
    plane = drawn_plane(known=True)
    gray = draw_land(plane, tones=(110, 150.0), noise=1.0)
    bitten = draw_land(plane, tones=(110, 150.0), bites=(("outer", 60.0, 24.0, 1.2),), noise=1.0)
    gray[(bitten.astype(int) - gray) > 15] = 60
    least = of_kind(look(gray, plane), "gasket-land")[0].quantities["remaining_width"]
    if isinstance(least, Measured):
        assert least.value - 1.96 * least.u <= 10.9
        assert least.value + 1.96 * least.u >= 11.9
    else:
        assert "stained" in least.reason


def test_an_empty_photo_says_what_to_do() -> None:
    plane = drawn_plane()
    seen = look(np.full((690, 900), 120, np.uint8), plane)
    assert not seen.findings
    assert any("land_inner_diameter_mm" in why for _, why in seen.not_assessed)


def test_a_bite_over_ground_of_the_lands_own_tone_is_one_hollow() -> None:
    """Half way along, a patch of the ground is as the land is: the bite goes on beneath it."""
    plane = drawn_plane(known=True)
    gray = draw_land(plane, bites=(("outer", 60.0, 30.0, 4.0),), noise=1.0)
    x, y = np.meshgrid(np.arange(gray.shape[1]), np.arange(gray.shape[0]))
    mm = plane.to_mm(np.column_stack([x.ravel(), y.ravel()]).astype(float)) - CENTRE_MM
    deg = np.degrees(np.arctan2(mm[:, 1], mm[:, 0])).reshape(gray.shape)
    gray[(np.abs(deg - 60.0) < 3.0) & (np.hypot(*mm.T).reshape(gray.shape) > 46.0)] = 80
    (notch,) = of_kind(look(gray, plane), "notch")
    assert figure(notch, "loss").value == pytest.approx(4.0, abs=0.25)
    assert figure(notch, "arc").value == pytest.approx(30.0, abs=2.5)


def test_a_narrow_bite_goes_on_along_its_walls_shadow() -> None:
    """Its inner half is as dark as the land, but for the line along one wall."""
    plane = drawn_plane(mm_per_px=0.12, size_px=(1275, 978))
    gray = draw_land(plane, bites=(("outer", 60.0, 5.0, 8.0),), noise=1.0)
    bitten = draw_land(plane, bites=(("outer", 60.0, 5.0, 4.0),), noise=1.0)
    x, y = np.meshgrid(np.arange(gray.shape[1]), np.arange(gray.shape[0]))
    mm = plane.to_mm(np.column_stack([x.ravel(), y.ravel()]).astype(float)) - CENTRE_MM
    radius = np.hypot(*mm.T).reshape(gray.shape)
    off = (np.radians(np.degrees(np.arctan2(mm[:, 1], mm[:, 0])) - 60.0)).reshape(gray.shape) * radius
    gray[radius < 46.5] = bitten[radius < 46.5]
    gray[(radius > 42.0) & (radius < 46.6) & (np.abs(off + 0.22 * (radius - 42.0)) < 0.12)] = 60
    (notch,) = of_kind(look(gray, plane), "notch")
    loss = figure(notch, "loss")
    assert abs(loss.value - 8.0) < max(0.6, 1.96 * loss.u)
    assert not of_kind(look(gray, plane), "crack")


@pytest.mark.parametrize(("ground", "clear"), [(150.0, True), (104.0, False)])
def test_an_edge_that_hardly_stands_out_is_told_nowhere(ground: float, clear: bool) -> None:
    plane, rng = drawn_plane(), np.random.default_rng(2)
    gray = draw_land(plane, tones=(100.0, ground)) + 3 * cv2.GaussianBlur(rng.normal(0, 6, SIZE_PX[::-1]), (0, 0), 2)
    land = roll_out(np.asarray(np.clip(gray, 0, 255), dtype=np.uint8), plane, RING, (), blur_px=0.8)
    assert told(land).mean() > 0.9 if clear else not told(land).any()


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


def test_too_many_bites_are_told_as_none() -> None:
    """A gasket blotched in the ground's tone from its edge looks like that."""
    plane = drawn_plane()
    bites = tuple(("outer", 50.0 * k, 16.0, 3.0) for k in range(7))
    seen = look(draw_land(plane, bites=bites), plane)
    assert not of_kind(seen, "notch")
    assert not isinstance(of_kind(seen, "gasket-land")[0].quantities["remaining_width"], Measured)


def test_a_likely_bite_is_told_as_faint_and_the_least_width_is_not_sure_of_it() -> None:
    """Shallow and even, in its own shadow, with a step where the old edge was: a bite, or a stain along the edge."""
    plane = drawn_plane(mm_per_px=0.12, size_px=(1275, 978), known=True)
    gray = draw_land(plane, tones=(110, 150.0), noise=1.0)
    bitten = draw_land(plane, tones=(110, 150.0), bites=(("outer", 60.0, 24.0, 1.0),), noise=1.0)
    gray[(bitten.astype(int) - gray) > 15] = 60
    seen = look(gray, plane)
    (notch,) = of_kind(seen, "notch")
    assert notch.flags == ("faint",)
    for name, true in (("loss", 1.0), ("arc", 24.0)):
        got = figure(notch, name)
        assert abs(got.value - true) < 1.96 * got.u
    least = of_kind(seen, "gasket-land")[0].quantities["remaining_width"]
    if isinstance(least, Measured):
        assert least.value - 1.96 * least.u <= 11.0
        assert least.value + 1.96 * least.u >= 12.0
    else:
        assert "stained" in least.reason


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


def test_a_bite_of_a_single_row_is_not_told() -> None:
    plane = drawn_plane()
    land = roll_out(draw_land(plane), plane, RING, (), blur_px=0.8)
    clear = np.ones((2, len(land.deg)), dtype=bool)
    traits = {"arc_mm": 0.4}
    for loss, count in ((np.array([0.0, 2.0, 0.0, 0.0]), 0), (np.array([0.0, 2.0, 2.0, 0.0]), 1)):
        bites = [Bite(edge=0, rows=np.arange(4), loss_mm=loss, log_odds=3.0, traits=traits)]
        found = land_findings(land, bites, left_of(land, bites, clear), [], plane)
        assert [f.kind for f in found] == ["gasket-land", *["notch"] * count]


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


def test_on_a_land_with_a_hardly_seen_edge_a_bite_out_of_the_other_is_told_as_faint() -> None:
    plane, rng = drawn_plane(), np.random.default_rng(2)
    gray = draw_land(plane, tones=(100.0, 104.0))
    x, y = np.meshgrid(np.arange(gray.shape[1]), np.arange(gray.shape[0]))
    mm = plane.to_mm(np.column_stack([x.ravel(), y.ravel()]).astype(float)) - CENTRE_MM
    within = np.hypot(*mm.T).reshape(gray.shape) < 46.0
    gray[within] = draw_land(plane, tones=(100.0, 150.0), bites=(("inner", 60.0, 24.0, 5.0),))[within]
    grain = 3 * cv2.GaussianBlur(rng.normal(0, 6, SIZE_PX[::-1]), (0, 0), 2)
    seen = look(np.asarray(np.clip(gray + grain, 0, 255), dtype=np.uint8), plane)
    assert not of_kind(seen, "gasket-land")
    assert any("hardly stands out" in why for _, why in seen.not_assessed)
    (notch,) = of_kind(seen, "notch")
    assert "faint" in notch.flags
    assert figure(notch, "loss").value == pytest.approx(5.0, abs=0.5)
