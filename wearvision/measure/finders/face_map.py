"""The whole face rolled flat once and coarsely, for all that is sought on it in small: pits and cracks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import knots_px, scale_at, shrunk
from wearvision.measure.face import Face
from wearvision.measure.plane import Array, Plane, shrunk_px
from wearvision.measure.rays import KNOT, greys_on
from wearvision.measure.unwrap import Image

Bytes = NDArray[Any]
"""Bytes, as OpenCV takes and gives them."""

STEP_MM = 0.2
"""A pit of 1 mm is five samples wide."""
MOST = 1250
"""Samples along a side; the step grows on larger faces."""
HALVED = 8
"""Samples along a side are a multiple of this: halves of halves of halves of the map take whole samples."""
LOG_FROM, LOG_SPAN = 2.0, 3.6
TONE = LOG_SPAN / 255
"""Log grey that bytes 0 to 255 stand for; a byte's step."""
LOGS = np.clip((np.log(np.arange(256) + 8.0) - LOG_FROM) / TONE, 0, 255).round().astype(np.uint8)


@dataclass(frozen=True, kw_only=True, eq=False)
class FaceMap:
    """Tones of a face on a square grid along the plane's axes.

    Attributes
    ----------
    tone : (N, N) uint8
        Log grey in steps of `TONE`; the median of the face on what is not looked at.
    face : (N, N) uint8
        255 on what is looked at: the flat of the face in the picture, not covered; else 0.
    origin_mm, centre_mm : (2,) arrays
        Plane point of sample (0, 0); the axis.
    step_mm, px_mm : float
        Between samples; a photo pixel in the middle.
    """

    tone: Bytes
    face: Bytes
    origin_mm: Array
    centre_mm: Array
    step_mm: float
    px_mm: float

    def to_mm(self, column: Array, row: Array) -> Array:
        """Plane points (N, 2) of samples (fractions allowed)."""
        return np.asarray(self.origin_mm + self.step_mm * np.column_stack([column, row]).astype(np.float64))


def face_map(gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...], edge_mm: float = 0.7) -> FaceMap:
    """Map of a face; ``edge_mm`` of the flat is left out along both its edges, they are broken."""
    size = 2 * (face.flat_mm[1] + 1)
    step = max(STEP_MM, size / MOST)
    origin = face.centre_mm - (np.ceil(size / step) - 1) * step / 2
    count = HALVED * int(np.ceil(size / step / HALVED))
    px_mm = scale_at(plane, plane.to_px(face.centre_mm.reshape(1, 2)))
    mask = _mask(plane, face, exclude_px, origin, step, count, edge_mm)
    knots = knots_px(plane, origin, step, (count, count), KNOT)
    tone = cv2.LUT(greys_on(*_seen_in(gray, knots, max(1, int(step / px_mm))), mask), LOGS)
    even = np.full_like(tone, _middle(tone[::4, ::4], mask[::4, ::4]))
    return FaceMap(
        tone=cv2.copyTo(tone, mask, even), face=mask, origin_mm=origin, centre_mm=face.centre_mm, step_mm=step,
        px_mm=px_mm,
    )  # fmt: skip


def _seen_in(gray: Image, knots: Array, shrink: int) -> tuple[Image, Array]:
    """A picture shrunk where a grid lies, and the grid's knots in that."""
    if shrink == 1:
        return gray, knots
    low = np.clip(np.floor(knots.min(axis=(1, 2))), 0, np.array(gray.shape[::-1]) - shrink).astype(int)
    high = np.clip(np.ceil(knots.max(axis=(1, 2))) + 1, low + shrink, gray.shape[::-1]).astype(int)
    return shrunk(gray[low[1] : high[1], low[0] : high[0]], shrink), shrunk_px(knots - low[:, None, None], shrink)


def _middle(tone: Bytes, shown: Bytes) -> int:
    """Median of what is shown; 0 where nothing is."""
    some, cells = np.ascontiguousarray(tone), np.ascontiguousarray(shown)
    upto = np.cumsum(cv2.calcHist([some], [0], cells, [256], [0, 256]))
    middles = np.searchsorted(upto, [(upto[-1] - 1) // 2, upto[-1] // 2], side="right")
    return int(middles.sum()) // 2 if upto[-1] else 0


def _mask(
    plane: Plane, face: Face, exclude_px: tuple[Array, ...], origin: Array, step: float, count: int, edge_mm: float
) -> Bytes:
    """255 where the face is looked at."""
    inner, outer = face.flat_mm
    mask = np.zeros((count, count), np.uint8)
    width, height = plane.size_px
    frame = np.linspace([2.0, 2.0], [width - 3.0, 2.0], 9)
    frame = np.vstack([frame, np.linspace([width - 3.0, 2.0], [width - 3.0, height - 3.0], 9),
                       np.linspace([width - 3.0, height - 3.0], [2.0, height - 3.0], 9),
                       np.linspace([2.0, height - 3.0], [2.0, 2.0], 9)])  # fmt: skip

    def fixed(mm: Array) -> Bytes:
        return np.round((mm - origin) / step * 16).astype(np.int32)

    cv2.fillPoly(mask, [fixed(plane.to_mm(frame))], 255, cv2.LINE_8, 4)
    ring = np.zeros_like(mask)
    middle = tuple(int(v) for v in fixed(face.centre_mm))
    for radius, value in ((outer - edge_mm, 255), (inner + edge_mm, 0)):
        cv2.circle(ring, middle, round(radius / step * 16), value, -1, cv2.LINE_8, 4)
    for outline in exclude_px:
        cv2.fillPoly(ring, [fixed(plane.to_mm(outline))], 0, cv2.LINE_8, 4)
    return np.asarray(cv2.bitwise_and(mask, ring))
