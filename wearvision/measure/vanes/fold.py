"""How many vanes, how they are swept, and where they stand: every sweep and number tried on a polar map.

Each trial straightens the ring by one sweep, averages the light along what would be vanes (rust and stains drown,
edges along a vane stay), takes edges across, and adds them up a full turn over N. The number is that of the trial that
stands out most, in standard deviations of a sum of N. What the lamp does (shadows, bright flanks) keeps its direction
and does not add up.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import Chart
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array

Tried = tuple[tuple[float, float], ...]
"""Wraps, degrees, and sweeps."""
Maps = tuple[Grid, Grid]
"""Log grey by angle and radius, and what of it is seen."""
NUMBERS = tuple(range(3, 11))
"""Vane counts that are told apart."""
TWO = 2
"""Counted only when it is stated: any disc has something on two sides."""
WRAPS_DEG = tuple(float(w) for w in range(-96, 97, 6))
SWEEPS, STRAIGHT_DEG = (-0.25, 0.1, 0.45), 15.0
"""How the wrap may be spread over the radius; it makes no difference to a line as straight as this."""
TRIED = tuple((w, s) for w in WRAPS_DEG for s in SWEEPS if abs(w) > STRAIGHT_DEG or s == SWEEPS[1])
ROWS, COLUMNS, PARTS = 480, 24, 8
INNER = 0.42
"""Inner end of the ring looked at, share of the rim; hubs end before."""
QUIET, CAP = 0.03, 3.0
"""Step of log grey that is added to what is usual along a part of the ring; most that an edge counts for over that."""
CAP_SD = 3.0
LEAST_SEEN = 0.2
KEPT, UNLIKE_DEG = 6, 20.0
"""Trials that are bettered; those of one number differ by so much in wrap."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sweep:
    """One vane's line in polar form round a centre, the same for all: angle over radius.

    `angle_deg(r)` is `turn_deg + wrap_deg ((1 - sweep) u + sweep u^2)` with u from 0 at `inner_mm` to 1 at `outer_mm`;
    the others follow a full turn over `number` apart. Angles run from the plane's x axis towards its y axis
    (clockwise as seen).
    """

    centre_mm: Array
    inner_mm: float
    outer_mm: float
    wrap_deg: float
    sweep: float
    turn_deg: float
    number: int
    score: float

    def angle_deg(self, radius_mm: Array) -> Array:
        """Angle of vane 0 at some radii, also a little beyond both ends."""
        u = (np.asarray(radius_mm, dtype=np.float64) - self.inner_mm) / (self.outer_mm - self.inner_mm)
        return np.asarray(self.turn_deg + self.wrap_deg * ((1 - self.sweep) * u + self.sweep * u * u))


def polar_map(chart: Chart, centre_mm: Array, inner_mm: float, outer_mm: float) -> Maps:
    """Log grey (ROWS, COLUMNS) by angle and radius, and what is seen, 0 or 1."""
    angle = np.radians(np.arange(ROWS) * 360.0 / ROWS)[:, None]
    radius = inner_mm + (np.arange(COLUMNS) + 0.5) / COLUMNS * (outer_mm - inner_mm)
    at = (np.asarray(centre_mm) - chart.origin_mm) / chart.step_mm
    x = (at[0] + np.cos(angle) * radius / chart.step_mm).astype(np.float32)
    y = (at[1] + np.sin(angle) * radius / chart.step_mm).astype(np.float32)
    values = cv2.remap(chart.values, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    valid = chart.valid.astype(np.float32)
    seen = cv2.remap(valid, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    return np.asarray(values, dtype=np.float32), np.asarray(seen > 0.9, dtype=np.float32)


def find_sweeps(
    chart: Chart, centres_mm: list[Array], rim_mm: float, numbers: tuple[int | None, ...] = (None,)
) -> Iterator[Sweep]:
    """The trials that stand out most, unlike each other, best first: of any number, and of each that is asked for.

    They are bettered as they are asked for.

    Parameters
    ----------
    chart : map of the plane
    centres_mm : places where the vanes' centre may be; the best is bettered
    rim_mm : radius of the disc as it seems
    numbers : what is asked for; `None` is any
    """
    inner, outer = INNER * rim_mm, 0.97 * rim_mm
    tops: dict[int | None, list[tuple[Sweep, Maps]]] = {n: [] for n in numbers}
    for centre in centres_mm:
        maps = polar_map(chart, centre, inner, outer)
        if float(maps[1].mean()) < LEAST_SEEN:
            continue
        start = Sweep(
            centre_mm=centre, inner_mm=inner, outer_mm=outer, wrap_deg=0.0, sweep=0.0, turn_deg=0.0, number=0,
            score=-9.0,
        )  # fmt: skip
        folds = folded(*across(*maps, _all_turns()))
        for number in numbers:
            tops[number] += [(top, maps) for top in _told(start, TRIED, folds, number, 2)]
    kept = [
        top for number, some in tops.items()
        for top in sorted(some, key=lambda t: -t[0].score)[: KEPT if number is None else KEPT - 1]
    ]  # fmt: skip
    for top, maps in _once(sorted(kept, key=lambda t: -t[0].score)):
        yield _better(maps, top, top.number)


def _once(tops: list[tuple[Sweep, Maps]]) -> list[tuple[Sweep, Maps]]:
    """Without what was found twice: of any number, and of the one asked for."""
    kept: list[tuple[Sweep, Maps]] = []
    for one, maps in tops:
        same = (one.number, one.wrap_deg, one.sweep)
        if all(m is not maps or same != (k.number, k.wrap_deg, k.sweep) for k, m in kept):
            kept.append((one, maps))
    return kept


def _better(maps: Maps, best: Sweep, number: int | None) -> Sweep:
    """The sweep on finer steps."""
    for step in (1.0, 0.5):
        near = tuple(
            (best.wrap_deg + w * step, best.sweep + s * step) for w in (-4.0, 0.0, 4.0) for s in (-0.2, 0.0, 0.2)
        )
        best = max((best, *_scored(maps, best, near, number)), key=lambda t: t.score)
    return best


def _scored(maps: Maps, start: Sweep, tried: Tried, number: int | None) -> list[Sweep]:
    return _told(start, tried, folded(*across(*maps, _turns(tried))), number, 1)


def _told(
    start: Sweep, tried: Tried, folds: tuple[Array, Array, NDArray[np.int64]], number: int | None, most: int
) -> list[Sweep]:
    """The best few of some (wrap, sweep), each with the best number and turn for it, unlike in number or in wrap."""
    z, turn, count = folds
    z = np.where(count != TWO if number is None else count == number, z, -9.0)
    best, kept = np.argmax(z, axis=1), list[Sweep]()
    score = z[np.arange(len(z)), best]
    for i in np.argsort(-score, kind="stable").tolist():
        (wrap, sweep), j = tried[i], int(best[i])
        if all(int(count[j]) != k.number or abs(wrap - k.wrap_deg) > UNLIKE_DEG for k in kept):
            kept.append(replace(
                start, wrap_deg=wrap, sweep=sweep, score=float(score[i]), turn_deg=float(turn[j]), number=int(count[j])
            ))  # fmt: skip
        if len(kept) == most:
            break
    return kept


def across(values: Grid, seen: Grid, turns: NDArray[np.int64]) -> Maps:
    """Edge across vanes of some sweeps by the angle at the inner end (T, ROWS), and how much of it is seen.

    `turns` is by how many rows each column of the map is turned back for each of them (`_turns`).
    """
    level, share = (np.empty((len(turns), ROWS), dtype=np.float32) for _ in range(2))
    _across(np.ascontiguousarray(values.T), np.ascontiguousarray(seen.T), turns, level, share)
    return level, share


@compiled
def _across(values: Grid, seen: Grid, turns: NDArray[np.int64], level: Grid, share: Grid) -> None:
    """`across` on the map with its rows and columns swapped."""
    columns = len(values) // PARTS
    light, known, edge = np.empty(ROWS, dtype=np.float32), np.empty(ROWS, dtype=np.float32), np.empty(ROWS)
    for t in range(len(turns)):
        level[t], share[t] = 0.0, 0.0
        for part in range(PARTS):
            light[:], known[:] = 0.0, 1.0
            for c in range(part * columns, (part + 1) * columns):
                _add_turned(values[c], seen[c], turns[t, c], light, known)
            total, count = 0.0, 0.0
            for i in range(ROWS):
                after, before = i + 2 if i + 2 < ROWS else i + 2 - ROWS, i - 2 if i >= 2 else i - 2 + ROWS
                edge[i] = abs(light[after] - light[before]) * known[i]
                total, count = total + edge[i], count + known[i]
            usual = total / max(count, 1.0) + QUIET
            for i in range(ROWS):
                level[t, i] += min(edge[i] / usual, CAP)
                share[t, i] += known[i]
        for i in range(ROWS):
            level[t, i] /= max(share[t, i], 1.0)
            share[t, i] /= PARTS


@compiled
def _add_turned(values: Grid, seen: Grid, turn: int, light: Grid, known: Grid) -> None:
    """Add a column of the map, turned back, to others; what one of them does not see is not known."""
    for i in range(ROWS - turn):
        light[i] += values[i + turn]
        known[i] = min(known[i], seen[i + turn])
    for i in range(ROWS - turn, ROWS):
        light[i] += values[i + turn - ROWS]
        known[i] = min(known[i], seen[i + turn - ROWS])


@cache
def _all_turns() -> NDArray[np.int64]:
    return _turns(TRIED)


def _turns(tried: Tried) -> NDArray[np.int64]:
    """Rows (T, COLUMNS) by which each column of a polar map is turned back to straighten some sweeps."""
    u = (np.arange(COLUMNS) + 0.5) / COLUMNS
    wrap, sweep = np.array(tried).T[:, :, None]
    return np.asarray(np.rint(wrap * ((1 - sweep) * u + sweep * u * u) * ROWS / 360.0).astype(np.int64) % ROWS)


@cache
def _places() -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First row and number of each run of rows a full turn over N apart."""
    first = [np.arange(-(-ROWS // n)) for n in (TWO, *NUMBERS)]
    number = [np.full(len(rows), n) for rows, n in zip(first, (TWO, *NUMBERS), strict=True)]
    return np.concatenate(first), np.concatenate(number)


def folded(line: Grid, known: Grid) -> tuple[Array, Array, NDArray[np.int64]]:
    """How far each sum of places a full turn over N apart stands out (T, P), and for each sum its angle and its N."""
    whole = known.sum(axis=1, keepdims=True) + 1e-9
    mean = (line * known).sum(axis=1, keepdims=True) / whole
    sd = np.sqrt((known * (line - mean) ** 2).sum(axis=1, keepdims=True) / whole) + 1e-6
    value = known * (np.minimum(line, mean + CAP_SD * sd) - mean) / sd
    first, number = _places()
    total, weight = np.zeros((2, len(first), len(line)))
    _fold(np.ascontiguousarray(value.T), first, number, total)
    _fold(np.ascontiguousarray(known.T), first, number, weight)
    return (total / np.sqrt(np.maximum(weight, 0.5))).T, first * 360.0 / ROWS, number


@compiled
def _fold(value: Grid, first: NDArray[np.int64], number: NDArray[np.int64], total: Array) -> None:
    """Sums (P, T) of rows of a table (ROWS, T) that lie a full turn over N apart."""
    for p in range(len(first)):
        for i in range(number[p]):
            row = (first[p] + int(np.rint(i * ROWS / number[p]))) % ROWS
            for t in range(total.shape[1]):
                total[p, t] += value[row, t]
