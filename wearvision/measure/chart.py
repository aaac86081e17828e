"""A small map of all of the plane that is in the picture, in millimetres."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, log_gray
from wearvision.measure.plane import Array, Plane, shrunk_px
from wearvision.measure.roughness import roughness
from wearvision.measure.unwrap import Image

MAP_PX = 640
"""Long side of the map."""
KNOT = 16
"""The camera is asked at every so many samples; between them the way is straight to a hundredth of a pixel."""
LOGS: Grid = log_gray(np.arange(256, dtype=np.float32))
GRAIN_MM = (0.8, 1.0)
"""Roughness is what strays within the first of these, over the second."""
LEAST_COPY_PX = 64
"""Short side of the smallest copy: a plane steep enough that its horizon is in the picture has no end."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Chart:
    """Log grey, valid mask, mm of pixel (0, 0), mm per pixel."""

    values: Grid
    valid: NDArray[np.bool_]
    origin_mm: Array
    step_mm: float


class Copies:
    """A picture in half its size, a quarter, and so on, and what is made of these, each made once."""

    def __init__(self, gray: Image) -> None:
        self._made = {1: gray}

    def shrunk(self, factor: int) -> Image:
        """The picture over a factor, as `shrunk`."""
        if factor not in self._made:
            halves = factor & -factor
            before = halves if halves < factor else factor // 2
            self._made[factor] = shrunk(self.shrunk(before), factor // before)
        return self._made[factor]


def chart_of(gray: Image, plane: Plane, exclude_px: tuple[Array, ...], copies: Copies | None = None) -> Chart:
    """Map of all of the plane that is in the picture; ``copies`` are those of the picture where it has some."""
    width, height = plane.size_px
    edge = np.linspace(0, 1, 9)
    border = np.concatenate([
        np.column_stack([edge * (width - 1), np.full(9, y * (height - 1))]) for y in (0, 1)
    ] + [np.column_stack([np.full(9, x * (width - 1)), edge * (height - 1)]) for x in (0, 1)])  # fmt: skip
    corner = plane.to_mm(border)
    low, high = corner.min(axis=0), corner.max(axis=0)
    step = float((high - low).max() / MAP_PX)
    shrink = step / scale_at(plane, np.array([[width / 2, height / 2]]))
    shrink = _halves(min(shrink, min(width, height) / LEAST_COPY_PX))
    small = (copies or Copies(gray)).shrunk(shrink)
    nx, ny = (np.ceil((high - low) / step)).astype(int) + 1
    knots = shrunk_px(knots_px(plane, low, step, (nx, ny), KNOT), shrink)
    maps = between(knots, KNOT, slice(0, ny), nx)
    inside = cv2.bitwise_and(*(cv2.inRange(m, 1, n - 2) for m, n in zip(maps, small.shape[::-1], strict=True)))
    values = cv2.remap(small, maps[0], maps[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    for outline in exclude_px:
        cv2.fillPoly(inside, [np.round((plane.to_mm(outline) - low) / step).astype(np.int32)], 0)
    valid = cv2.erode(inside, np.ones((7, 7), np.uint8)) > 0
    return Chart(values=np.asarray(cv2.LUT(values, LOGS)), valid=valid, origin_mm=low, step_mm=step)


def grain_of(chart: Chart) -> Chart:
    """The map of how rough each place looks (`roughness`)."""
    near, over = ((mm / chart.step_mm,) * 2 for mm in GRAIN_MM)
    return replace(chart, values=roughness(chart.values, near, over))


def _halves(factor: float) -> int:
    """The power of two next below a factor, at least 1."""
    return int(2 ** np.floor(np.log2(max(1.0, factor))))


def knots_px(plane: Plane, origin_mm: Array, step_mm: float, size: tuple[int, int], knot: int) -> Array:
    """Photo x and y (2, K, L) of a grid of so many columns and rows along the plane's axes, at the middles of blocks of
    `knot` by `knot` of its samples, one block beyond it on all sides."""
    x, y = ((np.arange(-(-n // knot) + 2) - 1) * knot + (knot - 1) / 2 for n in size)
    across, down = np.meshgrid(x * step_mm, y * step_mm)
    at = origin_mm + np.column_stack([across.ravel(), down.ravel()])
    return plane.to_px(at).T.reshape(2, len(y), len(x))


def between(knots: Array, knot: int, rows: slice, columns: int) -> tuple[Grid, Grid]:
    """What stands at knots (`knots_px`), x and y, at each sample of some rows: between knots the way is straight."""
    first = rows.start // knot
    part = knots[:, first : -(-rows.stop // knot) + 2].astype(np.float32)
    skip = rows.start - (first - 1) * knot
    x, y = (
        cv2.resize(one, None, fx=knot, fy=knot)[skip : skip + rows.stop - rows.start, knot : knot + columns]
        for one in part
    )
    return np.asarray(x, dtype=np.float32), np.asarray(y, dtype=np.float32)


def shrunk(gray: Image, factor: int) -> Image:
    """A picture averaged over blocks of `factor` pixels, what is left at its far edges cut off: by halves as long as
    they go into it, then by a third: at a third and a quarter of what other blocks cost OpenCV."""
    step = 2 if factor % 2 == 0 else factor
    if step == 1:
        return gray
    wide, high = (n // step for n in gray.shape[::-1])
    if step == 3:
        return _thirds(gray)
    part = cv2.resize(gray[: high * step, : wide * step], (wide, high), interpolation=cv2.INTER_AREA)
    return shrunk(np.asarray(part, dtype=np.uint8), factor // step)


@compiled
def _thirds(gray: Image) -> Image:
    """Mean of each block of three by three pixels, rounded."""
    high, wide = gray.shape[0] // 3, gray.shape[1] // 3
    mean, total = np.empty((high, wide), dtype=np.uint8), np.empty(3 * wide, dtype=np.uint16)
    ninth, half = np.float32(1 / 9), np.float32(0.5)
    for row in range(high):
        first, second, third = gray[3 * row], gray[3 * row + 1], gray[3 * row + 2]
        for column in range(3 * wide):
            total[column] = np.uint16(first[column]) + np.uint16(second[column]) + np.uint16(third[column])
        for column in range(wide):
            block = total[3 * column] + total[3 * column + 1] + total[3 * column + 2]
            mean[row, column] = np.uint8(np.float32(block) * ninth + half)
    return mean


def scale_at(plane: Plane, px: Array) -> float:
    """Length of one photo pixel there, mm."""
    quad = plane.to_mm(px.reshape(1, 2) + np.array([[-1.0, 0], [1, 0], [0, -1], [0, 1]]))
    (ax, ay), (bx, by) = (quad[1] - quad[0]) / 2, (quad[3] - quad[2]) / 2
    return float(np.sqrt(abs(ax * by - ay * bx)))
