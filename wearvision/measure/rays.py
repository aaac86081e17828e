"""Rays of a ring in the photo, and the mean grey of a few side by side; and a square grid, whose rows are such rays.

Between knots the way of a ray through the photo is straight, so each place is a step from the one before, in whole
numbers of 2^-16 px; the grey there is bilinear, in steps of 1/256 px. OpenCV's `remap` says the same rounded to whole
greys, from maps of all places, in a third more time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled, inlined
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array, Plane

Bytes = NDArray[np.uint8]
Places = NDArray[np.int32]
Ways = NDArray[np.int64]
Pairs = NDArray[np.uint16]
KNOT, KNOT_DEG = 20, 0.5
"""The camera is asked at every so many columns and degrees; between them the way is straight to 0.02 px."""
ONE, STEP = 1 << 16, 1 / KNOT
"""One pixel; and a step's share of the way from knot to knot."""
SHORT = (1 << 15) * ONE - 1
"""Places up to here fit 32 bits."""
FAR_PX = 1e6
"""Places further out are taken for as far: near the horizon of a plane they have no bounds."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Rays:
    """Where rays of a ring lie in the photo: exact at knots in the middles of blocks of `KNOT` columns and `tall`
    rays, one block beyond on all sides; between them the way is straight."""

    knots_px: Grid
    tall: int
    columns: int

    @classmethod
    def of(cls, plane: Plane, centre_mm: Array, begin_deg: float, step_deg: float, count: int, radius: Array) -> Rays:
        """`count` rays of evenly spaced radii, `step_deg` apart, the first half a step from `begin_deg`."""
        tall = max(1, int(KNOT_DEG / step_deg))
        deg = begin_deg + (np.arange(-(-count // tall) + 2) - 0.5) * tall * step_deg
        middle = (np.arange(-(-len(radius) // KNOT) + 2) - 0.5) * KNOT - 0.5
        far = radius[0] + middle * (radius[-1] - radius[0]) / (len(radius) - 1)
        angle = np.radians(deg)[:, None]
        x, y = far * np.cos(angle) + centre_mm[0], far * np.sin(angle) + centre_mm[1]
        points = np.stack([x, y], axis=-1).reshape(-1, 2)
        knots = plane.to_px(points).T.reshape(2, len(deg), len(far))
        return cls(knots_px=_near(knots), tall=tall, columns=len(radius))

    def means(self, gray: Bytes, rows: int, rays: int) -> Grid:
        """Mean grey of every so many rays, (rows, R), 0 to 255; out of the picture that of its border.

        Parameters
        ----------
        gray : (H, W) uint8
        """
        out = np.empty((rows, self.columns), dtype=np.float32)
        _means(*_pairs_of(gray), self.knots_px, self.tall, rays, out)
        return out

    def within(self, gray: Bytes, rows: int, rays: int) -> NDArray[np.bool_]:
        """Whether the middle one of every so many rays is in the picture, a pixel from its border, (rows, R)."""
        out = np.ones((rows, self.columns), dtype=np.bool_)
        high, (x, y) = np.array(gray.shape[::-1]) - 2.0, self.knots_px
        if self.knots_px.min() < 1 or x.max() > high[0] or y.max() > high[1]:
            _find_within(self.knots_px, self.tall, rays, high, out)
        return out


def greys_on(gray: Bytes, knots_px: Array, wanted: Bytes) -> Bytes:
    """Grey (N, M) at samples of a grid, at least in blocks of `KNOT` along a row where `wanted` (N, M) is not 0; else
    0.

    Parameters
    ----------
    gray : (H, W) uint8
    knots_px : (2, K, L) array
        Where the middles of blocks of `KNOT` by `KNOT` samples lie in it, one block beyond on all sides.
    """
    high, wide = wanted.shape
    room = np.zeros((high, (knots_px.shape[2] - 1) * KNOT), dtype=np.uint8)
    room[:, KNOT // 2 : KNOT // 2 + wide] = wanted
    _fill_greys(*_pairs_of(gray), _near(knots_px), room)
    return room[:, KNOT // 2 : KNOT // 2 + wide]


def _near(knots_px: Array) -> Grid:
    """Knots that have bounds."""
    return np.fmax(np.fmin(knots_px, FAR_PX), -FAR_PX).astype(np.float32)  # what is no number is far


def _pairs_of(gray: Bytes) -> tuple[Pairs, tuple[int, int]]:
    """Each pixel of a picture, the low byte, with the next, in reading order; and its height and width, at least 2."""
    if min(gray.shape) < 2:
        gray = np.pad(gray, ((0, 1), (0, 1)), mode="edge")
    flat = np.ascontiguousarray(gray).ravel()
    return np.ndarray(flat.size - 1, np.uint16, flat.data, 0, (1,)), (gray.shape[0], gray.shape[1])


@compiled
def _means(pairs: Pairs, shape: tuple[int, int], knots: Grid, tall: int, rays: int, out: Grid) -> None:
    """Fill in the means of so many rays a row; a picture of a shape is known by its pixels, each with the next."""
    (high, wide), blocks = shape, knots.shape[2] - 1
    x, y = np.empty(blocks + 1, np.int64), np.empty(blocks + 1, np.int64)
    at, right, down, grey, lower, total = np.empty((6, blocks * KNOT), np.int32)
    for i in range(len(out)):
        total[:] = 0
        for ray in range(i * rays, (i + 1) * rays):
            _places(knots, (ray + 0.5) / tall + 0.5, x, y)
            for block in range(blocks):
                _note(wide, high, x, y, block, block * KNOT, at, right, down)
            _look(pairs, wide, len(total), at, right, down, grey, lower)
            for n in range(len(total)):
                total[n] += grey[n] >> np.int32(8)
        for column in range(out.shape[1]):
            out[i, column] = total[column + KNOT // 2] / (256.0 * rays)


@compiled
def _fill_greys(pairs: Pairs, shape: tuple[int, int], knots: Grid, room: Bytes) -> None:
    """Put greys in place of what is not 0, by blocks."""
    (high, wide), blocks = shape, knots.shape[2] - 1
    x, y, noted = np.empty(blocks + 1, np.int64), np.empty(blocks + 1, np.int64), np.empty(blocks, np.int64)
    at, right, down, grey, lower = np.empty((5, blocks * KNOT), np.int32)
    for i in range(len(room)):
        out, count = room[i], 0
        for block in range(blocks):
            some = np.uint8(0)
            for n in range(KNOT):
                some |= out[block * KNOT + n]
            noted[count] = block
            count += some != 0
        if count:
            _places(knots, (i + 0.5) / KNOT + 0.5, x, y)
        for part in range(count):
            _note(wide, high, x, y, noted[part], part * KNOT, at, right, down)
        _look(pairs, wide, count * KNOT, at, right, down, grey, lower)
        for part in range(count):
            for n in range(KNOT):
                out[noted[part] * KNOT + n] = (grey[part * KNOT + n] + np.int32(1 << 15)) >> np.int32(16)


@inlined
def _note(
    wide: int, high: int, x: Ways, y: Ways, block: int, first: int, at: Places, right: Places, down: Places
) -> None:
    """Note the places of a block from `first` on: their pixels, and how far right of and below these they lie."""
    dx, dy = int((x[block + 1] - x[block]) * STEP), int((y[block + 1] - y[block]) * STEP)
    first_x, first_y, eight, byte = x[block] + dx // 2, y[block] + dy // 2, np.int32(8), np.int32(255)
    if not _within(wide, high, first_x, dx, first_y, dy):
        _note_near(wide, high, first_x, dx, first_y, dy, first, at, right, down)
    else:
        for n in range(KNOT):
            px = np.int32(first_x) + np.int32(n) * np.int32(dx)
            py = np.int32(first_y) + np.int32(n) * np.int32(dy)
            at[first + n] = (py >> np.int32(16)) * np.int32(wide) + (px >> np.int32(16))
            right[first + n], down[first + n] = (px >> eight) & byte, (py >> eight) & byte


@inlined
def _look(
    pairs: Pairs, wide: int, count: int, at: Places, right: Places, down: Places, grey: Places, lower: Places
) -> None:
    """Fill in the greys of so many noted places, in steps of 2^-16; in two goes, the second takes many at a time. The
    last is used up."""
    below, eight, byte = np.uint64(wide), np.int32(8), np.int32(255)
    for n in range(count):
        k = np.uint64(at[n])
        grey[n], lower[n] = pairs[k], pairs[k + below]
    for n in range(count):
        a, b, c, d = grey[n] & byte, grey[n] >> eight, lower[n] & byte, lower[n] >> eight
        over, under = (a << eight) + right[n] * (b - a), (c << eight) + right[n] * (d - c)
        grey[n] = (over << eight) + down[n] * (under - over)


@compiled
def _places(knots: Grid, at: float, x: NDArray[np.int64], y: NDArray[np.int64]) -> None:
    """Fill in the places, 2^-16 px, where a ray passes its knots."""
    row = int(at)
    share = at - row
    for k in range(len(x)):
        x[k] = int((knots[0, row, k] * (1 - share) + knots[0, row + 1, k] * share) * ONE)
        y[k] = int((knots[1, row, k] * (1 - share) + knots[1, row + 1, k] * share) * ONE)


@compiled
def _within(wide: int, high: int, x: int, dx: int, y: int, dy: int) -> bool:
    """Whether all places of a block are in the picture."""
    last_x, last_y = min((wide - 1) * ONE - 1, SHORT), min((high - 1) * ONE - 1, SHORT)
    far_x, far_y = x + (KNOT - 1) * dx, y + (KNOT - 1) * dy
    return min(x, far_x) >= 0 and max(x, far_x) <= last_x and min(y, far_y) >= 0 and max(y, far_y) <= last_y


@compiled
def _note_near(
    wide: int, high: int, x: int, dx: int, y: int, dy: int, first: int, at: Places, right: Places, down: Places
) -> None:
    """Note the places of a block, those out of the picture on its border."""
    for n in range(KNOT):
        px, py = min(max(x + n * dx, 0), (wide - 1) * ONE - 1), min(max(y + n * dy, 0), (high - 1) * ONE - 1)
        at[first + n] = (py >> 16) * wide + (px >> 16)
        right[first + n], down[first + n] = (px >> 8) & 255, (py >> 8) & 255


@compiled
def _find_within(knots: Grid, tall: int, rays: int, high: Array, out: NDArray[np.bool_]) -> None:
    """Fill in whether the middle ray of each row lies in the picture."""
    x, y = np.empty(knots.shape[2], np.int64), np.empty(knots.shape[2], np.int64)
    for i in range(len(out)):
        _places(knots, (i * rays + rays // 2 + 0.5) / tall + 0.5, x, y)
        if min(x.min(), y.min()) >= ONE and x.max() <= high[0] * ONE and y.max() <= high[1] * ONE:
            continue
        for c in range(out.shape[1]):
            block, share = (c + KNOT // 2) // KNOT, ((c + KNOT // 2) % KNOT + 0.5) / KNOT
            px = (x[block] + share * (x[block + 1] - x[block])) / ONE
            py = (y[block] + share * (y[block + 1] - y[block])) / ONE
            out[i, c] = 1 <= px <= high[0] and 1 <= py <= high[1]
