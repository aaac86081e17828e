"""Thin dark lines across a gasket land: cracks, or the shadows of a bite's walls.

On the land rolled out at the photo's own resolution each place is held against both its sides along the lap: a line is
darker than either, and these are nearly alike. Of what is darker than the land's grain the best line outward is sought,
which swerves little and begins and ends wherever that pays most. Lines along the circles are not sought: lathe lines
look like them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, log_gray, median
from wearvision.measure.finders.gasket import Land
from wearvision.measure.finders.way import stretches_apart
from wearvision.measure.plane import Array
from wearvision.measure.unwrap import Strip

CALM = (0.6, 0.7)
"""Standard deviations of the blur against the photo's noise, columns and rows."""
SIDE_PX, SIDE_MM, WIDE_MM = 1.5, 0.5, 0.35
"""How far off its sides are looked at, px and mm together, in the mean over so much."""
DIFFER = 0.5
"""So much of what the sides differ counts against it."""
EDGE_MM = 0.5
"""None is sought so near an edge, and a pixel: shadows and frayed edges are dark."""
GRAIN_SHARE, GRAIN_SPREADS = 0.99, 2.33
"""The land's grain: this share of it is darker by no more than so many spreads; where it is coarse, as rust is, that is
the more. What is brighter does not count: edges of stains are, too."""
GRAIN, MOST_GRAIN = 2.0, 8.0
"""In spreads of the grain: what is darker than the first counts, up to the second."""
ASIDE, MOST_ASIDE = 0.15, 4
"""What a step aside by a row costs, from one column to the next, and the most of them."""
LEAST_GAIN = 20.0
"""A line gains so much; grain alone hardly gains 17."""
MOST, CLEAR_MM = 8, 3.0
"""No more than so many, so far apart."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Line:
    """A dark line: its columns in order and its row in each (N,), rows not wrapped, and what it gained."""

    columns: NDArray[np.int64]
    rows: NDArray[np.int64]
    gain: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Lines:
    """Dark lines on a strip.

    Attributes
    ----------
    strip : Strip
        The land at the photo's resolution.
    tone, level : (T, R) arrays
        Its log grey, and that of the darker side along the lap.
    lines : tuple of Line
        Clearest first.
    """

    strip: Strip
    tone: Grid
    level: Grid
    lines: tuple[Line, ...]

    def deg(self, line: Line) -> Array:
        """Angle of a line in each of its columns."""
        return self.strip.deg(line.rows.astype(np.float64))

    def mm(self, line: Line) -> Array:
        """Radius of its columns."""
        return self.strip.mm(line.columns.astype(np.float64))

    def dark(self, line: Line) -> float:
        """How much darker than its sides a line usually is, log grey."""
        at = (line.rows % len(self.tone), line.columns)
        return float(np.median(self.level[at] - self.tone[at]))

    @property
    def away(self) -> int:
        """Rows from a line to its sides."""
        return _away(self.strip)


def dark_lines(land: Land) -> Lines:
    """Dark lines within a land's circles."""
    strip = _within_circles(land)
    tone: Grid = np.asarray(
        cv2.GaussianBlur(log_gray(strip.values), (0, 0), sigmaX=CALM[0], sigmaY=CALM[1]), dtype=np.float32
    )
    side: Grid = np.asarray(cv2.blur(tone, (1, 2 * round(WIDE_MM / 2 / strip.px_mm) + 1)), dtype=np.float32)
    level, dark = _held(tone, side, _away(strip))
    lines = _lines(dark, strip, land)
    return Lines(strip=strip, tone=tone, level=level, lines=tuple(lines))


def _within_circles(land: Land) -> Strip:
    """The land's strip at the photo's resolution between its circles, every two columns taken together."""
    fine = land.fine
    first, last = (round((r - fine.start_mm) / fine.step_mm) for r in land.ring.radii_mm)
    first, last = max(0, first), min(fine.values.shape[1], last + 1)
    last -= (last - first) % 2
    left, right = slice(first, last, 2), slice(first + 1, last, 2)
    values = np.asarray((fine.values[:, left] + fine.values[:, right]) / np.float32(2), dtype=np.float32)
    return replace(
        fine, values=values, valid=fine.valid[:, left], step_mm=2 * fine.step_mm,
        start_mm=fine.start_mm + (first + 0.5) * fine.step_mm,
    )  # fmt: skip


@compiled
def _held(tone: Grid, side: Grid, away: int) -> tuple[Grid, Grid]:
    """Log grey of the darker side along the lap, and how much darker than both a place is."""
    level, dark = np.empty_like(tone), np.empty_like(tone)
    for i in range(len(tone)):
        one, other = side[(i + away) % len(tone)], side[i - away]
        for j in range(tone.shape[1]):
            level[i, j] = min(one[j], other[j])
            dark[i, j] = level[i, j] - (abs(one[j] - other[j]) * np.float32(DIFFER) + tone[i, j])
    return level, dark


def _bounds(strip: Strip, land: Land) -> tuple[Array, Array]:
    """Radii in each row between which a place lies well within a land's circles."""
    deg = strip.deg(np.arange(len(strip.values), dtype=np.float64))
    inner, outer = (np.interp(deg, land.deg, r, period=360.0) for r in land.sound_mm)
    off = EDGE_MM + strip.px_mm
    return inner + off, outer - off


def _lines(dark: Grid, strip: Strip, land: Land) -> list[Line]:
    """The best lines, none near a better one."""
    low, high = _bounds(strip, land)
    radius = strip.mm(np.arange(dark.shape[1], dtype=np.float64))
    within = (radius[::3] > low[::5, None]) & (radius[::3] < high[::5, None]) & strip.valid[::5, ::3]
    some = dark[::5, ::3][within]
    if not len(some):
        return []
    usual = median(some)
    grain = max(1e-3, (float(np.quantile(some, GRAIN_SHARE)) - usual) / GRAIN_SPREADS)
    counts = _worth(dark, strip.valid, radius, low, high, np.float32(usual), np.float32(grain))
    worth: Grid = np.asarray(cv2.transpose(counts), dtype=np.float32)  # columns by rows
    best = stretches_apart(
        worth, ASIDE, MOST_ASIDE, apart=round(CLEAR_MM / strip.px_mm), least=LEAST_GAIN, count=MOST
    )
    return [Line(columns=one.rows, rows=one.columns, gain=one.gain) for one in best]


@compiled
def _worth(
    dark: Grid, valid: NDArray[np.bool_], radius: Array, low: Array, high: Array, usual: np.float32, grain: np.float32
) -> Grid:
    """What each place counts; nothing does that is not well within the circles."""
    out = np.empty(dark.shape, np.float32)
    for i in range(dark.shape[0]):
        for j in range(dark.shape[1]):
            within = low[i] < radius[j] < high[i] and valid[i, j]
            count = min((dark[i, j] - usual) / grain, np.float32(MOST_GRAIN)) - np.float32(GRAIN)
            out[i, j] = count if within else np.float32(-np.inf)
    return out


def _away(strip: Strip) -> int:
    return round(SIDE_PX + SIDE_MM / strip.px_mm)
