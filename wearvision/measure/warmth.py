"""How warm the photo's colours are: red over blue, a ratio that shade leaves nearly as it is and rust does not."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from wearvision.measure.edges import log_gray
from wearvision.measure.plane import Plane
from wearvision.measure.unwrap import Image

LEVELS = 40.0
"""Levels of warmth to a factor of e of red over blue."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Warmth:
    """A copy of the photo that shows how warm it is.

    Attributes
    ----------
    image : (h, w) uint8
        128 where red is as much as blue, `LEVELS` more for each factor of e.
    plane : Plane
        The measured plane in that copy.
    """

    image: Image
    plane: Plane


def warmth_of(colour: Image, plane: Plane) -> Warmth:
    """The warmth of a photo in colour (h, w, 3), red first, of any size; its plane in the whole photo is given."""
    level = np.round(LEVELS * log_gray(np.arange(256, dtype=np.float32))).astype(np.uint8)
    red, blue = (cv2.LUT(cv2.extractChannel(colour, k), level) for k in (0, 2))
    high, wide = colour.shape[:2]
    return Warmth(
        image=np.asarray(cv2.addWeighted(red, 1.0, blue, -1.0, 128.0), dtype=np.uint8),
        plane=plane.shrunk(plane.size_px[0] / wide, (wide, high)),
    )
