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

from wearvision.measure.chart import Chart, chart_of, scale_at
from wearvision.measure.edges import Grid, log_gray, slope
from wearvision.measure.patch import Patch, patch_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

ALONG_MM, SIDE_MM = 4.0, 7.0
"""Edges are summed over so much of their length; a side is looked at over so much of its own."""
PEAKS, LEADS, OPENINGS = 28, 8, 4
"""Rows and columns taken up, shapes of a direction, and openings handed on, each with edges across it."""
LENGTHS_MM = (15.0, 130.0)
"""Lips shorter or longer than this are not looked for unless stated."""
HEIGHTS_MM = (6.0, 75.0)
TURNS = 2
ACROSS_DEG = 50.0
"""A lip lies across the picture to within this."""
USUAL, LEAST_SLOPE = 88.0, 0.006
"""Edges are held against this percentile of the map's own slopes, and a least step of log grey per sample."""
SOME = 7
"""Every so many samples are enough for a percentile."""
MATES = 4
TURNED_PX = 900
APART_MM = 5.0
"""Leads whose corners all lie nearer than this to those of another are the same."""


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
    turned = [_turned(gray, plane, chart, turn, exclude_px) for turn in turns_deg(chart)]
    groups = [group for patch in turned for group in _leads(patch, plane, length_mm)]
    kept: list[Lead] = []
    for group in sorted(groups, key=lambda one: -one[0].score)[:OPENINGS]:
        kept += [
            lead for lead in group
            if slant_deg(plane, lead.left_mm, lead.right_mm) < ACROSS_DEG
            and all(_apart(lead, other) > APART_MM for other in kept)
        ]  # fmt: skip
    return tuple(kept)


def slant_deg(plane: Plane, left_mm: Array, right_mm: Array) -> float:
    """Angle, 0 to 180 degrees, between the way to an edge's metal and straight down in the picture."""
    run, middle = right_mm - left_mm, (left_mm + right_mm) / 2
    ends = plane.to_px(np.array([middle, middle + np.array([-run[1], run[0]])]))
    across, down = ends[1] - ends[0]
    return math.degrees(math.atan2(abs(across), down))


def turns_deg(chart: Chart) -> list[float]:
    """Directions (0 to 90 degrees) that long straight edges of the map share, strongest first."""
    low, high = np.percentile(chart.values[chart.valid], (0.5, 99.5)) if chart.valid.any() else (0.0, 1.0)
    shown = np.clip((chart.values - low) / max(high - low, 1e-3) * 255, 0, 255).astype(np.uint8)
    found = cv2.createLineSegmentDetector().detect(shown)[0]
    if found is None:
        return []
    lines = np.asarray(found, dtype=np.float64).reshape(-1, 4)
    ends = np.clip(np.round(lines).astype(int), 0, np.array(shown.shape[::-1] * 2) - 1)
    lines = lines[chart.valid[ends[:, 1], ends[:, 0]] & chart.valid[ends[:, 3], ends[:, 2]]]
    run = lines[:, 2:] - lines[:, :2]
    size = np.hypot(run[:, 0], run[:, 1]) * chart.step_mm
    angle = np.degrees(np.arctan2(run[:, 1], run[:, 0])) % 90
    votes = np.histogram(angle, bins=180, range=(0, 90), weights=np.clip(size - 2.0, 0, None) ** 2)[0]
    calm = np.convolve(np.tile(votes, 3), np.exp(-0.5 * (np.arange(-6, 7) / 2.0) ** 2), "same")[180:360]
    out: list[float] = []
    for _ in range(TURNS):
        best = int(np.argmax(calm))
        if calm[best] <= 0:
            break
        near = np.abs((angle - (best + 0.5) / 2 + 45) % 90 - 45)
        part = near < 2.0
        weight = (np.clip(size - 2.0, 0, None) ** 2)[part]
        off = (angle[part] - (best + 0.5) / 2 + 45) % 90 - 45
        out.append(float((best + 0.5) / 2 + (off @ weight) / max(weight.sum(), 1e-9)))
        calm[(np.arange(180) - best + 90) % 180 - 90 > 180] = 0
        calm[np.abs((np.arange(180) - best + 90) % 180 - 90) < 10] = 0
    return out


def _apart(one: Lead, other: Lead) -> float:
    ends = (one.left_mm - other.left_mm, one.right_mm - other.right_mm)
    return max(float(np.hypot(*end)) for end in ends)


def _leads(patch: Patch, plane: Plane, length_mm: float | None) -> list[list[Lead]]:
    """Leads of a turned map that run across the picture, whichever side their metal is on, each with those across
    its opening."""
    seen = np.asarray(cv2.erode(patch.valid.astype(np.uint8), np.ones((5, 5), np.uint8)), dtype=np.float32)
    log = log_gray(patch.values)
    upright, level = (_evidence(g, v, patch.step_mm) for g, v in ((log, seen), (log.T.copy(), seen.T.copy())))
    level = level.T
    out: list[list[Lead]] = []
    for quarter in range(4):
        middle = [_unturned(log.shape[0] // 2, log.shape[1] // 2 + k, quarter, log.shape) for k in (0, 9)]
        left, right = patch.to_mm(*np.transpose(middle))
        if ACROSS_DEG < slant_deg(plane, left, right) < 180 - ACROSS_DEG:
            continue
        pair = (upright, level) if quarter % 2 == 0 else (level, upright)
        sides, lips = (np.ascontiguousarray(np.rot90(m, quarter)) for m in pair)
        for group in _shapes(sides, lips, patch.step_mm, length_mm):
            out.append([])
            for row, first, last, score in group:
                ends = np.array([_unturned(row, column, quarter, log.shape) for column in (first, last)])
                mm = patch.to_mm(ends[:, 0], ends[:, 1])
                out[-1].append(Lead(left_mm=mm[0], right_mm=mm[1], score=score))
    return out


def _turned(gray: Image, plane: Plane, chart: Chart, turn_deg: float, exclude_px: tuple[Array, ...]) -> Patch:
    """What the map shows, rolled out anew with `turn_deg` along its rows."""
    across = np.array([math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))])
    down = np.array([-across[1], across[0]])
    rows, columns = np.nonzero(chart.valid)
    mm = chart.origin_mm + np.column_stack([columns, rows])[::7] * chart.step_mm
    along, aside = mm @ across, mm @ down
    size = (float(np.ptp(along)), float(np.ptp(aside)))
    step = max(max(size) / TURNED_PX, 1.5 * scale_at(plane, (np.array([plane.size_px]) - 1) / 2))
    origin = along.min() * across + aside.min() * down
    return patch_of(gray, plane, origin, across, size, step_mm=step, exclude_px=exclude_px)


def _unturned(row: int, column: int, quarter: int, shape: tuple[int, ...]) -> tuple[int, int]:
    """Column and row in the map of a place in the map after `np.rot90`."""
    height, width = shape
    return {
        0: (column, row), 1: (width - 1 - row, column), 2: (width - 1 - column, height - 1 - row),
        3: (row, height - 1 - column),
    }[quarter]  # fmt: skip


def _evidence(values: Grid, valid: Grid, step_mm: float) -> Grid:
    """How clearly an upright edge runs through each pixel, 0 to 1."""
    seen = valid
    run = max(3, round(ALONG_MM / step_mm) | 1)
    size = np.abs(cv2.blur(slope(values, 1.0) * seen, (1, run)))
    some = size.ravel()[::SOME][seen.ravel()[::SOME] > 0]
    usual = float(np.percentile(some, USUAL)) if len(some) else 1.0
    clear = np.clip(size / (usual + LEAST_SLOPE) - 0.5, 0, 3) / 3
    return np.asarray(cv2.dilate(clear.astype(np.float32), np.ones((1, 3), np.uint8)) * seen, dtype=np.float32)


def _shapes(
    sides: Grid, lips: Grid, step_mm: float, length_mm: float | None
) -> list[list[tuple[int, int, int, float]]]:
    """Row, first and last column and score of the best shapes, metal below, opening above; with each those across."""
    tall, wide = (max(3, round(mm / step_mm)) for mm in (SIDE_MM, 6.0))
    down = np.vstack([np.zeros((1, sides.shape[1]), np.float32), np.cumsum(sides, axis=0)])
    over = np.hstack([np.zeros((lips.shape[0], 1), np.float32), np.cumsum(lips, axis=1)])
    columns = _peaks((down[tall:] - down[:-tall]).max(axis=0) / tall, 3)
    rows = _peaks((over[:, wide:] - over[:, :-wide]).max(axis=1) / wide, 2)
    rows = rows[(rows > tall) & (rows < len(sides) - tall)]
    if len(columns) < 2 or not len(rows):
        return []
    a, b = np.triu_indices(len(columns), 1)
    first, last = np.minimum(columns[a], columns[b]), np.maximum(columns[a], columns[b])
    length = (last - first) * step_mm
    low, high = LENGTHS_MM if length_mm is None else (length_mm * 0.985 - 1.0, length_mm * 1.015 + 1.0)
    fits = (length > low) & (length < high)
    first, last = first[fits], last[fits]
    if not len(first):
        return []
    r = rows[:, None]
    side = [(down[r, c] - down[r - tall, c]) / tall for c in (first, last)]
    below = [(down[r + tall // 2, c] - down[r + 2, c]) / (tall // 2) for c in (first, last)]
    span = (last - first)[None, :]
    whole = np.maximum(over[r, last] - over[r, first], over[r - 1, last] - over[r - 1, first]) / span
    beyond = [
        (over[r, np.clip(c + s, 0, sides.shape[1])] - over[r, c]) / wide * s / wide
        for c, s in ((first, -wide), (last, wide))
    ]
    score = side[0] + side[1] + np.minimum(*side) + whole - 0.4 * (below[0] + below[1]) - 0.2 * (beyond[0] + beyond[1])
    near = max(1, round(0.7 * APART_MM / step_mm))
    out: list[tuple[int, int, int, float]] = []
    score = score.copy()
    for _ in range(LEADS):
        k, m = divmod(int(np.argmax(score)), len(first))
        if not np.isfinite(score[k, m]):
            break
        out.append((int(rows[k]), int(first[m]), int(last[m]), float(score[k, m])))
        same = (np.abs(first - first[m]) <= near) & (np.abs(last - last[m]) <= near)
        score[np.ix_(np.abs(rows - rows[k]) <= near, same)] = -np.inf
    return [[shape, *_mates(down, over, shape, step_mm)] for shape in out]


def _mates(
    down: Grid, over: Grid, shape: tuple[int, int, int, float], step_mm: float
) -> list[tuple[int, int, int, float]]:
    """Edges across the opening from a shape: of one opening each of two edges may be the lip.

    Such a shape is given with first and last column exchanged: its metal lies the other way.
    """
    row, first, last, _ = shape
    heights = np.arange(round(HEIGHTS_MM[0] / step_mm), round(HEIGHTS_MM[1] / step_mm))
    rows = row - heights
    heights, rows = heights[rows >= 0], rows[rows >= 0]
    if not len(rows):
        return []
    side = [(down[row, c] - down[rows, c]) / heights for c in (first, last)]
    span, end = last - first, max(2, round(0.25 * (last - first)))
    whole = (over[rows, last] - over[rows, first]) / span
    ends = [(over[rows, c + end] - over[rows, c]) / end for c in (first, last - end)]
    far = np.clip(rows - round(SIDE_MM / 2 / step_mm), 0, None)
    on = [(down[np.clip(rows - 2, 0, None), c] - down[far, c]) * step_mm / (SIDE_MM / 2) for c in (first, last)]
    score = side[0] + side[1] + np.minimum(*side) + 0.5 * (whole + np.maximum(*ends)) - 0.4 * (on[0] + on[1])
    out, near = [], max(1, round(0.7 * APART_MM / step_mm))
    for _ in range(MATES):
        k = int(np.argmax(score))
        if np.isfinite(score[k]):
            out.append((int(rows[k]), last, first, float(score[k])))
        score[np.abs(rows - rows[k]) <= near] = -np.inf
    return out


def _peaks(strength: Grid, apart: int) -> Array:
    """Places of the strongest peaks of a curve."""
    top = cv2.dilate(strength.reshape(-1, 1).astype(np.float32), np.ones((2 * apart + 1, 1), np.uint8)).ravel()
    places = np.flatnonzero((strength >= top) & (strength > 0.1))
    return np.asarray(np.sort(places[np.argsort(-strength[places])][:PEAKS]))
