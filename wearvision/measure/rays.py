"""Rays of a ring in the photo, and the mean grey of a few side by side.

Between knots the way of a ray through the photo is straight, so each place is a step from the one before, in whole
numbers of 2^-16 px; the grey there is bilinear, in steps of 1/256 px. OpenCV's `remap` says the same rounded to whole
greys, from maps of all places, in a third more time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array, Plane

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
        near = np.fmax(np.fmin(knots, FAR_PX), -FAR_PX)  # what is no number is far
        return cls(knots_px=near.astype(np.float32), tall=tall, columns=len(radius))

    def means(self, gray: NDArray[np.uint8], rows: int, rays: int) -> Grid:
        """Mean grey of every so many rays, (rows, R), 0 to 255; out of the picture that of its border.

        Parameters
        ----------
        gray : (H, W) uint8
        """
        out = np.empty((rows, self.columns), dtype=np.float32)
        if min(gray.shape) < 2:
            gray = np.pad(gray, ((0, 1), (0, 1)), mode="edge")
        _means(np.ascontiguousarray(gray), self.knots_px, self.tall, rays, out)
        return out

    def within(self, gray: NDArray[np.uint8], rows: int, rays: int) -> NDArray[np.bool_]:
        """Whether the middle one of every so many rays is in the picture, a pixel from its border, (rows, R)."""
        out = np.ones((rows, self.columns), dtype=np.bool_)
        high = np.array(gray.shape[::-1]) - 2.0
        if self.knots_px.min() < 1 or (self.knots_px.reshape(2, -1).max(axis=1) > high).any():
            _find_within(self.knots_px, self.tall, rays, high, out)
        return out


@compiled
def _means(gray: NDArray[np.uint8], knots: Grid, tall: int, rays: int, out: Grid) -> None:
    """Fill in the means of so many rays a row."""
    high, wide = gray.shape
    flat, blocks = gray.ravel(), knots.shape[2] - 1
    total, below, eight = np.empty(blocks * KNOT, np.int32), np.uint64(wide), np.int32(8)
    x, y = np.empty(blocks + 1, np.int64), np.empty(blocks + 1, np.int64)
    at, right, down = np.empty(KNOT, np.int64), np.empty(KNOT, np.int32), np.empty(KNOT, np.int32)
    for i in range(len(out)):
        total[:] = 0
        for ray in range(i * rays, (i + 1) * rays):
            _places(knots, (ray + 0.5) / tall + 0.5, x, y)
            for block in range(blocks):
                dx, dy = int((x[block + 1] - x[block]) * STEP), int((y[block + 1] - y[block]) * STEP)
                first_x, first_y = x[block] + dx // 2, y[block] + dy // 2
                if not _within(wide, high, first_x, dx, first_y, dy):
                    _add_near(flat, wide, high, first_x, dx, first_y, dy, total, block * KNOT)
                    continue
                for n in range(KNOT):  # in two goes: the first is done many at a time
                    px = np.int32(first_x) + np.int32(n) * np.int32(dx)
                    py = np.int32(first_y) + np.int32(n) * np.int32(dy)
                    at[n] = (py >> np.int32(16)) * np.int32(wide) + (px >> np.int32(16))
                    right[n], down[n] = (px >> eight) & np.int32(255), (py >> eight) & np.int32(255)
                for n in range(KNOT):
                    k = np.uint64(at[n])
                    a, b = np.int32(flat[k]), np.int32(flat[k + np.uint64(1)])
                    c, d = np.int32(flat[k + below]), np.int32(flat[k + below + np.uint64(1)])
                    upper, lower = (a << eight) + right[n] * (b - a), (c << eight) + right[n] * (d - c)
                    grey = ((upper << eight) + down[n] * (lower - upper)) >> eight
                    total[np.uint64(block * KNOT + n)] += np.int32(grey)
        for column in range(out.shape[1]):
            out[i, column] = total[column + KNOT // 2] / (256.0 * rays)


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
def _add_near(
    flat: NDArray[np.uint8], wide: int, high: int, x: int, dx: int, y: int, dy: int, total: NDArray[np.int32],
    first: int,
) -> None:  # fmt: skip
    """The same, out of the picture that of its border."""
    for n in range(KNOT):
        px, py = min(max(x + n * dx, 0), (wide - 1) * ONE - 1), min(max(y + n * dy, 0), (high - 1) * ONE - 1)
        at, right, down = (py >> 16) * wide + (px >> 16), (px >> 8) & 255, (py >> 8) & 255
        total[first + n] += _grey(flat, wide, np.uint64(at), np.int32(right), np.int32(down))


@compiled
def _grey(flat: NDArray[np.uint8], wide: int, at: np.uint64, right: np.int32, down: np.int32) -> np.int32:
    """Grey so far right of and below a pixel, bilinear, times 256."""
    under = at + np.uint64(wide)
    a, b = np.int32(flat[at]), np.int32(flat[at + np.uint64(1)])
    c, d = np.int32(flat[under]), np.int32(flat[under + np.uint64(1)])
    upper, lower = (a << np.int32(8)) + right * (b - a), (c << np.int32(8)) + right * (d - c)
    return np.int32(((upper << np.int32(8)) + down * (lower - upper)) >> np.int32(8))


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
