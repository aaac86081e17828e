"""Straight runs of edge, against OpenCV's line segment detector."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from wearvision.measure.finders.tongue_edges import straight_edges


def picture(seed: int) -> np.ndarray:
    """Polygons of many greys on grain."""
    rng = np.random.default_rng(seed)
    canvas = np.full((240, 320), 120, dtype=np.uint8)
    for _ in range(12):
        cv2.fillPoly(canvas, [rng.integers(0, (320, 240), (4, 2)).astype(np.int32)], int(rng.integers(20, 230)))
    grain = cv2.GaussianBlur(rng.normal(0, 30, canvas.shape), (0, 0), 1.5)
    return np.clip(canvas + grain, 0, 255).astype(np.uint8)


def lengths(ends: np.ndarray) -> np.ndarray:
    return np.sort(np.hypot(*(ends[:, 2:] - ends[:, :2]).T))[::-1]


@pytest.mark.parametrize("seed", range(4))
def test_runs_are_those_of_opencv(seed: int) -> None:
    """The longest: its angles are good to 0.3 degrees, and its least run depends on the picture's size."""
    found = cv2.createLineSegmentDetector(cv2.LSD_REFINE_NONE, 0.5).detect(picture(seed))[0].reshape(-1, 4)
    own = straight_edges(picture(seed))
    assert lengths(own)[:12] == pytest.approx(lengths(found)[:12], abs=2.0)


def test_an_edge_is_found_end_to_end() -> None:
    canvas = np.full((200, 300), 60, dtype=np.uint8)
    cv2.fillPoly(canvas, [np.array([[40, 100], [260, 60], [260, 199], [40, 199]], dtype=np.int32)], 180)
    (x0, y0, x1, y1), *_ = sorted(straight_edges(canvas).tolist(), key=lambda end: abs(end[0] - end[2]))[::-1]
    assert sorted([x0, x1]) == pytest.approx([40, 260], abs=5)
    assert (y1 - y0) / (x1 - x0) == pytest.approx(-40 / 220, abs=0.01)


@pytest.mark.parametrize("level", [0, 255])
def test_a_flat_picture_has_none(level: int) -> None:
    assert straight_edges(np.full((64, 80), level, dtype=np.uint8)).shape == (0, 4)
