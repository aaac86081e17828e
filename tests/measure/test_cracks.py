"""Cracks sought on drawn faces: found, measured, told from scratches, lathe lines and the edges of stains."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.morphology import skeletonize

from tests.measure.face_kit import STATED, DrawnGroove, draw_face, drawn_plane
from wearvision.measure.face import Face, find_face
from wearvision.measure.finders.crack_path import Trace
from wearvision.measure.finders.cracks import END_MM, FAINT, UNSEEN_SHARE, find_cracks, to_finding
from wearvision.measure.finders.joined import joined
from wearvision.measure.finders.slit import slit_width
from wearvision.measure.finders.tool_mark import SWAY_MM, TRUE_MM, off_parabola, sway
from wearvision.measure.finders.way import best_stretch, stretches_apart
from wearvision.measure.look import Look
from wearvision.measure.plane import Plane
from wearvision.measure.views.wear_face import see
from wearvision.quantity import Measured

Gray = NDArray[np.uint8]
Line = NDArray[np.float64]
FINE = 6
"""Drawn so many times finer than the photo."""


def wandering(start_mm: tuple[float, float], toward_deg: float, length_mm: float, seed: int = 1) -> Line:
    """A line of known length that wanders as a crack does, points (N, 2)."""
    rng = np.random.default_rng(seed)
    count = round(length_mm / 0.5)
    bend = cv2.GaussianBlur(rng.standard_normal((1, count)), (0, 0), 2).ravel() * 0.6
    heading = np.radians(toward_deg) + bend - bend.mean()
    steps = 0.5 * np.column_stack([np.cos(heading), np.sin(heading)])
    return np.vstack([[start_mm], start_mm + np.cumsum(steps, axis=0)])


def length_of(line: Line) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def with_slit(image: Gray, plane: Plane, line_mm: Line, width_mm: float = 0.25, dark: float = 0.8) -> Gray:
    """A dark line of a width below the pixel, drawn fine and averaged down."""
    px = (plane.to_px(line_mm) + 0.5) * FINE
    mask = np.zeros((image.shape[0] * FINE, image.shape[1] * FINE), np.uint8)
    wide = max(1, round(width_mm / plane.mm_per_px(plane.to_px(line_mm[:1])).value * FINE))
    cv2.polylines(mask, [np.round(px * 16).astype(np.int32)], False, 255, wide, cv2.LINE_8, 4)
    share = cv2.resize(mask, image.shape[::-1], interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    cover = cv2.GaussianBlur(share, (0, 0), 0.7)
    return np.clip(image * (1 - dark * cover), 0, 255).astype(np.uint8)


def cracks(image: Gray, plane: Plane) -> list[Trace]:
    face = find_face(image, plane, STATED)
    assert isinstance(face, Face)
    return find_cracks(image, plane, face)


@pytest.mark.parametrize("tilt_deg", [0.0, 15.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_crack_across_the_circles_is_found_and_as_long(tilt_deg: float, seed: int) -> None:
    plane = drawn_plane(tilt_deg=tilt_deg)
    line = wandering((28.0, 4.0), 20.0, 21.0, seed)
    found = cracks(with_slit(draw_face(plane, seed=seed), plane, line), plane)
    assert len(found) == 1
    assert abs(found[0].length_mm - length_of(line)) < 1.96 * END_MM
    away = np.hypot(*(found[0].line_mm[:, None] - line[None]).transpose(2, 0, 1)).min(axis=1)
    assert np.median(away) < 0.15


def test_the_skeleton_of_scikit_image_is_as_long() -> None:
    """Oracle: skeletonize of the drawn line, counted in straight and oblique steps."""
    plane = drawn_plane(known=True)
    line = wandering((28.0, 4.0), 20.0, 21.0)
    path = cracks(with_slit(draw_face(plane), plane, line), plane)[0]
    fine = np.zeros((1200, 1200), np.uint8)
    at = np.round((path.line_mm - path.line_mm.min(axis=0)) / 0.025 * 16 + 160).astype(np.int32)
    cv2.polylines(fine, [at], False, 1, 5, cv2.LINE_8, 4)
    rows, columns = np.nonzero(skeletonize(fine > 0))
    order = np.argsort(columns)
    trace = np.column_stack([columns, rows])[order].astype(float)[::12]
    assert path.length_mm == pytest.approx(length_of(trace) * 0.025, rel=0.05)


def test_a_sound_face_its_rust_and_its_grooves_give_none() -> None:
    plane = drawn_plane()
    groove = DrawnGroove(radius_mm=40.0, width_mm=3.0, start_deg=20.0, arc_deg=90.0, depth_mm=0.6)
    assert cracks(draw_face(plane), plane) == []
    assert cracks(draw_face(plane, rust=25, seed=3), plane) == []
    assert cracks(draw_face(plane, grooves=(groove,)), plane) == []


def test_a_straight_scratch_and_a_lathe_line_are_none() -> None:
    plane = drawn_plane()
    scratch = np.column_stack([np.linspace(26, 48, 45), np.linspace(4, 14, 45)])
    turn = np.radians(np.linspace(10, 60, 60))
    lathe = np.column_stack([3 + 40 * np.cos(turn), -2 + 40 * np.sin(turn)])
    for line in (scratch, lathe):
        assert cracks(with_slit(draw_face(plane), plane, line), plane) == []


def test_what_the_card_covers_is_not_looked_at() -> None:
    plane = drawn_plane()
    line = wandering((28.0, 4.0), 20.0, 21.0)
    image = with_slit(draw_face(plane), plane, line)
    face = find_face(image, plane, STATED)
    assert isinstance(face, Face)
    card = plane.to_px(np.array([[24.0, 0.0], [54.0, 0.0], [54.0, 18.0], [24.0, 18.0]]))
    assert find_cracks(image, plane, face, (card,)) == []


def test_a_finding_is_only_suspected_and_asks_for_penetrant() -> None:
    plane = drawn_plane()
    line = wandering((28.0, 4.0), 20.0, 21.0)
    finding = to_finding(cracks(with_slit(draw_face(plane), plane, line), plane)[0], "K1", plane)
    assert finding.kind == "crack"
    assert "suspected" in finding.flags
    length, width = finding.quantities["length"], finding.quantities["width"]
    assert isinstance(length, Measured)
    assert isinstance(width, Measured)
    assert "penetrant" in length.how
    assert length.u >= END_MM
    assert abs(width.value - 0.25) < 1.96 * width.u


def test_the_view_never_says_that_there_are_no_cracks() -> None:
    plane = drawn_plane()
    look = Look(gray=draw_face(plane), plane=plane, stated=STATED, cards_px=(), blur_px=1.0, limit_mm=1.0)
    said = dict(see(look).not_assessed)
    assert "none seen at this resolution" in said["cracks on the face"]
    cracked = Look(**{**vars(look), "gray": with_slit(look.gray, plane, wandering((28.0, 4.0), 20.0, 21.0))})
    seen = see(cracked)
    assert [f.id for f in seen.findings if f.kind == "crack"] == ["K1"]
    assert "cracks on the face" not in dict(seen.not_assessed)


def test_a_crack_is_followed_to_its_ends_across_a_lighter_part() -> None:
    """Half of it takes little light: the search holds the dark half, the rest is carried on from there."""
    plane = drawn_plane()
    line = wandering((27.0, 4.0), 26.0, 21.0, 2)
    half = len(line) // 2
    image = with_slit(draw_face(plane, seed=2), plane, line[: half + 1])
    image = with_slit(image, plane, line[half:], width_mm=0.07)
    found = cracks(image, plane)
    assert len(found) == 1
    assert abs(found[0].length_mm - length_of(line)) < 1.96 * np.hypot(END_MM, UNSEEN_SHARE * length_of(line))


def test_a_scratch_that_is_left_once_is_still_a_scratch() -> None:
    at = np.column_stack([np.linspace(0, 30, 120), np.zeros(120)])
    at[40:60, 1] = 1.0
    assert off_parabola(at, 0.5) < TRUE_MM
    at[:, 1] = 0.4 * np.sin(at[:, 0] / 2.0)
    assert off_parabola(at, 0.5) > TRUE_MM


def test_a_scratch_that_turns_does_not_sway_and_a_crack_does() -> None:
    bent = np.array([[0.0, 0.0], [15.0, 0.0], [28.0, 9.0]])
    assert sway(bent) < SWAY_MM
    assert sway(wandering((0.0, 0.0), 20.0, 30.0)) > 2 * SWAY_MM


@pytest.mark.parametrize("seed", [2, 3, 5])
def test_one_that_hardly_darkens_a_pixel_is_found_along_its_way(seed: int) -> None:
    """What it darkens in one pixel is hardly more than the noise; a scratch as fine is none."""
    plane = drawn_plane()
    line = wandering((27.0, 4.0), 26.0, 22.0, seed)
    (path,) = cracks(with_slit(draw_face(plane, seed=seed), plane, line, dark=0.11), plane)
    assert path.contrast < 2 * FAINT
    length = to_finding(path, "K1", plane).quantities["length"]
    assert isinstance(length, Measured)
    assert abs(length.value - length_of(line)) < 1.96 * length.u
    scratch = np.column_stack([np.linspace(26, 48, 45), np.linspace(4, 14, 45)])
    assert cracks(with_slit(draw_face(plane, seed=seed), plane, scratch, dark=0.11), plane) == []


def test_two_that_meet_are_two_and_a_scratch_across_one_is_no_part_of_it() -> None:
    plane = drawn_plane(mm_per_px=0.12, size_px=(1275, 978))
    line = wandering((28.0, 4.0), 20.0, 20.0, 1)
    half = line[len(line) // 2]
    branch = wandering((float(half[0]), float(half[1])), 100.0, 14.0, 4)
    image = with_slit(with_slit(draw_face(plane), plane, line), plane, branch, width_mm=0.18)
    found = sorted(p.length_mm for p in cracks(image, plane))
    assert len(found) == 2
    assert found[1] == pytest.approx(length_of(line), abs=2 * END_MM)
    scratch = half + np.outer(np.linspace(-9, 9, 50), [0.6, 0.8])
    (path,) = cracks(with_slit(with_slit(draw_face(plane), plane, line), plane, scratch, width_mm=0.12), plane)
    assert path.length_mm == pytest.approx(length_of(line), abs=2 * END_MM)


def test_pieces_are_strung_together_the_straightest_way() -> None:
    x = np.linspace(0, 10, 26)
    left, right = np.column_stack([x, 0 * x]), np.column_stack([x + 11, 0 * x])
    branch = np.column_stack([10.5 + 0 * x, x + 0.5])
    lines = joined([branch, right[::-1], left])
    assert sorted(len(line) for line in lines) == [26, 52]
    assert np.ptp(max(lines, key=len)[:, 0]) == pytest.approx(21.0)


def test_the_best_stretch_is_the_best_of_all_there_are() -> None:
    """Against every stretch of a small grid, free and from a given start."""
    rng = np.random.default_rng(3)
    for _ in range(20):
        worth = rng.normal(-0.3, 1, (4, 4)).astype(np.float32)
        worth[0] = 0.0
        ways = [w for n in range(1, 5) for w in itertools.product(range(4), repeat=n) if np.all(np.abs(np.diff(w)) < 2)]
        total = {
            (first, way): float(sum(worth[first + k, c] for k, c in enumerate(way)) - 0.2 * np.abs(np.diff(way)).sum())
            for way in ways for first in range(5 - len(way))
        }  # fmt: skip
        assert best_stretch(worth, 0.2, 1).gain == pytest.approx(max(0.0, *total.values()), abs=1e-5)
        begun = max(v for (first, way), v in total.items() if first == 0 and way[0] == 2)
        got = best_stretch(worth, 0.2, 1, start=2)
        assert got.gain == pytest.approx(begun, abs=1e-5)
        assert got.first == 0
        assert got.columns[0] == 2


def test_each_next_stretch_is_the_best_of_what_is_left() -> None:
    """Its gains are told anew near the one before only; sought from scratch it is the same, also over the seam."""
    rng = np.random.default_rng(7)
    for wide in (60, 400):
        worth = rng.normal(-0.9, 1, (12, wide)).astype(np.float32)
        left = worth.copy()
        found = stretches_apart(worth, 0.15, 4, apart=5, least=2.0, count=4)
        assert len(found) > 1
        for one in found:
            anew = stretches_apart(left.copy(), 0.15, 4, apart=5, least=2.0, count=1)[0]
            assert (anew.first, anew.gain) == (one.first, one.gain)
            np.testing.assert_array_equal(anew.columns, one.columns)
            left[:, np.arange(one.columns.min() - 5, one.columns.max() + 6) % wide] = -np.inf


@pytest.mark.parametrize(("true_mm", "pale"), [(0.3, 0.0), (0.3, 0.4), (0.1, 0.2)])
def test_a_width_lies_between_a_black_slit_and_one_as_pale_as_it_looks(true_mm: float, pale: float) -> None:
    aside = np.arange(-8, 9) * 0.07
    slit = np.abs(np.arange(-600, 601) * 0.001) < true_mm / 2
    light = cv2.GaussianBlur(slit[None].astype(np.float64) * (1 - pale), (0, 0), 80.0).ravel()
    taken = np.tile(light[::1][600 + np.round(aside * 1000).astype(int)], (20, 1))
    width, u = slit_width(taken, 0.07, 0.1)
    assert abs(width - true_mm) < 1.96 * u
