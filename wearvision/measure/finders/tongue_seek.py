"""Where a lip may be: straight runs of edge that close off an opening, with a side going up from each of their ends.

A lip is best photographed lying across the picture, its passage above it: of an opening's edges that settles which it
is. A lip is a row of a turned map between two columns that carry edges on the opening's side of it; of its own edge
only parts need be straight, the rest may be washed out. The same map, turned by quarters, shows lips of turned photos.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid
from wearvision.measure.finders.tongue_clear import mean_down
from wearvision.measure.finders.tongue_map import EdgeMap, edge_maps
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

WIDE_MM = 6.0
"""What goes on beyond a corner is looked at over so much."""
SIDES_MM, UNDER_MM = (10.0, 25.0, 50.0), 5.0
"""Sides are looked at over that of these heights over which they are clearest, and over so much below the lip."""
PEAKS, LEADS = 60, 8
"""Columns and rows taken up, and leads handed on."""
LENGTHS_MM = (15.0, 130.0)
"""Lips shorter or longer than this are not looked for unless stated."""
LENGTH_OFF = 1.0, 0.015
"""A lead's length lies within the sum of these, mm and share, of a stated one."""
CLEAR = 3.45
"""A lead of a stated length that scores more makes another direction needless."""
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
) -> tuple[tuple[Lead, ...], list[Sought]]:
    """Places where a lip may be with its passage above it, most likely first, of the stated length if there is one; and
    the maps they were sought in."""
    found: list[Lead] = []
    maps: list[Sought] = []
    for edges in edge_maps(gray, plane, exclude_px):
        maps.append(Sought.of(edges))
        found += maps[-1].leads(length_mm)
        if length_mm is not None and any(lead.score > CLEAR for lead in found):
            break
    return _kept(found), maps


def seek_turned(maps: list[Sought], length_mm: float | None = None) -> tuple[Lead, ...]:
    """The same with the passage at the right, below, or at the left."""
    found: list[Lead] = []
    for one in maps:
        aside = Sought.of(one.edges.turned())
        for turned in (aside, one.half_turned(), aside.half_turned()):
            found += turned.leads(length_mm)
    return _kept(found)


@dataclass(frozen=True, kw_only=True, eq=False)
class Sought:
    """A map, and how clear its clearest edges are.

    Attributes
    ----------
    edges : EdgeMap
    columns, rows : (W,), (H,)
        Of each column the clearest side as tall as sides are looked at, of each row the clearest run of lip.
    """

    edges: EdgeMap
    columns: Grid
    rows: Grid

    @classmethod
    def of(cls, edges: EdgeMap) -> Sought:
        """A map as it lies."""
        tall, wide = (round(mm / edges.step_mm) for mm in (SIDES_MM[0], WIDE_MM))
        columns, rows = (
            mean_down(np.ascontiguousarray(clear), run).max(axis=0)
            for clear, run in ((edges.sides, tall), (edges.lips, wide))
        )
        return cls(edges=edges, columns=columns, rows=rows)

    def half_turned(self) -> Sought:
        """The same, upside down."""
        return Sought(edges=self.edges.turned().turned(), columns=self.columns[::-1], rows=self.rows[::-1])

    def leads(self, length_mm: float | None) -> list[Lead]:
        """Leads of the map."""
        out = []
        for row, first, last, score in _shapes(self, length_mm):
            left, right = self.edges.to_mm(np.array([first, last]), np.array([row, row]))
            out.append(Lead(left_mm=left, right_mm=right, score=score))
        return out


def _kept(found: list[Lead]) -> tuple[Lead, ...]:
    """The best leads, each place once."""
    kept: list[Lead] = []
    for lead in sorted(found, key=lambda one: -one.score):
        if all(_apart(lead, other) > APART_MM for other in kept):
            kept.append(lead)
    return tuple(kept[:LEADS])


def _apart(one: Lead, other: Lead) -> float:
    ends = (one.left_mm - other.left_mm, one.right_mm - other.right_mm)
    return max(float(np.hypot(*end)) for end in ends)


def _shapes(sought: Sought, length_mm: float | None) -> list[tuple[int, int, int, float]]:
    """Row, first and last column and score of the best shapes, metal below, opening above."""
    sides, lips, step_mm = sought.edges.sides, sought.edges.lips, sought.edges.step_mm
    tall = round(SIDES_MM[0] / step_mm)
    columns, rows = (
        _peaks(clear, max(1, round(apart / step_mm)))
        for clear, apart in zip((sought.columns, sought.rows), PEAK_APART_MM, strict=True)
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
