"""Dark lines on the coarse map of a face.

Along each of eight ways the map is averaged over a short stretch, and every place held against both its sides: a valley
stays, the edge of a stain (one side only) does not. What hangs together is followed from end to end, cut where another
line runs into it, and strung together again the straightest way.
"""

from __future__ import annotations

import cv2
import numpy as np

from wearvision.measure.compiled import compiled
from wearvision.measure.finders.face_map import TONE, Bytes, FaceMap
from wearvision.measure.finders.joined import BRIDGE_MM, joined, share_on
from wearvision.measure.finders.shapes import Shapes, ways
from wearvision.measure.plane import Array
from wearvision.measure.polyline import length_of

TURNS: Array = np.arange(8) * np.pi / 8
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
AROUND, AROUND_SHARE, LONG = 3.0, 0.04, 25.0
"""What stays within so many blocks in radius, or this share of its length, and is as long as the last runs along its
circle, as nearly as the map can tell: a lathe line, or a groove's lip."""
MOST, PIECE_MM = 14, 2.5
"""So many shapes a level; pieces of them are at least so long."""
LEAST_MM = 6.0
"""Shortest line."""
GAIN_FROM, MOST_GAIN, LEAST_GAIN = 0.7, 4.0, 15.0
"""Of the least level: what a line is deeper than the first counts, up to the second, block by block; and what all of it
comes to: a crack of the shortest length told has thirty blocks, of which the faintest gains half a level each."""
SAME, SAME_MM, KEPT = 0.8, 1.0, 6
"""Two lines of which such shares lie so near the other are one; so many are kept."""


def valley_lines(flat: FaceMap) -> list[Array]:
    """Middle lines (N, 2), mm, of dark lines, those first that are long and deep."""
    depth = _valleys(flat.tone)
    usual = cv2.mean(np.ascontiguousarray(depth[::3, ::3]), np.ascontiguousarray(flat.face[::3, ::3]))[0]
    depth = np.asarray(cv2.bitwise_and(depth, cv2.erode(flat.face, np.ones((5, 5), np.uint8))))
    half = tuple(n // POOL for n in depth.shape[::-1])
    deepest = cv2.dilate(depth, np.ones((POOL, POOL), np.uint8), anchor=(0, 0))
    pooled = np.asarray(cv2.resize(deepest, half, interpolation=cv2.INTER_NEAREST))
    levels = [max(k * usual, LEAST_DARK / TONE) for k in LEVELS]
    worth = _worth(levels[0])
    found = []
    for level in dict.fromkeys(int(level) for level in levels):
        lines = joined(_pieces(pooled, level, worth, flat))
        for gain, line in zip(_gains(pooled, lines, flat, worth), lines, strict=True):
            if gain > LEAST_GAIN and length_of(line) > LEAST_MM and not _around(line, flat):
                found.append((gain, line))
    return _distinct([line for _, line in sorted(found, key=lambda one: -one[0])])


def _around(line: Array, flat: FaceMap) -> bool:
    """Whether a line runs along its circle, as nearly as the map can tell."""
    step = POOL * flat.step_mm
    far = np.hypot(*(line - flat.centre_mm).T)
    length = length_of(line) / step
    return bool(np.ptp(far) / step < max(AROUND, AROUND_SHARE * length) and length > LONG)


def _worth(level: float) -> Array:
    """What a block counts by its depth in bytes (256,)."""
    return np.minimum(np.arange(256) / level, MOST_GAIN) - GAIN_FROM


def _distinct(lines: list[Array]) -> list[Array]:
    """The first lines, each as good as once."""
    out: list[Array] = []
    for line in lines:
        if all(min(share_on(line[::3], o[::2], SAME_MM), share_on(o[::3], line[::2], SAME_MM)) < SAME for o in out):
            out.append(line)
        if len(out) == KEPT:
            break
    return out


def _gains(pooled: Bytes, lines: list[Array], flat: FaceMap, worth: Array) -> list[float]:
    """What each line counts, all along."""
    if not lines:
        return []
    at = np.rint((np.vstack(lines) - _to_mm(flat, np.zeros((1, 2)))) / (POOL * flat.step_mm)).astype(int)
    column, row = np.clip(at, 0, np.array(pooled.shape[::-1]) - 1).T
    first = np.cumsum([0, *map(len, lines[:-1])])
    return [float(gain) for gain in np.add.reduceat(worth[pooled[row, column]], first)]


def _valleys(tone: Bytes) -> Bytes:
    """Depth of the deepest valley through each sample."""
    height, width = tone.shape
    wide = np.asarray(cv2.copyMakeBorder(tone, PAD, PAD, PAD, PAD, cv2.BORDER_REPLICATE))
    once, twice, mean = (np.empty_like(wide) for _ in REACHES)
    steps = [[(round(r * np.cos(turn)), round(r * np.sin(turn))) for r in REACHES] for turn in TURNS]

    def moved(x: int, y: int) -> Bytes:
        return mean[PAD + y : PAD + y + height, PAD + x : PAD + x + width]

    out = np.zeros((height, width), np.uint8)
    for k, (turn, (near, far, farther)) in enumerate(zip(TURNS, steps, strict=True)):
        if not k or near != steps[k - 1][0]:  # several ways begin alike
            _mean_ahead(wide, once, *near)
        _mean_ahead(once, twice, *far)
        _mean_ahead(twice, mean, *farther)
        cos, sin = np.cos(turn), np.sin(turn)
        x, y = round(-3.5 * cos), round(-3.5 * sin)
        sx, sy = round(-SIDE * sin), round(SIDE * cos)
        _deepened(out, moved(x, y), moved(x + sx, y + sy), moved(x - sx, y - sy))
    return out


@compiled
def _deepened(out: Bytes, middle: Bytes, one: Bytes, other: Bytes) -> None:
    """Take in how much darker than both its sides a place is, where that is more."""
    for row in range(len(out)):
        depth, low, left, right = out[row], middle[row], one[row], other[row]
        for k in range(len(depth)):
            side = min(left[k], right[k])
            depth[k] = max(depth[k], np.uint8(side - min(side, low[k])))


@compiled
def _mean_ahead(values: Bytes, out: Bytes, x: int, y: int) -> None:
    """Mean of each sample and the one so many columns and rows on, halves to even; as it is where there is none."""
    height, width = values.shape
    first, last = max(0, -x), width - max(0, x)
    out[height - y :], out[:, :first], out[:, last:] = values[height - y :], values[:, :first], values[:, last:]
    for row in range(height - y):
        here, there, mean = values[row, first:last], values[row + y, first + x : last + x], out[row, first:last]
        for k in range(last - first):
            apart = here[k] ^ there[k]
            low = np.uint8((here[k] & there[k]) + (apart >> 1))
            mean[k] = np.uint8(low + (apart & low & 1))


def _pieces(depth: Bytes, level: int, worth: Array, flat: FaceMap) -> list[Array]:
    """Pieces (N, 2), mm, of lines through what is deeper and hangs together, cut where lines meet: the `MOST` largest
    shapes, of those that are no patches and may come to a line."""
    shapes, step = Shapes.of(depth, level, worth), POOL * flat.step_mm
    extent = shapes.extent
    long = (extent * step > PIECE_MM) & (extent * step < LONGEST_MM) & (shapes.area < THICK * extent)
    long &= (extent < LONG) | (shapes.deep > np.maximum(AROUND, AROUND_SHARE * extent))
    most = np.nonzero(long)[0][np.argsort(-extent[long], kind="stable")][:MOST]
    out = []
    for k in most[shapes.together(most, BRIDGE_MM / step) > LEAST_GAIN]:
        for way in ways(shapes.part(k), PIECE_MM / step):
            line = cv2.blur(way, (1, 3), borderType=cv2.BORDER_REFLECT).reshape(-1, 2)
            out.append(_to_mm(flat, line + shapes.low[k]))
    return out


def _to_mm(flat: FaceMap, block: Array) -> Array:
    """Plane points (N, 2) of blocks, column and row."""
    return np.asarray(flat.origin_mm + flat.step_mm * (POOL * block + (POOL - 1) / 2))
