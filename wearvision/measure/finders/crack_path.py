"""A thin dark path in the photo itself: followed within a band rolled straight, and on from its ends.

Each place of the band is held against both its sides. Of what is darker than the metal's own grain the best stretch is
sought, which begins and ends wherever that pays most: a crack that hardly darkens a pixel darkens many of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import LOGS, scale_at
from wearvision.measure.edges import Grid, median
from wearvision.measure.finders.slit import slit_width
from wearvision.measure.finders.way import Stretch, best_stretch, best_stretches
from wearvision.measure.plane import Array, Plane
from wearvision.measure.polyline import evenly, length_of
from wearvision.measure.unwrap import Image

ROW_PX, COLUMN_PX = 2.0, 0.7
"""Distance of rows along a path, and of columns aside."""
STEP_MM, SMOOTH, SPARE_MM = 0.2, 5, 1.0
"""A line is smoothed over so many steps before a band is laid along it, and this much beyond its ends."""
SIDE_MM, SIDE_PX = 0.45, 2.1
"""How far off a path's sides are looked at, whichever is more."""
NEAR_MM, BESIDE_MM = 0.6, 1.9
"""A path lies so near the line it is sought along; what lies beyond, out to the second, tells the metal's grain."""
LEAST_GRAIN = 0.01
GRAIN, LEAST_COUNT, MOST_COUNT = 1.5, -1.0, 6.0
"""In spreads of the grain: what is darker than the first pays, and the least and most that counts."""
ASIDE, MOST_ASIDE = 0.35, 3
"""What a step aside by a column costs, from one row to the next, and the most of them."""
LEAST_ROWS = 8
AHEAD_MM, FAN_MM, HEADING_MM = 7.0, 4.0, 2.0
"""From an end it is sought so far ahead and aside, straight on from the last so many mm."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Band:
    """A band rolled straight: N rows along it, M columns aside.

    Attributes
    ----------
    line_mm, normal : (N, 2) arrays
        Its middle, and unit vectors aside.
    aside_mm : (M,) array
    tone, level : (N, M) arrays
        Log grey, and that of each place's darker side.
    px_mm : float
    """

    line_mm: Array
    normal: Array
    aside_mm: Array
    tone: Grid
    level: Grid
    px_mm: float

    @property
    def dark(self) -> Grid:
        """How much darker than both its sides each place is."""
        return self.level - self.tone

    def line(self, way: Stretch, first: int = 0) -> Array:
        """Plane points (K, 2) of a way whose columns begin at ``first``, its steps evened."""
        aside = self.normal[way.rows] * self.aside_mm[first + way.columns][:, None]
        line = cv2.blur(self.line_mm[way.rows] + aside, (1, 3), borderType=cv2.BORDER_REPLICATE)
        return np.asarray(line, dtype=np.float64).reshape(-1, 2)


@dataclass(frozen=True, kw_only=True, eq=False)
class Metal:
    """The metal beside a path: its usual darkness, log grey, and the robust spread of that, its grain."""

    usual: float
    grain: float

    def spread(self, dark: float, share: float) -> float:
        """What counts as one spread beside so dark a path: the grain, or so much that less than a share of it loses."""
        return max(self.grain, share * (dark - self.usual) / GRAIN)

    def worth(self, dark: Grid, spread: float) -> Grid:
        """What places so dark count."""
        return np.asarray(np.clip((dark - self.usual) / spread, LEAST_COUNT, MOST_COUNT) - GRAIN, dtype=np.float32)


@dataclass(frozen=True, kw_only=True, eq=False)
class Trace:
    """A path.

    Attributes
    ----------
    line_mm : (N, 2) array
    depth : (N,) array
        How much darker than its sides, log grey.
    metal : Metal
        What lies beside it.
    worth : float
        What its points count, in the mean.
    width_mm, width_u_mm : float
        At mid-length.
    px_mm : float
    """

    line_mm: Array
    depth: Array
    metal: Metal
    worth: float
    width_mm: float
    width_u_mm: float
    px_mm: float

    @property
    def length_mm(self) -> float:
        """Along the path."""
        return length_of(self.line_mm)

    @property
    def dark(self) -> float:
        """Its usual darkness."""
        return median(self.depth)

    @property
    def contrast(self) -> float:
        """Its darkness in spreads of the grain."""
        return (float(np.mean(self.depth)) - self.metal.usual) / self.metal.grain

    @property
    def taken(self) -> float:
        """All that it takes from the light, log grey times mm."""
        return float(np.mean(self.depth)) * self.length_mm


@dataclass(kw_only=True)
class _Sought:
    """A path that is being sought in the band about a line.

    Attributes
    ----------
    band : Band
    near : slice
        Columns in which it may lie.
    metal : Metal
    spread : float
        What counts as one spread.
    """

    band: Band
    near: slice
    metal: Metal
    spread: float

    @classmethod
    def about(cls, gray: Image, plane: Plane, line_mm: Array) -> _Sought:
        band = _band(gray, plane, _smooth(line_mm), BESIDE_MM)
        inside = np.flatnonzero(np.abs(band.aside_mm) < NEAR_MM)
        near = slice(int(inside[0]), int(inside[-1]) + 1)
        off = np.hstack([band.dark[:, : near.start], band.dark[:, near.stop :]]).ravel()
        usual = median(off)
        metal = Metal(usual=usual, grain=max(LEAST_GRAIN, 1.4826 * median(np.abs(off - usual))))
        return cls(band=band, near=near, metal=metal, spread=metal.grain)

    def worth(self) -> Grid:
        return self.metal.worth(self.band.dark[:, self.near], self.spread)

    def depth(self, way: Stretch) -> Grid:
        return np.asarray(self.band.dark[way.rows, self.near.start + way.columns])

    def widened(self, way: Stretch, share: float) -> bool:
        """Take for one spread what fits so dark a path; whether that is more than before."""
        before, self.spread = self.spread, self.metal.spread(median(self.depth(way)), share)
        return self.spread > before

    def trace(self, way: Stretch) -> Trace:
        depth = self.depth(way)
        width, width_u = _width(self.band, way.rows, self.near.start + way.columns)
        return Trace(
            line_mm=self.band.line(way, self.near.start), depth=depth.astype(np.float64), metal=self.metal,
            worth=float(self.metal.worth(depth, self.spread).mean()), width_mm=width, width_u_mm=width_u,
            px_mm=self.band.px_mm,
        )  # fmt: skip


def traces(gray: Image, plane: Plane, lines_mm: Sequence[Array], share: float) -> list[Trace | None]:
    """The darkest stretch near each line (N, 2); None where there is hardly one.

    What has less than ``share`` of its darkness does not pay: it is sought by the grain first, then by how dark it is.
    """
    sought = [_Sought.about(gray, plane, line) for line in lines_mm]
    ways = best_stretches([one.worth() for one in sought], ASIDE, MOST_ASIDE)
    again = [k for k, way in enumerate(ways) if len(way.columns) >= LEAST_ROWS and sought[k].widened(way, share)]
    for k, way in zip(again, best_stretches([sought[k].worth() for k in again], ASIDE, MOST_ASIDE), strict=True):
        ways[k] = way
    return [one.trace(way) if len(way.columns) >= LEAST_ROWS else None for one, way in zip(sought, ways, strict=True)]


def _width(band: Band, rows: NDArray[np.int64], columns: NDArray[np.int64]) -> tuple[float, float]:
    """Width at mid-length and its standard uncertainty."""
    mid, count = slice(len(rows) // 3, 2 * len(rows) // 3 + 1), band.tone.shape[1]
    column_mm = float(band.aside_mm[1] - band.aside_mm[0])
    away = np.arange(-round(SIDE_MM / column_mm), round(SIDE_MM / column_mm) + 1)
    at = np.clip(columns[mid, None] + away, 0, count - 1)
    taken = 1 - np.exp(band.tone[rows[mid, None], at] - band.level[rows[mid], columns[mid]][:, None])
    return slit_width(taken.astype(np.float64), column_mm, band.px_mm)


def further(
    gray: Image, plane: Plane, line_mm: Array, metal: Metal, spread: float, least_gain: float, most_loss: float
) -> Array:
    """Points (N, 2) on from the end of a path within a fan ahead of it; none where it gains too little.

    It ends where most is gained before so much is lost again.
    """
    heading = line_mm[-1] - line_mm[np.hypot(*(line_mm - line_mm[-1]).T) < HEADING_MM][0]
    ahead = line_mm[-1] + np.outer(np.arange(0, AHEAD_MM, STEP_MM), heading / max(1e-9, float(np.hypot(*heading))))
    px = plane.to_px(ahead)
    outside = ~((px > 2) & (px < np.array(gray.shape[::-1]) - 3)).all(axis=1)
    ahead = ahead[: int(np.argmax(outside))] if outside.any() else ahead
    if len(ahead) < LEAST_ROWS:
        return np.empty((0, 2))
    band = _band(gray, plane, ahead, FAN_MM)
    worth = metal.worth(band.dark, spread)
    way = best_stretch(worth, ASIDE, MOST_ASIDE, start=len(band.aside_mm) // 2)
    if way.gain < least_gain:
        return np.empty((0, 2))
    total = np.cumsum(worth[way.rows, way.columns])
    lost = np.maximum.accumulate(total) - total > most_loss
    end = int(np.argmax(total[: int(np.argmax(lost))] if lost.any() else total))
    return band.line(way)[1 : end + 1]


def _smooth(line_mm: Array) -> Array:
    """A line at even steps, smoothed, and straight on from its ends."""
    line = evenly(line_mm, STEP_MM)
    off = np.arange(STEP_MM, SPARE_MM + STEP_MM, STEP_MM) / HEADING_MM
    back = round(HEADING_MM / STEP_MM)
    before, after = line[0] - line[: back + 1][-1], line[-1] - line[-1 - back :][0]
    line = np.vstack([line[0] + off[::-1, None] * before, line, line[-1] + off[:, None] * after])
    return np.asarray(cv2.blur(line, (1, SMOOTH), borderType=cv2.BORDER_REPLICATE), dtype=np.float64).reshape(-1, 2)


def _band(gray: Image, plane: Plane, line_mm: Array, half_mm: float) -> Band:
    """The band along a line (N, 2), so wide to either side."""
    px_mm = scale_at(plane, plane.to_px(line_mm[[len(line_mm) // 2]]))
    column_mm = COLUMN_PX * px_mm
    line = evenly(line_mm, ROW_PX * px_mm)
    way = np.vstack([line[1] - line[0], (line[2:] - line[:-2]) / 2, line[-1] - line[-2]])
    normal = np.column_stack([-way[:, 1], way[:, 0]]) / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    away, half = round(max(SIDE_PX * px_mm, SIDE_MM) / column_mm), round(half_mm / column_mm)
    aside = column_mm * np.arange(-half - away, half + away + 1, dtype=np.float64)
    places = np.stack([line[:, k, None] + aside * normal[:, k, None] for k in (0, 1)], axis=-1)
    px = plane.to_px(places.reshape(-1, 2))
    x, y = np.ascontiguousarray(px.T, dtype=np.float32).reshape(2, len(line), len(aside))
    seen = cv2.remap(gray, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    tone: Grid = np.asarray(cv2.blur(cv2.LUT(seen, LOGS), (1, 3)), dtype=np.float32)
    side = cv2.blur(tone, (3, 3))
    level: Grid = np.asarray(cv2.min(side[:, : -2 * away], side[:, 2 * away :]), dtype=np.float32)
    return Band(line_mm=line, normal=normal, aside_mm=aside[away:-away], tone=tone[:, away:-away], level=level,
                px_mm=px_mm)  # fmt: skip
