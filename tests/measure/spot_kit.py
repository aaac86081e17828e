"""Drawn metal with a lay, and worn spots on it whose outline is known."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

SIZE = (300, 360)


@dataclass(frozen=True, kw_only=True, eq=False)
class DrawnSpot:
    """A picture with one pit: `inside` is its truth, `box` its bounds (outer edges of pixels)."""

    gray: NDArray[np.uint8]
    inside: NDArray[np.bool_]

    @property
    def box(self) -> NDArray[np.float64]:
        row, column = np.nonzero(self.inside)
        return np.array([column.min(), row.min(), column.max() + 1, row.max() + 1]) - 0.5

    @property
    def middle(self) -> NDArray[np.float64]:
        return np.argwhere(self.inside).mean(axis=0)[::-1]


def metal(seed: int, lay_deg: float = 15.0) -> NDArray[np.float64]:
    """Sound metal: bands and fine lines along the lay, a slope of light, grain."""
    dice = np.random.default_rng(seed)
    row, column = np.mgrid[: SIZE[0], : SIZE[1]]
    turn = np.radians(lay_deg)
    across = column * np.sin(turn) - row * np.cos(turn)
    lines = cv2.GaussianBlur(dice.normal(0, 1, (1, 2000)), (0, 0), 1.5)[0]
    bands = cv2.GaussianBlur(dice.normal(0, 1, (1, 2000)), (0, 0), 25)[0]
    at = across + 1000
    base = 130 + 0.05 * column + 14 * np.interp(at, np.arange(2000), lines) + 90 * np.interp(at, np.arange(2000), bands)
    return np.asarray(base + dice.normal(0, 3, SIZE))


def spot(seed: int, size: float = 30.0, dark: float = 45.0, lay_deg: float = 15.0) -> DrawnSpot:
    """A dark, rough pit with a wavy rim in the middle of drawn metal."""
    dice = np.random.default_rng(1000 + seed)
    row, column = np.mgrid[: SIZE[0], : SIZE[1]]
    x, y = column - 178.3, row - 151.6
    angle = np.arctan2(y, x)
    rim = size * (1 + sum(dice.normal(0, 0.18 / k) * np.cos(k * angle + dice.uniform(0, 6)) for k in (2, 3, 4)))
    inside = np.hypot(x, y) < rim
    rough = cv2.GaussianBlur(dice.normal(0, 1, SIZE), (0, 0), 1.5) * 30
    picture = metal(seed, lay_deg)
    share = cv2.GaussianBlur(inside.astype(np.float64), (0, 0), 1.0)
    picture = picture + share * (rough - dark)
    return DrawnSpot(gray=np.clip(picture, 0, 255).astype(np.uint8), inside=inside)


def filled(outline: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Pixels inside an outline."""
    canvas = np.zeros(SIZE, dtype=np.uint8)
    cv2.fillPoly(canvas, [np.round(outline * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
    return canvas > 0


def iou(one: NDArray[np.bool_], other: NDArray[np.bool_]) -> float:
    return int((one & other).sum()) / int((one | other).sum())
