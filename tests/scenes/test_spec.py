"""Drawn scenes: the same number gives the same scene, and what is drawn lies within its bounds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearvision.scenes.chance import draw_scene
from wearvision.scenes.lens import distort, inside, project, undistort
from wearvision.scenes.spec import Scene
from wearvision.scenes.truth import groove_polygon

SEEDS = range(300, 360)


def test_the_same_number_gives_the_same_scene() -> None:
    assert draw_scene(77) == draw_scene(77)
    assert draw_scene(77) != draw_scene(78)


def test_width_changes_the_picture_and_not_the_part() -> None:
    wide, narrow = draw_scene(41, 2400), draw_scene(41, 1600)
    assert wide.part == narrow.part
    assert wide.card == narrow.card
    assert (narrow.camera.width_px, narrow.camera.height_px) == (1600, 1200)


@settings(max_examples=40)
@given(st.integers(0, 10**6))
def test_every_scene_is_a_photo_one_can_measure(seed: int) -> None:
    scene = draw_scene(seed)
    part, camera = scene.part, scene.camera
    assert 0 < part.inner_mm < part.outer_mm < part.rim.outer_mm
    assert camera.tilt_deg <= 28.5
    sheet = np.array([[x, y, scene.card.printed_mm] for x, y in scene.card.corners()])
    assert inside(camera, project(camera, sheet)).all()
    for groove in part.grooves:
        lip = np.hypot(*groove_polygon(groove).T)
        assert lip.min() > part.inner_mm
        assert lip.max() < part.outer_mm


def test_the_draws_are_broad() -> None:
    scenes = [draw_scene(seed) for seed in SEEDS]
    clean = sum(not s.part.grooves for s in scenes)
    assert 3 <= clean <= 18
    assert {s.part.kind for s in scenes} == {"casing", "impeller", "box-cover", "side-plate"}
    assert {s.card.name for s in scenes} == {"standard", "small", "large"}
    assert {g.profile for s in scenes for g in s.part.grooves} == {"u", "v", "flat"}
    widths = [g.width_mm for s in scenes for g in s.part.grooves]
    assert min(widths) < 0.8
    assert max(widths) > 3.5


@pytest.mark.parametrize("seed", [300, 307, 318])
def test_undistort_takes_distort_back(seed: int) -> None:
    camera = draw_scene(seed).camera
    reach = math.hypot(camera.width_px, camera.height_px) / 2 / camera.focal_px
    points = np.random.default_rng(1).uniform(-reach / 2, reach / 2, (100, 2))
    assert undistort(camera, distort(camera, points)) == pytest.approx(points, abs=1e-5)


def test_projection_agrees_with_opencv() -> None:
    """OpenCV's projectPoints is the reference for pose and lens."""
    import cv2

    from wearvision.scenes.lens import camera_matrix

    scene: Scene = draw_scene(305)
    camera = scene.camera
    world = np.random.default_rng(2).uniform(-40, 40, (50, 3))
    rotation = np.asarray(camera.rotation)
    turn, _ = cv2.Rodrigues(rotation)
    shift = -rotation @ np.asarray(camera.position_mm)
    lens = np.array([camera.k1, camera.k2, 0.0, 0.0])
    expected, _ = cv2.projectPoints(world, turn, shift, camera_matrix(camera), lens)
    assert project(camera, world) == pytest.approx(expected.reshape(-1, 2), abs=1e-6)


def test_card_drawing_is_opencvs_board() -> None:
    """The drawing is found again by OpenCV's own detector, ids in place and not mirrored."""
    import cv2

    from wearvision.scenes.drawing import card_bitmap

    drawing = card_bitmap(2, 60)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(drawing)
    assert sorted(np.asarray(ids).ravel()) == list(range(34, 51))
    first = corners[int(np.argmin(np.asarray(ids).ravel()))].reshape(4, 2)
    assert first[0] == pytest.approx([20 + 60 + 9, 20 + 9], abs=1.0)


def test_a_labelled_card_says_its_size() -> None:
    """The label is read back by the reader that measures photos."""
    from wearvision.cards.tags import read_card_text
    from wearvision.scenes.drawing import sheet_bitmap

    card = next(s.card for s in map(draw_scene, SEEDS) if s.card.serial and s.card.name == "small")
    drawing = sheet_bitmap(card, px_per_square=60)
    per_mm = 60 / 10.0
    left, top, _, _ = card.box_mm
    to_px = np.array([[per_mm, 0, -left * per_mm - 0.5], [0, per_mm, -top * per_mm - 0.5], [0, 0, 1.0]])
    found = read_card_text(drawing, to_px, "small")
    assert found is not None
    assert (found.size, found.serial, found.card, found.view) == ("small", card.serial, 0, "wear-face")
