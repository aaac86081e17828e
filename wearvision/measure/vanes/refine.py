"""Centre and common line of a layout bettered in turn, on the small map of the plane.

About a disc of N vanes the map is its own picture turned by a full turn over N. Where the common pair of edges is held
fast and the centre moved, the edges of all vanes lie in the pair at the true centre only; and between the edges, on the
tops, the light is alike from vane to vane: a shadow as wide as a vane, which keeps to one side of the lamp, is not.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from wearvision.measure.chart import Chart
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array, Plane
from wearvision.measure.vanes.align import Pair, best_shifts, common, middle, pairs, shifted
from wearvision.measure.vanes.foot import Where, where
from wearvision.measure.vanes.hub import Disc
from wearvision.measure.vanes.layout import FULL, STEP_MM, Layout, smooth
from wearvision.measure.vanes.strips import Line, Strips, edges_across, from_chart, means_between

SIGMA_MM = 0.6
ACROSS_MM = np.arange(-12.0, 12.01, 0.5)
ROUNDS = ((1.5, 0.5), (0.75, 0.25))
"""Reach and step of the centre, mm, while the pair follows."""
NEAR_ROUNDS = ((0.25, 0.125),)
"""The same about an axis that the rim tells."""
FAR_MM, FAR_STEP_MM, NEAR_MM = 5.0, 0.5, 1.0
"""Reach and step of the centre for a pair held fast; what lies nearer than the third is the same place."""
WORTH = 0.8
"""A second place is followed up when it is worth so much of the first."""
NEXT_MM, BESIDE, LEAST_BESIDE = 1.0, 3, 0.3
"""A pair beside another may begin so far inside its edge; so many of them are told, none that stands out less than
this share of it."""
LIKE_MM, WIDTHS = 0.6, 3
"""Thicknesses nearer than the first are one; of the strongest so many are compared."""
THIN_MM, SELDOM = 3.5, 0.3
"""Vanes thinner than this are seldom (common practice, no source): what each mm less costs."""
DEPTH_MM, BELIEF, WEIGHT = (6.0, 7.0), 0.3, 0.05
"""How far below the tops the circles may lie that told the disc: hub and bore may be level with them; what a centre
off them costs, and its weight against a pile."""
THIN, ROOT = 2, 0.15
"""While the pair is held fast every so manieth station is taken, none of the inner part: hubs reach into it."""
MOST = 3.0
"""What a pair of edges counts for at most, over what is usual."""
INSET_MM = 0.4
"""So much inside its edges a vane's top begins."""
UNLIKE, ALIKE, APART = 4.0, 0.1, 0.6
"""What light on the tops that is not alike costs, per log grey; what differs by up to the second is alike, nothing
counts for more than the third."""


def _ended(one: Layout) -> Layout:
    """The layout with its line drawn out straight, or cut off, to end near the rim."""
    points = one.line.points_mm
    way = points[-1] - points[-4]
    longer = np.vstack([points, points[-1] + way / np.hypot(*way) * np.arange(1.0, 13.0)[:, None]])
    inside = np.hypot(*longer.T) < FULL * one.disc_mm
    end = len(inside) if inside.all() else max(int(np.argmin(inside)), 8)
    return replace(one, line=Line.through(longer[:end], STEP_MM))


def refined(chart: Chart, plane: Plane, one: Layout) -> Layout:
    """The layout with its centre and line bettered: from where it is, and from where its tops are alike.

    About an axis that the rim tells there is no other place to begin from.
    """
    if one.disc.axis is not None:
        return max(one, _polished(chart, plane, one), key=lambda it: it.score)
    ways, other = [one], _jumped(chart, plane, one)
    if float(np.hypot(*(other.centre_mm - one.centre_mm))) > NEAR_MM and other.score > WORTH * one.score:
        ways.append(other)
    return max((one, *(_polished(chart, plane, way) for way in ways)), key=lambda it: it.score)


def _polished(chart: Chart, plane: Plane, one: Layout) -> Layout:
    for reach, step in ROUNDS if one.disc.axis is None else NEAR_ROUNDS:
        one = _ended(one)
        strips, size = _strips(chart, one)
        belief = replace(_believed(plane, one.disc), weight=WEIGHT)
        [shift] = best_shifts(size, strips, one.centre_mm, reach, (step, step / 2), (belief,))
        one = laid(one, plane, strips, size, shift)
    return one


def _jumped(chart: Chart, plane: Plane, one: Layout) -> Layout:
    """The centre anywhere near at which edges lie in the pair as it is, and the tops between them are alike."""
    one = _ended(one)
    strips, size = _strips(chart, one)
    way = np.arange(-FAR_MM, FAR_MM + FAR_STEP_MM / 2, FAR_STEP_MM)
    trials = np.stack(np.meshgrid(way, way), axis=-1).reshape(-1, 2)
    worth = _Held.of(size, strips, one.width_mm).worth(trials)
    worth -= _doubt(plane, one.disc, one.centre_mm + trials)
    return laid(one, plane, strips, size, trials[int(np.argmax(worth))])


def beside(chart: Chart, plane: Plane, one: Layout) -> list[Layout]:
    """Other pairs of lines that run along the vanes about the same centre, likeliest first.

    Beside a vane's top run its flank, its flank's foot and its shadow: what was taken may be one of them, and the top
    its neighbour.
    """
    one, none = _ended(one), np.zeros(2)
    strips, size = _strips(chart, one)
    level, reach = common(size), one.width_mm / 2 - NEXT_MM
    found = []
    for side in (strips.across_mm > reach, strips.across_mm < -reach):
        for pair in _strongest(pairs(level[:, side], strips.across_mm[side], STEP_MM, one.widths_mm)):
            worth = _worth(size, strips, pair, none) - _doubt(plane, one.disc, one.centre_mm[None])[0]
            score = np.sqrt(one.number) * worth
            line = one.line.moved(smooth(pair, one.stiff))
            found.append(replace(one, line=line, width_mm=pair.width_mm, score=float(score)))
    least = LEAST_BESIDE * max(one.score, 0.0)
    return sorted((it for it in found if it.score > least), key=lambda it: -it.score)[:BESIDE]


def _worth(size: Grid, strips: Strips, pair: Pair, shift_mm: Array) -> float:
    """How far a pair stands out on all vanes, less what it costs that tops are not alike, or thin."""
    return _both(size, strips, pair) - _unlike(strips, pair, shift_mm) - SELDOM * max(THIN_MM - pair.width_mm, 0.0)


def _strips(chart: Chart, one: Layout) -> tuple[Strips, Grid]:
    strips = from_chart(chart, one.line, one.centre_mm, one.number, ACROSS_MM)
    return strips, edges_across(strips, STEP_MM, SIGMA_MM)[1]


def laid(one: Layout, plane: Plane, strips: Strips, size: Grid, shift_mm: Array) -> Layout:
    """The layout with its centre shifted, the pair that its vanes share there, and how far it stands out."""
    moved = shifted(size, strips, shift_mm)
    found = _strongest(pairs(common(moved), strips.across_mm, STEP_MM, one.widths_mm))
    worth = [_worth(moved, strips, pair, shift_mm) for pair in found]
    best = int(np.argmax(worth))
    centre = one.centre_mm + shift_mm
    score = np.sqrt(one.number) * (worth[best] - _doubt(plane, one.disc, centre[None])[0])
    line = one.line.moved(smooth(found[best], one.stiff))
    return replace(one, centre_mm=centre, line=line, width_mm=found[best].width_mm, score=float(score))


def _strongest(found: list[Pair]) -> list[Pair]:
    """The strongest few pairs that differ in width."""
    kept: list[Pair] = []
    for pair in sorted(found, key=lambda pair: -float(pair.gain.sum())):
        if all(abs(pair.width_mm - other.width_mm) > LIKE_MM for other in kept):
            kept.append(pair)
    return kept[:WIDTHS]


def _both(size: Grid, strips: Strips, pair: Pair) -> float:
    """How far both edges of each vane stand out in the common pair: a shadow shows one of them."""
    edges = []
    for side in (-1, 1):
        place = (pair.middle_mm + side * pair.width_mm / 2 - strips.across_mm[0]) / strips.step_mm
        column = np.clip(np.rint(place), 1, size.shape[2] - 2).astype(np.intp)[:, None] + np.arange(-1, 2)
        near = np.take_along_axis(size, np.broadcast_to(column, (len(size), *column.shape)), axis=2)
        edges.append(0.5 * (near[..., 1] + near.max(axis=2)))
    seen = (edges[0] > 0) & (edges[1] > 0)
    both = np.minimum(2 * np.sqrt(edges[0] * edges[1]) - 2, MOST)
    return float((both * seen).sum() / max(int(seen.sum()), 1))


def _doubt(plane: Plane, disc: Disc, places: Array) -> Array:
    """What it costs that a centre (T, 2) lies off where the disc's own circles have theirs, and they hardly show."""
    return np.asarray(BELIEF * (np.log1p(_believed(plane, disc).far(places)) - np.log(disc.score)))


def _believed(plane: Plane, disc: Disc) -> Where:
    """Where the centre is believed: at the axis that the rim tells, or at the circles' own, whatever their depth."""
    return disc.axis or where(plane, disc.centre_mm, DEPTH_MM)


def _unlike(strips: Strips, pair: Pair, shift_mm: Array) -> float:
    """What the tops between the common pair cost for not being alike."""
    middle = strips.left @ shift_mm + pair.middle_mm
    tops = _tops(strips, middle[None], pair.width_mm)[0]
    return float(_cost(tops[None], np.ones((1, *tops.shape), dtype=bool))[0])


def _tops(strips: Strips, middle: Array, width_mm: float) -> Array:
    """Mean log grey between the edges about middles (T, N, S), mm across: (T, N, S)."""
    half, high = max(width_mm / 2 - INSET_MM, strips.step_mm), strips.values.shape[2]
    ends = [
        np.clip(np.rint((middle + side * half - strips.across_mm[0]) / strips.step_mm + (side > 0)), 0, high)
        for side in (-1, 1)
    ]
    low, up = (np.asarray(e, dtype=np.intp) for e in ends)
    return means_between(strips.values, low, up)


def _cost(tops: Array, seen: Array) -> Array:
    """What it costs that tops (T, N, S) are not alike, (T,)."""
    off = np.minimum(np.abs(tops - middle(tops)[:, None]), APART)
    level = (off * seen).sum(axis=(1, 2)) / np.maximum(seen.sum(axis=(1, 2)), 1)
    return np.asarray(UNLIKE * np.maximum(level - ALIKE, 0.0))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Held:
    """Edges and light of thinned strips, for a common pair held fast in their middle."""

    size: Grid
    strips: Strips
    width_mm: float

    @classmethod
    def of(cls, size: Grid, strips: Strips, width_mm: float) -> _Held:
        rows = slice(int(ROOT * size.shape[1]), None, THIN)
        few = replace(strips, values=strips.values[:, rows], seen=strips.seen[:, rows], left=strips.left[:, rows])
        number, count, width = size[:, rows].shape
        wide = cv2.dilate(np.ascontiguousarray(size[:, rows]).reshape(-1, width), np.ones((1, 3), np.uint8))
        return cls(size=np.asarray(wide, dtype=np.float32).reshape(number, count, width), strips=few, width_mm=width_mm)

    def worth(self, shifts_mm: Array) -> Array:
        """How far the pair's edges stand out for shifts of the centre (T, 2), less what unlike tops cost: (T,)."""
        strips, width = self.strips, self.size.shape[2]
        off = (strips.left @ shifts_mm.T).transpose(2, 0, 1)
        rows = np.arange(off.shape[1] * off.shape[2]).reshape(off.shape[1:]) * width
        edges = []
        for side in (-1, 1):
            place = np.rint((off + side * self.width_mm / 2 - strips.across_mm[0]) / strips.step_mm)
            edges.append(np.take(self.size, rows + np.clip(place, 0, width - 1).astype(np.intp)))
        seen = (edges[0] > 0) & (edges[1] > 0)
        both = np.minimum(edges[0] + edges[1] - 2.0, MOST) * seen
        level = both.sum(axis=(1, 2)) / np.maximum(seen.sum(axis=(1, 2)), 1)
        return np.asarray(level - _cost(_tops(strips, off, self.width_mm), seen))
