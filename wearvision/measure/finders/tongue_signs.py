"""Which of a band's samples look like the metal, and which like the opening."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
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

Rows = NDArray[np.int64]
"""First row and one past the last (W, 2) of a side in each column of a band."""


def metal_like(band: Band, metal: Rows, opening: Rows) -> Grid:
    """How much more each sample (H, W) looks like metal than like the opening, logarithm of odds; 0 where not seen.

    Parameters
    ----------
    metal, opening : (W, 2)
        What to learn either from.
    """
    seen = band.patch.valid
    block = (np.arange(seen.shape[1]) * band.patch.step_mm // BLOCK_MM).astype(np.int64)
    looks, grains = (
        _odds(np.stack([_met(classes, seen, block, side, many * few) for side in (metal, opening)]), many, few)
        for classes, many, few in ((band.look, TONES, COLOURS), (band.grain, GRAINS, 1))
    )
    return _told(seen, block, band.look, looks, band.grain, np.float32(GRAIN_WORTH) * grains)


def _odds(met: Array, many: int, few: int) -> Grid:
    """Logarithm of the odds of the first side, of each block and class, by how often (2, blocks, classes) either side
    met it there."""
    soft = met @ _alike(many, few)
    here, anywhere = _bells(met.shape[1], WINDOW_MM / BLOCK_MM) @ soft, soft.sum(axis=1, keepdims=True)
    here *= (1 - COMMON) / np.maximum(here.sum(axis=2, keepdims=True), 1e-9)
    here += COMMON / np.maximum(anywhere.sum(axis=2, keepdims=True), 1e-9) * anywhere + RARE / (many * few)
    return np.asarray(np.clip(np.log(here[0] / here[1]), -SURE, SURE), dtype=np.float32)


@lru_cache(maxsize=8)
def _alike(many: int, few: int) -> Array:
    """How much a sample of each class counts for each, of so many tones (or grains) in as many colours."""
    alike = _bells(many, ALIKE)
    return np.kron(alike / alike.sum(axis=1, keepdims=True), np.eye(few))


@lru_cache(maxsize=64)
def _bells(count: int, wide: float) -> Array:
    """How much each of so many places counts for each, by how far apart they lie (standard deviation `wide`)."""
    place = np.arange(count)
    return np.asarray(np.exp(-0.5 * ((place[:, None] - place) / wide) ** 2))


@compiled
def _met(classes: Classes, seen: NDArray[np.bool_], block: Rows, side: Rows, count: int) -> Array:
    """How often each block met each class (blocks, count) on a side."""
    met = np.zeros((block[-1] + 1, count))
    for column in range(len(block)):
        for row in range(side[column, 0], side[column, 1]):
            if seen[row, column]:
                met[block[column], classes[row, column]] += 1
    return met


@compiled
def _told(
    seen: NDArray[np.bool_], block: Rows, look: Classes, looks: Grid, grain: Classes, grains: Grid
) -> Grid:
    """What the odds of looks and of grains say of each sample together."""
    told = np.zeros(seen.shape, dtype=np.float32)
    for row in range(seen.shape[0]):
        for column in range(seen.shape[1]):
            if seen[row, column]:
                here = block[column]
                told[row, column] = looks[here, look[row, column]] + grains[here, grain[row, column]]
    return told
