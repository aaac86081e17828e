"""Where a lip may be: straight runs of edge that close off an opening, with a side going up from each of their ends.

A lip is photographed lying across the picture, its passage above it: of an opening's edges that settles which it is.
The plane's small map is turned until straight edges lie along its rows and columns. A lip is a row between two columns
that carry edges on the opening's side of it; of its own edge only parts need be straight, the rest may be washed out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import Chart, chart_of, scale_at
from wearvision.measure.edges import Grid, log_gray
from wearvision.measure.finders.tongue_clear import mean_down, percentile, upright_edges
from wearvision.measure.finders.tongue_edges import straight_edges
from wearvision.measure.patch import Patch, patch_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

ALONG_MM, WIDE_MM = 4.0, 6.0
"""Edges are summed over so much of their length; what goes on beyond a corner is looked at over so much."""
SIDES_MM, UNDER_MM = (10.0, 25.0, 50.0), 5.0
"""Sides are looked at over that of these heights over which they are clearest, and over so much below the lip."""
PEAKS, LEADS = 60, 8
"""Columns and rows taken up, and leads handed on."""
LENGTHS_MM = (15.0, 130.0)
"""Lips shorter or longer than this are not looked for unless stated."""
LENGTH_OFF = 1.0, 0.015
"""A lead's length lies within the sum of these, mm and share, of a stated one."""
TURNS, CLEAR = 2, 3.45
"""Directions tried; a lead of a stated length that scores more makes the next one needless."""
SHORT_MM = 2.0
"""Of straight edges, which tell the directions, what they are longer than this counts."""
DARKEST_BRIGHTEST = 0.5, 99.5
"""Per cent of the map below its darkest and its brightest."""
SOME = 7
"""Every so many samples are enough for where a map ends."""
TURNED_MM = 0.35
"""Sample distance of the turned map."""
PEAK_APART_MM = 0.9, 0.6
"""Columns, and rows, taken up lie at least so far from each other."""
BELOW_LESS, BEYOND_LESS = 0.7, 0.2
"""What a side that goes on below the lip, and a lip that goes on beyond a corner, speak against it."""
APART_MM = 5.0
"""Leads whose corners all lie nearer than this to those of another are the same."""


Places = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True, eq=False)
class Lead:
    """A place where a lip may be.

    Attributes
    ----------
    left_mm, right_mm : (2,) arrays
        Corners, plane mm; metal lies a quarter turn (x to y) from left-to-right.
    score : float
        How much of it is there: sides and lip, 0 to 4.
    """

    left_mm: Array
    right_mm: Array
    score: float

    @property
    def length_mm(self) -> float:
        """Distance of the corners."""
        return float(np.hypot(*(self.right_mm - self.left_mm)))


def seek_lips(
    gray: Image, plane: Plane, exclude_px: tuple[Array, ...], length_mm: float | None = None
) -> tuple[Lead, ...]:
    """Places where a lip may be, most likely first; of the stated length if there is one."""
    chart = chart_of(gray, plane, exclude_px)
    seen_mm = _seen_mm(chart)
    found: list[Lead] = []
    for turn in turns_deg(chart):
        found += _leads(_turned(gray, plane, seen_mm, turn, exclude_px), length_mm)
        if length_mm is not None and any(lead.score > CLEAR for lead in found):
            break
    kept: list[Lead] = []
    for lead in sorted(found, key=lambda one: -one.score):
        if all(_apart(lead, other) > APART_MM for other in kept):
            kept.append(lead)
    return tuple(kept[:LEADS])


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


def _apart(one: Lead, other: Lead) -> float:
    ends = (one.left_mm - other.left_mm, one.right_mm - other.right_mm)
    return max(float(np.hypot(*end)) for end in ends)


def _leads(patch: Patch, length_mm: float | None) -> list[Lead]:
    """Leads of a turned map."""
    seen = cv2.erode(patch.valid.view(np.uint8), np.ones((5, 5), np.uint8))
    log, run = log_gray(patch.values), max(3, round(ALONG_MM / patch.step_mm) | 1)
    sides, lips = (
        upright_edges(tone, there.view(np.bool_), run)
        for tone, there in ((log, seen), (np.ascontiguousarray(log.T), np.ascontiguousarray(seen.T)))
    )
    out = []
    for row, first, last, score in _shapes(sides, lips, patch.step_mm, length_mm):
        left, right = patch.to_mm(np.array([first, last]), np.array([row, row]))
        out.append(Lead(left_mm=left, right_mm=right, score=score))
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


def _shapes(sides: Grid, lips: Grid, step_mm: float, length_mm: float | None) -> list[tuple[int, int, int, float]]:
    """Row, first and last column and score of the best shapes, metal below, opening above.

    Parameters
    ----------
    sides : (H, W)
        How clear upright edges are.
    lips : (W, H)
        How clear level ones are.
    """
    tall, wide = (round(mm / step_mm) for mm in (SIDES_MM[0], WIDE_MM))
    columns, rows = (
        _peaks(mean_down(clear, size).max(axis=0), max(1, round(apart / step_mm)))
        for clear, size, apart in zip((sides, lips), (tall, wide), PEAK_APART_MM, strict=True)
    )
    rows = rows[(rows > tall) & (rows < len(sides) - tall)]
    if len(columns) < 2 or not len(rows):
        return []
    a, b = np.triu_indices(len(columns), 1)
    length = (columns[b] - columns[a]) * step_mm
    off = LENGTH_OFF[0] + LENGTH_OFF[1] * (length_mm or 0.0)
    low, high = LENGTHS_MM if length_mm is None else (length_mm - off, length_mm + off)
    fits = (length > low) & (length < high)
    a, b = a[fits], b[fits]
    if not len(a):
        return []
    score = _scores(sides[:, columns], lips[:, rows], columns, rows, (a, b), step_mm)
    near = max(1, round(0.7 * APART_MM / step_mm))
    out: list[tuple[int, int, int, float]] = []
    for _ in range(LEADS):
        k, m = divmod(int(np.argmax(score)), len(a))
        if not np.isfinite(score[k, m]):
            break
        out.append((int(rows[k]), int(columns[a[m]]), int(columns[b[m]]), float(score[k, m])))
        same = (np.abs(columns[a] - columns[a[m]]) <= near) & (np.abs(columns[b] - columns[b[m]]) <= near)
        score[np.ix_(np.abs(rows - rows[k]) <= near, same)] = -np.inf
    return out


def _scores(
    sides: Grid, lips: Grid, columns: Places, rows: Places, pairs: tuple[Places, Places], step_mm: float
) -> Array:
    """How much of a lip there is (rows, pairs), 0 to 4: sides above its corners and not below, an edge and not beyond.

    Parameters
    ----------
    sides : (H, columns)
        How clear upright edges are.
    lips : (W, rows)
        Of level ones.
    pairs : first and last of the columns, by their number
    """
    wide, under = (round(mm / step_mm) for mm in (WIDE_MM, UNDER_MM))
    down = np.vstack([np.zeros((1, len(columns)), np.float32), np.cumsum(sides, axis=0)])
    over = np.hstack([np.zeros((len(rows), 1), np.float32), np.cumsum(lips.T, axis=1)])
    a, b = pairs
    side = np.zeros((len(rows), len(a)), dtype=np.float32)
    for tall in (round(mm / step_mm) for mm in SIDES_MM):
        above = (down[rows] - down[np.maximum(rows - tall, 0)]) / tall
        side = np.maximum(side, above[:, a] + above[:, b] + np.minimum(above[:, a], above[:, b]))
    below = (down[rows + under] - down[rows + 2]) / under
    edge = (over[:, columns[b]] - over[:, columns[a]]) / (columns[b] - columns[a])
    ends = [over[:, np.clip(columns + aside, 0, len(lips))] - over[:, columns] for aside in (-wide, wide)]
    beyond = (ends[1][:, b] - ends[0][:, a]) / wide
    return np.asarray(side + edge - BELOW_LESS * (below[:, a] + below[:, b]) - BEYOND_LESS * beyond)


def _peaks(strength: Grid, apart: int) -> Places:
    """Places of the strongest peaks of a curve."""
    top = cv2.dilate(strength.reshape(-1, 1).astype(np.float32), np.ones((2 * apart + 1, 1), np.uint8)).ravel()
    places = np.flatnonzero((strength >= top) & (strength > 0.1))
    return np.asarray(np.sort(places[np.argsort(-strength[places])][:PEAKS]))
