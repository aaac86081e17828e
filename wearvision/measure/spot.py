"""The picture around a rough box, turned along the lay of the metal, and what speaks for wear at each of its pixels.

Turned, ground and rolled metal looks alike along its lay, whatever bands of light and shade lie across it. So the
sound surface inside the box is taken to be what is seen on both sides of it along the lay; wear departs from that,
is rougher, and is among the darkest there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.plane import Array
from wearvision.measure.unwrap import Grid, Image

Box = tuple[float, float, float, float]

SIDE = 56
"""Every box is looked at as if its sides had this geometric mean, in cells."""
MARGIN = 0.6
"""The window reaches beyond the box by this share of its half sides."""
SEEN = 1.5
"""What lies farther than this from the middle, in half sides of the box, tells nothing."""
GAP = 1.1
"""The surface beside the box is read from this many half sides on, over `BESIDE` cells."""
BESIDE = 12
LEAST_NOISE = 2.0
"""Grey values of spread that any surface has: below it lie the steps of 8 bits and of JPEG."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Window:
    """The picture around a box: rows run along the lay.

    Attributes
    ----------
    grey : (R, C) float32
        Grey values, 0 to 255; what lies out of the picture repeats its border.
    sound : (R, C) float32
        Grey value of the sound surface, carried over from both sides along the lay.
    across, down : (R, C) float64
        Place in half sides of the box: -1 to 1 inside it, along the photo's own axes.
    to_photo : (2, 3) array
        (column, row) of the window to (x, y) of the photo.
    noise : float
        Spread of the sound surface about `sound`, grey values.
    """

    grey: Grid
    sound: Grid
    across: Array
    down: Array
    to_photo: Array
    noise: float

    @property
    def reach(self) -> Array:
        """1 on the sides of the box, 0 in its middle."""
        return np.asarray(np.maximum(abs(self.across), abs(self.down)))

    @property
    def cell_px(self) -> float:
        """Side of a cell in photo px."""
        return math.sqrt(abs(float(np.linalg.det(self.to_photo[:, :2]))))

    def photo(self, cells: Array) -> Array:
        """(column, row) points as points of the photo."""
        return np.asarray(cells @ self.to_photo[:, :2].T + self.to_photo[:, 2])

    def cells(self, points_px: Array) -> Array:
        """Points of the photo as (column, row) points."""
        return np.asarray((points_px - self.to_photo[:, 2]) @ np.linalg.inv(self.to_photo[:, :2]).T)


def window_of(gray: Image, box_px: Box) -> Window:
    """The window of a box with sides above zero that meets the picture."""
    x0, y0, x1, y1 = box_px
    sides, middle = np.array([x1 - x0, y1 - y0]), np.array([x0 + x1, y0 + y1]) / 2
    cell = math.sqrt(float(np.prod(sides))) / SIDE
    part, origin, shrink = _part(gray, box_px, cell)
    turn = _lay(part, (np.array(box_px) - np.tile(origin, 2)) / shrink, cell / shrink)
    axes = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    size = np.ceil(abs(axes.T) @ sides * (1 + MARGIN) / cell).astype(int)
    to_photo = np.column_stack([axes * cell, middle - axes * cell @ (size - 1) / 2])
    to_part = np.column_stack([to_photo[:, :2], to_photo[:, 2] - origin]) / shrink
    soft = part if cell <= shrink else cv2.GaussianBlur(part, (0, 0), cell / shrink / 2)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    grey = _grid(
        cv2.warpAffine(soft, to_part, (int(size[0]), int(size[1])), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    )
    row, column = np.mgrid[: grey.shape[0], : grey.shape[1]]
    at = np.stack([column, row], axis=-1) @ to_photo[:, :2].T + to_photo[:, 2]
    across, down = np.moveaxis((at - middle) / (sides / 2), -1, 0)
    reach = np.maximum(abs(across), abs(down))
    sound = _carried_over(grey, reach <= GAP)
    spread = 1.4826 * float(np.median(abs(grey - sound)[(reach > GAP) & (reach < 1 + MARGIN)]))
    return Window(grey=grey, sound=sound, across=across, down=down, to_photo=to_photo, noise=max(LEAST_NOISE, spread))


def terms(window: Window) -> dict[str, Array]:
    """What speaks for wear at each cell, by name; all without units, about -2 to 5.

    `one`, `middle` (squared distance from the box's own), `odd` and `odd_wide` (darker or brighter than the sound
    surface, over a few and over many cells), `rough` (log of the local spread against the surroundings), `darkest`
    (among what the box holds).
    """
    apart = window.grey - window.sound
    fine, wide = _soft(apart, 1.0), _soft(apart, 3.0)
    spread = np.sqrt(np.maximum(_soft(apart * apart, 3.0) - wide**2, 0))
    reach = window.reach
    outside = (reach > GAP) & (reach < 1 + MARGIN)
    usual = max(LEAST_NOISE / 2, float(np.median(spread[outside])))
    smooth = _soft(window.grey, 1.0)
    low, high = np.percentile(smooth[reach < 1], [5, 95])
    scale = 3 * window.noise
    found = {
        "one": np.ones_like(smooth),
        "middle": np.minimum(window.across**2 + window.down**2, 4),
        "odd": np.tanh(abs(fine) / scale),
        "odd_wide": np.tanh(abs(wide) / scale),
        "rough": np.clip(np.log(spread / usual + 0.05), -2, 2.5),
        "darkest": np.clip((high - smooth) / max(2 * LEAST_NOISE, high - low), -0.5, 1.5),
    }
    return {name: np.asarray(value, dtype=np.float64) for name, value in found.items()}


def core(window: Window, belief: Array) -> Array:
    """Squared distance from the middle of a belief (R, C, 0 to 1), in units of its own ellipse; 4 at most."""
    weight = belief / belief.sum()
    x, y = window.across, window.down
    dx, dy = x - float((weight * x).sum()), y - float((weight * y).sum())
    sxx, syy, sxy = ((weight * a * b).sum() for a, b in ((dx, dx), (dy, dy), (dx, dy)))
    sxx, syy = sxx + 1e-4, syy + 1e-4
    return np.asarray(np.minimum((syy * dx**2 - 2 * sxy * dx * dy + sxx * dy**2) / (4 * (sxx * syy - sxy**2)), 4))


def _soft(values: NDArray[np.floating], cells: float) -> Grid:
    return _grid(cv2.GaussianBlur(values, (0, 0), cells))


def _grid(values: NDArray[Any]) -> Grid:
    return np.asarray(values, dtype=np.float32)


def _part(gray: Image, box_px: Box, cell_px: float) -> tuple[Grid, Array, int]:
    """The picture about a box, where its pixel (0, 0) lies, and how many photo px make one of its own.

    Twice the window's margin is taken, as the window may be turned; a large box is averaged down to its cells.
    """
    x0, y0, x1, y1 = box_px
    rim = MARGIN * (x1 - x0 + y1 - y0) + 4
    shrink = max(1, int(cell_px))
    least = 2 * shrink
    left, top = (max(0, min(size - least, int(v - rim))) for v, size in ((x0, gray.shape[1]), (y0, gray.shape[0])))
    part = gray[top : max(top + least, int(y1 + rim) + 2), left : max(left + least, int(x1 + rim) + 2)]
    high, wide = (max(1, size // shrink) for size in part.shape)
    part = part[: high * shrink, : wide * shrink]
    small = cv2.resize(part, (wide, high), interpolation=cv2.INTER_AREA) if shrink > 1 else part
    return _grid(small), np.array([left, top]) + (shrink - 1) / 2, shrink


def _lay(part: Grid, box: Array, cell_px: float) -> float:
    """Direction of the lay around a box, radians: across the mean gradient there, angles doubled."""
    soft = cv2.GaussianBlur(part, (0, 0), max(0.7, 0.6 * cell_px))
    gx, gy = cv2.Sobel(soft, cv2.CV_32F, 1, 0), cv2.Sobel(soft, cv2.CV_32F, 0, 1)
    row, column = np.mgrid[: part.shape[0], : part.shape[1]]
    outside = (column < box[0]) | (column > box[2]) | (row < box[1]) | (row > box[3])
    size = np.hypot(gx, gy) + 1e-6
    even, odd = (gx**2 - gy**2) / size, 2 * gx * gy / size
    return 0.5 * math.atan2(float(odd[outside].sum()), float(even[outside].sum())) + math.pi / 2


def _carried_over(grey: Grid, inside: NDArray[np.bool_]) -> Grid:
    """Each row by a straight line between the medians beside what is inside; rows clear of it stand as they are."""
    smooth = _soft(grey, 1.0)
    sound = smooth.copy()
    width = grey.shape[1]
    column = np.arange(width)
    for row in np.flatnonzero(inside.any(axis=1)):
        hit = np.flatnonzero(inside[row])
        first, last = int(hit[0]), int(hit[-1])
        left = np.median(smooth[row, max(0, first - BESIDE) : max(3, first)])
        right = np.median(smooth[row, min(width - 3, last + 1) : last + 1 + BESIDE])
        share = np.clip((column - (first - BESIDE / 2)) / (last - first + BESIDE), 0, 1)
        sound[row] = left + (right - left) * share
    return sound
