"""Where in the picture the end of a vane may stand: two flanks and a top over a bar that runs on to both sides.

Looked for in a small map of the plane, by the mean slope along five straight pieces: the bar's edge left and right of
the foot, both flanks, the top. Means keep edges and wipe out rust and grain. No tone is asked of metal or background.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import Chart
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array

Whole = NDArray[np.int64]
STEP_MM = 0.8
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
KEPT, WORSE, APART_MM = 8, 2.3, 4.0
"""Most places handed on, how much less one may be worth than the best, and how far they lie apart."""
SOFT, FLAT = 0.7, 0.7
"""Blur before slopes, steps; share of the top that is straight."""
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
    found = [place for lean in LEANS_DEG for view in _views(small, np.radians(lean)) for place in _stubs(view, sizes)]
    kept: list[Place] = []
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


@dataclass(frozen=True, kw_only=True, eq=False)
class _View:
    """The map turned so that a vane would stand upright: slopes across and down, plane mm of (0, 0), directions."""

    across: Grid
    down: Grid
    start_mm: Array
    along: Array
    up: Array
    step_mm: float


def _views(chart: Chart, lean: float) -> Iterator[_View]:
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
    across, down = (
        np.where(valid, cv2.Sobel(soft, cv2.CV_32F, dx, 1 - dx, ksize=1) / 2, 0).astype(np.float32) for dx in (1, 0)
    )
    start_mm = chart.origin_mm + start * chart.step_mm
    for _ in range(4):
        yield _View(across=across, down=down, start_mm=start_mm, along=along, up=up, step_mm=chart.step_mm)
        start_mm = start_mm + along * (across.shape[1] - 1) * chart.step_mm
        across, down = np.ascontiguousarray(np.rot90(down)), -np.rot90(across)
        along, up = -up, along


def _stubs(view: _View, sizes: Sizes) -> list[Place]:
    """The best few vanes that stand upright in a view."""
    step, columns = view.step_mm, view.across.shape[1]
    thick, tall = _steps(sizes.wide_mm, step), _steps(sizes.high_mm, step)
    sides = _sides(view)
    total = np.cumsum(np.pad(view.down, ((0, 0), (1, int(thick[-1])))), axis=1, dtype=np.float32)
    found: list[Array] = []
    for sign, left, right in _bars(view):
        y, x, score = _feet(left, right, sides, thick)
        ends = np.minimum(x[:, None] + thick, columns - 1)
        score = score + _flanks(sides, sign, y, x, ends)
        i, k = np.unravel_index(_largest(score, STANDING), score.shape)
        high, worth = _tops(sign * total, y[i], x[i], thick[k], tall)
        found.append(np.column_stack([x[i], y[i], thick[k], high, score[i, k] + worth]))
    return [
        Place(
            base_mm=view.start_mm + step * (view.along * (x + t / 2) - view.up * y), along=view.along, up=view.up,
            wide_mm=t * step, high_mm=h * step, worth=worth,
        ) for x, y, t, h, worth in _apart(np.vstack(found), APART_MM / step)
    ]  # fmt: skip


def _steps(span_mm: tuple[float, float], step: float) -> Whole:
    return np.arange(max(2, int(span_mm[0] / step)), int(np.ceil(span_mm[1] / step)) + 1)


def _bars(view: _View) -> list[tuple[float, Grid, Grid]]:
    """For both signs: how well the bar's edge shows to the left and to the right of each pixel."""
    near, far = (max(2, round(v / view.step_mm)) for v in (SHOULDER_MM, FAR_MM))
    pad, columns = near + far + 1, view.down.shape[1]
    wide = cv2.copyMakeBorder(view.down, 0, 0, pad, 2 * pad, cv2.BORDER_CONSTANT, value=0)
    means = [cv2.blur(wide, (size, 1), anchor=(0, 0)) for size in (near, far)]
    out = []
    for sign in (1.0, -1.0):
        close, beyond = (_log(_loose(sign * mean, (1, most))) for mean, most in zip(means, (3, 5), strict=True))
        sides = []
        for first, further in ((pad - near, pad - near - far), (pad + 1, pad + 1 + near)):
            sides.append(close[:, first : first + columns] + BEYOND * beyond[:, further : further + columns])
        out.append((sign, sides[0], sides[1]))
    return out


def _feet(left: Grid, right: Grid, sides: tuple[Grid, Grid], thick: Whole) -> tuple[Whole, Whole, Grid]:
    """Row and column (N,) of left feet where bar and flanks show best; how well the bar does, (N, T) by thickness."""
    low, high = int(thick[0]), int(thick[-1])
    flank = _log(np.maximum(sides[0], -sides[1]))
    second = cv2.dilate(flank, np.ones((1, high - low + 1), np.uint8), anchor=(0, 0))
    both = np.full_like(left, -np.inf)
    for t in {low, (low + high) // 2, high}:
        np.maximum(both[:, :-t], left[:, :-t] + right[:, t:], out=both[:, :-t])
    both[:, :-low] += flank[:, :-low] + second[:, low:]
    peaks = np.flatnonzero((both >= _loose(both, (1, 3))) & (both > 2 * (2 + BEYOND) * np.log(2 * FLOOR)))
    y, x = np.divmod(peaks[_largest(both.ravel()[peaks], FEET)], left.shape[1])
    return y, x, left[y, x][:, None] + right[y[:, None], np.minimum(x[:, None] + thick, left.shape[1] - 1)]


def _sides(view: _View) -> tuple[Grid, Grid]:
    """Greatest and least mean slope across a flank that begins over each pixel."""
    flank, skip = (max(2, round(v / view.step_mm)) for v in (FLANK_MM, FILLET_MM))
    mean = _mean(view.across, (1, flank), (0, -skip - flank + 1))
    return _loose(mean, (3, 1)), -_loose(-mean, (3, 1))


def _flanks(sides: tuple[Grid, Grid], sign: float, y: Whole, x: Whole,
            ends: Whole) -> Grid:  # fmt: skip
    """How well both flanks show, (N, T); one that differs from the background the other way round costs."""
    most, least = sides if sign > 0 else (-sides[1], -sides[0])
    left, right = _log(most[y, x])[:, None], _log(-least[y[:, None], ends])
    other_left = np.maximum(left, _log(-least[y, x])[:, None] - FLIPPED)
    return np.asarray(other_left + np.maximum(right, _log(most[y[:, None], ends]) - FLIPPED))


def _tops(total: Grid, y: Whole, x: Whole, thick: Whole,
          tall: Whole) -> tuple[Whole, Grid]:  # fmt: skip
    """Height (N,) at which the top shows best, and how well; `total` sums slopes down along rows."""
    inner = np.maximum(2, np.round(FLAT * thick).astype(int))
    first = x + (thick - inner) // 2

    def mean(rows: Whole) -> Grid:
        inside = np.clip(rows, 0, total.shape[0] - 1)
        flat = (total[inside, (first + inner)[:, None]] - total[inside, first[:, None]]) / inner[:, None]
        return np.where(inside == rows, flat, 0).astype(np.float32)

    over = mean(y[:, None] - tall)
    foot = np.abs(mean(y[:, None] + np.arange(-1, 2))).max(axis=1)
    return tall[np.argmax(over, axis=1)], np.asarray(_log(over.max(axis=1)) - INSIDE * _log(foot))


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


def _mean(values: Grid, size: tuple[int, int], offset: tuple[int, int]) -> Grid:
    """Mean over a box of `size` (columns, rows) whose first column and row lie `offset` from each pixel."""
    reach = max(abs(offset[k]) + size[k] for k in (0, 1)) + 1
    padded = cv2.copyMakeBorder(values, reach, reach, reach, reach, cv2.BORDER_CONSTANT, value=0)
    out = cv2.blur(padded, size)
    dx, dy = (reach + size[k] // 2 + offset[k] for k in (0, 1))
    return np.asarray(out[dy : dy + values.shape[0], dx : dx + values.shape[1]])


def _log(values: Grid) -> Grid:
    return np.asarray(np.log(np.clip(values, 0, CAP) + np.float32(FLOOR)), dtype=np.float32)


def _loose(values: Grid, size: tuple[int, int]) -> Grid:
    """Greatest value near by, over (columns, rows)."""
    return np.asarray(cv2.dilate(values, np.ones((size[1], size[0]), np.uint8)))
