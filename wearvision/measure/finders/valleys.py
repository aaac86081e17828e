"""Dark lines on the coarse map of a face.

Along each of eight ways the map is averaged over a short stretch, and every place held against both its sides: a valley
stays, the edge of a stain (one side only) does not. What hangs together is followed from end to end, cut where another
line runs into it, and strung together again the straightest way.
"""

from __future__ import annotations

import cv2
import numpy as np

from wearvision.measure.finders.face_map import TONE, Bytes, FaceMap
from wearvision.measure.finders.joined import joined, share_on
from wearvision.measure.plane import Array
from wearvision.measure.polyline import length_of

WAYS = 8
SIDE, REACHES = 2, (1, 2, 4)
"""Samples from the middle of a valley to its sides; averages of 2, 4, then 8 samples along a way."""
PAD = 12
LEVELS = (2.5, 4.5, 9.0)
"""Valleys deeper than so many times the face's usual roughness hang together; the higher levels part a crack from
rust and other grain that it runs into."""
LEAST_DARK = 0.05
POOL = 2
"""Of a block so wide the deepest counts where valleys are followed."""
THICK = 4.0
"""What has more samples than this for each of its length is a patch, not a line."""
LONGEST_MM = 100.0
"""What is longer is a groove or a lathe line."""
MOST, PIECES, PIECE_MM = 24, 8, 2.5
"""So many shapes a level, so many pieces each, at least so long."""
BESIDE, TOUCH = 1, 4
"""Blocks beside a way that are taken with it; and one that begins so near another touches it."""
LEAST_MM = 6.0
"""Shortest line."""
GAIN_FROM, MOST_GAIN = 0.7, 4.0
"""Of the least level: what a line is deeper than the first counts, up to the second."""
SAME, SAME_MM, KEPT = 0.8, 1.0, 12
"""Two lines of which such shares lie so near the other are one; so many are kept."""


def valley_lines(flat: FaceMap) -> list[Array]:
    """Middle lines (N, 2), mm, of dark lines, those first that are long and deep."""
    depth = _valleys(flat.even())
    shown = depth[::3, ::3][flat.face[::3, ::3] > 0]
    usual = float(np.mean(shown)) if len(shown) else 0.0
    depth = np.asarray(cv2.bitwise_and(depth, cv2.erode(flat.face, np.ones((5, 5), np.uint8))))
    half = tuple(n // POOL for n in depth.shape[::-1])
    deepest = cv2.dilate(depth, np.ones((POOL, POOL), np.uint8), anchor=(0, 0))
    pooled = np.asarray(cv2.resize(deepest, half, interpolation=cv2.INTER_NEAREST))
    levels = [max(k * usual, LEAST_DARK / TONE) for k in LEVELS]
    lines = [line for level in levels for line in joined(_pieces(pooled, level, flat)) if length_of(line) > LEAST_MM]
    lines.sort(key=lambda line: -_gain(pooled, line, flat, levels[0]))
    return _distinct(lines)


def _distinct(lines: list[Array]) -> list[Array]:
    """The first lines, each as good as once."""
    out: list[Array] = []
    for line in lines:
        if all(min(share_on(line[::3], o[::2], SAME_MM), share_on(o[::3], line[::2], SAME_MM)) < SAME for o in out):
            out.append(line)
        if len(out) == KEPT:
            break
    return out


def _gain(pooled: Bytes, line: Array, flat: FaceMap, level: float) -> float:
    """What a line is deeper than hardly, along all of it."""
    at = np.rint((line - _to_mm(flat, np.zeros(1), np.zeros(1))) / (POOL * flat.step_mm)).astype(int)
    column, row = np.clip(at, 0, np.array(pooled.shape[::-1]) - 1).T
    return float((np.minimum(pooled[row, column] / level, MOST_GAIN) - GAIN_FROM).sum())


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
    cv2.addWeighted(here, 0.5, there, 0.5, 0, out[: height - y, low:high])
    return out


def _pieces(depth: Bytes, level: float, flat: FaceMap) -> list[Array]:
    """Pieces (N, 2), mm, of lines through what is deeper and hangs together, the `MOST` largest shapes, cut where
    lines meet."""
    deep = (depth > level).astype(np.uint8)
    _, label, stats, _ = cv2.connectedComponentsWithStatsWithAlgorithm(deep, 8, cv2.CV_32S, cv2.CCL_BBDT)
    stats, step = stats[1:], POOL * flat.step_mm
    extent = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    long = (extent * step > PIECE_MM) & (extent * step < LONGEST_MM)
    long &= stats[:, cv2.CC_STAT_AREA] < THICK * extent
    out = []
    for k in np.nonzero(long)[0][np.argsort(-extent[long])][:MOST]:
        left, top, wide, high = stats[k, :4]
        part = (label[top : top + high, left : left + wide] == k + 1).astype(np.uint8)
        for way in _ways(part, PIECE_MM / step):
            line = cv2.blur(way, (1, 3), borderType=cv2.BORDER_REFLECT).reshape(-1, 2)
            out.append(_to_mm(flat, line[:, 0] + left, line[:, 1] + top))
    return out


def _ways(part: Bytes, least: float) -> list[Array]:
    """Ways (N, 2), column and row, through a connected shape, cut where another one begins."""
    left, out = part.copy(), list[Array]()
    while len(out) < PIECES:
        _, label, stats, _ = cv2.connectedComponentsWithStats(left, connectivity=8)
        extent = np.hypot(stats[1:, cv2.CC_STAT_WIDTH], stats[1:, cv2.CC_STAT_HEIGHT])
        if not len(extent) or extent.max() < least:
            break
        way = _end_to_end((label == 1 + int(np.argmax(extent))).astype(np.uint8))
        out = [piece for one in out for piece in _cut(one, way[[0, -1]])] + [way]
        cv2.polylines(left, [way.astype(np.int32)], False, 0, 2 * BESIDE + 1)
    return out


def _cut(way: Array, ends: Array) -> list[Array]:
    """A way in two, next to an end of another that touches it, if not near its own."""
    apart = np.hypot(*(way[:, None] - ends[None]).transpose(2, 0, 1)).min(axis=1)
    at = int(np.argmin(apart))
    if apart[at] > TOUCH or not TOUCH < at < len(way) - 1 - TOUCH:
        return [way]
    return [way[: at + 1], way[at:]]


def _to_mm(flat: FaceMap, column: Array, row: Array) -> Array:
    """Plane points (N, 2) of blocks."""
    middle = (POOL - 1) / 2
    return flat.to_mm(POOL * column + middle, POOL * row + middle)


def _end_to_end(part: Bytes) -> Array:
    """Samples (N, 2), column and row, of the way between the two ends of a connected shape that lie farthest apart.

    The shape is one long number, a bit for each sample, with zeros above, below and between its rows: a step aside is
    a shift by one bit, a step down by a row.
    """
    left, top, wide, high = cv2.boundingRect(part)
    rim = np.pad(part[top : top + high, left : left + wide] > 0, ((2, 1), (0, 1)))
    shape, wide = int.from_bytes(np.packbits(rim, bitorder="little").tobytes(), "little"), rim.shape[1]
    at, waves = _lowest(shape), [0]
    for _ in range(2):
        waves = _waves(shape, at, wide)
        at = _lowest(waves[-1])
    out = [at]
    around = [-wide, -1, 1, wide, -wide - 1, -wide + 1, wide - 1, wide + 1]
    for wave in waves[-2::-1]:
        out.append(next(out[-1] + step for step in around if wave >> (out[-1] + step) & 1))
    rows, columns = np.divmod(np.array(out), wide)
    return np.column_stack([columns + left, rows - 2 + top]).astype(np.float64)


def _lowest(bits: int) -> int:
    """Place of the lowest bit that is set."""
    return (bits & -bits).bit_length() - 1


def _waves(shape: int, at: int, wide: int) -> list[int]:
    """What a wave through a shape reaches in each step from one of its samples, in bits."""
    out, left = [1 << at], shape & ~(1 << at)
    while True:
        line = out[-1] | out[-1] << 1 | out[-1] >> 1
        front = (line | line << wide | line >> wide) & left
        if not front:
            return out
        left ^= front
        out.append(front)
