"""The whole face rolled flat once and coarsely, for all that is sought on it in small: pits and cracks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import between, knots_px, scale_at, shrunk
from wearvision.measure.face import Face
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

Bytes = NDArray[Any]
"""Bytes, as OpenCV takes and gives them."""

STEP_MM = 0.2
"""A pit of 1 mm is five samples wide."""
MOST = 1250
"""Samples along a side; the step grows on larger faces."""
KNOT, BLOCK = 32, 256
"""The camera is asked at every so many samples; between them the way is straight to 0.02 px. So many rows are looked
up at a time: that fits the cache."""
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
        Log grey in steps of `TONE`.
    face : (N, N) uint8
        255 on what is looked at: the flat of the face in the picture, not covered; else 0.
    origin_mm : (2,) array
        Plane point of sample (0, 0).
    step_mm, px_mm : float
        Between samples; a photo pixel in the middle.
    """

    tone: Bytes
    face: Bytes
    origin_mm: Array
    step_mm: float
    px_mm: float

    @property
    def centre_mm(self) -> Array:
        """The axis, which is the middle of the map."""
        return np.asarray(self.origin_mm + self.step_mm * (np.array(self.tone.shape[::-1]) - 1) / 2)

    def to_mm(self, column: Array, row: Array) -> Array:
        """Plane points (N, 2) of samples (fractions allowed)."""
        return np.asarray(self.origin_mm + self.step_mm * np.column_stack([column, row]).astype(np.float64))

    def even(self) -> Bytes:
        """Tones with their median for whatever is not looked at."""
        shown = self.tone[::4, ::4][self.face[::4, ::4] > 0]
        out = np.full_like(self.tone, np.median(shown) if len(shown) else 0)
        return np.asarray(cv2.copyTo(self.tone, self.face, out))


def face_map(gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...], edge_mm: float = 0.7) -> FaceMap:
    """Map of a face; ``edge_mm`` of the flat is left out along both its edges, they are broken."""
    outer = face.flat_mm[1]
    size = 2 * (outer + 1)
    step = max(STEP_MM, size / MOST)
    count = int(np.ceil(size / step))
    origin = face.centre_mm - (count - 1) * step / 2
    px_mm = scale_at(plane, plane.to_px(face.centre_mm.reshape(1, 2)))
    knots = knots_px(plane, origin, step, (count, count), KNOT)
    shrink = max(1, int(step / px_mm))
    low = np.clip(np.floor(knots.min(axis=(1, 2))), 0, np.array(gray.shape[::-1]) - shrink).astype(int)
    high = np.clip(np.ceil(knots.max(axis=(1, 2))) + 1, low + shrink, gray.shape[::-1]).astype(int)
    wide, tall = (high - low) // shrink
    small = cv2.LUT(shrunk(gray[low[1] : low[1] + tall * shrink, low[0] : low[0] + wide * shrink], shrink), LOGS)
    knots = (knots - low[:, None, None] + 0.5) / shrink - 0.5
    tone = np.empty((count, count), np.uint8)
    for first in range(0, count, BLOCK):
        x, y = between(knots, KNOT, slice(first, min(count, first + BLOCK)), count)
        cv2.remap(small, x, y, cv2.INTER_LINEAR, tone[first : first + BLOCK], cv2.BORDER_REPLICATE)
    mask = _mask(plane, face, exclude_px, origin, step, count, edge_mm)
    return FaceMap(tone=tone, face=mask, origin_mm=origin, step_mm=step, px_mm=px_mm)


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


def set_cells(mask: Bytes) -> tuple[Bytes, Bytes]:
    """Rows and columns where a mask is not 0, in reading order: by words of eight cells, as few are."""
    flat = np.pad(mask.ravel(), (0, -mask.size % 8))
    words = np.flatnonzero(flat.view(np.uint64))
    cells = (8 * words[:, None] + np.arange(8)).ravel()
    rows, columns = np.divmod(cells[flat[cells] > 0], mask.shape[1])
    return rows, columns
