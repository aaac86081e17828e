"""How many vanes, how they are swept, and where they stand: every sweep and number tried on a polar map.

Each trial straightens the ring by one sweep, averages the light along what would be vanes (rust and stains drown,
edges along a vane stay), takes edges across, and adds them up a full turn over N. The number is that of the trial that
stands out most, in standard deviations of a sum of N. What the lamp does (shadows, bright flanks) keeps its direction
and does not add up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import cv2
import numpy as np

from wearvision.measure.chart import Chart
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array

NUMBERS = tuple(range(3, 11))
"""Vane counts that are told apart."""
TWO = 2
"""Counted only when it is stated: any disc has something on two sides."""
WRAPS_DEG = tuple(float(w) for w in range(-96, 97, 6))
SWEEPS = (-0.25, 0.1, 0.45)
ROWS, COLUMNS, PARTS = 480, 24, 8
INNER = 0.42
"""Inner end of the ring looked at, share of the rim; hubs end before."""
CAP_SD = 3.0
LEAST_SEEN = 0.2
KEPT = 6


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


def polar_map(chart: Chart, centre_mm: Array, inner_mm: float, outer_mm: float) -> tuple[Grid, Grid]:
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


def find_sweeps(chart: Chart, centres_mm: list[Array], rim_mm: float, number: int | None = None) -> list[Sweep]:
    """The trials that stand out most, unlike each other, best first; of one number when it is given.

    Parameters
    ----------
    chart : map of the plane
    centres_mm : places where the vanes' centre may be; the best is bettered
    rim_mm : radius of the disc as it seems
    """
    inner, outer = INNER * rim_mm, 0.97 * rim_mm
    tops: list[Sweep] = []
    for centre in centres_mm:
        start = Sweep(
            centre_mm=centre, inner_mm=inner, outer_mm=outer, wrap_deg=0.0, sweep=0.0, turn_deg=0.0, number=0,
            score=-9.0,
        )  # fmt: skip
        maps = polar_map(chart, centre, inner, outer)
        if float(maps[1].mean()) < LEAST_SEEN:
            continue
        trials = [replace(start, wrap_deg=w, sweep=s) for w in WRAPS_DEG for s in SWEEPS]
        scored = sorted((_scored(maps, t, number) for t in trials), key=lambda t: -t.score)
        tops += _unlike(scored, 2)
    tops = sorted(tops, key=lambda t: -t.score)[:KEPT]
    return sorted((_better(chart, top, number) for top in tops), key=lambda t: -t.score)


def _unlike(ranked: list[Sweep], count: int) -> list[Sweep]:
    """The first few that differ in number or clearly in wrap."""
    kept: list[Sweep] = []
    for one in ranked:
        if all(one.number != k.number or abs(one.wrap_deg - k.wrap_deg) > 20 for k in kept):
            kept.append(one)
        if len(kept) == count:
            break
    return kept


def _better(chart: Chart, best: Sweep, number: int | None) -> Sweep:
    """The sweep on finer steps."""
    maps = polar_map(chart, best.centre_mm, best.inner_mm, best.outer_mm)
    for step in (1.0, 0.5):
        start = best
        for dw, ds in [(w * step, s * step) for w in (-4.0, 0.0, 4.0) for s in (-0.2, 0.0, 0.2)]:
            trial = _scored(maps, replace(start, wrap_deg=start.wrap_deg + dw, sweep=start.sweep + ds), number)
            best = trial if trial.score > best.score else best
    return best


def _scored(maps: tuple[Grid, Grid], trial: Sweep, number: int | None) -> Sweep:
    line, known = across(*maps, trial.wrap_deg, trial.sweep)
    score, turn, n = folded(line, known, number)
    return replace(trial, score=score, turn_deg=turn, number=n)


def across(values: Grid, seen: Grid, wrap_deg: float, sweep: float) -> tuple[Grid, Grid]:
    """Edge across vanes of one sweep by the angle at the inner end (ROWS,), and how much of it is seen."""
    u = (np.arange(COLUMNS) + 0.5) / COLUMNS
    shift = np.rint(wrap_deg * ((1 - sweep) * u + sweep * u * u) * ROWS / 360.0).astype(np.int64)
    index = _grid() + (shift * COLUMNS)[None, :]
    index %= ROWS * COLUMNS
    part = (ROWS, PARTS, COLUMNS // PARTS)
    mean = values.ravel()[index].reshape(part).sum(axis=2)
    known = seen.ravel()[index].reshape(part).min(axis=2)
    edge = np.zeros_like(mean)
    edge[2:-2] = np.abs(mean[4:] - mean[:-4])
    edge[:2], edge[-2:] = np.abs(mean[2:4] - mean[-2:]), np.abs(mean[:2] - mean[-4:-2])
    usual = (edge * known).sum(axis=0) / np.maximum(known.sum(axis=0), 1) + 0.03
    edge = np.minimum(edge / usual, 3.0) * known
    count = known.sum(axis=1)
    return edge.sum(axis=1) / np.maximum(count, 1), count / PARTS


@cache
def _grid() -> Any:
    """Flat index of row and column."""
    return np.arange(ROWS)[:, None] * COLUMNS + np.arange(COLUMNS)[None, :]


@cache
def _places() -> tuple[Any, Any, Any]:
    """Rows to add up, one run for each number and first row; where each run begins; the number of each run."""
    rows, number = [], []
    for n in (TWO, *NUMBERS):
        first = np.arange(-(-ROWS // n))[:, None]
        rows.append((first + np.rint(np.arange(n) * ROWS / n).astype(int)[None, :]) % ROWS)
        number += [n] * len(first)
    begins = np.concatenate([[0], np.cumsum(number)[:-1]])
    return np.concatenate([r.ravel() for r in rows]), begins, np.array(number)


def folded(line: Grid, known: Grid, number: int | None) -> tuple[float, float, int]:
    """How far the best sum of places a full turn over N apart stands out, the angle of its first, and N."""
    whole = float(known.sum()) + 1e-9
    mean = float((line * known).sum()) / whole
    sd = float(np.sqrt((known * (line - mean) ** 2).sum() / whole)) + 1e-6
    value = known * (np.minimum(line, mean + CAP_SD * sd) - mean)
    rows, begins, count = _places()
    total, weight = np.add.reduceat(value[rows], begins), np.add.reduceat(known[rows], begins)
    z = total / (sd * np.sqrt(np.maximum(weight, 0.5)))
    z = np.where(count != TWO if number is None else count == number, z, -9.0)
    best = int(np.argmax(z))
    return float(z[best]), float(rows[begins[best]] * 360.0 / ROWS), int(count[best])
