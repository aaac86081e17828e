"""Which cells of a window belong to the wear in its middle: a small model, then neighbours that settle doubts.

Two passes of a logistic model over `spot.terms`: the first from box and picture alone, the second, run twice, also
knows where the belief before it lies, so that a box drawn loose or tight matters less. Then neighbouring cells bind
each other, the less across a strong edge (a mean field on the grid of cells).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.plane import Array
from wearvision.measure.spot import Window, core

Mask = NDArray[np.bool_]
Weights = Mapping[str, float]

BIND, EDGE, ROUNDS = 1.5, 0.5, 30
"""How strongly neighbours bind, how fast that falls with the squared step between them in noises, rounds."""
FIRST = ("one", "middle", "odd", "odd_wide", "rough", "darkest")
SECOND = (*FIRST, "core")
LOOKS = ("odd", "odd_wide", "rough", "darkest")
"""Terms that speak of the picture, not of the place."""
NEAR, FAR = 3, 14
"""The surroundings of an outline lie this many cells outside it."""


@dataclass(frozen=True, kw_only=True)
class Model:
    """Weights of the two passes, by term."""

    first: Weights
    second: Weights


MODEL = Model(
    first={"one": -5.103, "middle": -2.746, "odd": 0.962, "odd_wide": 1.709, "rough": 1.155, "darkest": 4.995},
    second={
        "one": -3.25, "middle": -0.269, "odd": 1.127, "odd_wide": 1.294, "rough": 0.883, "darkest": 3.714,
        "core": -2.629,
    },
)  # fmt: skip
"""Fitted to 19 pits on 12 photos of worn ball-screw threads with masks by their authors (BSData, training split,
CC BY-SA 4.0, doi 10.5445/IR/1000129520); only these numbers are derived from them, and `scenes.pit_fit` finds them
again."""


def evidence(found: Mapping[str, Array], weights: Weights) -> Array:
    """Log odds: the weighted sum of terms."""
    return np.asarray(sum(weight * found[name] for name, weight in weights.items()))


def belief(odds: Array) -> Array:
    """Probability of log odds."""
    return np.asarray(1 / (1 + np.exp(-np.clip(odds, -30, 30))))


def odds_of(window: Window, found: Mapping[str, Array], model: Model, known: Array | float = 0.0) -> Array:
    """Log odds of wear at each cell after all passes; `known` log odds are added in each (a person's taps)."""
    odds = evidence(found, model.first) + known
    for _ in range(2):
        odds = evidence({**found, "core": core(window, belief(odds))}, model.second) + known
    return np.asarray(odds)


def settle(window: Window, odds: Array) -> Array:
    """Log odds after neighbours have settled: mean field of pairs of cells that would rather agree."""
    grey = cv2.GaussianBlur(window.grey, (0, 0), 0.8)
    right, below = (BIND * np.exp(-EDGE / 2 * (np.diff(grey, axis=a) / window.noise) ** 2) for a in (1, 0))
    now = odds
    for _ in range(ROUNDS):
        lean, now = np.tanh(now / 2), odds.copy()
        now[:, 1:] += right * lean[:, :-1]
        now[:, :-1] += right * lean[:, 1:]
        now[1:] += below * lean[:-1]
        now[:-1] += below * lean[1:]
    return now


def solid(mask: Mask, within: Array | None = None) -> Mask:
    """The largest piece of a mask, holes filled, or of the pieces that hold one of the (column, row) points.

    All false when there is none.
    """
    _, label, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    area = stats[:, cv2.CC_STAT_AREA].copy()
    area[0] = 0
    if within is not None:
        column, row = (np.clip(np.rint(within[:, k]).astype(int), 0, mask.shape[1 - k] - 1) for k in (0, 1))
        area[np.setdiff1d(np.arange(len(area)), label[row, column])] = 0
    if not area.any():
        return np.zeros(mask.shape, dtype=bool)
    piece = np.pad((label == int(np.argmax(area))).astype(np.uint8), 1)
    cv2.floodFill(piece, None, (0, 0), 2)
    return np.asarray(piece[1:-1, 1:-1] != 2)


def contrast(found: Mapping[str, Array], inside: Mask, model: Model) -> float:
    """How much more the picture speaks for wear inside than around it, log odds; 0 with nothing around it."""
    looks = evidence(found, {name: model.second[name] for name in LOOKS})
    grown = [cv2.dilate(inside.astype(np.uint8), _disc(cells)) > 0 for cells in (NEAR, FAR)]
    around = grown[1] & ~grown[0]
    return float(looks[inside].mean() - looks[around].mean()) if around.any() and inside.any() else 0.0


def _disc(cells: int) -> NDArray[np.uint8]:
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * cells + 1, 2 * cells + 1)), dtype=np.uint8)
