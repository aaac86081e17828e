"""A picture that holds a QR square always goes on to the decoder, hardly any other does."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import segno
from numpy.typing import NDArray

from wearvision.cards.corner_marks import may_hold_code

Gray = NDArray[np.uint8]


def bench(seed: int) -> Gray:
    """Blotches and grain, about what rusty iron looks like."""
    rng = np.random.default_rng(seed)
    blotches = cv2.resize(rng.normal(110, 25, (60, 80)).astype(np.float32), (1600, 1200), interpolation=cv2.INTER_CUBIC)
    return np.asarray((blotches + rng.normal(0, 6, blotches.shape)).clip(0, 255), dtype=np.uint8)


def tagged(seed: int, module_px: float, blur_px: float) -> Gray:
    """A tag lies on the bench, turned and tilted by chance."""
    rng = np.random.default_rng(seed)
    modules = 1 - np.array([list(row) for row in segno.make_qr("WV1/PART/C-1042", error="m").matrix], np.uint8)
    tag = np.kron(np.pad(modules, 4, constant_values=1) * 150.0 + 40, np.ones((8, 8))).astype(np.float32)
    side, turn = len(tag), rng.uniform(0, 2 * np.pi)
    corners = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]]) * module_px * side / 8
    corners = corners * [1.0, rng.uniform(0.8, 1.0)] + rng.normal(0, 0.01 * module_px * side / 8, (4, 2))
    cos, sin = np.cos(turn), np.sin(turn)
    at = (corners @ np.array([[cos, sin], [-sin, cos]]) + [800, 600]).astype(np.float32)
    way = cv2.getPerspectiveTransform(np.array([[0, 0], [side, 0], [side, side], [0, side]], np.float32), at)
    mask = cv2.warpPerspective(np.ones_like(tag), way, (1600, 1200)) > 0.5
    whole = np.where(mask, cv2.warpPerspective(tag, way, (1600, 1200), flags=cv2.INTER_AREA), bench(seed))
    return np.asarray(cv2.GaussianBlur(whole.astype(np.float32), (0, 0), blur_px).clip(0, 255), dtype=np.uint8)


@pytest.mark.parametrize("module_px", [3.0, 5.0, 12.0])
def test_a_tag_is_never_passed_over(module_px: float) -> None:
    for seed in range(12):
        assert may_hold_code(tagged(seed, module_px, 0.25 * module_px))


def test_a_bench_without_one_is() -> None:
    assert sum(may_hold_code(bench(seed)) for seed in range(6)) <= 1
    assert not may_hold_code(np.full((300, 400), 255, np.uint8))
    assert not may_hold_code(np.zeros((5, 3), np.uint8))
