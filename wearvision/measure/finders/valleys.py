"""Dark lines on the coarse map of a face.

Along each of eight ways the map is averaged over a short stretch, and every place held against both its sides: a valley
stays, the edge of a stain (one side only) does not. What hangs together is followed from end to end.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.face import Face
from wearvision.measure.finders.face_map import TONE, Bytes, FaceMap
from wearvision.measure.plane import Array

WAYS = 8
SIDE, REACHES = 2, (1, 2, 4)
"""Samples from the middle of a valley to its sides; averages of 2, 4, then 8 samples along a way."""
PAD = 12
LEVELS = (3.5, 7.0, 14.0)
"""Valleys deeper than so many times the face's usual roughness hang together; the higher levels part a crack from
rust and other grain that it runs into."""
LEAST_DARK = 0.05
LEAST_MM = 6.0
"""Shortest line from end to end."""
POOL = 2
"""Of a block so wide the deepest counts where valleys are followed."""
THICK = 4.0
"""What has more samples than this for each of its length is a patch, not a line."""
LONGEST_MM, AROUND = 100.0, 0.06
"""What is longer, or gains less than this share of its length in radius, is a groove or a lathe line."""
MOST = 12


def valley_lines(flat: FaceMap, face: Face) -> list[list[Array]]:
    """Middle lines (N, 2), mm, of dark lines, by level."""
    depth = _valleys(flat.even())
    shown = depth[::3, ::3][flat.face[::3, ::3] > 0]
    usual = float(np.mean(shown)) if len(shown) else 0.0
    depth = np.asarray(cv2.bitwise_and(depth, cv2.erode(flat.face, np.ones((5, 5), np.uint8))))
    half = tuple(n // POOL for n in depth.shape[::-1])
    deepest = cv2.dilate(depth, np.ones((POOL, POOL), np.uint8), anchor=(0, 0))
    pooled = cv2.resize(deepest, half, interpolation=cv2.INTER_NEAREST)
    return [_lines(np.asarray(pooled), max(k * usual, LEAST_DARK / TONE), flat, face) for k in LEVELS]


def _valleys(tone: Bytes) -> Bytes:
    """Depth of the deepest valley through each sample."""
    height, width = tone.shape
    wide = cv2.copyMakeBorder(tone, PAD, PAD, PAD, PAD, cv2.BORDER_REPLICATE)

    def moved(values: Bytes, x: int, y: int) -> Bytes:
        return values[PAD + y : PAD + y + height, PAD + x : PAD + x + width]

    out = np.zeros((height, width), np.uint8)
    for k in range(WAYS):
        cos, sin = np.cos(np.pi * k / WAYS), np.sin(np.pi * k / WAYS)
        mean = np.asarray(wide)
        for reach in REACHES:
            mean = _mean_ahead(mean, round(reach * cos), round(reach * sin))
        x, y = round(-3.5 * cos), round(-3.5 * sin)
        sx, sy = round(-SIDE * sin), round(SIDE * cos)
        sides = cv2.min(moved(mean, x + sx, y + sy), moved(mean, x - sx, y - sy))
        cv2.max(out, cv2.subtract(sides, moved(mean, x, y)), out)
    return out


def _mean_ahead(values: Bytes, x: int, y: int) -> Bytes:
    """Mean of each sample and the one so many columns and rows on; as it is where there is none."""
    out = values.copy()
    height, width = values.shape
    low, high = max(0, -x), width - max(0, x)
    here, there = values[: height - y, low:high], values[y:, low + x : high + x]
    out[: height - y, low:high] = cv2.addWeighted(here, 0.5, there, 0.5, 0)
    return out


def _lines(depth: Bytes, level: float, flat: FaceMap, face: Face) -> list[Array]:
    """Lines (N, 2), mm, through what is deeper, hangs together and is long enough; the longest `MOST`."""
    deep = (depth > level).astype(np.uint8)
    _, label, stats, _ = cv2.connectedComponentsWithStats(deep, connectivity=8)
    stats, step = stats[1:], POOL * flat.step_mm
    extent = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    long = (extent * step > LEAST_MM) & (extent * step < LONGEST_MM)
    long &= stats[:, cv2.CC_STAT_AREA] < THICK * extent
    order = np.nonzero(long)[0][np.argsort(-extent[long])][:MOST]
    out = []
    for k in order:
        left, top, wide, high = stats[k, :4]
        part = (label[top : top + high, left : left + wide] == k + 1).astype(np.uint8)
        rows, columns = np.nonzero(part)
        radius = np.hypot(*(_to_mm(flat, columns + left, rows + top) - face.centre_mm).T)
        if np.subtract(*np.quantile(radius, (0.95, 0.05))) < AROUND * extent[k] * step:
            continue
        line = cv2.blur(_end_to_end(part), (1, 3), borderType=cv2.BORDER_REFLECT).reshape(-1, 2)
        if len(line) * step > LEAST_MM:
            out.append(_to_mm(flat, line[:, 0] + left, line[:, 1] + top))
    return out


def _to_mm(flat: FaceMap, column: Array, row: Array) -> Array:
    """Plane points (N, 2) of blocks."""
    middle = (POOL - 1) / 2
    return flat.to_mm(POOL * column + middle, POOL * row + middle)


def _end_to_end(part: Bytes) -> Array:
    """Samples (N, 2), column and row, of the way between the two ends of a connected shape that lie farthest apart."""
    rows, columns = np.nonzero(part)
    column, row, far = int(columns[0]), int(rows[0]), np.zeros(part.shape, np.int32)
    for _ in range(2):
        far = _waves(part, column, row)
        row, column = divmod(int(far.argmax()), part.shape[1])
    out = [(column, row)]
    for count in range(int(far.max()) - 1, 0, -1):
        top, left = max(0, row - 1), max(0, column - 1)
        rows, columns = np.nonzero(far[top : row + 2, left : column + 2] == count)
        nearest = int(np.argmin((rows + top - row) ** 2 + (columns + left - column) ** 2))
        row, column = top + int(rows[nearest]), left + int(columns[nearest])
        out.append((column, row))
    return np.array(out, dtype=np.float64)


def _waves(part: Bytes, column: int, row: int) -> NDArray[np.int32]:
    """Steps of a wave through a shape from one of its samples, 1 there; 0 where it does not come."""
    out = np.zeros(part.shape, np.int32)
    seen = np.zeros_like(part)
    seen[row, column] = 1
    count = 0
    box = np.ones((3, 3), np.uint8)
    while True:
        out += seen
        count += 1
        grown = cv2.bitwise_and(cv2.dilate(seen, box), part)
        if (grown == seen).all():
            return np.where(out > 0, out.max() + 1 - out, 0).astype(np.int32)
        seen = np.asarray(grown)
