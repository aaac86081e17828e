"""Copies of a picture in blocks of pixels."""

from __future__ import annotations

import numpy as np
import pytest

from wearvision.measure.chart import shrunk


@pytest.mark.parametrize("factor", [1, 2, 3, 4, 6, 8])
def test_a_block_is_the_mean_of_its_pixels(factor: int) -> None:
    picture = np.random.default_rng(factor).integers(0, 256, (50, 67), dtype=np.uint8)
    small = shrunk(picture, factor)
    high, wide = 50 // factor, 67 // factor
    blocks = picture[: high * factor, : wide * factor].reshape(high, factor, wide, factor).mean(axis=(1, 3))
    assert small.shape[0] <= high and small.shape[1] <= wide
    assert np.abs(small - blocks[: small.shape[0], : small.shape[1]]).max() <= 1.5  # rounded once per halving
