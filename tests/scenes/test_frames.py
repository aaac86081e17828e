"""Committed frames: files are whole, truth agrees with the pixels, the card lies where it is said to."""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

FRAMES = Path(__file__).parent.parent / "frames"
DEMO = Path(__file__).parent.parent.parent / "demo_images"
RECORDS = sorted(FRAMES.glob("face_*.json"))
IDS = [p.stem for p in RECORDS]


def load(path: Path) -> dict[str, Any]:
    record: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return record


def mask_of(path: Path) -> Any:
    return np.asarray(Image.open(path.with_name(path.stem + "_mask.png")))


def test_frames_are_those_of_the_registry() -> None:
    prints = json.loads((FRAMES / "registry.json").read_text(encoding="utf-8"))
    assert len(RECORDS) >= 10
    assert {p.name for p in FRAMES.glob("face_*")} == set(prints)
    for name, expected in prints.items():
        assert hashlib.sha256((FRAMES / name).read_bytes()).hexdigest() == expected, name


@pytest.mark.parametrize("path", RECORDS, ids=IDS)
def test_mask_is_the_projected_outline_of_every_groove(path: Path) -> None:
    """Outlines are drawn from the formula, masks are from traced rays: two routes to the same region.

    A groove is seen on its bottom and walls, which parallax and rounding move by a pixel or two at its
    lips; so the region must agree within its rim of that width.
    """
    record, mask = load(path), mask_of(path)
    drawn = np.zeros(mask.shape, dtype=bool)
    for finding in record["findings"]:
        if finding["kind"] == "groove":
            one = np.zeros(mask.shape, dtype=np.uint8)
            outline = np.round(np.array(finding["polygon_px"]) * 16).astype(np.int32)
            cv2.fillPoly(one, [outline], 1, cv2.LINE_8, 4)
            drawn |= one > 0
    seen = mask == 2
    grown, core = (change(drawn.astype(np.uint8), np.ones((7, 7))) > 0 for change in (cv2.dilate, cv2.erode))
    assert not (seen & ~grown).any()
    core &= np.isin(mask, (1, 2, 6))
    assert core.any() == bool(seen.any())
    assert not core.any() or seen[core].mean() > 0.999


@pytest.mark.parametrize("path", RECORDS, ids=IDS)
def test_card_corners_are_where_opencv_sees_them(path: Path) -> None:
    """Outside reference: OpenCV's own ChArUco detector (bounded by its own noise of about 0.1 px)."""
    record = load(path)
    gray = np.asarray(Image.open(path.with_suffix(".jpg")).convert("L"))
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    board = cv2.aruco.CharucoBoard((7, 5), 15.0, 10.5, dictionary)
    corners, ids, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(gray)
    assert ids is not None
    expected = np.array(record["card"]["corners_px"])[np.asarray(ids).ravel()]
    off = np.asarray(corners).reshape(-1, 2) - expected
    assert len(off) >= 12
    assert np.hypot(*np.median(off, axis=0)) < 0.12
    assert np.sqrt((off**2).sum(axis=1).mean()) < 0.4


@pytest.mark.parametrize("path", RECORDS, ids=IDS)
def test_plane_points_follow_from_camera_and_card(path: Path) -> None:
    """The plane found from the card's corners alone hits the four plane points.

    The card lies off the plane by a known height, so solvePnP (OpenCV) gives the pose and the points are
    projected with it; the map between the card's axes and the part's comes from the points themselves,
    therefore their distances to each other are what is tested.
    """
    record = load(path)
    k = np.array(record["camera"]["K"])
    lens = np.array([*record["camera"]["distortion_k1_k2"], 0.0, 0.0])
    card = record["card"]
    square = card["square_mm"] * card["print_scale"]
    column, row = np.meshgrid(np.arange(1, 7), np.arange(1, 5))
    height = np.full(24, card["true_height_mm"])
    board = np.column_stack([column.ravel() * square, -row.ravel() * square, height])
    found, turn, shift = cv2.solvePnP(board, np.array(card["corners_px"]), k, lens)
    assert found
    px = np.array([p["px"] for p in record["plane_points"]])
    mm = np.array([p["mm"] for p in record["plane_points"]])
    straight = cv2.undistortPoints(px.reshape(-1, 1, 2), k, lens).reshape(-1, 2)
    rotation, _ = cv2.Rodrigues(turn)
    rays = np.column_stack([straight, np.ones(len(straight))]) @ rotation
    eye = (-rotation.T @ shift).ravel()
    hit = eye + rays * (-eye[2] / rays[:, 2])[:, None]
    for i in range(3):
        for j in range(i + 1, 4):
            expected = math.dist(mm[i], mm[j])
            assert math.dist(hit[i], hit[j]) == pytest.approx(expected, abs=0.004 * expected + 0.05)


@pytest.mark.parametrize("path", RECORDS, ids=IDS)
def test_records_hold_together(path: Path) -> None:
    record = load(path)
    facts = record["stated"]["stated"]
    inner, outer = facts["face_inner_diameter_mm"], facts["face_outer_diameter_mm"]
    area = math.pi / 4 * (outer**2 - inner**2)
    assert record["summary"]["face_area_mm2"] == pytest.approx(area, rel=0.01)
    with Image.open(path.with_suffix(".jpg")) as photo:
        diagonal = math.hypot(*photo.size)
        exif = photo.getexif().get_ifd(0x8769)
        assert (exif[40962], exif[40963]) == photo.size
    focal35 = record["camera"]["K"][0][0] * math.hypot(36, 24) / diagonal
    assert exif[41989] == pytest.approx(focal35, rel=0.03)
    for finding in record["findings"]:
        if finding["kind"] == "groove":
            truth = finding["truth"]
            assert 0 <= truth["arc_in_view"] <= truth["arc"] + 1e-9 <= 360.0 + 1e-6
            assert truth["width_max"] >= truth["width"]


def test_demo_photos_are_those_of_the_truth_file() -> None:
    truth = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))["photos"]
    crate = DEMO / "crate"
    assert {p.relative_to(crate).as_posix() for p in crate.rglob("*.jpg")} == set(truth)
    assert len(truth) >= 12
    for name, record in truth.items():
        assert hashlib.sha256((crate / name).read_bytes()).hexdigest() == record["sha256"], name
    sizes = [(crate / name).stat().st_size for name in truth]
    assert sum(sizes) < 75e6
    sharp = [size for size, record in zip(sizes, truth.values(), strict=True) if record["retake_expected"] != "blur"]
    assert min(sharp) > 2.5e6 and max(sharp) < 5.5e6, "of the size in which phones save 12 megapixels"


def test_demo_crate_states_what_its_truth_knows() -> None:
    from wearvision.crates.crate import read_crate

    truth = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))["photos"]
    crate = read_crate(DEMO / "crate")
    assert len(crate.parts) == 8
    views = {photo.stated.view for photo in crate.photos}
    assert views == {"wear-face", "gasket-land", "tongue", "line-light", "vane-front", "vane-back", "vane-edge"}
    assert not crate.refused
    for photo in crate.photos:
        record = truth[photo.name]
        assert photo.stated.part_kind == record["part_kind"]
        assert photo.stated.view == record["view"]
        assert photo.stated.card_height_mm == record["stated"]["card_height_mm"]
        assert dict(photo.stated.nominal) == record["stated"]["stated"]
