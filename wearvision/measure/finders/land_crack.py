"""Cracks in a gasket land: thin dark lines across it, wholly or in part, suspected only.

On the land rolled out at the photo's own resolution each place is held against both its sides along the lap: a crack is
darker than either, and these are nearly alike. Of what is darker than the land's grain the best line outward is sought,
which swerves little and begins and ends wherever that pays most. Lines along the circles are not sought, lathe lines
look like them; and beside a bite, whose walls throw dark lines, none is sought.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.finding import Finding
from wearvision.measure.edges import Grid, log_gray, median
from wearvision.measure.finders.bites import Bite
from wearvision.measure.finders.cracks import Path, to_finding
from wearvision.measure.finders.gasket import Land
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image, Strip, ring_points, unwrap
from wearvision.quantity import Measured

CALM_PX = (1.2, 0.7)
"""Standard deviations of the blur against the photo's noise, outward and along the lap."""
SIDE_PX, SIDE_MM, WIDE_MM = 1.5, 0.5, 0.35
"""How far off its sides are looked at, px and mm together, in the mean over so much."""
DIFFER = 0.5
"""So much of what the sides differ counts against it."""
EDGE_MM, BESIDE_MM, GAP_MM = 0.5, 0.6, 2.0
"""None is sought so near an edge, nor so near the angles of what may be a bite, when that is wider than a crack."""
GRAIN_SHARE, GRAIN_SPREADS = 0.98, 2.33
"""The land's grain: this share of it lies within so many spreads; where it is coarse, as rust is, that is the more."""
GRAIN, MOST_GRAIN = 2.0, 8.0
"""In spreads of the grain: what is darker than the first counts, up to the second."""
ASIDE, MOST_ASIDE = 0.3, 2
"""What a step aside by a row costs, from one column to the next, and the most of them."""
LEAST_GAIN, LEAST_MM, DARKER = 40.0, 3.0, 0.12
"""A line is told when it gains so much, is so long, and so dark in log grey; grain alone hardly gains 35."""
MOST, CLEAR_MM = 3, 3.0
"""No more than so many, so far apart."""
SMOOTH_MM, NEAR_END_MM = 0.5, 0.7
"""A line is smoothed over so much; one that ends so near where none is sought any more goes on to the land's edge."""
WIDTH_DOUBT = 0.15
"""Standard uncertainty of a width as a share of it: what lies beside it is uneven."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Line:
    """A dark line: its columns in order and its row in each (N,), and what it gained."""

    columns: NDArray[np.int64]
    rows: NDArray[np.int64]
    gain: float


def find_cracks(
    gray: Image, plane: Plane, land: Land, bites: list[Bite], exclude_px: tuple[Array, ...] = ()
) -> tuple[Finding, ...]:
    """Up to three on what is left of a land, clearest first."""
    rows = 8 * round(np.pi * sum(land.ring.radii_mm) / land.strip.px_mm / 8)
    strip = unwrap(
        gray, plane, land.ring.centre_mm, land.ring.radii_mm, step_deg=360.0 / rows, step_px=1.0, exclude_px=exclude_px
    )
    tone: Grid = np.asarray(
        cv2.GaussianBlur(log_gray(strip.values), (0, 0), sigmaX=CALM_PX[0], sigmaY=CALM_PX[1]), dtype=np.float32
    )
    level, dark = _sides(tone, strip)
    found: list[Path] = []
    for line in _lines(dark, _within(strip, land, bites), round(CLEAR_MM / strip.px_mm)):
        path = _path(line, strip, tone, level)
        if path.length_mm >= LEAST_MM and path.dark > DARKER:
            found.append(path)
    return tuple(_finding(path, f"K{i}", plane) for i, path in enumerate(found, start=1))


def _finding(path: Path, name: str, plane: Plane) -> Finding:
    """As on a face, but for its width."""
    found = to_finding(path, name, plane)
    width = Measured.of(
        path.width_mm, "mm", how="from the light it takes at mid-length, if black or as pale as it looks",
        edge=path.width_u_mm,
    )  # fmt: skip
    return replace(found, quantities={**found.quantities, "width": width})


def _within(strip: Strip, land: Land, bites: list[Bite]) -> NDArray[np.bool_]:
    """Places where one is sought."""
    near = 2 * round(BESIDE_MM / land.row_mm) + 1
    gap = np.zeros(len(land.deg))
    for bite in bites:
        if bite.verdict in ("bite", "unsure") and bite.traits["arc_mm"] > GAP_MM:
            gap[bite.rows] = 1.0
    gap = np.convolve(np.pad(gap, near // 2, mode="wrap" if land.strip.closed else "edge"), np.ones(near), "valid")
    deg = strip.deg(np.arange(len(strip.values), dtype=np.float64))
    inner, outer, gap = (np.interp(deg, land.deg, v, period=360.0) for v in (*land.sound_mm, gap))
    radius, off = strip.mm(np.arange(strip.values.shape[1], dtype=np.float64)), EDGE_MM + strip.px_mm
    on = (radius > inner[:, None] + off) & (radius < outer[:, None] - off)
    return np.asarray(on & strip.valid & (gap[:, None] < 0.5))


def _sides(tone: Grid, strip: Strip) -> tuple[Grid, Grid]:
    """Log grey of the darker side along the lap, and how much darker than both a place is."""
    side = cv2.blur(tone, (1, 2 * round(WIDE_MM / 2 / strip.px_mm) + 1))
    one, other = np.roll(side, _away(strip), axis=0), np.roll(side, -_away(strip), axis=0)
    level = np.minimum(one, other)
    return level, np.asarray(level - np.float32(DIFFER) * np.abs(one - other) - tone, dtype=np.float32)


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
        line = _best_line(worth)
        if line.gain < LEAST_GAIN:
            break
        out.append(line)
        low, high = line.rows.min() - clear, line.rows.max() + clear
        worth[:, np.arange(low, high + 1) % worth.shape[1]] = -np.inf
    return out


def _best_line(worth: Grid) -> Line:
    """The line with the most gain through a grid (columns, rows that close), from any column to any later one."""
    lap, aside = worth.shape[1], range(1, MOST_ASIDE + 1)
    gain: Grid = np.zeros((len(worth), lap + 2 * MOST_ASIDE), dtype=np.float32)
    inner = slice(MOST_ASIDE, -MOST_ASIDE)
    before = gain[0]
    for here, won in zip(gain, worth, strict=True):
        best = before[inner].copy()
        for k in aside:
            for start in (MOST_ASIDE - k, MOST_ASIDE + k):
                np.maximum(best, before[start : start + lap] - np.float32(ASIDE * k), out=best)
        np.maximum(best + won, 0, out=here[inner])
        here[:MOST_ASIDE], here[-MOST_ASIDE:] = here[lap : lap + MOST_ASIDE], here[MOST_ASIDE : 2 * MOST_ASIDE]
        before = here
    column, row = divmod(int(np.argmax(gain[:, inner])), lap)
    top, rows = float(gain[column, row + MOST_ASIDE]), [row]
    cost = ASIDE * np.abs(np.arange(-MOST_ASIDE, MOST_ASIDE + 1))
    while column - len(rows) >= 0:
        near = gain[column - len(rows), rows[-1] % lap :][: 2 * MOST_ASIDE + 1]
        best_k = int(np.argmax(near - cost))
        if near[best_k] <= 0:
            break
        rows.append(rows[-1] + best_k - MOST_ASIDE)
    return Line(columns=np.arange(column - len(rows) + 1, column + 1), rows=np.array(rows[::-1]), gain=top)


def _path(line: Line, strip: Strip, tone: Grid, level: Grid) -> Path:
    """The line on the plane, with its darkness and width."""
    wide = 2 * round(SMOOTH_MM / 2 / strip.step_mm) + 1
    rows = np.convolve(np.pad(line.rows.astype(np.float64), wide // 2, mode="edge"), np.full(wide, 1 / wide), "valid")
    columns = line.columns.astype(np.float64)
    width, width_u = _width(line, rows, strip, tone, level)
    depth = (level - tone)[line.rows % len(tone), line.columns]
    off = round((EDGE_MM + strip.px_mm + NEAR_END_MM) / strip.step_mm)
    if columns[0] < off:
        rows, columns = np.append(rows[0], rows), np.append(0.0, columns)
    if columns[-1] > tone.shape[1] - 1 - off:
        rows, columns = np.append(rows, rows[-1]), np.append(columns, tone.shape[1] - 1.0)
    line_mm = strip.centre_mm + ring_points(np.zeros(2), strip.deg(rows), 1.0) * strip.mm(columns)[:, None]
    return Path(line_mm=line_mm, dark=float(np.median(depth)), share=1.0, width_mm=width, width_u_mm=width_u)


def _width(line: Line, smooth: Array, strip: Strip, tone: Grid, level: Grid) -> tuple[float, float]:
    """Width at mid-length and its standard uncertainty.

    The light that is missing tells the width of a black crack, which is the least; one as pale as its blurred middle
    would be the widest. Between these nothing is known (a rectangular distribution, GUM 4.3.7).
    """
    count, lap = len(line.rows), len(tone)
    mid = slice(count // 3, 2 * count // 3 + 1)
    away = np.arange(-_away(strip), _away(strip) + 1)
    rows, columns = line.rows[mid, None], line.columns[mid, None]
    taken = np.clip(1 - np.exp(tone[(rows + away) % lap, columns] - level[rows % lap, columns]), 0, 1)
    row_mm = np.radians(strip.step_deg) * strip.mm(line.columns[mid].astype(np.float64))
    lean = np.gradient(smooth)[mid] * row_mm / strip.step_mm
    least = float(np.median(taken.sum(axis=1) * row_mm / np.hypot(1, lean)))
    most = least / max(0.1, float(np.median(taken.max(axis=1))))
    width = (least + most) / 2
    return width, float(np.linalg.norm([(most - least) / 12**0.5, WIDTH_DOUBT * width, 0.25 * strip.px_mm]))


def _away(strip: Strip) -> int:
    """Rows from a line to its sides."""
    return round(SIDE_PX + SIDE_MM / strip.px_mm)
