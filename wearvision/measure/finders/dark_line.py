"""Thin dark lines across a gasket land: cracks, or the shadows of a bite's walls.

On the land rolled out at the photo's own resolution each place is held against both its sides along the lap: a line is
darker than either, and these are nearly alike. Of what is darker than the land's grain the best line outward is sought,
which swerves little and begins and ends wherever that pays most. Lines along the circles are not sought: lathe lines
look like them.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, log_gray, median
from wearvision.measure.finders.gasket import Land
from wearvision.measure.finders.way import best_stretch
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image, Strip, unwrap

STEP_PX = 2.0
"""Columns, photo px; rows are one apart."""
CALM = (0.6, 0.7)
"""Standard deviations of the blur against the photo's noise, columns and rows."""
SIDE_PX, SIDE_MM, WIDE_MM = 1.5, 0.5, 0.35
"""How far off its sides are looked at, px and mm together, in the mean over so much."""
DIFFER = 0.5
"""So much of what the sides differ counts against it."""
EDGE_MM = 0.5
"""None is sought so near an edge, and a pixel: shadows and frayed edges are dark."""
GRAIN_SHARE, GRAIN_SPREADS = 0.98, 2.33
"""The land's grain: this share of it lies within so many spreads; where it is coarse, as rust is, that is the more."""
GRAIN, MOST_GRAIN = 2.0, 8.0
"""In spreads of the grain: what is darker than the first counts, up to the second."""
ASIDE, MOST_ASIDE = 0.15, 4
"""What a step aside by a row costs, from one column to the next, and the most of them."""
LEAST_GAIN = 20.0
"""A line gains so much; grain alone hardly gains 17."""
MOST, CLEAR_MM = 6, 3.0
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

    @property
    def away(self) -> int:
        """Rows from a line to its sides."""
        return _away(self.strip)


def dark_lines(gray: Image, plane: Plane, land: Land, exclude_px: tuple[Array, ...] = ()) -> Lines:
    """Dark lines within a land's circles."""
    rows = 8 * round(np.pi * sum(land.ring.radii_mm) / land.strip.px_mm / 8)
    strip = unwrap(
        gray, plane, land.ring.centre_mm, land.ring.radii_mm, step_deg=360.0 / rows, step_px=STEP_PX,
        exclude_px=exclude_px,
    )  # fmt: skip
    tone: Grid = np.asarray(
        cv2.GaussianBlur(log_gray(strip.values), (0, 0), sigmaX=CALM[0], sigmaY=CALM[1]), dtype=np.float32
    )
    level, dark = _sides(tone, strip)
    lines = _lines(dark, _within(strip, land), round(CLEAR_MM / strip.px_mm))
    return Lines(strip=strip, tone=tone, level=level, lines=tuple(lines))


def _within(strip: Strip, land: Land) -> NDArray[np.bool_]:
    """Places well within a land's circles, and in view."""
    deg = strip.deg(np.arange(len(strip.values), dtype=np.float64))
    inner, outer = (np.interp(deg, land.deg, r, period=360.0) for r in land.sound_mm)
    radius, off = strip.mm(np.arange(strip.values.shape[1], dtype=np.float64)), EDGE_MM + strip.px_mm
    return np.asarray(strip.valid & (radius > inner[:, None] + off) & (radius < outer[:, None] - off))


def _sides(tone: Grid, strip: Strip) -> tuple[Grid, Grid]:
    """Log grey of the darker side along the lap, and how much darker than both a place is."""
    side = cv2.blur(tone, (1, 2 * round(WIDE_MM / 2 / strip.px_mm) + 1))
    away = _away(strip)
    lap = np.vstack([side[-away:], side, side[:away]])
    one, other = lap[2 * away :], lap[: -2 * away]
    level = cv2.min(one, other)
    differ = cv2.scaleAdd(cv2.absdiff(one, other), DIFFER, tone)
    return np.asarray(level, dtype=np.float32), np.asarray(cv2.subtract(level, differ), dtype=np.float32)


def _lines(dark: Grid, within: NDArray[np.bool_], clear: int) -> list[Line]:
    """The best lines, none within so many rows of a better one."""
    some = dark[::3, ::2][within[::3, ::2]]
    if not len(some):
        return []
    usual = median(some)
    grain = max(1e-3, float(np.quantile(np.abs(some - usual), GRAIN_SHARE)) / GRAIN_SPREADS)
    worth: Grid = np.ascontiguousarray(
        np.where(within, np.minimum((dark - usual) / grain, MOST_GRAIN) - GRAIN, -np.inf).T, dtype=np.float32
    )
    out: list[Line] = []
    while len(out) < MOST:
        best = best_stretch(worth, ASIDE, MOST_ASIDE, closed=True)
        if best.gain < LEAST_GAIN:
            break
        line = Line(columns=best.rows, rows=best.columns, gain=best.gain)
        out.append(line)
        low, high = line.rows.min() - clear, line.rows.max() + clear
        worth[:, np.arange(low, high + 1) % worth.shape[1]] = -np.inf
    return out


def _away(strip: Strip) -> int:
    return round(SIDE_PX + SIDE_MM / strip.px_mm)
