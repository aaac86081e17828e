"""The ways along a lip: against brute force; what both sides are learned from; when a way gives way."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import cv2
import numpy as np
import pytest

from tests.measure.face_kit import drawn_plane
from tests.measure.lip_kit import bay, draw_lip
from wearvision.measure.finders.tongue_band import ROUGH_MM, Band, Sight, band_of, sight_of
from wearvision.measure.finders.tongue_follow import Followed, follow
from wearvision.measure.finders.tongue_signs import MOST_UNLIKE, metal_like
from wearvision.measure.finders.tongue_trace import Trace, parted, trace_lip
from wearvision.measure.finders.tongue_ways import best_ways
from wearvision.measure.look import Look
from wearvision.measure.patch import patch_of
from wearvision.measure.plane import Plane
from wearvision.measure.views.tongue import see
from wearvision.quantity import Measured
from wearvision.stated import Stated

PLANE = drawn_plane(mm_per_px=0.12, size_px=(900, 675))
LEFT, RIGHT = np.array([-25.0, 0.0]), np.array([25.0, 0.0])
AWAY = np.array([80.0, 0.0])


def look_at(image: np.ndarray, colour: np.ndarray | None = None, plane: Plane = PLANE) -> Look:
    stated = Stated(view="tongue", nominal={"lip_length_mm": 50.0})
    return Look(gray=image, plane=plane, stated=stated, colour=colour)


@pytest.fixture(scope="module")
def sight() -> Sight:
    return sight_of(look_at(draw_lip(PLANE, bay)))


@pytest.mark.parametrize(("jump", "reach"), [(0.3, 1), (1.0, 2), (0.0, 4)])
def test_best_ways_are_the_best_of_all(jump: float, reach: int) -> None:
    """Every way through small grids counted out."""
    rng = np.random.default_rng([3, reach])
    worth = rng.normal(size=(3, 5, 4))
    ways = np.array(list(product(range(4), repeat=5)))
    ways = ways[np.abs(np.diff(ways, axis=1)).max(axis=1) <= reach]
    for grid, way in zip(worth, best_ways(worth, jump, reach), strict=True):
        total = grid[np.arange(5), ways].sum(axis=1) - jump * np.abs(np.diff(ways, axis=1)).sum(axis=1)
        assert way.tolist() == ways[int(np.argmax(total))].tolist()


def test_a_smaller_copy_shows_the_same_places() -> None:
    plane = drawn_plane(mm_per_px=0.05, size_px=(1600, 1200))
    small = sight_of(look_at(np.zeros((1200, 1600), np.uint8), np.zeros((300, 400, 3), np.uint8), plane))
    mm = np.array([[-12.0, 7.0], [20.0, -3.0]])
    for copy, factor in ((small.fine, 2), (small.rough, 4)):
        assert copy.gray.shape == (1200 // factor, 1600 // factor)
        assert copy.plane.to_px(mm) == pytest.approx((plane.to_px(mm) + 0.5) / factor - 0.5, abs=1e-9)
    assert small.warmth is not None
    assert small.warmth.plane.to_px(mm) == pytest.approx((plane.to_px(mm) + 0.5) / 4 - 0.5, abs=1e-9)


def rows_where(side: np.ndarray, band: Band, columns: np.ndarray | None = None) -> np.ndarray:
    """First row of a side and one past its last, in some columns of a band; in the others none."""
    first = int(np.argmax(side))
    rows = np.tile([first, first + int(side.sum())], (band.look.shape[1], 1))
    return rows if columns is None else np.where(columns[:, None], rows, 0)


def test_both_sides_are_learned(sight: Sight) -> None:
    band = band_of(sight, LEFT, RIGHT)
    like = metal_like(band, rows_where(band.off_mm > 4.0, band), rows_where(band.off_mm < -1.0, band))
    inside = (band.along_mm > 1) & (band.along_mm < 49)
    assert like[band.off_mm > 4.0][:, inside].mean() > 1.5 and like[band.off_mm < -1.0][:, inside].mean() < -1.5
    assert np.abs(like).max() <= MOST_UNLIKE / 2


def test_the_camera_s_side_tells_whether_a_wall_is_in_view(sight: Sight) -> None:
    """The camera stands over the plane's middle: it sees the wall below an edge whose opening lies towards it."""
    above, below = (band_of(sight, *(end + np.array([0, y]) for end in (LEFT, RIGHT))).wall for y in (-20.0, 20.0))
    assert above < -0.02 and below > 0.02 and above == pytest.approx(-below, abs=0.01)


def traced(sight: Sight) -> tuple[Followed, tuple[Trace, ...]] | None:
    coarse = follow(band_of(sight, LEFT, RIGHT, ROUGH_MM), 50.0, stride=2, rounds=2)
    return None if coarse is None else trace_lip(sight, coarse, 50.0)


def test_a_clear_lip_does_not_give_way_and_a_faint_one_does(sight: Sight) -> None:
    clear = traced(sight)
    faint = traced(sight_of(look_at(draw_lip(PLANE, bay, levels=(150.0, 146.0), noise=8.0))))
    assert clear is not None and parted(clear[1]) == 0.0
    assert clear[0].cornered > 2.0
    assert faint is None or parted(faint[1]) > 0.1 or np.percentile(faint[0].apart, 15) < 1.5


def test_corners_are_those_of_the_opening(sight: Sight) -> None:
    """Laid 1.5 mm too far to one side, and without the length being stated."""
    aside = np.array([1.5, 0.0])
    band = band_of(sight, LEFT + aside, RIGHT + aside)
    found = follow(band, None, stride=2, rounds=2)
    assert found is not None
    ends = band.patch.to_mm(np.array(found.ends), np.zeros(2))[:, 0]
    assert ends == pytest.approx([-25.0, 25.0], abs=0.25)


def test_a_stated_length_holds_the_corners(sight: Sight) -> None:
    found = follow(band_of(sight, LEFT, RIGHT), 48.0, stride=2)
    assert found is not None
    length = (found.ends[1] - found.ends[0]) * found.band.patch.step_mm
    assert 46.8 < length < 49.3


def test_a_lip_out_of_view_is_not_followed(sight: Sight) -> None:
    assert follow(band_of(sight, LEFT + AWAY, RIGHT + AWAY), 50.0, stride=2) is None


def rusty() -> tuple[np.ndarray, np.ndarray]:
    """A lip crossed by rust as dark on the face as bare metal in the opening, darker there: colour, where rust is."""
    plain = draw_lip(PLANE, bay).astype(np.float32)
    field = cv2.GaussianBlur(np.random.default_rng(9).normal(size=plain.shape), (0, 0), 22.0)
    share = (field > np.median(field)).astype(np.float32)
    red = np.array([1.6, 0.9, 0.5], dtype=np.float32)
    rust = plain[..., None] * red * (55.0 / 150.0)
    soft = cv2.GaussianBlur(share, (0, 0), 1.0)[..., None]
    return np.clip(plain[..., None] * (1 - soft) + rust * soft, 0, 255).astype(np.uint8), share


def test_rust_on_the_face_is_told_from_the_opening_by_its_colour() -> None:
    colour, rust = rusty()
    gray = cv2.cvtColor(colour, cv2.COLOR_RGB2GRAY)
    mistaken = []
    for seen in (colour, None):
        band = band_of(sight_of(look_at(gray, seen)), LEFT, RIGHT)
        off, along = band.off_mm[:, None], band.along_mm
        inside = (along > 1) & (along < 49)
        like = metal_like(band, *(rows_where(side.ravel(), band, inside) for side in (off > 4.0, off < -1.0)))
        core = np.asarray(cv2.erode(rust.astype(np.uint8), np.ones((13, 13), np.uint8)), dtype=np.uint8)
        there = patch_of(core, PLANE, band.patch.origin_mm, band.patch.across, (56.0, 16.0),
                         step_mm=band.patch.step_mm).values > 0.5  # fmt: skip
        mistaken.append(float((like[there & (off > 4.0) & inside] < 0).mean()))
    assert mistaken[0] < 0.002 and mistaken[1] > 0.005


def test_without_colour_a_gray_copy_changes_nothing_much() -> None:
    image = draw_lip(PLANE, bay)
    bare, gray = look_at(image), look_at(image, np.dstack([image] * 3))
    values = [see(look).findings[0].quantities["area"] for look in (bare, gray, replace(bare, blur_px=0.9))]
    assert all(isinstance(v, Measured) and abs(v.value - 20.0) < v.u95 for v in values)
