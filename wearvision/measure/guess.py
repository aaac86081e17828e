"""A face whose sizes are not both stated: its bore edge and outer edge, told from the picture alone.

Edge pixels vote for the axis all along their gradient; near the winners the place is sought about which edges run
round with one polarity. Rings about it: a bore edge is dark inside, an outer edge bright inside. Of all pairs the one
is taken that looks most like a face: strong edges about one axis, a turned (smooth) face inside and a rough rim or
nothing outside, not the two lips of a groove. A pair that is weak, or hardly better than another, is no answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import Chart
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, along, log_gray, peak_offset, slope
from wearvision.measure.plane import Array, Plane
from wearvision.measure.rings import edge_pixels, shifts_of
from wearvision.measure.unwrap import Image, unwrap

RADII_MM = (8.0, 150.0)
"""Radii sought."""
ROWS = 120
"""Rays of a rolled-out map."""
EDGES = 4000
"""Edge pixels that vote."""
CELL_MM = 2.5
PAD_MM = 60.0
"""Cells of the votes, and how far out of the picture the axis may lie."""
MIN_SEEN = 0.25
"""With less of a ring in view its strength is taken over this share."""
SLIM, STOUT = 1.3, 5.5
"""A face's outer radius over its inner radius lies between these; usual: `USUAL_LOG` (logarithm, spread)."""
USUAL_LOG = (0.72, 0.3)
LIP_MM = (0.3, 4.0)
"""How far apart the two lips of a groove are."""
WEIGHT = {"outer": 0.7, "inner": 0.7, "rougher": 0.8, "rim": -1.0, "shape": -0.1, "apart": -0.3, "groove": -0.5}
"""What counts how much; chosen by hand on rendered photos of known faces."""
MIN_EDGE, MIN_SCORE, MIN_LEAD = 0.6, 1.5, 0.4
"""Least strength of each edge, least score of a pair, least lead over the next pair."""
STATED_MM = 2.8
"""How far from its stated radius an edge is looked for."""
SAME_MM = 1.2
"""Pairs that agree this well are one answer."""
CHAMFER_MM = (0.45, 2.4)
"""How far outside a bore edge the face may really begin: the edge found is then the foot of a chamfer."""
MAX_SECOND = 0.15
"""Most of the bore edge's strength that an edge there may have; chosen by hand on rendered photos."""

ANGLE = np.arange(ROWS) * (2 * np.pi / ROWS)
ROUND: Array = np.column_stack([np.ones(ROWS), np.cos(ANGLE), np.sin(ANGLE)])


@dataclass(frozen=True, kw_only=True, eq=False)
class Ring:
    """An edge that runs round: radius and centre (from where it was sought), mm; strength 0 to 3."""

    radius_mm: float
    off_mm: Array
    strength: float
    length: float
    """Summed strength of the points that agree with the circle, per row, 0 to 3."""

    @property
    def worth(self) -> float:
        """Strength of the edge as seen without and with a circle fitted to it."""
        return 0.5 * (self.strength + self.length)


@dataclass(frozen=True, kw_only=True, eq=False)
class Roll:
    """The map rolled out about a place (mm from its first pixel): log grey, valid (0 or 1), signed relative slope
    outward, (ROWS, R)."""

    place: Array
    radius_mm: Array
    values: Grid
    valid: Grid
    rise: Grid
    step_mm: float

    def share(self, columns: slice | int = slice(None)) -> Array:
        """Rows to divide a ring's sum by."""
        return np.asarray(np.maximum(self.valid[:, columns].sum(axis=0), MIN_SEEN * ROWS), dtype=np.float64)


def guess_rings(
    chart: Chart, inner_mm: float | None = None, outer_mm: float | None = None
) -> tuple[Array, tuple[float, float]] | None:
    """Centre (2,) and radii (inner, outer) in mm of the ring that is most surely a wear face; `None` if none is.

    `inner_mm`, `outer_mm`: a radius that is stated; it is then returned as it is.
    """
    about = edges_about(chart)
    if about is None:
        return None
    roll, bores, rims = about
    bores, rims = _stated(bores, inner_mm), _stated(rims, outer_mm)
    best = _best_pair(roll, bores, rims, sure=(bool(inner_mm), bool(outer_mm)))
    if best is None:
        return None
    bore, rim = best
    off = np.average([bore.off_mm, rim.off_mm], axis=0, weights=[bore.length + 0.01, rim.length + 0.01])
    return chart.origin_mm + roll.place + off, (bore.radius_mm, rim.radius_mm)


def edges_about(chart: Chart) -> tuple[Roll, list[Ring], list[Ring]] | None:
    """The map rolled out about the likeliest axis, and the edges that run round it: bright outside, bright inside."""
    found = [_settle(chart, place) for place in _places(chart)]
    if not found:
        return None
    _, place = max(found, key=lambda one: one[0])
    roll = _roll(chart, place)
    return roll, _rings(roll, 1.0), _rings(roll, -1.0)


def differ(one: tuple[Ring, Ring], other: tuple[Ring, Ring]) -> bool:
    """Whether two pairs of rings are not one answer."""
    return max(abs(a.radius_mm - b.radius_mm) for a, b in zip(one, other, strict=True)) > SAME_MM


def _places(chart: Chart, count: int = 2) -> list[Array]:
    """The likeliest axes, mm from the map's first pixel: most votes from edge pixels along their gradients."""
    place, normal, weight = edge_pixels(chart, EDGES)
    far = np.arange(RADII_MM[0] + 4, 0.85 * RADII_MM[1], 2.0)
    reach: Grid = np.concatenate([far, -far]).astype(np.float32)
    each: Grid = np.tile(1 / far, 2).astype(np.float32)
    height, width = (int(np.ceil((n * chart.step_mm + 2 * PAD_MM) / CELL_MM)) for n in chart.values.shape)
    start = ((place * chart.step_mm + PAD_MM) / CELL_MM).astype(np.float32)
    course = (normal / CELL_MM).astype(np.float32)
    total = np.zeros((height, width))
    _vote(start, course, weight.astype(np.float32), reach, each, total)
    image = cv2.GaussianBlur(total.astype(np.float32), (0, 0), 1.2)
    found = []
    for _ in range(count):
        _, top, _, (column, row) = cv2.minMaxLoc(image)
        if top > 0:
            found.append((np.array([column, row]) + 0.5) * CELL_MM - PAD_MM)
            cv2.circle(image, (column, row), 3, 0.0, -1)
    return found


@compiled
def _vote(start: Grid, course: Grid, weight: Grid, reach: Grid, each: Grid, total: Array) -> None:
    """Each edge pixel votes for all cells along its gradient."""
    high, wide = total.shape
    for i in range(len(start)):
        for k in range(len(reach)):
            x, y = start[i, 0] + course[i, 0] * reach[k], start[i, 1] + course[i, 1] * reach[k]
            if 0 <= x < wide and 0 <= y < high:
                total[int(y), int(x)] += weight[i] * each[k]


def _roll(chart: Chart, place: Array) -> Roll:
    """Roll the map out about a place (mm from its first pixel)."""
    radius = np.arange(RADII_MM[0], RADII_MM[1], chart.step_mm)
    x, y = ((place[k] + ROUND[:, 1 + k, None] * radius).astype(np.float32) / np.float32(chart.step_mm) for k in (0, 1))
    values: Grid = np.asarray(cv2.remap(chart.values, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    seen = cv2.remap(
        chart.valid.astype(np.uint8), x, y, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=0
    )
    valid = np.asarray(seen, dtype=np.float32)
    rise = slope(values, 1.0) * valid
    rise = np.clip(rise / (cv2.blur(np.abs(rise), (41, 9)) + 0.02), -3, 3).astype(np.float32)
    return Roll(place=place, radius_mm=radius, values=values, valid=valid, rise=rise, step_mm=chart.step_mm)


def _settle(chart: Chart, place: Array) -> tuple[float, Array]:
    """How well edges run round, and the place near `place` (mm) about which they do so best."""
    worth = 0.0
    for reach, step in ((3.0, 1.0), (0.8, 0.4)):
        roll = _roll(chart, place)
        wide = max(1, round(reach * 1.5 / roll.step_mm))
        rise = np.pad(cv2.blur(roll.rise, (3, 1)), ((0, 0), (wide, wide)))
        seen = np.pad(roll.valid, ((0, 0), (wide, wide)))
        shifts, off = shifts_of(np.degrees(ANGLE), reach, step)
        first = np.arange(ROWS) * rise.shape[1] + wide + np.rint(off / roll.step_mm).astype(int)
        least = np.float32(MIN_SEEN * ROWS)
        score = _round_about(np.asarray(rise, np.float32).ravel(), seen.ravel(), first, least, len(roll.radius_mm))
        best = int(np.argmax(score))
        worth, place = float(score[best]), place + shifts[best]
    return worth, place


@compiled
def _round_about(rise: Grid, seen: Grid, first: NDArray[np.int64], least: np.float32, columns: int) -> Array:
    """How well edges run round, for each shift of the place (M,): `first`, (M, ROWS), is where its rows begin."""
    score, told, count = np.zeros(len(first)), np.empty(columns, np.float32), np.empty(columns, np.float32)
    for k in range(len(first)):
        told[:], count[:] = np.float32(0), np.float32(0)
        for start in first[k]:
            edge, there = rise[start : start + columns], seen[start : start + columns]
            for j in range(columns):
                told[j] += edge[j]
                count[j] += there[j]
        for j in range(columns):
            score[k] += max(abs(told[j]) / max(count[j], least) - 0.35, 0.0) ** 1.5
    return score


def _rings(roll: Roll, sign: float) -> list[Ring]:
    """Edges of one polarity that run round, strongest first."""
    edge = np.maximum(sign * roll.rise, 0)
    told = sign * cv2.blur(roll.rise, (3, 1)).sum(axis=0) / roll.share()
    half = max(2, round(1.8 / roll.step_mm))
    crest = np.asarray(cv2.dilate(told.reshape(1, -1), np.ones((1, 5)))).ravel()
    peak = (told >= 0.22) & (told >= crest) & (roll.valid.mean(axis=0) >= 0.2)
    peak[: half + 1] = peak[-half - 1 :] = False
    fitted = (_ring(roll, edge, int(j), half, float(told[j])) for j in np.flatnonzero(peak))
    kept: list[Ring] = []
    for ring in sorted((r for r in fitted if r is not None), key=lambda r: -r.length):
        if all(abs(ring.radius_mm - other.radius_mm) > 0.6 for other in kept):
            kept.append(ring)
    return kept


def _ring(roll: Roll, edge: Grid, column: int, half: int, strength: float) -> Ring | None:
    """A circle, its centre free, through the strongest edges near a column."""
    near = edge[:, column - half : column + half + 1]
    top = np.argmax(near, axis=1).clip(1, 2 * half - 1)
    rows = np.arange(ROWS)
    peak = near[rows, top].astype(np.float64)
    ok = (roll.valid[:, column] > 0) & (peak > 1.0) & (peak >= near.max(axis=1))
    if ok.sum() < ROWS // 8:
        return None
    far = (top + peak_offset(near[rows, top - 1], peak, near[rows, top + 1]) - half) * roll.step_mm
    weight, fit = ok.astype(np.float64), np.zeros(3)
    for _ in range(6):
        part = ROUND * weight[:, None]
        fit = np.linalg.solve(part.T @ ROUND + np.diag([1e-9, 1e-3, 1e-3]), part.T @ far)
        error = np.abs(far - ROUND @ fit)
        spread = max(0.5 * roll.step_mm, 1.4826 * float(np.median(error[ok])))
        weight = ok * np.clip(1 - (error / (3 * spread)) ** 2, 0, None) ** 2
    close = ok & (error < max(0.7 * roll.step_mm, 0.25))
    length = float(np.minimum(peak, 3)[close].sum() / roll.share(column))
    return Ring(
        radius_mm=float(roll.radius_mm[column] + fit[0]), off_mm=fit[1:], strength=strength, length=length
    )


def _stated(rings: list[Ring], radius_mm: float | None) -> list[Ring]:
    """Of rings the one of a stated radius; a ring that is not to be seen when there is none."""
    if not radius_mm:
        return rings
    near = [r for r in rings if abs(r.radius_mm - radius_mm) < STATED_MM]
    seen = max(near, key=lambda r: r.worth - abs(r.radius_mm - radius_mm), default=None)
    return [
        Ring(
            radius_mm=radius_mm, off_mm=seen.off_mm if seen else np.zeros(2),
            strength=seen.strength if seen else 0.0, length=seen.length if seen else 0.0,
        )
    ]  # fmt: skip


def _best_pair(roll: Roll, bores: list[Ring], rims: list[Ring], sure: tuple[bool, bool]) -> tuple[Ring, Ring] | None:
    rough = _roughness(roll)
    pairs = [
        (_score(roll.radius_mm, rough, bore, rim, bores, rims), bore, rim)
        for bore, rim in product(bores, rims)
        if SLIM * bore.radius_mm < rim.radius_mm < STOUT * bore.radius_mm
    ]
    if not pairs:
        return None
    score, bore, rim = max(pairs, key=lambda pair: pair[0])
    lead = score - max((s for s, b, r in pairs if differ((b, r), (bore, rim))), default=-np.inf)
    strong = all(ring.worth >= MIN_EDGE or known for ring, known in zip((bore, rim), sure, strict=True))
    return (bore, rim) if strong and score >= MIN_SCORE and lead >= MIN_LEAD else None


def _score(
    radius: Array, rough: Array, bore: Ring, rim: Ring, bores: list[Ring], rims: list[Ring]
) -> float:
    """How much a pair of rings looks like the two edges of a face."""
    a, b = bore.radius_mm, rim.radius_mm
    face, inside, outside = (
        0.004 + _middle(rough[(radius >= low) & (radius <= high)])
        for low, high in ((a + 2, a + 0.7 * (b - a)), (b - 6, b - 1), (b + 1, b + 4))
    )
    rougher = float(np.clip(np.log(outside / inside), -1.0, 1.3))
    plain = 1 - float(np.clip(2 * rougher, 0, 1))
    told: dict[str, float] = {
        "outer": rim.worth,
        "inner": bore.worth,
        "rougher": rougher,
        "rim": float(np.clip(np.log(inside / face) - 0.4, 0, 1.5)),
        "shape": float(((np.log(b / a) - USUAL_LOG[0]) / USUAL_LOG[1]) ** 2),
        "apart": min(float(np.hypot(*(bore.off_mm - rim.off_mm))), 3.0),
        "groove": plain * _partner(rim, bores, 1.0) + _partner(bore, rims, -1.0),
    }
    return sum(WEIGHT[name] * amount for name, amount in told.items())


def _partner(ring: Ring, others: list[Ring], side: float) -> float:
    """Strength of the other lip, if the ring is the lip of a groove."""
    near = (min(o.length, ring.length) for o in others if LIP_MM[0] < side * (o.radius_mm - ring.radius_mm) < LIP_MM[1])
    return max(near, default=0.0)


def _roughness(roll: Roll) -> Array:
    """Median difference of log grey from that of the rows beside, for every radius, (R,)."""
    fine = np.abs(roll.values - cv2.blur(roll.values, (1, 7)))
    seen = roll.valid > 0
    fine[~seen] = np.inf
    count = seen.sum(axis=0)
    middle = np.sort(fine, axis=0)[np.maximum(count - 1, 0) // 2, np.arange(fine.shape[1])]
    return np.where(count > ROWS // 10, middle, 0.0).astype(np.float64)


def doubled(
    gray: Image, plane: Plane, centre_mm: Array, radius_mm: float, exclude_px: tuple[Array, ...] = ()
) -> bool:
    """Whether a second edge just outside a bore edge (mm) may be where the face really begins."""
    ring = (radius_mm - 1.0, radius_mm + CHAMFER_MM[1] + 1.6)
    strip = unwrap(gray, plane, centre_mm, ring, step_deg=2.0, exclude_px=exclude_px)
    if len(strip.values) < 9:
        return False
    rise = slope(log_gray(strip.values), 1.5) * cv2.erode(strip.valid.astype(np.uint8), np.ones((1, 9), np.uint8))
    edge = np.abs(along(np.asarray(rise, dtype=np.float32), 9, closed=strip.closed)).mean(axis=0)
    far = strip.mm(np.arange(len(edge), dtype=np.float64)) - radius_mm
    crest = edge >= np.asarray(cv2.dilate(edge.reshape(1, -1), np.ones((1, 7)))).ravel()
    second = edge[crest & (far > CHAMFER_MM[0]) & (far < CHAMFER_MM[1])].max(initial=0.0)
    return bool(second > MAX_SECOND * edge[np.abs(far) < 0.25].max(initial=0.0))


def _middle(values: NDArray[np.float64]) -> float:
    return float(np.median(values)) if len(values) else 0.0
