"""A crack and a lip's edge by taps: drawn truth, claimed error bars, and what is asked back."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.measure.face_kit import drawn_plane
from wearvision.errors import BadInput, NeedsPerson
from wearvision.measure.by_line import crack_along, follow, washout_along
from wearvision.measure.mark import Mark
from wearvision.measure.marks import apply_marks
from wearvision.measure.plane import Plane
from wearvision.quantity import Measured, Unmeasured

MM_PER_PX = 0.1
HIGH, WIDE = 600, 900
FINE = 4
Gray = NDArray[np.uint8]


def plane() -> Plane:
    return drawn_plane(mm_per_px=MM_PER_PX, size_px=(WIDE, HIGH))


def shot(fine: NDArray[np.float64], seed: int, noise: float = 3.0, blur: float = 0.8) -> Gray:
    """A picture of a finely drawn one: averaged down, blurred, with grain."""
    picture = cv2.resize(fine, (WIDE, HIGH), interpolation=cv2.INTER_AREA)
    grain = np.random.default_rng(seed).normal(0, noise, picture.shape)
    return np.clip(cv2.GaussianBlur(picture, (0, 0), blur) + grain, 0, 255).astype(np.uint8)


def drawn_crack(seed: int, width_mm: float = 0.25) -> tuple[Gray, NDArray[np.float64]]:
    """Uneven metal with a black line that wanders, and its points, photo px."""
    dice = np.random.default_rng(seed)
    x = np.linspace(180, 700, 60)
    wander = np.interp(np.arange(60), np.arange(0, 61, 5), np.cumsum(dice.normal(0, 9, 13)))
    line = np.column_stack([x, 300 + wander])
    fine = np.full((HIGH * FINE, WIDE * FINE), 140.0)
    fine += cv2.resize(cv2.GaussianBlur(dice.normal(0, 1, (HIGH, WIDE)), (0, 0), 20) * 150, (WIDE * FINE, HIGH * FINE))
    points = np.round(((line + 0.5) * FINE - 0.5) * 16).astype(np.int32)
    cv2.polylines(fine, [points], False, 8.0, round(width_mm / MM_PER_PX * FINE), cv2.LINE_8, 4)
    return shot(fine, seed), line


def drawn_lip(seed: int, depth_mm: float, turn_deg: float = 0.0) -> tuple[Gray, NDArray[np.float64]]:
    """A bright edge against the dark, straight from x = 100 to 800 but for a bay (raised cosine); taps along it."""
    x = (np.arange(WIDE * FINE) + 0.5) / FINE - 0.5
    bay = np.where(abs(x - 450) < 150, (1 + np.cos(np.pi * (x - 450) / 150)) / 2, 0.0) * depth_mm / MM_PER_PX
    row = ((np.arange(HIGH * FINE) + 0.5) / FINE - 0.5)[:, None]
    fine = np.where(row > 300 + np.tan(np.radians(turn_deg)) * (x - 450) + bay, 150.0, 50.0)
    at = np.array([100.0, 250, 380, 450, 520, 650, 800])
    dip = np.interp(at, x, bay) + np.tan(np.radians(turn_deg)) * (at - 450)
    shake = np.random.default_rng(seed).normal(0, 3, len(at))
    return shot(fine, seed), np.column_stack([at, 300 + dip + shake])


def inside(found: object, truth: float) -> bool:
    assert isinstance(found, Measured)
    return abs(found.value - truth) <= found.u95


def test_a_crack_between_taps_has_its_length_and_width() -> None:
    held = []
    for seed in range(8):
        gray, line = drawn_crack(seed)
        found = crack_along(gray, plane(), line[[0, 30, -1]] + [[1.5, -2], [0, 2], [-1, 2]], "C1")
        true = float(np.hypot(*np.diff(line, axis=0).T).sum()) * MM_PER_PX
        assert found.flags == ("suspected",)
        held += [inside(found.quantities["length"], true), inside(found.quantities["width"], 0.25)]
        length = found.quantities["length"]
        assert isinstance(length, Measured)
        assert length.value == pytest.approx(true, rel=0.03)
        assert "penetrant" in length.how
        path = found.outline_px[: len(found.outline_px) // 2]
        off = abs(path[:, 1] - np.interp(path[:, 0], *line.T))
        assert np.median(off) < 1.0
    assert np.mean(held) >= 0.9


def test_where_nothing_is_dark_a_crack_has_no_width() -> None:
    gray = shot(np.full((HIGH * FINE, WIDE * FINE), 130.0), 1)
    found = crack_along(gray, plane(), np.array([[200.0, 200], [500, 320]]), "C1")
    assert isinstance(found.quantities["width"], Unmeasured)
    assert found.flags == ("suspected", "faint")
    length = found.quantities["length"]
    assert isinstance(length, Measured)
    assert length.value == pytest.approx(MM_PER_PX * float(np.hypot(300, 120)), rel=1e-3)


@pytest.mark.parametrize("depth_mm", [0.5, 1.0, 2.0, 4.0])
def test_a_washed_edge_lies_behind_its_sound_line_as_drawn(depth_mm: float) -> None:
    for seed, turn in ((1, 0.0), (2, 6.0), (3, -4.0)):
        gray, taps = drawn_lip(seed, depth_mm, turn)
        cos = float(np.cos(np.radians(turn)))
        found = washout_along(gray, plane(), taps, "W1")
        assert found.kind == "washout"
        assert inside(found.quantities["max_deviation"], depth_mm * cos)
        assert inside(found.quantities["area"], 15.0 * depth_mm)
        top = found.quantities["max_deviation"]
        assert isinstance(top, Measured)
        assert top.value == pytest.approx(depth_mm * cos, abs=0.08)
        assert top.u95 < 0.4 + 0.1 * depth_mm


def test_the_side_of_the_metal_does_not_matter() -> None:
    gray, taps = drawn_lip(4, 1.5)
    turned = np.ascontiguousarray(gray[::-1, ::-1])
    around = (np.array([WIDE, HIGH]) - 1 - taps)[::-1]
    both = ((gray, taps), (turned, around))
    one, other = (washout_along(g, plane(), t, "W1").quantities["max_deviation"] for g, t in both)
    back = washout_along(gray, plane(), taps[::-1], "W1").quantities["max_deviation"]
    assert isinstance(one, Measured)
    assert isinstance(other, Measured)
    assert isinstance(back, Measured)
    assert one.value == pytest.approx(other.value, abs=0.03)
    assert one.value == pytest.approx(back.value, abs=0.03)


def test_a_sound_edge_stays_small_and_faint() -> None:
    gray, taps = drawn_lip(5, 0.0)
    found = washout_along(gray, plane(), taps, "W1")
    top = found.quantities["max_deviation"]
    assert isinstance(top, Measured)
    assert top.value < 0.1
    assert "faint" in found.flags


def test_taps_that_cannot_be_followed_ask_back() -> None:
    flat = shot(np.full((HIGH * FINE, WIDE * FINE), 130.0), 2)
    with pytest.raises(NeedsPerson, match="no edge"):
        washout_along(flat, plane(), np.array([[100.0, 300], [400, 305], [800, 300]]), "W1")
    with pytest.raises(BadInput, match="back and forth"):
        washout_along(flat, plane(), np.array([[100.0, 300], [700, 305], [400, 300], [800, 300]]), "W1")
    with pytest.raises(BadInput, match="outside the picture"):
        crack_along(flat, plane(), np.array([[100.0, 300], [5000, 305]]), "C1")
    with pytest.raises(BadInput, match="too near"):
        crack_along(flat, plane(), np.array([[100.0, 300], [103, 305]]), "C1")


def test_the_path_is_the_best_of_all() -> None:
    """Against skimage.graph.route_through_array on the same strip, steps of one row at most."""
    from skimage.graph import route_through_array

    dice = np.random.default_rng(7)
    strength = dice.uniform(0, 0.2, (41, 160))
    row = np.rint(20 + 12 * np.sin(np.arange(160) / 25)).astype(int)
    strength[row, np.arange(160)] = 1.0
    path, _ = follow(strength, np.full(160, 20.0), np.full(160, 18.0))
    other, _ = route_through_array(1.3 - strength, (int(row[0]), 0), (int(row[-1]), 159))
    reference = np.array([np.mean([r for r, c in other if c == k]) for k in range(160)])
    assert np.abs(path - reference).max() <= 1.0
    assert np.abs(path - row).max() <= 0.6


def test_marks_carry_name_and_flags() -> None:
    gray, line = drawn_crack(11)
    marks = [
        Mark(action="add", by="A. Fitter", kind="crack", taps_px=line[[0, -1]]),
        Mark(action="reshape", by="B. Fitter", target="C1", taps_px=line[[0, 25, -1]]),
        Mark(action="strike", by="B. Fitter", target="C1", reason="scratch"),
    ]
    first = apply_marks([], marks[:1], plane(), None, gray)[0]
    assert (first.id, first.by, first.flags) == ("C1", "A. Fitter", ("marked", "suspected"))
    last = apply_marks([], marks, plane(), None, gray)[0]
    assert (last.by, last.flags, last.struck) == ("B. Fitter", ("reshaped", "suspected"), "scratch")
    with pytest.raises(BadInput, match="need the picture"):
        apply_marks([], marks[:1], plane(), None)
