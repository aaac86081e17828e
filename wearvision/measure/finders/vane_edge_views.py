"""The plane's map turned so that a vane would stand upright, and how well bar and flanks show at each of its pixels.

Means of the slope along straight pieces keep edges and wipe out rust and grain; a logarithm of each is what counts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from wearvision.measure.chart import Chart
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array

SHOULDER_MM, FLANK_MM, FILLET_MM = 4.0, 3.2, 0.7
"""Length of the bar's edge and of the flank that must show, and what of the foot is left out."""
FLOOR, CAP = 0.01, 0.06
"""Mean slope, log grey per step, below which an edge is none, and above which it tells no more."""
MOST = 0.06
"""Slope of one pixel beyond which it tells no more: a line is what changes all along, not here and there a lot."""
FAR_MM, BEYOND = 8.0, 0.6
"""How far the bar's edge runs on, most often, and how much that counts."""
SOFT = 0.7
"""Blur before slopes, steps."""
SIGNS = np.float32(1), np.float32(-1)


@dataclass(frozen=True, kw_only=True, eq=False)
class View:
    """The map turned so that a vane would stand upright.

    Attributes
    ----------
    down : (H, W) slope down
    bars : (4, H, W)
        How well the bar's edge shows to the left and to the right of each pixel where tones rise down, and where they
        fall.
    standing, hanging : (2, H, W)
        How well a flank shows that goes up, and down, from each pixel, where tones rise across, and where they fall.
    start_mm, along, up : (2,) plane mm of (0, 0), directions
    step_mm : float
    """

    down: Grid
    bars: Grid
    standing: Grid
    hanging: Grid
    start_mm: Array
    along: Array
    up: Array
    step_mm: float

    def upside_down(self) -> View:
        """The same turned by half a turn."""
        far = np.array(self.down.shape[::-1]) - 1
        return View(
            down=-_turned(self.down), bars=_turned(self.bars[::-1]), standing=_turned(self.hanging[::-1]),
            hanging=_turned(self.standing[::-1]), along=-self.along, up=-self.up, step_mm=self.step_mm,
            start_mm=self.start_mm + self.step_mm * (far[0] * self.along - far[1] * self.up),
        )  # fmt: skip


def _turned(values: Grid) -> Grid:
    """Grids (..., H, W) turned by half a turn."""
    return np.ascontiguousarray(values[..., ::-1, ::-1])


def views(chart: Chart, lean: float) -> Iterator[View]:
    """The map turned by a lean and by each of the four quarters."""
    along, up = np.array([np.cos(lean), np.sin(lean)]), np.array([np.sin(lean), -np.cos(lean)])
    rows, columns = chart.values.shape
    wide, high = (int(np.ceil(abs(columns * v[0]) + abs(rows * v[1]))) for v in (along, up))
    middle = np.array([(columns - 1) / 2, (rows - 1) / 2])
    start = middle - along * (wide - 1) / 2 + up * (high - 1) / 2
    matrix = np.column_stack([along, -up, start])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    values = cv2.warpAffine(chart.values, matrix, (wide, high), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    valid = cv2.warpAffine(chart.valid.astype(np.uint8), matrix, (wide, high), flags=flags) > 0
    soft = cv2.GaussianBlur(values, (0, 0), SOFT)
    slopes = (cv2.Sobel(soft, cv2.CV_32F, dx, 1 - dx, ksize=1) / 2 for dx in (1, 0))
    across, down = (np.where(valid, np.clip(slope, -MOST, MOST), 0).astype(np.float32) for slope in slopes)
    start_mm, step = chart.origin_mm + start * chart.step_mm, chart.step_mm
    one = _view(across, down, start_mm, along, up, step)
    across, down = np.ascontiguousarray(np.rot90(down)), -np.rot90(across)
    two = _view(across, np.ascontiguousarray(down), start_mm + along * (wide - 1) * step, -up, along, step)
    for view in (one, two):
        yield view
        yield view.upside_down()


def _view(across: Grid, down: Grid, start_mm: Array, along: Array, up: Array, step: float) -> View:
    long, skip, near, far = (max(2, round(mm / step)) for mm in (FLANK_MM, FILLET_MM, SHOULDER_MM, FAR_MM))
    margin, rows = long + skip, len(across)
    padded = cv2.copyMakeBorder(across, margin, margin, 0, 0, cv2.BORDER_CONSTANT, value=0)
    mean = cv2.blur(padded, (1, long), anchor=(0, 0), borderType=cv2.BORDER_CONSTANT)
    flank = np.stack([worth_of(_loose(sign * mean, (3, 1))) for sign in SIGNS])
    standing, hanging = (np.ascontiguousarray(flank[:, first : first + rows]) for first in (1, margin + skip))
    return View(
        down=down, bars=_bars(down, near, far), standing=standing, hanging=hanging, start_mm=start_mm, along=along,
        up=up, step_mm=step,
    )  # fmt: skip


def _bars(down: Grid, near: int, far: int) -> Grid:
    """How well the bar's edge shows beside each pixel, see `View`."""
    means, columns, out = _means(down, near, far), down.shape[1], np.empty((4, *down.shape), np.float32)
    for k, sign in zip((0, 2), SIGNS, strict=True):
        close, beyond = (worth_of(_loose(sign * mean, (1, most))) for mean, most in zip(means, (3, 5), strict=True))
        for side, first, further in ((k, far + 1, 1), (k + 1, near + far + 2, 2 * near + far + 2)):
            np.multiply(beyond[:, further : further + columns], np.float32(BEYOND), out=out[side])
            out[side] += close[:, first : first + columns]
    return out


def worth_of(values: Grid) -> Grid:
    """How much mean slopes count."""
    return np.asarray(np.log(np.clip(values, 0, CAP) + np.float32(FLOOR)), dtype=np.float32)


def _loose(values: Grid, size: tuple[int, int]) -> Grid:
    """Greatest value near by, over (columns, rows)."""
    return np.asarray(cv2.dilate(values, np.ones((size[1], size[0]), np.uint8)))


@compiled
def _means(values: Grid, near: int, far: int) -> Grid:
    """Means along rows over `near` and over `far` columns from each on, (2, H, W'), from `near + far + 1` columns
    before the first to as many after the last; nothing lies beyond."""
    rows, columns = values.shape
    pad = near + far + 1
    out = np.zeros((2, rows, columns + 2 * pad), np.float32)
    for y in range(rows):
        for k, long in enumerate((near, far)):
            total = 0.0
            for x in range(columns + long - 1):
                total += values[y, x] if x < columns else 0.0
                total -= values[y, x - long] if x >= long else 0.0
                out[k, y, pad - long + 1 + x] = total / long
    return out
