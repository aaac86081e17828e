"""The whole face rolled flat once and coarsely, for all that is sought on it in small: pits and cracks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import scale_at, shrunk
from wearvision.measure.edges import median
from wearvision.measure.face import Face
from wearvision.measure.plane import Array, Plane, shrunk_px
from wearvision.measure.unwrap import Image

Bytes = NDArray[Any]
"""Bytes, as OpenCV takes and gives them."""

STEP_MM = 0.2
"""A pit of 1 mm is five samples wide."""
MOST = 1250
"""Samples along a side; the step grows on larger faces."""
HALVED = 8
"""Samples along a side are a multiple of this: halves of halves of halves of the map take whole samples."""
TILE = 128
"""The camera is asked at every so many samples."""
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
    shrink = max(1, int(step / px_mm))
    corners = _corners_px(plane, origin, step, (count, count))
    low = np.clip(np.floor(corners.min(axis=(0, 1))), 0, np.array(gray.shape[::-1]) - shrink).astype(int)
    high = np.clip(np.ceil(corners.max(axis=(0, 1))) + 1, low + shrink, gray.shape[::-1]).astype(int)
    small = shrunk(gray[low[1] : high[1], low[0] : high[0]], shrink)
    tone = cv2.LUT(_laid_out(small, shrunk_px(corners - low, shrink), mask), LOGS)
    shown = tone[::4, ::4][mask[::4, ::4] > 0]
    even = np.full_like(tone, median(shown.astype(np.float32)) if len(shown) else 0)
    return FaceMap(
        tone=cv2.copyTo(tone, mask, even), face=mask, origin_mm=origin, centre_mm=face.centre_mm, step_mm=step,
        px_mm=px_mm,
    )  # fmt: skip


def _corners_px(plane: Plane, origin_mm: Array, step_mm: float, size: tuple[int, int]) -> Array:
    """Photo points (K, L, 2) of every `TILE`-th sample of a grid along the plane's axes, first to past the last, where
    the grid has so many columns and rows."""
    x, y = (np.arange(-(-n // TILE) + 1) * TILE * step_mm for n in size)
    across, down = np.meshgrid(x, y)
    return plane.to_px(origin_mm + np.column_stack([across.ravel(), down.ravel()])).reshape(len(y), len(x), 2)


def _laid_out(picture: Image, corners: Array, wanted: Image) -> Image:
    """A picture on a grid whose corners (`_corners_px`) lie at points of it, at least in tiles where `wanted` is not 0:
    each is seen as a flat quadrilateral, which a lens bends by less than a tenth of a pixel."""
    out = np.zeros_like(wanted)
    square = np.array([[0, 0], [TILE, 0], [TILE, TILE], [0, TILE]], dtype=np.float32)
    quads = np.stack([corners[:-1, :-1], corners[:-1, 1:], corners[1:, 1:], corners[1:, :-1]], axis=2)
    quads = quads.astype(np.float32)
    for row in range(0, wanted.shape[0], TILE):
        for column in range(0, wanted.shape[1], TILE):
            tile = np.s_[row : row + TILE, column : column + TILE]
            if cv2.countNonZero(wanted[tile]):
                way = cv2.getPerspectiveTransform(square, quads[row // TILE, column // TILE])
                flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
                cv2.warpPerspective(
                    picture, way, out[tile].shape[::-1], out[tile], flags=flags, borderMode=cv2.BORDER_REPLICATE
                )
    return out


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
