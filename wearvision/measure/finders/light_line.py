"""A line of light across a part: where it runs, and its middle followed point by point."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, log_gray
from wearvision.measure.finders.light_centre import middles, usual_width
from wearvision.measure.finders.light_ground import MAP_MM, Ground, askew
from wearvision.measure.finders.way import best_way
from wearvision.measure.patch import Patch
from wearvision.measure.plane import Array
from wearvision.quantity import Unmeasured

COARSE, TURN_DEG, NEARLY = 2, 3.0, 0.6
"""Samples of the map that are judged together; directions tried; those beside one of this share of the best are too."""
LEAST_SEEN, LEAST_MM = 100, 8.0
"""Least samples of the map that are open, and least length of a line that is followed."""
LINE_MM = (0.5, 1.0, 1.6)
"""Widths of line looked for, mm."""
RUN_MM = 25.0
"""Length over which a line is judged."""
BAND_MM = 8.0
"""How far to either side of the sound line the light may be shifted."""
EVERY_MM, BESIDE_MM = 0.1, 0.1
"""Distance of the places at which the middle is told, and how far to either side of one its light is averaged."""
FINE_MM = 0.08
"""Pixels of the copy on which a line is followed, at most: a fraction of the width of any line."""
MOST_WIDE_MM, PATH_EVERY = 4.0, 4
"""Widest line, and over how many of the places the search for its path averages."""
BREAK_MM = 6.0
"""Longest stretch without light that is bridged."""
JUMP_COST, LEAP_COST, CLIP = 0.15, 7.0, 5.0
SIZE_CLIP = 20.0
"""Largest size a ridge counts with in the search: a lamp's line is many times as bright as edges of rust."""
LEAST = 1.2
"""Least mean size of a line, in usual sizes of the picture's own ridges."""
HINT = "light the line in a dim room, across the wear, and have sound metal on both sides of it"


@dataclass(frozen=True, kw_only=True, eq=False)
class LightLine:
    """The line followed.

    Attributes
    ----------
    patch : Patch
        Band along the line: columns along it, the sound line near the middle row.
    column, row : (N,) arrays
        Middle of the line, samples of the patch.
    sure : (N,) bool
        Where the line is plain to see.
    noise_px : float
        Scatter of the middle from place to place, px of the patch.
    soft_mm : float
        Standard deviation of a shadow's soft edge; 0 for a line of light.
    """

    patch: Patch
    column: Array
    row: Array
    sure: NDArray[np.bool_]
    noise_px: float
    soft_mm: float = 0.0

    @cached_property
    def every_mm(self) -> float:
        """Distance from place to place."""
        return float(np.median(np.diff(self.column))) * self.patch.step_mm

    def points_mm(self) -> Array:
        """The middle of the line as if on the plane, (N, 2)."""
        return self.patch.to_mm(self.column, self.row)


def find_line(ground: Ground, band_mm: float = BAND_MM) -> LightLine | Unmeasured:
    """The brightest thin straight line, followed; light may be shifted so far to either side of the sound line."""
    best = _line(ground)
    if best is None:
        return Unmeasured(reason="no line of light stands out", hint=HINT)
    return _follow(ground.smaller(FINE_MM), *best, band_mm)


def _line(ground: Ground) -> tuple[Array, Array, float] | None:
    """Middle of the best run, direction of the line on the plane, width of line that shows best."""
    patch, seen = ground.map()
    if seen.sum() < LEAST_SEEN:
        return None
    log = log_gray(patch.values)
    sizes = [_sizes(_ridge(log, line_mm / MAP_MM), seen, COARSE) for line_mm in LINE_MM]
    either, bearing = np.max(sizes, axis=0), ground.across(patch, COARSE)
    turn = _best_turn(lambda t: _judge(askew(bearing, t, either), t)[0])
    told = [_judge(askew(bearing, turn, size), turn) for size in sizes]
    best = int(np.argmax([t[0] for t in told]))
    rad = np.radians(turn)
    middle = patch.to_mm(*(np.array([v * COARSE]) for v in told[best][1:]))[0]
    along = patch.across * np.cos(rad) + patch.down * np.sin(rad)
    return (middle, np.asarray(along), LINE_MM[best]) if told[best][0] > LEAST else None


def _best_turn(worth: Callable[[float], float]) -> float:
    """The direction of most worth: every second one is tried, and those beside any that is nearly as good."""
    told = {float(turn): worth(float(turn)) for turn in np.arange(0.0, 180.0, 2 * TURN_DEG)}
    least = NEARLY * max(told.values())
    beside = {(turn + way) % 180.0 for turn, size in told.items() if size >= least for way in (-TURN_DEG, TURN_DEG)}
    told.update((turn, worth(turn)) for turn in sorted(beside))
    return float(max(sorted(told), key=lambda turn: told[turn]))


def _sizes(ridge: Grid, seen: NDArray[np.bool_], coarse: int) -> Grid:
    """Ridges in usual sizes of the picture's own, the mean of each `coarse` x `coarse` samples."""
    usual = 1.4826 * float(np.median(np.abs(ridge[seen]))) + 1e-4
    size = np.where(seen, np.clip(ridge / usual, -SIZE_CLIP, SIZE_CLIP), 0).astype(np.float32)
    return np.asarray(cv2.blur(size, (coarse, coarse))[::coarse, ::coarse])


def _ridge(gray: Grid, wide: float) -> Grid:
    """Brighter than both sides: blur of the line's width less that of three times as much."""
    inner = cv2.GaussianBlur(gray, (0, 0), max(0.6, wide / 2.5))
    return np.asarray(inner - cv2.GaussianBlur(gray, (0, 0), max(1.8, 1.6 * wide)), dtype=np.float32)


def _judge(ridge: Grid, turn: float) -> tuple[float, float, float]:
    """Best mean along any run of this direction, and the run's middle (column, row)."""
    height, width = ridge.shape
    side = int(np.hypot(height, width)) + 2
    matrix = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), turn, 1.0)
    matrix[:, 2] += ((side - width) / 2, (side - height) / 2)
    turned = cv2.warpAffine(ridge, matrix, (side, side))
    told = cv2.blur(turned, (round(RUN_MM / MAP_MM / COARSE) | 1, 1), borderType=cv2.BORDER_CONSTANT)
    row, column = np.unravel_index(int(np.argmax(told)), told.shape)
    x, y = cv2.invertAffineTransform(matrix) @ np.array([column, row, 1.0])
    return float(told[row, column]), float(x), float(y)


def _follow(
    ground: Ground, middle: Array, along: Array, line_mm: float, band_mm: float
) -> LightLine | Unmeasured:
    """Follow the line both ways as far as it shows."""
    lost = Unmeasured(reason="the line of light cannot be followed", hint=HINT)
    band = ground.band(middle, along, band_mm)
    if band is None:
        return lost
    patch, seen = band
    every = max(1, round(EVERY_MM / patch.step_mm))
    columns = np.arange(every // 2, seen.shape[1], every)
    row = _rough(patch, seen, line_mm, every * PATH_EVERY, columns)
    if not seen[row, columns].any():
        return lost
    width = usual_width(patch.values, seen, row, columns, round(MOST_WIDE_MM / patch.step_mm))
    lit = middles(patch.values, row, columns, width, max(1, round(BESIDE_MM / patch.step_mm)))
    at = np.clip(np.rint(lit.row), 0, len(seen) - 1).astype(int)
    sure = unbroken(lit.sure() & seen[at, columns], round(BREAK_MM / EVERY_MM))
    runs = np.flatnonzero(sure)
    if len(runs) * every * patch.step_mm < LEAST_MM:
        return lost
    wobble = np.diff(lit.row[sure], 2)
    noise = 1.4826 * float(np.median(np.abs(wobble))) / np.sqrt(6) * patch.step_mm / patch.px_mm
    keep = slice(int(runs[0]), int(runs[-1]) + 1)
    return LightLine(
        patch=patch, column=columns[keep].astype(np.float64), row=lit.row[keep], sure=sure[keep],
        noise_px=float(noise),
    )  # fmt: skip


def _rough(
    patch: Patch, seen: NDArray[np.bool_], line_mm: float, block: int, columns: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Row of the line's rough path in each of the columns, sought on means of `block` columns."""
    count = seen.shape[1] // block
    size = (count, seen.shape[0])
    mean: Grid = np.asarray(
        cv2.resize(patch.values[:, : count * block], size, interpolation=cv2.INTER_AREA), dtype=np.float32
    )
    free = cv2.resize(seen[:, : count * block].astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.5
    wide = line_mm / patch.step_mm
    log = log_gray(mean)
    ridge = _blur_down(log, max(0.6, wide / 2.5)) - _blur_down(log, max(1.8, 1.6 * wide))
    usual = 1.4826 * float(np.median(np.abs(ridge[free][::5]))) + 1e-4
    told = np.float32(CLIP) * np.log1p(np.where(free, np.maximum(ridge / usual, 0), 0).astype(np.float32) / CLIP)
    rows = best_way(np.ascontiguousarray(told.T), JUMP_COST / 4 * block, LEAP_COST)
    return np.asarray(np.interp(columns, (np.arange(count) + 0.5) * block - 0.5, rows).round(), dtype=np.int64)


def _blur_down(gray: Grid, sigma: float) -> Grid:
    """Blurred along the columns only."""
    return np.asarray(cv2.GaussianBlur(gray, (1, 2 * round(3 * sigma) + 1), sigma), dtype=np.float32)


def unbroken(sure: NDArray[np.bool_], most: int) -> NDArray[np.bool_]:
    """The longest stretch without a longer break; beyond one the path follows something else."""
    places = np.flatnonzero(sure)
    if not len(places):
        return sure
    parts = np.split(places, np.flatnonzero(np.diff(places) > most) + 1)
    kept = np.zeros_like(sure)
    kept[max(parts, key=len)] = True
    return kept
