"""Fit the two passes of `measure.believe` to photos of pits with masks by their authors.

Boxes are drawn as hands draw them: from tight to a quarter too large, each side off by up to an eighth. Every box
counts the same, whatever its size. The fit is a ridge-penalized logistic regression by Newton's method.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.errors import BadInput
from wearvision.measure.believe import FIRST, SECOND, Model, Weights, belief, evidence
from wearvision.measure.snap import grown
from wearvision.measure.spot import SEEN, Box, Window, core, terms, window_of

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]
RIDGE = 1e-2
NEWTON_STEPS = 12
EVERY = 3
"""One cell in so many, each way, is fitted to: neighbours tell the same."""
LOOSENESS, JITTER = (0.0, 0.08, 0.16, 0.24), 0.12


@dataclass(frozen=True, kw_only=True, eq=False)
class Pit:
    """One pit of one photo: a piece of its mask.

    Attributes
    ----------
    photo : str
    number : int
        Of all pits of the folder.
    gray : (H, W) uint8
    mask : (H, W) bool
    box_px : Box
        Bounds of the mask, outer edges of its pixels.
    """

    photo: str
    number: int
    gray: Image
    mask: Mask
    box_px: Box


def read_pits(folder: Path) -> list[Pit]:
    """Pits of all photos ``NAME.png`` with a ``NAME_mask.png`` in a folder.

    Raises
    ------
    BadInput
        When there is none.
    """
    from wearvision.photos import load

    pits: list[Pit] = []
    for path in sorted(folder.glob("*_mask.png")):
        photo = path.with_name(path.name.replace("_mask.png", ".png"))
        gray = load(photo).gray
        mask = (load(path).gray > 0).astype(np.uint8)
        count, label, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
        for i in range(1, count):
            x, y, wide, high = (float(v) for v in stats[i, :4])
            box = (x - 0.5, y - 0.5, x + wide - 0.5, y + high - 0.5)
            pits.append(Pit(photo=photo.stem, number=len(pits), gray=gray, mask=label == i, box_px=box))
    if not pits:
        raise BadInput("no photos with masks here", got=str(folder), do="name them NAME.png and NAME_mask.png")
    return pits


def jittered(box: Box, share: float, dice: np.random.Generator) -> Box:
    """A box with each side moved by up to a share of the box's size."""
    x0, y0, x1, y1 = box
    dx0, dy0, dx1, dy1 = (float(v) for v in dice.uniform(-share, share, 4))
    wide, high = x1 - x0, y1 - y0
    return x0 + dx0 * wide, y0 + dy0 * high, x1 + dx1 * wide, y1 + dy1 * high


def boxes_by_hand(pit: Pit) -> list[Box]:
    """Two boxes of each looseness, always the same ones for the same pit."""
    dice = np.random.default_rng(500 + pit.number)
    return [jittered(grown(pit.box_px, loose), JITTER, dice) for loose in LOOSENESS for _ in range(2)]


def in_cells(mask: Mask, window: Window) -> Mask:
    """A mask of the photo, seen through a window."""
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    high, wide = window.grey.shape
    return np.asarray(cv2.warpAffine(mask.astype(np.float32), window.to_photo, (wide, high), flags=flags) > 0.5)


@dataclass(frozen=True, kw_only=True, eq=False)
class Example:
    """One box of one pit, ready to be fitted to."""

    photo: str
    window: Window
    found: Mapping[str, Array]
    truth: Mask


def examples(pits: Iterable[Pit]) -> list[Example]:
    """Every box a hand might draw of every pit."""
    out = []
    for pit in pits:
        for box in boxes_by_hand(pit):
            window = window_of(pit.gray, box)
            truth = in_cells(pit.mask, window)
            out.append(Example(photo=pit.photo, window=window, found=terms(window), truth=truth))
    return out


def fit(seen: Sequence[Example]) -> Model:
    """Weights of both passes, the second on top of the first."""
    first = _logistic(seen, [e.found for e in seen], FIRST)
    cores = [core(e.window, belief(evidence(e.found, first))) for e in seen]
    second = _logistic(seen, [{**e.found, "core": c} for e, c in zip(seen, cores, strict=True)], SECOND)
    return Model(first=first, second=second)


def _logistic(seen: Sequence[Example], found: Sequence[Mapping[str, Array]], names: Sequence[str]) -> Weights:
    rows, truth, share = [], [], []
    for example, terms_of in zip(seen, found, strict=True):
        chosen = np.zeros(example.truth.shape, dtype=bool)
        chosen[::EVERY, ::EVERY] = True
        chosen &= example.window.reach < SEEN
        rows.append(np.column_stack([terms_of[name][chosen] for name in names]))
        truth.append(example.truth[chosen].astype(float))
        share.append(np.full(len(truth[-1]), 1 / len(truth[-1])))
    weights = _newton(np.concatenate(rows), np.concatenate(truth), np.concatenate(share))
    return {name: round(float(w), 3) for name, w in zip(names, weights, strict=True)}


def _newton(rows: Array, truth: Array, share: Array) -> Array:
    """Weights of the columns (the first is 1 and not penalized), penalty on columns scaled to unit spread."""
    middle, spread = rows.mean(axis=0), rows.std(axis=0)
    middle[0], spread[0] = 0.0, 1.0
    scaled = (rows - middle) / spread
    ridge = np.full(rows.shape[1], RIDGE)
    ridge[0] = 0.0
    at = np.zeros(rows.shape[1])
    for _ in range(NEWTON_STEPS):
        told = belief(scaled @ at)
        slope = scaled.T @ (share * (told - truth)) + ridge * at
        bend = (scaled * (share * told * (1 - told) + 1e-9)[:, None]).T @ scaled + np.diag(ridge)
        at = at - np.linalg.solve(bend, slope)
    out = at / spread
    out[0] = at[0] - float(np.sum(at[1:] * middle[1:] / spread[1:]))
    return np.asarray(out)
