"""A vane in profile: sizes and radii against drawn truth, claimed uncertainty against true error, refusals."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measure.vane_kit import CARD_MM, SIZE_PX, Photo, Tones, by_lot, camera, draw
from wearvision.finding import Finding
from wearvision.measure.finders.stub import Stub, distance
from wearvision.measure.finders.vane_edge import find_vane_edge
from wearvision.measure.finders.vane_edge_belief import fits
from wearvision.measure.finders.vane_edge_figures import sharpened, to_findings
from wearvision.measure.finders.vane_edge_search import Sizes, sizes_of
from wearvision.measure.label import with_label
from wearvision.measure.look import Look
from wearvision.measure.views.vane_edge import NO_CARD, see
from wearvision.quantity import Measured, Quantity, Unmeasured
from wearvision.scenes.vane_profile import Section
from wearvision.stated import Stated

DARK = Tones(face=0.5, back=0.03, left=0.15, right=0.2, top=0.3, mottle=0.03)
LIGHT = Tones(face=0.12, back=0.65, left=0.05, right=0.07, top=0.08, mottle=0.03)
PLAIN = Section(height_mm=9.0, thickness_mm=6.5, radius_mm=(1.2, 0.6))


def measure(photo: Photo, sizes: Sizes | None = None) -> dict[str, Finding]:
    sizes = sizes or sizes_of(photo.section.height_mm + 0.5, photo.section.thickness_mm)
    stub = find_vane_edge(photo.gray, photo.plane, photo.cards_px, sizes, blur_px=photo.blur_px)
    assert isinstance(stub, Stub)
    found = to_findings(stub, photo.plane, sizes, fits(stub), blur_px=photo.blur_px)
    return {str(f.detail.get("side", "section")): f for f in found}


def value(finding: Finding, name: str) -> float:
    quantity = finding.quantities[name]
    assert isinstance(quantity, Measured), quantity
    return quantity.value


@pytest.mark.parametrize("tones", [DARK, LIGHT], ids=["dark paper", "light paper"])
@pytest.mark.parametrize(("tilt", "roll"), [(0.0, 0.0), (6.0, 4.0)])
def test_sizes_and_radii_of_a_drawn_vane(tones: Tones, tilt: float, roll: float) -> None:
    found = measure(draw(PLAIN, camera(tilt, 70.0, roll), tones))
    assert value(found["section"], "height") == pytest.approx(9.0, abs=0.03)
    assert value(found["section"], "height_loss") == pytest.approx(0.5, abs=0.03)
    assert value(found["section"], "thickness") == pytest.approx(6.5, abs=0.05)
    assert value(found["left"], "edge_radius") == pytest.approx(1.2, abs=0.06)
    assert value(found["right"], "edge_radius") == pytest.approx(0.6, abs=0.06)


@pytest.mark.parametrize("tones", [DARK, LIGHT], ids=["dark paper", "light paper"])
def test_a_steep_photo_keeps_its_word(tones: Tones) -> None:
    """At 12 degrees a flank shows behind the right corner and looks much like the face: that corner may not be told,
    but what is told stays in its interval."""
    found = measure(draw(PLAIN, camera(12.0, 70.0, -5.0), tones))
    for side, name, true in (("section", "height", 9.0), ("left", "edge_radius", 1.2), ("right", "edge_radius", 0.6)):
        quantity = found[side].quantities[name]
        assert isinstance(quantity, Measured) or side == "right"
        assert not isinstance(quantity, Measured) or abs(quantity.value - true) <= quantity.u95 < 0.7


def like_the_face(tilt_deg: float) -> Photo:
    """A vane that runs off to its right in the very tone of its face."""
    tones = Tones(face=0.5, back=0.03, left=0.2, right=0.5, top=0.5, mottle=0.02)
    return draw(PLAIN, camera(tilt_deg, 70.0), tones, slant=0.12)


def test_a_flank_in_the_tone_of_the_face_is_not_made_up() -> None:
    found = measure(like_the_face(2.0), sizes_of(9.5, 6.5))
    assert value(found["section"], "height") == pytest.approx(9.0, abs=0.04)
    assert value(found["left"], "edge_radius") == pytest.approx(1.2, abs=0.06)
    assert isinstance(found["section"].quantities["thickness"], Unmeasured)
    assert isinstance(found["right"].quantities["edge_radius"], Unmeasured)


def test_without_a_stated_thickness_such_a_vane_is_refused() -> None:
    photo = like_the_face(2.0)
    told = find_vane_edge(photo.gray, photo.plane, photo.cards_px, sizes_of(None, None), blur_px=photo.blur_px)
    assert not isinstance(told, Stub) or told.thickness_mm > 7.5


def test_a_dark_box_on_a_line_is_no_vane() -> None:
    """Vane and bar are one piece: where the bar's edge runs on under the foot, it is something else."""
    photo = draw(PLAIN, camera(1.0, 40.0), DARK)
    gray = photo.gray.copy()
    foot = photo.plane.to_px(np.array([[-3.3, 0.25], [3.3, 0.25], [3.3, -0.25], [-3.3, -0.25]]))
    cv2.fillPoly(gray, [np.round(foot).astype(np.int32)], 20)
    told = find_vane_edge(gray, photo.plane, photo.cards_px, sizes_of(9.5, 6.5), blur_px=photo.blur_px)
    assert isinstance(told, Unmeasured)


def test_a_black_box_on_dark_metal_is_no_vane() -> None:
    """Between black and dark there is little slope of the light, but much of its logarithm."""
    photo = draw(PLAIN, camera(1.0, 40.0), Tones(face=0.06, back=0.4))
    gray = photo.gray.copy()
    high, half = PLAIN.height_mm, PLAIN.thickness_mm / 2
    box = photo.plane.to_px(np.array([[-half, 0.0], [half, 0.0], [half, -high], [-half, -high]]))
    cv2.fillPoly(gray, [np.round(box).astype(np.int32)], 0)
    told = find_vane_edge(gray, photo.plane, photo.cards_px, sizes_of(9.5, 6.5), blur_px=photo.blur_px)
    assert isinstance(told, Unmeasured)


@pytest.mark.parametrize("radii", [(0.6, 1.5), (2.2, 1.0)])
def test_the_arc_of_most_change_is_the_corner_s(radii: tuple[float, float]) -> None:
    photo = draw(Section(height_mm=8.0, thickness_mm=7.0, radius_mm=radii), camera(3.0, 10.0, 2.0), DARK)
    stub = find_vane_edge(photo.gray, photo.plane, photo.cards_px, sizes_of(8.0, 7.0), blur_px=photo.blur_px)
    assert isinstance(stub, Stub)
    assert stub.arc_mm == pytest.approx(radii, abs=0.1)


def test_a_radius_is_doubted_as_far_as_the_arc_disagrees_and_then_not_told() -> None:
    photo = draw(PLAIN, camera(3.0, 10.0), DARK)
    sizes = sizes_of(9.5, 6.5)
    stub = find_vane_edge(photo.gray, photo.plane, photo.cards_px, sizes, blur_px=photo.blur_px)
    assert isinstance(stub, Stub)

    def told(apart_mm: float) -> Quantity:
        other = replace(stub, arc_mm=(stub.radius[0] + apart_mm, stub.radius[1]))
        return to_findings(other, photo.plane, sizes, 1.0, blur_px=photo.blur_px)[1].quantities["edge_radius"]

    sure, less, none = (told(apart_mm) for apart_mm in (0.0, 0.4, 0.6))
    assert isinstance(sure, Measured) and isinstance(less, Measured) and isinstance(none, Unmeasured)
    assert less.value == sure.value and less.u95 > sure.u95 + 0.1


def test_draft_and_a_sloping_top_do_not_disturb_radii() -> None:
    section = Section(height_mm=8.0, thickness_mm=7.0, radius_mm=(2.0, 1.0), draft_deg=(4.0, 2.0), slope_deg=1.5)
    found = measure(draw(section, camera(3.0, 10.0, 2.0), DARK))
    assert value(found["left"], "edge_radius") == pytest.approx(2.0, abs=0.08)
    assert value(found["right"], "edge_radius") == pytest.approx(1.0, abs=0.08)
    assert value(found["section"], "thickness") == pytest.approx(7.0, abs=0.06)


def test_the_flank_that_shows_behind_is_not_taken_for_the_edge() -> None:
    photo = draw(PLAIN, camera(8.0, 90.0), DARK, depth_mm=15.0)
    assert value(measure(photo)["section"], "thickness") == pytest.approx(6.5, abs=0.06)


@pytest.mark.parametrize("radius", [0.0, 0.05])
def test_a_sharp_corner_is_told_as_at_most(radius: float) -> None:
    section = Section(height_mm=8.0, thickness_mm=7.0, radius_mm=(radius, 1.5))
    corner = measure(draw(section, camera(2.0, 10.0, 2.0), DARK))["left"].quantities
    told, most = corner["edge_radius"], corner["edge_radius_max"]
    assert isinstance(told, Unmeasured) and told.reason.startswith("at most")
    assert isinstance(most, Measured) and radius <= most.value < 0.3
    assert f"{most.value:.2f}" in told.reason


def test_sides_are_those_of_the_vane_upright_when_the_photo_is_upside_down() -> None:
    found = measure(draw(PLAIN, camera(3.0, 40.0, 178.0), DARK))
    assert value(found["left"], "edge_radius") == pytest.approx(1.2, abs=0.06)


def test_without_drawing_sizes_no_loss_is_told() -> None:
    found = measure(draw(PLAIN, camera(2.0, 40.0), DARK), sizes_of(None, None))
    assert value(found["section"], "height") == pytest.approx(9.0, abs=0.03)
    assert isinstance(found["section"].quantities["height_loss"], Unmeasured)


def test_a_vane_thicker_than_new_is_not_believed() -> None:
    photo = draw(PLAIN, camera(2.0, 40.0), DARK)
    plain = measure(photo)["section"].quantities["thickness"]
    doubted = measure(photo, sizes_of(9.5, 6.2))["section"].quantities["thickness"]
    assert isinstance(plain, Measured) and isinstance(doubted, Measured)
    assert doubted.u > plain.u + 0.2


@pytest.mark.parametrize("noise", [1.0, 3.0, 6.0])
def test_claimed_uncertainty_covers_the_true_error(noise: float) -> None:
    inside = []
    for seed in range(4):
        found = measure(draw(PLAIN, camera(4.0, 50.0 * seed, seed), DARK, noise=noise, seed=seed))
        for side, name, true in (
            ("section", "height", 9.0), ("section", "thickness", 6.5), ("left", "edge_radius", 1.2),
            ("right", "edge_radius", 0.6),
        ):  # fmt: skip
            quantity = found[side].quantities[name]
            assert isinstance(quantity, Measured)
            assert quantity.u95 < 0.3
            inside.append(abs(quantity.value - true) <= quantity.u95)
    assert np.mean(inside) >= 0.93


def test_a_corner_beside_edges_that_stray_is_less_sure() -> None:
    """A right-angled corner is cut back by 0.414 r (plane geometry): an edge off by d makes r off by d / 0.414."""
    photo = draw(Section(height_mm=8, thickness_mm=7, radius_mm=(1.5, 1.5)), camera(0, 0, 1.3), Tones(), noise=1)
    sizes = sizes_of(8, 7)
    stub = find_vane_edge(photo.gray, photo.plane, photo.cards_px, sizes, blur_px=photo.blur_px)
    assert isinstance(stub, Stub)
    own = []
    for stray in (0.0, 0.02, 0.06):
        rough = {**stub.rough_mm, "left": stray, "top": 0.0}
        found = to_findings(replace(stub, rough_mm=rough), photo.plane, sizes, fits(stub), blur_px=photo.blur_px)
        radius = found[1].quantities["edge_radius"]
        assert isinstance(radius, Measured)
        assert radius.budget["straight"] == pytest.approx(stray / (math.sqrt(2) - 1), rel=0.01)
        own.append(radius.u95)
    assert own[0] < own[1] < own[2]


def test_an_empty_picture_and_a_bare_bar_are_refused() -> None:
    plane = camera(2.0, 10.0)
    low, high = np.array(CARD_MM)[[0, 1]], np.array(CARD_MM)[[2, 3]]
    card = plane.to_px(np.array([low, [high[0], low[1]], high, [low[0], high[1]]]))
    noise = np.random.default_rng(3).normal(120, 6, SIZE_PX[::-1]).clip(0, 255).astype(np.uint8)
    bar = noise.copy()
    bar[SIZE_PX[1] // 2 :] = 30
    for gray in (noise, bar):
        told = find_vane_edge(gray, plane, (card,), sizes_of(9.0, 6.0), blur_px=0.8)
        assert isinstance(told, Unmeasured)
        assert "vane" in told.reason and "paper" in told.hint


def test_the_view_without_a_card_says_so() -> None:
    photo = draw(PLAIN, camera(), DARK)
    seen = see(Look(gray=photo.gray, plane=photo.plane, stated=Stated(view="vane-edge")))
    assert seen.findings == () and seen.not_assessed == (("vane edge", NO_CARD),)


def test_the_view_gives_a_section_and_two_sides() -> None:
    photo = draw(PLAIN, camera(), DARK)
    stated = Stated(view="vane-edge", nominal={"vane_height_mm": 9.6, "vane_thickness_mm": 6.5})
    seen = see(Look(gray=photo.gray, plane=photo.plane, stated=stated, cards_px=photo.cards_px, blur_px=photo.blur_px))
    assert [(f.kind, f.detail.get("side")) for f in seen.findings] == [
        ("vane-section", None), ("vane-edge", "left"), ("vane-edge", "right")
    ]  # fmt: skip
    assert all(len(f.places_px) for f in seen.findings)


def test_photos_drawn_by_lot_are_measured_or_refused_but_seldom_wrong() -> None:
    wrong, told = 0, 0
    for seed in (0, 6, 8, 9, 10, 13, 16):
        photo = by_lot(seed)
        sizes = sizes_of(round(photo.section.height_mm, 1), round(photo.section.thickness_mm, 1))
        stub = find_vane_edge(photo.gray, photo.plane, photo.cards_px, sizes, blur_px=photo.blur_px)
        if isinstance(stub, Stub):
            told += 1
            wrong += abs(stub.height_mm - photo.section.height_mm) > 0.15
    assert told >= 5 and wrong == 0


def test_radius_agrees_with_stock_contour_and_circle_fit() -> None:
    """Outside reference: scikit-image's find_contours, SciPy's least squares for a circle through the arc's middle."""
    from scipy.optimize import least_squares
    from skimage.measure import find_contours

    section = Section(height_mm=9.0, thickness_mm=8.0, radius_mm=(2.5, 2.5))
    photo = draw(section, camera(), DARK, noise=1.0)
    ours = value(measure(photo)["left"], "edge_radius")
    middle = photo.plane.to_px(np.array([[-4.0 + 2.5, -9.0 + 2.5]]))[0]
    light = cv2.GaussianBlur((photo.gray / 255.0) ** 2.2, (0, 0), 0.8)
    points = np.vstack([c[:, ::-1] for c in find_contours(light, 0.27)])
    off = points - middle
    turn = np.degrees(np.arctan2(-off[:, 1], off[:, 0]))
    arc = points[(np.abs(turn - 135) < 38) & (np.abs(np.hypot(*off.T) * 0.055 - 2.5) < 0.4)]
    circle = least_squares(lambda c: np.hypot(*(arc - c[:2]).T) - c[2], [*middle, 2.5 / 0.055])
    assert circle.success
    assert ours == pytest.approx(float(circle.x[2]) * 0.055, abs=0.06)


def test_a_blurred_sharp_corner_is_cut_back_by_1_86_blurs() -> None:
    """Derived: on the diagonal the half-way place of a corner under a Gaussian is where Phi(x)^2 = 1/2."""
    low, high = 0.0, 2.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if (0.5 * (1 + math.erf(middle / math.sqrt(2)))) ** 2 < 0.5 else (low, middle)
    assert low * math.sqrt(2) / (math.sqrt(2) - 1) == pytest.approx(1.86, abs=0.005)
    assert sharpened(1.86 * 0.1, 0.1) < 0.1
    assert sharpened(2.0, 0.08) == pytest.approx(2.0, abs=0.01)


@given(
    radius=st.tuples(st.floats(0.05, 2.4), st.floats(0.05, 2.4)), draft=st.tuples(st.floats(0, 5), st.floats(0, 5)),
    slope=st.floats(-3, 3),
)  # fmt: skip
@settings(max_examples=40)
def test_a_section_lies_on_its_own_shape(
    radius: tuple[float, float], draft: tuple[float, float], slope: float
) -> None:
    section = Section(height_mm=8.0, thickness_mm=7.0, radius_mm=radius, draft_deg=draft, slope_deg=slope)
    foot_left, top_left, top_right, foot_right = section.corners()
    lean = (top_left - foot_left)[0] / top_left[1], (top_right - foot_right)[0] / top_right[1]
    rise = math.tan(math.radians(slope))
    middle = (foot_left[0] + foot_right[0]) / 2
    shape = np.array([
        foot_left[0], lean[0], foot_right[0], lean[1], 8.0 + rise * middle, rise, *radius, 0.0, 0.0
    ])  # fmt: skip
    points = section.outline()
    assert np.abs(distance(points, np.zeros(len(points), bool), shape)).max() < 2e-3


def test_a_label_hides_what_lies_under_it_and_none_is_made_up() -> None:
    photo = draw(PLAIN, camera(), DARK)
    assert with_label(photo.gray, photo.plane, photo.cards_px[0]) is photo.cards_px[0]
