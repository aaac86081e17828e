"""Where in the picture the end of a vane may stand: two flanks and a top over a bar that runs on to both sides.

Looked for in a small map of the plane, by the mean slope along five straight pieces: the bar's edge left and right of
the foot, both flanks, the top. Means keep edges and wipe out rust and grain. No tone is asked of metal or background.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import Chart
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.finders.vane_edge_views import BEYOND, CAP, FLOOR, View, views, worth_of
from wearvision.measure.plane import Array

Whole = NDArray[np.int64]
STEP_MM = 0.8
"""About the step of the map that is searched."""
REACH_MM = 60.0
"""How far beyond the card a vane is looked for."""
LEANS_DEG = (-8.0, 0.0, 8.0)
"""Directions tried about each of the card's four."""
THICKNESS_MM, HEIGHT_MM = (2.4, 12.0), (3.0, 17.0)
"""Where no drawing size is stated."""
THICKNESS_SHARE, HEIGHT_LESS_MM, HEIGHT_MORE_MM = (0.85, 1.06), 4.0, 0.6
"""What a stated size leaves open: worn flanks, worn height, rough drawing."""
INSIDE, FLIPPED = 0.5, 0.8
"""What an edge between vane and bar costs, and a flank that differs from the background the other way round."""
LEAST_FOOT = float(2 * (2 + BEYOND) * np.log(2 * FLOOR))
"""How well bar and flanks must show beside a foot at least."""
TOP_MOST = float(np.log(CAP + FLOOR) - INSIDE * np.log(FLOOR))
"""What a top can add to that at most."""
KEPT, WORSE, APART_MM = 8, 3.0, 4.0
"""Most places handed on, how much less one may be worth than the best, and how far they lie apart."""
FLAT = 0.7
"""Share of the top that is straight."""
FEET, STANDING, A_TURN = 800, 250, 4
"""In each direction: feet looked at, feet with a thickness whose top is looked for, places handed on."""


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
    found, kept, least = list[Place](), list[Place](), -np.inf
    for view in (view for lean in LEANS_DEG for view in views(small, np.radians(lean))):
        found += _stubs(view, sizes, least)
        least = max((place.worth - WORSE for place in found), default=least)
    for place in sorted(found, key=lambda p: -p.worth):
        if len(kept) == KEPT or (kept and place.worth < kept[0].worth - WORSE):
            break
        if not any(_same(place, other) for other in kept):
            kept.append(place)
    return kept


def _same(one: Place, two: Place) -> bool:
    """Whether two places are about one vane, the same way up."""
    gap = one.base_mm + one.up * one.high_mm / 2 - two.base_mm - two.up * two.high_mm / 2
    return float(one.up @ two.up) > 0.5 and float(np.hypot(*gap)) < APART_MM


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
    """The map at about the step that is searched."""
    shrink = STEP_MM / chart.step_mm
    rows, columns = (max(8, round(n / shrink)) for n in chart.values.shape)
    if shrink < 1.2:
        return chart
    values = cv2.resize(chart.values, (columns, rows), interpolation=cv2.INTER_AREA)
    valid = cv2.resize(chart.valid.astype(np.uint8), (columns, rows), interpolation=cv2.INTER_NEAREST) > 0
    step = chart.step_mm * chart.values.shape[1] / columns
    return Chart(
        values=np.asarray(values, dtype=np.float32), valid=valid, step_mm=step,
        origin_mm=chart.origin_mm + (step - chart.step_mm) / 2,
    )  # fmt: skip


def _stubs(view: View, sizes: Sizes, least: float) -> list[Place]:
    """The best few vanes of more than a least worth that stand upright in a view."""
    step, sides = view.step_mm, view.standing
    thick, tall = _steps(sizes.wide_mm, step), _steps(sizes.high_mm, step)
    found: list[Array] = []
    for sign, bars, flanks in ((1.0, view.bars[:2], sides), (-1.0, view.bars[2:], sides[::-1].copy())):
        at, shows = _feet(bars, flanks, thick, LEAST_FOOT)
        y, x = np.divmod(at[_largest(shows, FEET)], view.down.shape[1])
        score = _standing(bars, flanks, y, x, thick)
        i, k = np.divmod(_largest(score, STANDING), len(thick))
        keep = score[i, k] > least - TOP_MOST
        i, k = i[keep], k[keep]
        high, over, foot = _tops(view.down, sign, y[i], x[i], thick[k], tall)
        worth = score[i, k] + worth_of(over) - INSIDE * worth_of(foot)
        found.append(np.column_stack([x[i], y[i], thick[k], high, worth]))
    return [
        Place(
            base_mm=view.start_mm + step * (view.along * (x + t / 2) - view.up * y), along=view.along, up=view.up,
            wide_mm=t * step, high_mm=h * step, worth=worth,
        ) for x, y, t, h, worth in _apart(np.vstack(found), APART_MM / step)
    ]  # fmt: skip


def _steps(span_mm: tuple[float, float], step: float) -> Whole:
    return np.arange(max(2, int(span_mm[0] / step)), int(np.ceil(span_mm[1] / step)) + 1)


def _largest(values: Grid, count: int) -> Whole:
    """Flat places of the largest values, in no order."""
    flat = values.ravel()
    return np.argpartition(-flat, count)[:count] if len(flat) > count else np.arange(len(flat))


def _apart(found: Array, gap: float) -> list[Array]:
    """The best few (x, y, thickness, height, worth) whose middles lie apart, in steps."""
    kept: list[Array] = []
    while len(found) and len(kept) < A_TURN:
        best = found[int(np.argmax(found[:, 4]))]
        kept.append(best)
        middle = found[:, :2] + found[:, 2:4] * [0.5, -0.5]
        found = found[np.hypot(*(middle - best[:2] - best[2:4] * [0.5, -0.5]).T) > gap]
    return kept


@compiled
def _feet(bars: Grid, flanks: Grid, thick: Whole, least: float) -> tuple[Whole, Grid]:
    """Left feet, flat places (N,), and how well bar and flanks show there: over a least, and best of three rows."""
    low, high = thick[0], thick[-1]
    rows, columns = bars.shape[1:]
    both = np.full((rows + 2, columns), np.float32(-np.inf))
    for y in range(rows):
        flank = np.maximum(flanks[0, y], flanks[1, y])
        level, second = np.full(columns, np.float32(-np.inf)), np.full(columns, np.float32(-np.inf))
        for t in range(low, high + 1):
            _raise(second, flank[t:])
        for t in (low, (low + high) // 2, high):
            _raise(level, bars[1, y, t:])
        for x in range(columns - low):
            both[y + 1, x] = bars[0, y, x] + level[x] + flank[x] + second[x]
    return _peaks(both, least)


@compiled
def _raise(values: Grid, others: Grid) -> None:
    """The greater of both, place by place, as far as there are others."""
    for x in range(len(others)):
        values[x] = others[x] if others[x] > values[x] else values[x]


@compiled
def _peaks(both: Grid, least: float) -> tuple[Whole, Grid]:
    """Places and values of what is over a least and no less than above and below; the first and last row are none."""
    rows, columns = both.shape
    at, value, count = np.empty(rows * columns, np.int64), np.empty(rows * columns, np.float32), 0
    for y in range(1, rows - 1):
        for x in range(columns):
            if both[y, x] > least and both[y, x] >= both[y - 1, x] and both[y, x] >= both[y + 1, x]:
                at[count], value[count] = (y - 1) * columns + x, both[y, x]
                count += 1
    return at[:count], value[:count]


@compiled
def _standing(bars: Grid, flanks: Grid, y: Whole, x: Whole, thick: Whole) -> Grid:
    """How well bar and flanks show (N, T) at feet (N,), by thickness; a flank that differs from the background the
    other way round costs."""
    last, flipped = flanks.shape[2] - 1, np.float32(FLIPPED)
    out = np.empty((len(y), len(thick)), np.float32)
    for i in range(len(y)):
        row, at = y[i], x[i]
        one = bars[0, row, at] + max(flanks[0, row, at], flanks[1, row, at] - flipped)
        for k in range(len(thick)):
            end = min(at + thick[k], last)
            out[i, k] = one + bars[1, row, end] + max(flanks[1, row, end], flanks[0, row, end] - flipped)
    return out


@compiled
def _tops(down: Grid, sign: float, y: Whole, x: Whole, thick: Whole, tall: Whole) -> tuple[Whole, Grid, Grid]:
    """Height (N,) at which the top shows best, its mean slope there, and that between the feet."""
    high, over, foot = np.empty_like(y), np.empty(len(y), np.float32), np.zeros(len(y), np.float32)
    for i in range(len(y)):
        inner = max(2, int(np.rint(FLAT * thick[i])))
        first = x[i] + (thick[i] - inner) // 2
        over[i] = -np.inf
        for t in tall:
            flat = np.float32(sign) * _flat(down, y[i] - t, first, inner)
            if flat > over[i]:
                high[i], over[i] = t, flat
        for row in range(y[i] - 1, y[i] + 2):
            foot[i] = max(foot[i], abs(_flat(down, row, first, inner)))
    return high, over, foot


@compiled
def _flat(down: Grid, row: int, first: int, count: int) -> float:
    """Mean of so many columns of a row; nothing beyond the map."""
    total = np.float32(0)
    if 0 <= row < down.shape[0]:
        for x in range(first, min(first + count, down.shape[1])):
            total += down[row, x]
    return float(total) / count
