"""A rectangle of the plane rolled out flat from the photo, along axes of one's own choice, in millimetres."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import scale_at
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

KNOT = 16
"""The camera is asked at every so many samples; between them the way is straight to 0.01 px."""
BAND = 8 * KNOT
"""So many rows of samples are filled at a time, in memory that stays at hand."""
FINE_PX = 1.6
"""Samples further apart than this are taken from a smoothed picture."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Patch:
    """Grey values on a grid of the plane.

    Attributes
    ----------
    values : (H, W) float32
        Grey, 0 to 255.
    valid : (H, W) bool
        False out of the picture and under what lies on the part.
    origin_mm, across, down : (2,) arrays
        Plane point of sample (0, 0); unit vectors of columns and of rows.
    step_mm : float
    px_mm : float
        Length of a photo pixel in the middle of the patch.
    """

    values: Grid
    valid: NDArray[np.bool_]
    origin_mm: Array
    across: Array
    down: Array
    step_mm: float
    px_mm: float

    def to_mm(self, column: Array, row: Array) -> Array:
        """Plane points (N, 2) of samples (fractions allowed)."""
        column, row = np.asarray(column, dtype=np.float64).ravel(), np.asarray(row, dtype=np.float64).ravel()
        return np.asarray(self.origin_mm + self.step_mm * (column[:, None] * self.across + row[:, None] * self.down))

    def to_grid(self, mm: Array) -> Array:
        """Column and row (N, 2) of plane points."""
        off = (np.asarray(mm, dtype=np.float64).reshape(-1, 2) - self.origin_mm) / self.step_mm
        return np.column_stack([off @ self.across, off @ self.down])


def patch_of(
    gray: Image, plane: Plane, origin_mm: Array, across: Array, size_mm: tuple[float, float], *,
    step_mm: float | None = None, down: Array | None = None, exclude_px: tuple[Array, ...] = (), step_px: float = 0.7,
) -> Patch:  # fmt: skip
    """Roll out a rectangle.

    Parameters
    ----------
    origin_mm : (2,) corner where sample (0, 0) lies
    across : (2,) direction of the columns; rows run a quarter turn on (x to y), or along `down`
    size_mm : (along the columns' direction, along the rows')
    step_mm, step_px : sample distance in mm, or where that is left out in pixels of the picture
    exclude_px : outlines in photo pixels that hide the part
    """
    across = np.asarray(across, dtype=np.float64) / np.hypot(*across)
    down = np.array([-across[1], across[0]]) if down is None else np.asarray(down, dtype=np.float64)
    middle = np.asarray(origin_mm) + across * size_mm[0] / 2 + down * size_mm[1] / 2
    px_mm = scale_at(plane, plane.to_px(middle.reshape(1, 2)))
    step = step_px * px_mm if step_mm is None else step_mm
    columns, rows = (max(2, int(np.ceil(side / step)) + 1) for side in size_mm)
    kx, ky = np.arange(0, columns + KNOT, KNOT), np.arange(0, rows + KNOT, KNOT)
    gx, gy = np.meshgrid(kx * step, ky * step)
    knots_mm = origin_mm + gx.reshape(-1, 1) * across + gy.reshape(-1, 1) * down
    knots = plane.to_px(knots_mm).reshape(len(ky), len(kx), 2)
    source, corner = _smoothed(gray, knots, step / px_mm)
    values, inside = np.empty((rows, columns), dtype=np.float32), np.empty((rows, columns), dtype=np.bool_)
    for first in range(0, rows, BAND):
        band, some = slice(first, first + BAND), knots[first // KNOT :].astype(np.float32)
        x, y = _spread(some, inside[band], gray.shape, corner, source.shape)
        values[band] = cv2.remap(source, x, y, cv2.INTER_LINEAR)  # in half the time of one that repeats the rim
    patch = Patch(
        values=values, valid=inside, origin_mm=np.asarray(origin_mm, dtype=np.float64),
        across=across, down=down, step_mm=float(step), px_mm=px_mm,
    )  # fmt: skip
    if not exclude_px:
        return patch
    cover = np.ones(inside.shape, dtype=np.uint8)
    for outline in exclude_px:
        cv2.fillPoly(cover, [np.round(patch.to_grid(plane.to_mm(outline))).astype(np.int32)], 0)
    return Patch(**{**vars(patch), "valid": inside & cover.view(np.bool_)})


@compiled
def _spread(
    knots: Grid, inside: NDArray[np.bool_], shape: tuple[int, int], corner: tuple[int, int], part: tuple[int, int]
) -> tuple[Grid, Grid]:
    """Bilinear filling between knots (K, L, 2); knot (i, j) lands on sample (i, j) times `KNOT`.

    Parameters
    ----------
    inside : (rows, columns), which is filled in
        Whether a sample lies in the picture, not at its rim.
    shape : of the picture
    corner, part : first column and row, and shape, of the part of it
        In which the places (rows, columns), x and y, are told, those beyond it at its rim.
    """
    rows, columns = inside.shape
    x, y = np.empty((rows, columns), dtype=np.float32), np.empty((rows, columns), dtype=np.float32)
    shares = np.arange(KNOT).astype(np.float32) / np.float32(KNOT)
    one, least = np.float32(1), np.float32(1)
    right_end, low_end = np.float32(shape[1] - 2), np.float32(shape[0] - 2)
    from_x, from_y = np.float32(corner[0]), np.float32(corner[1])
    none, last_x, last_y = np.float32(0), np.float32(part[1] - 1), np.float32(part[0] - 1)
    for row in range(rows):
        i, down = row // KNOT, shares[row % KNOT]
        up = one - down
        for j in range((columns + KNOT - 1) // KNOT):
            first = j * KNOT
            ax, bx, cx, dx = knots[i, j, 0], knots[i, j + 1, 0], knots[i + 1, j, 0], knots[i + 1, j + 1, 0]
            ay, by, cy, dy = knots[i, j, 1], knots[i, j + 1, 1], knots[i + 1, j, 1], knots[i + 1, j + 1, 1]
            for at in range(min(KNOT, columns - first)):
                right = shares[at]
                back = one - right
                over = (ax * back + bx * right) * up + (cx * back + dx * right) * down
                low = (ay * back + by * right) * up + (cy * back + dy * right) * down
                inside[row, first + at] = (over > least) & (low > least) & (over < right_end) & (low < low_end)
                x[row, first + at] = min(max(over - from_x, none), last_x)
                y[row, first + at] = min(max(low - from_y, none), last_y)
    return x, y


def _smoothed(gray: Image, knots: Array, shrink: float) -> tuple[Image, tuple[int, int]]:
    """The picture for samples `shrink` px apart: where that is far, what of it lies about knots (K, L, 2), smoothed,
    and the corner of that, px."""
    if shrink <= FINE_PX:
        return gray, (0, 0)
    size = gray.shape[::-1]
    low = np.clip(knots.min(axis=(0, 1)) - 2 * shrink - 3, 0, np.array(size) - 1).astype(int).tolist()
    high = np.clip(knots.max(axis=(0, 1)) + 2 * shrink + 4, 1, size).astype(int).tolist()
    part = gray[low[1] : max(high[1], low[1] + 1), low[0] : max(high[0], low[0] + 1)]
    return np.asarray(cv2.GaussianBlur(part, (0, 0), 0.4 * shrink), dtype=np.uint8), (low[0], low[1])
