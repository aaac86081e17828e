"""Corners of a black square, drawn by the error function, so that the truth is exact."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import erf

from wearvision.measure.squares import square_corners

SIDE_PX, TURN = 80.0, np.radians(12.0)
MIDDLE = np.array([80.3, 79.6])
UNIT = np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]]) / 2
ALONG = np.array([np.cos(TURN), np.sin(TURN)])
ACROSS = np.array([-np.sin(TURN), np.cos(TURN)])
CORNERS = MIDDLE + SIDE_PX * (UNIT[:, :1] * ALONG + UNIT[:, 1:] * ACROSS)


def photo(
    seed: int, *, blur_px: float = 1.0, noise: float = 5.0, white: float = 200.0, beside: float = 0.0
) -> np.ndarray:
    """A turned black square (17) on white, blurred, with grain; above 255 it is burnt out. To its right the white may
    be printed `beside` darker."""
    at = np.stack(np.meshgrid(np.arange(160.0), np.arange(160.0)), axis=-1) - MIDDLE
    inside = np.ones(at.shape[:2])
    for way in (ALONG, ACROSS):
        near, far = (erf((SIDE_PX / 2 + side * (at @ way)) / (blur_px * np.sqrt(2))) for side in (1, -1))
        inside *= (near + far) / 2
    edge = (1 + erf((at @ ALONG - SIDE_PX / 2) / (blur_px * np.sqrt(2)))) / 2
    level = white - (white - 17.0) * inside - beside * edge
    grain = np.random.default_rng(seed).normal(0.0, noise, level.shape)
    return np.asarray(np.clip(np.rint(level + grain), 0, 255), dtype=np.uint8)


def found(gray: np.ndarray) -> np.ndarray:
    corners: np.ndarray = square_corners(gray, CORNERS[None] + 0.4, np.array([7.0]))[0]
    return corners


@pytest.mark.parametrize(("noise", "most_px"), [(1.0, 0.007), (5.0, 0.03)])
def test_a_corner_scatters_by_little(noise: float, most_px: float) -> None:
    """With 12 normals a side instead of 48 it is twice as much, 0.009 and 0.039 px."""
    off = np.stack([found(photo(seed, noise=noise)) - CORNERS for seed in range(30)])
    assert off.std(axis=0).mean() < most_px
    assert np.abs(off.mean(axis=(0, 1))).max() < 0.015


def test_burnt_out_white_pulls_all_corners_in_alike() -> None:
    """So one unknown of the board, `pull`, takes it up."""
    off = np.mean([found(photo(seed, white=430.0)) - CORNERS for seed in range(10)], axis=0)
    inward = -np.sum(off * (CORNERS - MIDDLE), axis=1) / np.linalg.norm(CORNERS - MIDDLE, axis=1)
    assert 0.4 < inward.mean() < 1.2
    assert np.ptp(inward) < 0.05


def test_a_side_with_something_darker_beyond_it_is_not_taken_for_one_of_burnt_out_white() -> None:
    """Its line would lie half a pixel further out than the others' and turn the whole board."""
    quads = np.stack([CORNERS + 0.4] * 2)
    for seed in range(5):
        gray = photo(seed, white=430.0, beside=350.0)
        corners = square_corners(gray, quads, np.array([7.0, 7.0]))
        assert np.isnan(corners[:, [1, 2]]).all()
        inward = -np.sum((corners[0] - CORNERS) * (CORNERS - MIDDLE), axis=1) / np.linalg.norm(CORNERS - MIDDLE, axis=1)
        assert np.ptp(inward[[0, 3]]) < 0.1


def test_white_that_is_not_burnt_out_pulls_nothing_so_a_darker_side_counts() -> None:
    off = np.mean([found(photo(seed, white=200.0, beside=120.0)) - CORNERS for seed in range(10)], axis=0)
    assert np.abs(off).max() < 0.05
