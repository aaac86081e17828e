"""A groove's two lips, row by row, in an unwrapped ring: the outermost crests of the slope beside a ribbon's edges."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.across import darkness
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, median
from wearvision.measure.ends import cut_ends, ends, in_view, seen_rows
from wearvision.measure.evidence import ROWS, SIGMA_PX, Evidence
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.unwrap import Strip

REACH = (1.5, 4.0)
"""A lip lies within 0.15 of the width of its coarse place, but at least and at most this many photo px."""
STEADY = 1.5
"""Strength (over the usual) at which a lip counts as much as the groove's usual width does."""
LINE_SHARE = 0.7
"""A lip is a thin line when the slope comes back by this share just inside it."""
STRONGEST = 5.0
"""A crest counts up to so many times the usual."""
NO_LINE = 1e6
"""Thickness, columns, where there is no line."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Track:
    """A groove in its strip.

    Attributes
    ----------
    deg : (N,) array
        Angles of its rows, rising, even steps; may pass 360.
    inner_mm, outer_mm : (N,) arrays
        Radii of the lips.
    clear : float
        Share of the rows in view where both lips are seen well.
    end_u_deg : (float, float)
        Standard uncertainty of where its profile ends, at its first and last angle.
    hidden_deg : float
        How much of its arc is covered or out of the picture.
    doubt_mm : (float, float)
        Standard uncertainty of its width and of its centreline because other lips speak nearly as well.
    cut : (bool, bool)
        Whether the picture or a cover ends it, at its first and last angle.
    full : bool
        Whether it runs all the way round.
    score : float
        Of its ribbon.
    strength : (N,) array
        Slope at its weaker lip, log grey per photo px.
    dark, dark_share : float
        Median over its sectors of the darkest part across it, log grey against the face beside it; and the share
        of the sectors where that is beyond the noise. A groove holds a shadow nearly everywhere; a polished
        band or a turned ring only shines.
    """

    deg: Array
    inner_mm: Array
    outer_mm: Array
    clear: float
    end_u_deg: tuple[float, float]
    hidden_deg: float
    doubt_mm: tuple[float, float]
    cut: tuple[bool, bool]
    full: bool
    score: float
    strength: Array
    dark: float
    dark_share: float

    @cached_property
    def width_mm(self) -> float:
        """Median distance of its lips."""
        return median(self.outer_mm - self.inner_mm)

    @cached_property
    def lips_mm(self) -> tuple[float, float]:
        """Median radii of its inner and its outer lip."""
        return median(self.inner_mm), median(self.outer_mm)

    @cached_property
    def length_mm(self) -> float:
        """Along its inner lip."""
        return float(np.radians(self.deg[-1] - self.deg[0]) * np.mean(self.inner_mm))

    @property
    def dense(self) -> float:
        """Score per row of the search that is in view."""
        count = len(self.deg)
        step = float(self.deg[-1] - self.deg[0]) / max(1, count - 1)
        return self.score * ROWS / max(1.0, count - self.hidden_deg / step)


def follow(strip: Strip, found: Evidence, ribbon: Ribbon, *, blur_px: float) -> Track | None:
    """Both lips of a ribbon row by row, and its ends; `None` when too short.

    Parameters
    ----------
    blur_px : Gaussian blur of the photo, px
    """
    lap = strip.values.shape[0]
    rows, end_u = _rows(strip, found, ribbon)
    if len(rows) < 6:
        return None
    coarse = [np.interp(rows, ribbon.rows, edge) for edge in (ribbon.inner, ribbon.outer)]
    per_px = strip.px_mm / strip.step_mm
    width = median(coarse[1] - coarse[0])
    reach = round(min(max(0.15 * width, REACH[0] * per_px), REACH[1] * per_px))
    usual = found.usual[rows % lap]
    lips = [
        _lip(found.plain, rows % lap, usual, at, reach, side, per_px) for at, side in zip(coarse, (1, -1), strict=True)
    ]
    fixes = [spread_fix(lip.line / per_px, blur_px) * per_px for lip in lips]
    inner, outer = _steadied(
        lips[0].column + fixes[0], lips[1].column - fixes[1], lips[0].size / usual, lips[1].size / usual
    )
    clear = (lips[0].size > 1.5 * usual) & (lips[1].size > 1.5 * usual)
    seen = in_view(strip, rows, (coarse[0] + coarse[1]) / 2)
    dark, share = darkness(strip, found.gray, rows[seen], inner[seen], outer[seen])
    deg = strip.deg(rows.astype(np.float64))
    return Track(
        deg=deg - 360.0 * np.floor(deg[0] / 360.0), inner_mm=strip.mm(inner), outer_mm=strip.mm(outer),
        clear=float(np.mean(clear[seen])),
        end_u_deg=(float(end_u[0]), float(end_u[1])), hidden_deg=np.count_nonzero(~seen) * strip.step_deg,
        doubt_mm=ribbon.doubt_mm, full=ribbon.full,
        cut=(False, False) if ribbon.full else cut_ends(strip, rows, (coarse[0] + coarse[1]) / 2),
        score=ribbon.score, strength=np.minimum(lips[0].size, lips[1].size), dark=dark, dark_share=share,
    )  # fmt: skip


def _rows(strip: Strip, found: Evidence, ribbon: Ribbon) -> tuple[NDArray[np.int64], Array]:
    """Rows of a groove, and the standard uncertainty of its ends, degrees."""
    end_u = np.asarray(ribbon.doubt_rows) * strip.step_deg
    if ribbon.full:
        return ribbon.rows, end_u
    first, last = ends(strip, found.gray, ribbon)
    rows = seen_rows(strip, ribbon, np.arange(first[0], last[0] + 1))
    return rows, np.hypot(end_u, np.array([first[1], last[1]]) * strip.step_deg)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Lip:
    """Column of a lip in each row, slope there, and thickness of the line inside it (columns; inf: no line)."""

    column: Array
    size: Array
    line: Array


def _lip(
    slope: Grid, rows: NDArray[np.int64], usual: Array, start: Array, reach: int, side: int, per_px: float
) -> _Lip:
    """Follow the crest of the slope near a start.

    The strongest crest of each row within `reach` columns, outer ones a little preferred; then again close to
    the running median of the first pass.
    """
    place, half, pull = np.asarray(start, dtype=np.float64), reach, 1.2
    for _ in range(3):
        column = _crests(slope, rows, usual, place, half, side * pull)
        place = running_median(column.astype(np.float64), 11)
        half, pull = max(2, min(half, round(1.5 * per_px))), 0.0
    offset, size, line = _shapes(slope, rows, column, side, round(6 * per_px))
    return _Lip(column=column + offset, size=size, line=running_median(line, 23))


@compiled
def _crests(
    slope: Grid, rows: NDArray[np.int64], usual: Array, place: Array, half: int, pull: float
) -> NDArray[np.int64]:
    """Column of the strongest crest of each row up to `half` columns from a place, by its size over the usual; one that
    lies `half` further in counts `pull` more."""
    last = slope.shape[1] - 1
    out = np.empty(len(rows), np.int64)
    for n in range(len(rows)):
        row, best = slope[rows[n]], -np.inf
        for k in range(-half, half + 1):
            c = int(np.rint(place[n])) + k
            size = abs(row[min(max(c, 0), last)])
            beside = max(abs(row[min(max(c - 1, 0), last)]), abs(row[min(max(c + 1, 0), last)]))
            gain = min(size / usual[n], STRONGEST) - pull * k / half if size >= beside else -1.0
            if gain > best:
                best, out[n] = gain, min(max(c, 1), last - 1)
    return out


def _steadied(inner: Array, outer: Array, inner_z: Array, outer_z: Array) -> tuple[Array, Array]:
    """Lips with those hardly seen drawn towards where the other lip and the groove's usual width put them."""
    weight = np.minimum(np.minimum(inner_z, outer_z), 5.0) ** 2
    order = np.argsort(outer - inner)
    share = np.cumsum(weight[order]) / max(float(weight.sum()), 1e-9)
    width = float((outer - inner)[order][min(int(np.searchsorted(share, 0.5)), len(order) - 1)])
    drawn = []
    for lip, z, other in ((inner, inner_z, outer - width), (outer, outer_z, inner + width)):
        trust = np.minimum(z, 5.0) ** 2
        drawn.append((trust * lip + STEADY**2 * other) / (trust + STEADY**2))
    return drawn[0], drawn[1]


def running_median(values: Array, width: int) -> Array:
    """Running median over an odd number of values, ends repeated; nan wherever one is among them."""
    if _any_lost(values):
        lost = np.isnan(values)
        near = np.convolve(lost, np.ones(width), mode="same") > 0.5
        return np.where(near, np.nan, running_median(np.where(lost, 0.0, values), width))
    return _running_median(np.ascontiguousarray(values, dtype=np.float64), width)


@compiled
def _any_lost(values: Array) -> bool:
    """Whether any is nan."""
    return bool(np.isnan(values).any())


@compiled
def _running_median(values: Array, width: int) -> Array:
    """The same of numbers: a sorted run, in which the value that enters takes the place of the one that leaves."""
    half, last = width // 2, len(values) - 1
    run, out = np.full(width, values[0]), np.empty(len(values))
    for n in range(-half, len(values)):
        leaves, enters, k = values[max(n - half - 1, 0)], values[min(n + half, last)], 0
        while run[k] < leaves:
            k += 1
        while k + 1 < width and run[k + 1] < enters:
            run[k], k = run[k + 1], k + 1
        while k and run[k - 1] > enters:
            run[k], k = run[k - 1], k - 1
        run[k] = enters
        if n >= 0:
            out[n] = run[half]
    return out


@compiled
def _shapes(slope: Grid, rows: NDArray[np.int64], column: NDArray[np.int64], side: int, reach: int) -> Array:
    """Of the crest in each row: how far from its column its top lies, its size, and how far inwards the strongest crest
    of the other sign is, columns, or `NO_LINE` when none is near, (3, N)."""
    out, last = np.full((3, len(rows)), NO_LINE), slope.shape[1] - 1
    line = np.empty(reach + 1)
    for n in range(len(rows)):
        row, c = slope[rows[n]], column[n]
        out[0, n], out[1, n] = _vertex(abs(row[c - 1]), abs(row[c]), abs(row[c + 1])), abs(row[c])
        for k in range(reach + 1):
            line[k] = -np.sign(row[c]) * row[min(max(c + side * k, 0), last)]
        top = min(max(int(np.argmax(line)), 1), reach - 1)
        if line[top] > LINE_SHARE * out[1, n] and top < reach - 1:
            out[2, n] = top + _vertex(line[top - 1], line[top], line[top + 1])
    return out


@compiled
def _vertex(left: float, top: float, right: float) -> float:
    """Offset of a parabola's vertex from its middle sample, -0.5 to 0.5 columns."""
    bend = left - 2.0 * top + right
    return min(max(0.5 * (left - right) / bend, -0.5), 0.5) if abs(bend) > 1e-12 else 0.0


def spread_fix(line_px: Array, blur_px: float) -> Array:
    """How far blur pushed a lip outwards, photo px.

    A line of thickness b seen through a Gaussian blur s shows its two edges (crests of the slope) d apart:
    d = 2 s as b goes to 0, d = b when b is large, and the lip is (d - b) / 2 out. In between the crests solve
    (x - b/2) g(x - b/2) = (x + b/2) g(x + b/2); (d - b) / 2 = s exp(-3.8 (d / 2s - 1)^0.55) fits that to 0.04 s.
    """
    spread = float(np.hypot(blur_px, SIGMA_PX))
    over = np.maximum(np.where(np.isfinite(line_px), line_px, 1e3) / (2 * spread) - 1.0, 0.0)
    return np.asarray(spread * np.exp(-3.8 * over**0.55))
