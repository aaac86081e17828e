"""The label of a card: paper right of its squares, which hides the part as well."""

from __future__ import annotations

import numpy as np

from wearvision.measure.patch import patch_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

SQUARES, MORE = 8.0, 2.0
"""Width of a card's outline without label, and what a label adds, in squares."""
WHITE, SHARE = 0.8, 0.5
"""A label is there when such a share of its place is at least so bright against the card's own paper."""


def with_label(gray: Image, plane: Plane, outline_px: Array) -> Array:
    """Outline (4, 2) of a card's paper, photo px, with its label where there is one.

    `outline_px` starts at the corner above the first square and runs along the board's first row; an outline of
    another number of points is given back as it is.
    """
    if len(outline_px) != 4:
        return outline_px
    mm = plane.to_mm(outline_px)
    wide, tall = mm[1] - mm[0], mm[3] - mm[0]
    size = (float(np.hypot(*wide)), float(np.hypot(*tall)))
    along, down = wide / size[0], tall / size[1]
    square = size[0] / SQUARES
    card = patch_of(gray, plane, mm[0], along, size, step_mm=square / 12, down=down)
    beyond = patch_of(
        gray, plane, mm[1] + 0.5 * square * down, along, ((MORE - 0.3) * square, size[1] - square),
        step_mm=square / 12, down=down,
    )  # fmt: skip
    if not (card.valid.any() and beyond.valid.mean() > 0.3):
        return outline_px
    paper = float(np.percentile(card.values[card.valid], 75))
    if float((beyond.values[beyond.valid] > WHITE * paper).mean()) < SHARE:
        return outline_px
    out = mm.copy()
    out[1:3] += MORE * square * along
    return plane.to_px(out)
