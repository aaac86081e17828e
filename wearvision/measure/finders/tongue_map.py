"""The plane's small map turned until straight edges lie along its rows and columns, and how clear its edges are.

An opening's sides lie at right angles: one map shows the edges of all four, whichever of them is the lip.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from wearvision.measure.chart import Chart, chart_of, scale_at
from wearvision.measure.edges import Grid, log_gray
from wearvision.measure.finders.tongue_clear import percentile, upright_edges
from wearvision.measure.finders.tongue_edges import straight_edges
from wearvision.measure.patch import Patch, patch_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

ALONG_MM = 4.0
"""Edges are summed over so much of their length."""
TURNS = 2
"""Directions tried."""
SHORT_MM = 2.0
"""Of straight edges, which tell the directions, what they are longer than this counts."""
DARKEST_BRIGHTEST = 0.5, 99.5
"""Per cent of the map below its darkest and its brightest."""
SOME = 7
"""Every so many samples are enough for where a map ends."""
TURNED_MM = 0.35
"""Sample distance of the turned map."""


@dataclass(frozen=True, kw_only=True, eq=False)
class EdgeMap:
    """How clear the edges of a map are, as seen with the passage above the lip.

    Attributes
    ----------
    sides : (H, W) float32
        How clear upright edges are.
    lips : (W, H) float32
        How clear level ones are.
    origin_mm, across, down : (2,) arrays
        Plane point of sample (0, 0); unit vectors of columns and of rows.
    step_mm : float
    """

    sides: Grid
    lips: Grid
    origin_mm: Array
    across: Array
    down: Array
    step_mm: float

    def turned(self) -> EdgeMap:
        """A quarter turn on: what lies at the right of the picture is above."""
        reach = self.step_mm * (self.sides.shape[1] - 1)
        return EdgeMap(
            sides=self.lips[::-1], lips=self.sides[:, ::-1], origin_mm=self.origin_mm + reach * self.across,
            across=self.down, down=-self.across, step_mm=self.step_mm,
        )  # fmt: skip

    def to_mm(self, column: Array, row: Array) -> Array:
        """Plane points (N, 2) of places of the map."""
        along, aside = self.step_mm * column[:, None] * self.across, self.step_mm * row[:, None] * self.down
        return np.asarray(self.origin_mm + along + aside)


def edge_maps(gray: Image, plane: Plane, exclude_px: tuple[Array, ...]) -> Iterator[EdgeMap]:
    """Maps along the directions that long straight edges share, strongest first, across the picture."""
    chart = chart_of(gray, plane, exclude_px)
    seen_mm = _seen_mm(chart)
    for turn in turns_deg(chart):
        patch = _turned(gray, plane, seen_mm, turn, exclude_px)
        seen = cv2.erode(patch.valid.view(np.uint8), np.ones((5, 5), np.uint8))
        log, run = log_gray(patch.values), max(3, round(ALONG_MM / patch.step_mm) | 1)
        sides, lips = (
            upright_edges(tone, there.view(np.bool_), run)
            for tone, there in ((log, seen), (np.ascontiguousarray(log.T), np.ascontiguousarray(seen.T)))
        )
        yield EdgeMap(
            sides=sides, lips=lips, origin_mm=patch.origin_mm, across=patch.across, down=patch.down,
            step_mm=patch.step_mm,
        )  # fmt: skip


def _seen_mm(chart: Chart) -> Array:
    """Places (N, 2) all over what a map shows of the plane."""
    rows, columns = np.divmod(np.flatnonzero(chart.valid)[::SOME], chart.valid.shape[1])
    return np.asarray(chart.origin_mm + np.column_stack([columns, rows]) * chart.step_mm)


def _upright(plane: Plane, turn_deg: float) -> float:
    """Of the four directions at right angles the one that leads across the picture, metal below it."""
    middle = plane.to_mm((np.array([plane.size_px], dtype=np.float64) - 1) / 2)[0]

    def down(turn: float) -> float:
        way = np.array([-math.sin(math.radians(turn)), math.cos(math.radians(turn))])
        run = np.diff(plane.to_px(np.array([middle, middle + way])), axis=0)[0]
        return float(run[1] / np.hypot(*run))

    return max((turn_deg + quarter for quarter in (0.0, 90.0, 180.0, 270.0)), key=down)


def turns_deg(chart: Chart) -> list[float]:
    """Directions (0 to 90 degrees) that long straight edges of the map share, strongest first."""
    tones = chart.values[chart.valid]
    low, high = (percentile(tones, share) for share in DARKEST_BRIGHTEST) if len(tones) else (0.0, 1.0)
    level = chart.values - low
    level /= max(high - low, 1e-3)
    level *= 255
    shown = np.clip(level, 0, 255, out=level).astype(np.uint8)
    lines = straight_edges(shown)
    ends = np.clip(np.round(lines).astype(int), 0, np.array(shown.shape[::-1] * 2) - 1)
    lines = lines[chart.valid[ends[:, 1], ends[:, 0]] & chart.valid[ends[:, 3], ends[:, 2]]]
    run = lines[:, 2:] - lines[:, :2]
    weight = np.clip(np.hypot(run[:, 0], run[:, 1]) * chart.step_mm - SHORT_MM, 0, None) ** 2
    angle = np.degrees(np.arctan2(run[:, 1], run[:, 0])) % 90
    votes = np.histogram(angle, bins=180, range=(0, 90), weights=weight)[0]
    calm = np.convolve(np.tile(votes, 3), np.exp(-0.5 * (np.arange(-6, 7) / 2.0) ** 2), "same")[180:360]
    out: list[float] = []
    for _ in range(TURNS):
        best = int(np.argmax(calm))
        if calm[best] <= 0:
            break
        near = np.abs((angle - (best + 0.5) / 2 + 45) % 90 - 45)
        part = near < 2.0
        off = (angle[part] - (best + 0.5) / 2 + 45) % 90 - 45
        out.append(float((best + 0.5) / 2 + (off @ weight[part]) / max(weight[part].sum(), 1e-9)))
        calm[np.abs((np.arange(180) - best + 90) % 180 - 90) < 10] = 0
    return out


def _turned(gray: Image, plane: Plane, seen_mm: Array, turn_deg: float, exclude_px: tuple[Array, ...]) -> Patch:
    """What lies about places of the plane, with `turn_deg`, or what is at right angles to it, along its rows."""
    turn_deg = _upright(plane, turn_deg)
    across = np.array([math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))])
    down = np.array([-across[1], across[0]])
    along, aside = seen_mm @ across, seen_mm @ down
    size = (float(np.ptp(along)), float(np.ptp(aside)))
    step = max(TURNED_MM, 1.2 * scale_at(plane, (np.array([plane.size_px]) - 1) / 2))
    origin = along.min() * across + aside.min() * down
    return patch_of(gray, plane, origin, across, size, step_mm=step, exclude_px=exclude_px)
