"""A rectangle of the plane rolled out flat from the photo, along axes of one's own choice, in millimetres."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import scale_at
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

KNOT = 16
"""The camera is asked at every so many samples; between them the way is straight to 0.01 px."""


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
    step_mm: float | None = None, down: Array | None = None, exclude_px: tuple[Array, ...] = (),
) -> Patch:  # fmt: skip
    """Roll out a rectangle.

    Parameters
    ----------
    origin_mm : (2,) corner where sample (0, 0) lies
    across : (2,) direction of the columns; rows run a quarter turn on (x to y), or along `down`
    size_mm : (along the columns' direction, along the rows')
    step_mm : sample distance; 0.7 photo px when left out
    exclude_px : outlines in photo pixels that hide the part
    """
    across = np.asarray(across, dtype=np.float64) / np.hypot(*across)
    down = np.array([-across[1], across[0]]) if down is None else np.asarray(down, dtype=np.float64)
    middle = np.asarray(origin_mm) + across * size_mm[0] / 2 + down * size_mm[1] / 2
    px_mm = scale_at(plane, plane.to_px(middle.reshape(1, 2)))
    step = 0.7 * px_mm if step_mm is None else step_mm
    columns, rows = (max(2, int(np.ceil(side / step)) + 1) for side in size_mm)
    kx, ky = np.arange(0, columns + KNOT, KNOT), np.arange(0, rows + KNOT, KNOT)
    gx, gy = np.meshgrid(kx * step, ky * step)
    knots_mm = origin_mm + gx.reshape(-1, 1) * across + gy.reshape(-1, 1) * down
    knots = plane.to_px(knots_mm).reshape(len(ky), len(kx), 2)
    maps = [_spread(knots[..., k].astype(np.float32), KNOT)[:rows, :columns] for k in (0, 1)]
    height, width = gray.shape
    inside = (maps[0] > 1) & (maps[1] > 1) & (maps[0] < width - 2) & (maps[1] < height - 2)
    shrink = step / px_mm
    source = cv2.GaussianBlur(gray, (0, 0), 0.4 * shrink) if shrink > 1.6 else gray
    values = cv2.remap(source, maps[0], maps[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    patch = Patch(
        values=values.astype(np.float32), valid=inside, origin_mm=np.asarray(origin_mm, dtype=np.float64),
        across=across, down=down, step_mm=float(step), px_mm=px_mm,
    )  # fmt: skip
    cover = np.zeros(inside.shape, dtype=np.uint8)
    for outline in exclude_px:
        cv2.fillPoly(cover, [np.round(patch.to_grid(plane.to_mm(outline))).astype(np.int32)], 1)
    return Patch(**{**vars(patch), "valid": inside & (cover == 0)})


def _spread(knots: Grid, step: int) -> Grid:
    """Bilinear filling between knots `step` apart; knot (i, j) lands on pixel (i step, j step)."""
    rows, columns = ((n - 1) * step for n in knots.shape)
    y, x = (np.arange(n, dtype=np.float32) / step for n in (rows, columns))
    my, mx = np.meshgrid(y, x, indexing="ij")
    return np.asarray(cv2.remap(knots, mx, my, cv2.INTER_LINEAR), dtype=np.float32)
