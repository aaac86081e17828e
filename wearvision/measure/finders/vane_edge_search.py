"""Where in the picture the end of a vane may stand: two flanks and a top over a bar that runs on to both sides.

Looked for in a small map of the plane, by the mean slope along five straight pieces: the bar's edge left and right of
the foot, both flanks, the top. Means keep edges and wipe out rust and grain. No tone is asked of metal or background.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from wearvision.measure.chart import Chart
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array

STEP_MM = 0.55
"""About the step of the map that is searched."""
REACH_MM = 60.0
"""How far beyond the card a vane is looked for."""
LEANS_DEG = (-8.0, 0.0, 8.0)
"""Directions tried about each of the card's four."""
SHOULDER_MM, FLANK_MM, FILLET_MM = 4.0, 3.2, 0.7
"""Length of the bar's edge and of the flank that must show, and what of the foot is left out."""
THICKNESS_MM, HEIGHT_MM = (2.4, 12.0), (3.0, 17.0)
"""Where no drawing size is stated."""
THICKNESS_SHARE, HEIGHT_LESS_MM, HEIGHT_MORE_MM = (0.85, 1.06), 4.0, 0.6
"""What a stated size leaves open: worn flanks, worn height, rough drawing."""
FLOOR, CAP = 0.015, 0.15
"""Slope, log grey per step, below which an edge is none, and above which it tells no more."""
FAR_MM, BEYOND = 8.0, 0.6
"""How far the bar's edge runs on, most often, and how much that counts."""
INSIDE, FLIPPED = 0.5, 0.8
"""What an edge between vane and bar costs, and a flank that differs from the background the other way round."""
KEPT, APART_MM = 4, 4.0
"""Places handed on, and how far they lie apart."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Place:
    """A place where a vane may stand: middle of its foot, directions along the bar and up (plane), sizes and worth."""

    base_mm: Array
    along: Array
    up: Array
    wide_mm: float
    high_mm: float
    worth: float


@dataclass(frozen=True, kw_only=True)
class Sizes:
    """Thickness and height, from and to, mm; and those of a new vane, where stated."""

    wide_mm: tuple[float, float]
    high_mm: tuple[float, float]
    new_wide_mm: float | None = None
    new_high_mm: float | None = None


def sizes_of(height_mm: float | None, thickness_mm: float | None) -> Sizes:
    """What to look for with these stated sizes of a new vane."""
    wide, high = THICKNESS_MM, HEIGHT_MM
    if thickness_mm:
        wide = (THICKNESS_SHARE[0] * thickness_mm - 0.3, THICKNESS_SHARE[1] * thickness_mm + 0.3)
    if height_mm:
        high = (max(2.5, height_mm - HEIGHT_LESS_MM), height_mm + HEIGHT_MORE_MM)
    return Sizes(wide_mm=wide, high_mm=high, new_wide_mm=thickness_mm or None, new_high_mm=height_mm or None)


def places(chart: Chart, card_mm: Array, sizes: Sizes) -> list[Place]:
    """The most telling places near a card (outline, plane), best first."""
    small = _coarser(_near(chart, card_mm))
    found: list[Place] = []
    for quarter in range(4):
        for lean in LEANS_DEG:
            found += _turned(small, np.radians(90.0 * quarter + lean), sizes)
    kept: list[Place] = []
    for place in sorted(found, key=lambda p: -p.worth):
        middle = place.base_mm + place.up * place.high_mm / 2
        if all(np.hypot(*(middle - k.base_mm - k.up * k.high_mm / 2)) > APART_MM for k in kept):
            kept.append(place)
        if len(kept) == KEPT:
            break
    return kept


def _near(chart: Chart, card_mm: Array) -> Chart:
    """The part of the map round the card."""
    low, high = card_mm.min(axis=0) - REACH_MM, card_mm.max(axis=0) + REACH_MM
    x0, y0 = np.clip(np.floor((low - chart.origin_mm) / chart.step_mm).astype(int), 0, None)
    x1, y1 = np.ceil((high - chart.origin_mm) / chart.step_mm).astype(int)
    return Chart(
        values=chart.values[y0:y1, x0:x1], valid=chart.valid[y0:y1, x0:x1], step_mm=chart.step_mm,
        origin_mm=chart.origin_mm + np.array([x0, y0]) * chart.step_mm,
    )  # fmt: skip


def _coarser(chart: Chart) -> Chart:
    shrink = max(1, round(STEP_MM / chart.step_mm))
    if shrink == 1:
        return chart
    rows, columns = (n // shrink for n in chart.values.shape)
    cut = chart.values[: rows * shrink, : columns * shrink], chart.valid[: rows * shrink, : columns * shrink]
    values = cv2.resize(cut[0], (columns, rows), interpolation=cv2.INTER_AREA)
    valid = cv2.resize(cut[1].astype(np.uint8), (columns, rows), interpolation=cv2.INTER_NEAREST) > 0
    return Chart(
        values=np.asarray(values, dtype=np.float32), valid=valid, step_mm=chart.step_mm * shrink,
        origin_mm=chart.origin_mm + (shrink - 1) / 2 * chart.step_mm,
    )  # fmt: skip


def _turned(chart: Chart, turn: float, sizes: Sizes) -> list[Place]:
    """Best places with the vane pointing to a direction (0: towards -y of the plane)."""
    along, up = np.array([np.cos(turn), np.sin(turn)]), np.array([np.sin(turn), -np.cos(turn)])
    rows, columns = chart.values.shape
    wide, high = (int(np.ceil(abs(columns * v[0]) + abs(rows * v[1]))) for v in (along, up))
    middle = np.array([(columns - 1) / 2, (rows - 1) / 2])
    start = middle - along * (wide - 1) / 2 + up * (high - 1) / 2
    matrix = np.column_stack([along, -up, start])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    values = cv2.warpAffine(chart.values, matrix, (wide, high), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    valid = cv2.warpAffine(chart.valid.astype(np.uint8), matrix, (wide, high), flags=flags)
    out = []
    for x, y, t, h, worth in _stubs(np.asarray(values, dtype=np.float32), valid > 0, chart.step_mm, sizes):
        at = start + along * (x + t / 2) - up * y
        out.append(Place(
            base_mm=chart.origin_mm + at * chart.step_mm, along=along, up=up, wide_mm=t * chart.step_mm,
            high_mm=h * chart.step_mm, worth=worth,
        ))  # fmt: skip
    return out


def _stubs(values: Grid, valid: np.ndarray, step: float, sizes: Sizes) -> list[tuple[int, int, int, int, float]]:
    """Left foot's column and row, thickness and height in steps, worth; the best few."""
    soft = cv2.GaussianBlur(values, (0, 0), 0.7)
    gx = np.where(valid, cv2.Sobel(soft, cv2.CV_32F, 1, 0, ksize=1) / 2, 0).astype(np.float32)
    gy = np.where(valid, cv2.Sobel(soft, cv2.CV_32F, 0, 1, ksize=1) / 2, 0).astype(np.float32)
    flank, skip, shoulder = (max(2, round(v / step)) for v in (FLANK_MM, FILLET_MM, SHOULDER_MM))
    flanks = _mean(gx, (1, flank), (0, -skip - flank + 1))
    bars = [_mean(gy, (shoulder, 1), (-shoulder, 0)), _mean(gy, (shoulder, 1), (1, 0))]
    far = round(FAR_MM / step)
    beyond = [_mean(gy, (far, 1), (-shoulder - far, 0)), _mean(gy, (far, 1), (shoulder + 1, 0))]
    low, high = (round(v / step) for v in sizes.high_mm)
    least, most = max(3, int(sizes.wide_mm[0] / step)), int(np.ceil(sizes.wide_mm[1] / step))
    thick = range(least, most + 1, 1 if most - least < 6 else 2)
    flats = {t: _mean(gy, (inner := max(2, round(0.7 * t)), 1), ((t - inner) // 2, 0)) for t in thick}
    any_sign = [_log(_loose(np.abs(flanks), (3, 1)))] * 2
    out = []
    for sign in (1.0, -1.0):
        left, right = (_log(_loose(sign * way * flanks, (3, 1))) for way in (1, -1))
        feet = [
            _log(_loose(sign * bar, (1, 3))) + BEYOND * _log(_loose(sign * further, (1, 5)))
            for bar, further in zip(bars, beyond, strict=True)
        ]
        for t in thick:
            score = _log(_above(sign * flats[t], low, high)) - INSIDE * _log(_loose(np.abs(flats[t]), (1, 3)))
            score[:, :-t] += feet[0][:, :-t] + feet[1][:, t:]
            score[:, :-t] += cv2.max(
                cv2.max(left[:, :-t] + right[:, t:], any_sign[0][:, :-t] + any_sign[1][:, t:] - 2 * FLIPPED),
                cv2.max(left[:, :-t] + any_sign[1][:, t:], any_sign[0][:, :-t] + right[:, t:]) - FLIPPED,
            )
            score[:, -t:] = -np.inf
            y, x = divmod(int(np.argmax(score)), score.shape[1])
            column = sign * flats[t][max(0, y - high) : max(1, y - low + 1), x]
            if len(column):
                top = y - max(0, y - high) - int(np.argmax(column))
                out.append((x, y, t, top, float(score[y, x])))
    return sorted(out, key=lambda s: -s[4])[:4]


def _mean(values: Grid, size: tuple[int, int], offset: tuple[int, int]) -> Grid:
    """Mean over a box of `size` (columns, rows) whose first column and row lie `offset` from each pixel."""
    reach = max(abs(offset[k]) + size[k] for k in (0, 1)) + 1
    padded = cv2.copyMakeBorder(values, reach, reach, reach, reach, cv2.BORDER_CONSTANT, value=0)
    out = cv2.blur(padded, size)
    dx, dy = (reach + size[k] // 2 + offset[k] for k in (0, 1))
    return np.asarray(out[dy : dy + values.shape[0], dx : dx + values.shape[1]])


def _log(values: Grid) -> Grid:
    return np.asarray(cv2.log(np.clip(values, 0, CAP) + np.float32(FLOOR)), dtype=np.float32)


def _loose(values: Grid, size: tuple[int, int]) -> Grid:
    """Greatest value near by, over (columns, rows)."""
    return np.asarray(cv2.dilate(values, np.ones((size[1], size[0]), np.uint8)))


def _above(values: Grid, low: int, high: int) -> Grid:
    """Greatest value `low` to `high` rows above each pixel."""
    count = high - low + 1
    padded = cv2.copyMakeBorder(values, high, 0, 0, 0, cv2.BORDER_CONSTANT, value=0)
    kernel = np.ones((count, 1), np.uint8)
    best = cv2.dilate(padded, kernel, anchor=(0, 0), borderType=cv2.BORDER_CONSTANT, borderValue=0)
    return np.asarray(best[: values.shape[0]])
