"""Candidate lines: a row of marks at any angle is among the first."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from wearvision.measure.rule.bands import find_lines
from wearvision.measure.rule.strip import moved_to, place_px, unroll


def row_of_marks(angle_deg: float, skew_deg: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """A picture of marks 22 px long every 9 px, and their unit direction."""
    image = np.full((700, 900), 170, dtype=np.uint8)
    along = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    lean = np.radians(angle_deg + 90 + skew_deg)
    mark = 11 * np.array([np.cos(lean), np.sin(lean)])
    for k in range(-30, 31):
        at = np.array([450.0, 350.0]) + 9 * k * along
        ends = [tuple(int(v) for v in np.rint(16 * (at + s * mark))) for s in (-1, 1)]
        cv2.line(image, ends[0], ends[1], 60, 2, cv2.LINE_AA, 4)
    noise = np.random.default_rng(1).normal(0, 4, image.shape)
    return np.clip(image + noise, 0, 255).astype(np.uint8), along


@pytest.mark.parametrize("angle_deg", [0, 17, 45, 89, 90, 91, 133, 178])
@pytest.mark.parametrize("skew_deg", [0.0, 9.0])
def test_a_row_is_found_at_any_angle(angle_deg: float, skew_deg: float) -> None:
    image, along = row_of_marks(angle_deg, skew_deg)
    line = next(find_lines(image))
    assert abs(float(line.along @ along)) > np.cos(np.radians(1.5))
    assert abs(float((np.array([450.0, 350.0]) - line.centre_px) @ line.across)) < 8
    assert abs(abs(line.skew[0]) - np.tan(np.radians(skew_deg))) < 0.06


def test_nothing_stands_out_of_a_plain_picture() -> None:
    assert list(find_lines(np.full((400, 400), 128, dtype=np.uint8))) == []


def test_a_strip_and_its_places_agree() -> None:
    y, x = np.mgrid[:300, :400].astype(np.float32)
    image = np.clip(0.4 * x + 0.3 * y, 0, 255).astype(np.uint8)
    image_line = next(find_lines(row_of_marks(20)[0]))
    strip = unroll(image, image_line, (-20, 20), 2.0)
    t, s = np.array([float(strip.t_px[50])]), np.array([float(strip.s_px[7])])
    px = place_px(strip.line, t, s)[0]
    if strip.inside[7, 50]:
        assert strip.values[7, 50] == pytest.approx(0.4 * px[0] + 0.3 * px[1], abs=1.5)
    moved = moved_to(image_line, 12.0)
    stretch = 1 + 12.0 * image_line.skew[1]
    np.testing.assert_allclose(
        place_px(moved, t * stretch, np.zeros(1)), place_px(image_line, t, np.full(1, 12.0)), atol=1e-6
    )
