"""Which of a band's samples look like the metal, and which like the opening."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.finders.tongue_band import COLOURS, GRAINS, TONES, Band, Classes
from wearvision.measure.plane import Array

WINDOW_MM, BLOCK_MM, COMMON = 5.0, 2.0, 0.3
"""What each side looks like is learned over such a length (standard deviation), in blocks, and in part from all."""
ALIKE = 0.7
"""Tones, and grains, so many classes apart (standard deviation) look alike."""
SURE, GRAIN_WORTH, RARE = 1.5, 0.5, 0.03
"""No sample says more than this (logarithm of odds); what its grain says counts less; odds of what was never met."""
MOST_UNLIKE = 2 * SURE * (1 + GRAIN_WORTH)
"""Two places differ by no more."""


def metal_like(band: Band, metal: NDArray[np.bool_], opening: NDArray[np.bool_]) -> Array:
    """How much more each sample (H, W) looks like metal than like the opening, logarithm of odds; 0 where not seen.

    Parameters
    ----------
    metal, opening : (H, W) bool
        What to learn either from.
    """
    seen = band.patch.valid
    sides = [side & seen for side in (metal, opening)]
    looks = _odds(band.tone, TONES, band.colour, COLOURS, sides, band.patch.step_mm)
    grains = _odds(band.grain, GRAINS, np.zeros_like(band.grain), 1, sides, band.patch.step_mm)
    return np.where(seen, looks + GRAIN_WORTH * grains, 0.0)


def _odds(
    first: Classes, many: int, second: Classes, few: int, sides: list[NDArray[np.bool_]], step_mm: float
) -> Array:
    """Logarithm of the odds that a sample of its two classes lies on the first side, where it is."""
    block = (np.arange(first.shape[1]) * step_mm // BLOCK_MM).astype(np.int32)
    middle = np.arange(block[-1] + 1) * BLOCK_MM
    near = np.exp(-0.5 * ((middle[:, None] - middle) / WINDOW_MM) ** 2)
    tones = np.arange(many)
    alike = np.exp(-0.5 * ((tones[:, None] - tones) / ALIKE) ** 2)
    alike /= alike.sum(axis=1, keepdims=True)
    count = many * few
    key = block * count + first.astype(np.int32) * few + second
    shares = []
    for side in sides:
        met = np.bincount(key[side], minlength=len(middle) * count).reshape(len(middle), many, few)
        met = np.einsum("btc,tu->buc", met, alike).reshape(len(middle), count)
        here = near @ met
        shares.append(
            (1 - COMMON) * here / np.maximum(here.sum(axis=1, keepdims=True), 1e-9)
            + COMMON * met.sum(axis=0) / max(float(met.sum()), 1e-9) + RARE / count
        )  # fmt: skip
    odds = np.clip(np.log(shares[0] / shares[1]), -SURE, SURE).astype(np.float32)
    return np.asarray(odds.ravel()[key])
