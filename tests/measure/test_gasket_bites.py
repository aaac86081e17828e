"""Bites out of gasket lands drawn with numpy, and what may be one."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
import pytest

from tests.measure.face_kit import SIZE_PX, drawn_plane
from tests.measure.gasket_kit import CENTRE_MM, RADII_MM, RING, draw_land, figure, look, notched, of_kind
from wearvision.measure.finders.bites import Bite
from wearvision.measure.finders.gasket import roll_out
from wearvision.measure.finders.notch import land_findings, left_of
from wearvision.measure.finders.way import best_way
from wearvision.quantity import Measured, Unmeasured


@pytest.mark.parametrize("tones", [(80.0, 150.0), (170.0, 110.0), (95.0, 120.0)])
@pytest.mark.parametrize("edge", ["inner", "outer"])
def test_a_bite_is_found_with_loss_and_what_is_left(edge: str, tones: tuple[float, float]) -> None:
    plane = drawn_plane(tilt_deg=8.0)
    seen = look(draw_land(plane, bites=((edge, 60.0, 20.0, 5.0),), tones=tones, shadow_mm=0.8), plane)
    (notch,) = of_kind(seen, "notch")
    assert figure(notch, "loss").value == pytest.approx(5.0, abs=0.25)
    left = figure(notch, "remaining_width")
    assert abs(left.value - 7.0) < 1.96 * left.u < 0.9
    assert figure(notch, "arc").value == pytest.approx(20.0, abs=2.0)
    angle = np.radians(np.linspace(50, 70, 2001))
    loss = notched(angle, 60.0, 20.0, 5.0)
    start, way = (RADII_MM[0], 1.0) if edge == "inner" else (RADII_MM[1], -1.0)
    area = abs(float(np.trapezoid((start + way * loss) ** 2 - start**2, angle))) / 2
    assert figure(notch, "area").value == pytest.approx(area, rel=0.08)
    least = figure(of_kind(seen, "gasket-land")[0], "remaining_width")
    assert abs(least.value - 7.0) < 1.96 * least.u < 0.95


def test_a_bite_right_through_leaves_next_to_nothing() -> None:
    plane = drawn_plane()
    seen = look(draw_land(plane, bites=(("outer", 100.0, 30.0, 12.6),)), plane)
    land = of_kind(seen, "gasket-land")[0]
    assert figure(land, "remaining_width").value < 1.0


def test_a_stain_cut_off_at_the_edge_is_no_notch() -> None:
    plane = drawn_plane()
    assert not of_kind(look(draw_land(plane, stain=True), plane), "notch")


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


@pytest.mark.parametrize(("to_mm", "loss_mm"), [(42.0, 8.0), (RADII_MM[0], 4.0)])
def test_a_narrow_bite_goes_on_along_its_walls_shadow(to_mm: float, loss_mm: float) -> None:
    """Its inner half is as dark as the land, but for the line along one wall; one to the other edge may be a crack."""
    plane = drawn_plane(mm_per_px=0.12, size_px=(1275, 978))
    gray = draw_land(plane, bites=(("outer", 60.0, 5.0, 8.0),), noise=1.0)
    bitten = draw_land(plane, bites=(("outer", 60.0, 5.0, 4.0),), noise=1.0)
    x, y = np.meshgrid(np.arange(gray.shape[1]), np.arange(gray.shape[0]))
    mm = plane.to_mm(np.column_stack([x.ravel(), y.ravel()]).astype(float)) - CENTRE_MM
    radius = np.hypot(*mm.T).reshape(gray.shape)
    off = (np.radians(np.degrees(np.arctan2(mm[:, 1], mm[:, 0])) - 60.0)).reshape(gray.shape) * radius
    gray[radius < 46.5] = bitten[radius < 46.5]
    gray[(radius > to_mm) & (radius < 46.6) & (np.abs(off + 0.22 * (radius - 42.0)) < 0.12)] = 60
    (notch,) = of_kind(look(gray, plane), "notch")
    loss = figure(notch, "loss")
    assert abs(loss.value - loss_mm) < max(0.6, 1.96 * loss.u)
    assert loss_mm < 5 or not of_kind(look(gray, plane), "crack")


def test_too_many_bites_are_told_as_none() -> None:
    """A gasket blotched in the ground's tone from its edge looks like that."""
    plane = drawn_plane()
    bites = tuple(("outer", 50.0 * k, 16.0, 3.0) for k in range(7))
    seen = look(draw_land(plane, bites=bites), plane)
    assert not of_kind(seen, "notch")
    least = of_kind(seen, "gasket-land")[0].quantities["remaining_width"]
    assert isinstance(least, Unmeasured)
    between = [float(word) for word in least.reason.split() if word.replace(".", "", 1).isdigit()]
    assert between[0] > 9.0 > between[1]


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


def test_a_bite_of_a_single_row_is_not_told() -> None:
    plane = drawn_plane()
    land = roll_out(draw_land(plane), plane, RING, (), blur_px=0.8)
    clear = np.ones((2, len(land.deg)), dtype=bool)
    traits = {"arc_mm": 0.4}
    for loss, count in ((np.array([0.0, 2.0, 0.0, 0.0]), 0), (np.array([0.0, 2.0, 2.0, 0.0]), 1)):
        bites = [Bite(edge=0, rows=np.arange(4), loss_mm=loss, log_odds=3.0, traits=traits)]
        found = land_findings(land, bites, left_of(land, bites, clear), [], plane)
        assert [f.kind for f in found] == ["gasket-land", *["notch"] * count]


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
