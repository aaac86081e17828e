"""The wear face: a ring between its bore edge and its outer edge, found in the measured plane.

Circles of the part are true circles in the plane, so all searching is done in millimetres. Coarse: edge pixels
of a small map of the plane vote for the centre along their gradient at the stated radii; the best places are
compared by how well a concentric pair of edges fits. Fine: edges along rays in the photo itself, and a robust
fit of two concentric circles. Only edges at face level fit a pair of concentric circles of the stated sizes:
the far rim of the bore's wall and the top of a rim lie off the plane, and so off the circles.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import Copies, chart_of
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Circles, Grid, along, fit_circles, log_gray, slope
from wearvision.measure.guess import doubled, guess_rings
from wearvision.measure.plane import Array, Plane
from wearvision.measure.rings import find_rings, shifts_of
from wearvision.measure.unwrap import Image, Strip, ring_points, unwrap
from wearvision.quantity import Measured, Unmeasured
from wearvision.stated import Stated

DRAWING_SD = (0.15, 0.001)
"""How far a real radius may lie from the drawing's: standard deviation in mm, and relative to the radius; common
practice, no source."""
BREAK_MM = 0.35
"""Usual broken edge (chamfer or rounding): the flat of a face ends this far inside its drawn outline; common practice,
no source."""
BREAK_SD_MM = 0.3
GUESS_SD_MM = 0.8
"""The same of a size that is not stated but seen on the small map."""
CHOICE_SD_MM = 0.5
"""How far off an edge may lie that was taken for the face's, its size not stated: a chamfer's foot, the rim's edge."""
INDEPENDENT = 12.0
"""Edge points of one circle count as this many independent ones: rust, chips and shadows err in long runs."""
REACH_MM = 3.0
"""How far the coarse centre may be off."""
RING_HINT = "state the face's inner and outer diameter, and have the face in the picture"
WINDOWS_MM = {0.7: 8, 0.4: 8, 0.25: 25}
"""Edges are sought so near a circle, which is then fitted anew in at most so many turns."""
RAY_PX = 2.0
"""Distance of rays, photo px: hundreds of them tell an edge."""
STARTS, APART_MM = 4, 1.0
"""Places of the axis that are followed, where the first is not clear, and how far apart they lie."""
AGREE_MM, CLEAR, MORE, HOPE = 0.1, 0.6, 1.2, 0.6
"""An edge point agrees that lies so near its circle. A place is clear when this share of what is in view agrees with
it; another is better when so many times as many points agree with that one, and is followed to the end when this share
of what agreed with the best one at first does."""
BELIEVED, BELIEVED_UNCLEAR = 0.2, 0.35
"""Share of what is in view that must agree with the face, and that where no ring of the stated sizes stands out on the
map: of drawn faces it is 0.21 to 0.9; where sizes are stated that no ring of the photo has, 0.18 in the middle, and
where then nothing stands out above the second once on 101 photos."""
LEAST_PEAK = 1.5
"""An edge is this many times as strong as the mean of its row."""
LEAST_EDGES, LEAST_SHARE = 20, 0.2
"""Edge points, and their share of the directions in view, that circles of the face must have: drawn worn faces have
0.4 or more; where a card lies much higher than stated, rings of the stated sizes are nowhere, and it is below 0.1."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Face:
    """The ring of a wear face.

    Attributes
    ----------
    centre_mm : (2,) array
        The part's axis on the plane.
    inner_mm, outer_mm : Measured
        Radii of the edges as drawn: what the fit and the stated sizes say together.
    flat_mm : (inner, outer)
        Radii between which the face is flat: its edges are broken.
    covariance : (4, 4) array, mm2
        Of centre x, centre y, inner and outer radius of the flat; without the plane's own.
    sure : bool
        Whether both sizes were stated; else a radius is that of the most coherent ring, which may be another edge.
    seen_deg : (N, 2) array
        Angle and 1 where some of the ring is in the picture and not covered, else 0; every degree.
    """

    centre_mm: Array
    inner_mm: Measured
    outer_mm: Measured
    flat_mm: tuple[float, float]
    covariance: Array
    sure: bool
    seen_deg: Array

    @property
    def radii_mm(self) -> tuple[float, float]:
        """Inner and outer radius."""
        return self.inner_mm.value, self.outer_mm.value

    @property
    def area_mm2(self) -> float:
        """Area of the whole ring."""
        inner, outer = self.radii_mm
        return float(np.pi * (outer**2 - inner**2))

    def circle_px(self, plane: Plane, radius_mm: float, count: int = 180) -> Array:
        """A circle about the axis as a closed polyline in photo pixels, (count, 2)."""
        return plane.to_px(ring_points(self.centre_mm, np.linspace(0, 360, count, endpoint=False), radius_mm))


def find_face(
    gray: Image, plane: Plane, stated: Stated, exclude_px: tuple[Array, ...] = (), copies: Copies | None = None
) -> Face | Unmeasured:
    """Find the ring of the wear face.

    Parameters
    ----------
    gray : (H, W) uint8
    plane : Plane
    stated : Stated
        `face_inner_diameter_mm` and `face_outer_diameter_mm` of its drawing sizes help much.
    exclude_px : outlines in photo pixels that hide the part (the card).
    copies : smaller copies of the picture, where it has some
    """
    chart = chart_of(gray, plane, exclude_px, copies)
    inner, outer = (stated.nominal.get(f"face_{k}_diameter_mm", 0.0) / 2 for k in ("inner", "outer"))
    if 0 < inner < outer:
        centre, clear = find_rings(chart, (inner, outer))
        face = _fine(gray, plane, centre, (inner, outer), exclude_px, least=BELIEVED if clear else BELIEVED_UNCLEAR)
        if not clear and not isinstance(face, Face):
            return Unmeasured(reason="no ring of the stated sizes is in the picture", hint=RING_HINT)
        return face
    guess = guess_rings(chart, inner or None, outer or None)
    if guess is None:
        return Unmeasured(reason="no ring is surely the face, and its sizes are not all stated", hint=RING_HINT)
    return _fine(gray, plane, *guess, exclude_px, said=(inner > 0, outer > 0))


def _fine(
    gray: Image, plane: Plane, centre: Array, nominal: tuple[float, float], exclude_px: tuple[Array, ...],
    said: tuple[bool, bool] = (True, True), least: float = BELIEVED,
) -> Face | Unmeasured:  # fmt: skip
    sd = np.where(said, DRAWING_SD[0] + DRAWING_SD[1] * np.array(nominal), GUESS_SD_MM)
    flat = np.array(nominal) + np.where(said, [BREAK_MM, -BREAK_MM], 0.0)
    strips, fit = _fitted(gray, plane, centre, flat, sd, exclude_px, least)
    if fit is None:
        return Unmeasured(reason="the edges of the face are not clear enough", hint=RING_HINT)
    if not said[0] and doubled(gray, plane, fit.centre_mm, float(fit.radii_mm[0]), exclude_px):
        return Unmeasured(reason="two edges at the bore: either may be where the face begins", hint=RING_HINT)
    return _face(fit, strips, nominal, sd, said)


def circles_near(
    gray: Image, plane: Plane, centre: Array, radii: tuple[float, float], exclude_px: tuple[Array, ...] = ()
) -> Circles | None:
    """Two concentric edges about a centre and radii, mm, that are roughly known; None where they are not clear."""
    return _fitted(gray, plane, centre, np.array(radii), np.full(2, GUESS_SD_MM), exclude_px)[1]


def _fitted(
    gray: Image, plane: Plane, centre: Array, flat: Array, sd: Array, exclude_px: tuple[Array, ...],
    least: float = BELIEVED,
) -> tuple[list[Strip], Circles | None]:  # fmt: skip
    """Strips about two circles that may lie so far off, and the circles as they are."""
    reach = 3 * sd + REACH_MM
    strips = [
        unwrap(gray, plane, centre, (r - w, r + w), step_deg=1.0, exclude_px=exclude_px, ray_px=RAY_PX)
        for r, w in zip(flat, reach, strict=True)
    ]
    return strips, _best_fit(strips, flat, sd, least)


def _edge_map(strip: Strip) -> Grid:
    """Edge strength relative to its surroundings, 0 where not valid."""
    size = np.abs(slope(along(log_gray(strip.values), 3, closed=strip.closed), 1.5))
    size = size * cv2.erode(strip.valid.astype(np.uint8), np.ones((1, 9), np.uint8))
    return np.asarray(size / (size.mean(axis=1, keepdims=True) + 0.004), dtype=np.float32)


def _best_fit(strips: list[Strip], flat: Array, sd: Array, least: float) -> Circles | None:
    """Of the circles near the places that gather most edge, those that most edge points agree with.

    An edge beside the face's, or a shadow, may gather as much edge for an axis a little aside.
    """
    edges = [_edge_map(s) for s in strips]
    rows = sum(int(s.valid[:, s.valid.shape[1] // 2].sum()) for s in strips)
    best: _Fit | None = None
    for start in _starts(strips, edges, flat, sd):
        found = _fit(strips, edges, start, flat, sd, rows, HOPE * best.first if best else 0.0)
        if found is not None and (best is None or found.agree > MORE * best.agree):
            best = found
        if best is not None and best.agree > CLEAR * rows:
            break
    return best.circles if best is not None and best.agree >= least * rows else None


def _starts(strips: list[Strip], edges: list[Grid], flat: Array, sd: Array) -> list[Array]:
    """Centres and radii (4,) that gather most edge, best first, by exhaustive search on a grid."""
    step = REACH_MM / 8
    shifts, _ = shifts_of(np.zeros(1), REACH_MM, step)
    total, radii = np.zeros(len(shifts)), []
    for strip, edge, r, s in zip(strips, edges, flat, sd, strict=True):
        if len(edge) < 3:  # this circle is out of the picture
            radii.append(np.full(len(shifts), r))
            continue
        edge = np.asarray(cv2.blur(np.minimum(edge, 4.0), (1, 3))[1::3], dtype=np.float32)
        angle = np.radians(strip.deg(np.arange(len(edge), dtype=np.float64) * 3 + 1.0))
        delta = np.arange(-3 * s, 3 * s + step / 2, step)
        wide: Grid = np.asarray(cv2.blur(edge, (max(1, round(step / strip.step_mm)), 1)), dtype=np.float32)
        middle, moved = float((r - strip.start_mm) / strip.step_mm), np.rint(delta / strip.step_mm).astype(np.int64)
        score = _sums(wide, angle, middle, shifts / strip.step_mm, moved)
        score -= 0.1 * len(edge) * (delta / s) ** 2
        radii.append(r + delta[np.argmax(score, axis=1)])
        total += score.max(axis=1)
    starts: list[Array] = []
    while len(starts) < STARTS and np.isfinite(total).any():
        best = int(np.argmax(total))
        starts.append(np.array([*(strips[0].centre_mm + shifts[best]), radii[0][best], radii[1][best]]))
        total[np.hypot(*(shifts - shifts[best]).T) <= APART_MM] = -np.inf
    return starts


@dataclass(frozen=True, kw_only=True, eq=False)
class _Fit:
    """Concentric circles and how many edge points agree with them: in the end, and at first."""

    circles: Circles
    agree: int
    first: int


def _fit(
    strips: list[Strip], edges: list[Grid], start: Array, flat: Array, sd: Array, rows: int, hope: float
) -> _Fit | None:
    """Circles through the sub-pixel edge places near a start; None where at first fewer agree than hoped for."""
    prior = np.array([20.0, 20.0, *sd])
    found: _Fit | None = None
    for window, turns in WINDOWS_MM.items():
        places = [_places(s, e, start, k, window) for k, (s, e) in enumerate(zip(strips, edges, strict=True))]
        points = np.concatenate(places)
        if len(points) < max(LEAST_EDGES, LEAST_SHARE * rows):
            return None
        group = np.repeat([0, 1], [len(p) for p in places])
        centre = np.array([*start[:2], *flat])
        effective = max(1.0, len(points) / (2 * INDEPENDENT))
        fit = fit_circles(points, group, centre, prior, floor_mm=0.08, effective=effective, turns=turns)
        start = np.array([*fit.centre_mm, *fit.radii_mm])
        off = np.hypot(*(points - fit.centre_mm).T) - fit.radii_mm[group]
        agree = int((np.abs(off) < AGREE_MM).sum())
        found = _Fit(circles=fit, agree=agree, first=found.first if found else agree)
        if found.first < hope:
            return None
    return found


def _places(strip: Strip, edge: Grid, start: Array, k: int, window: float) -> Array:
    """Strongest edge of each row within a window about a circle, plane points (N, 2)."""
    deg = strip.deg(np.arange(len(edge), dtype=np.float64))
    angle = np.radians(deg)
    shift = start[:2] - strip.centre_mm
    expect = start[2 + k] + shift[0] * np.cos(angle) + shift[1] * np.sin(angle)
    rows, column = _strongest(edge, (expect - strip.start_mm) / strip.step_mm, max(2, round(window / strip.step_mm)))
    return ring_points(strip.centre_mm, deg[rows], strip.mm(column))


@compiled
def _sums(edge: Grid, angle: Array, middle: float, shifts: Array, delta: NDArray[np.int64]) -> Array:
    """Sums (M, D) of what stands along a circle that crosses the middle column, its centre moved by shifts (M, 2),
    columns, and its radius by so many."""
    total, cos, sin, last = np.zeros((len(shifts), len(delta))), np.cos(angle), np.sin(angle), edge.shape[1] - 1
    for m in range(len(shifts)):
        for row in range(len(edge)):
            column = int(np.rint(middle + shifts[m, 0] * cos[row] + shifts[m, 1] * sin[row]))
            for d in range(len(delta)):
                total[m, d] += edge[row, min(max(column + delta[d], 0), last)]
    return total


@compiled
def _strongest(edge: Grid, expect: Array, half: int) -> tuple[NDArray[np.int64], Array]:
    """Rows in which the strongest edge within `half` columns of where it is expected is a clear peak, and its column,
    between columns by a parabola."""
    rows, places, count = np.empty(len(edge), np.int64), np.empty(len(edge)), 0
    for row in range(len(edge)):
        middle = int(np.rint(expect[row]))
        if middle - half > 0 and middle + half < edge.shape[1] - 1:
            top = middle - half + int(np.argmax(edge[row, middle - half : middle + half + 1]))
            if abs(top - middle) < half and edge[row, top] > LEAST_PEAK:
                left, peak, right = np.float64(edge[row, top - 1]), edge[row, top], edge[row, top + 1]
                bend = left - 2 * peak + right
                off = 0.5 * (left - right) / bend if abs(bend) > 1e-12 else 0.0
                rows[count], places[count] = row, top + min(max(off, -0.5), 0.5)
                count += 1
    return rows[:count], places[:count]


def _face(fit: Circles, strips: list[Strip], nominal: tuple[float, float], sd: Array, said: tuple[bool, bool]) -> Face:
    deg = np.arange(0.0, 360.0)
    seen = np.zeros(360)
    for strip in strips:
        row = np.rint(np.mod(deg - strip.first_deg, 360.0) / strip.step_deg).astype(int)
        ok = row < len(strip.valid)
        seen[ok] = np.maximum(seen[ok], strip.valid[row[ok], strip.valid.shape[1] // 2])
    radii = []
    for k, (drawn, side) in enumerate(zip(nominal, (-1.0, 1.0), strict=True)):
        fitted = float(fit.radii_mm[k]) + side * BREAK_MM
        doubt = float(np.hypot(BREAK_SD_MM, np.sqrt(fit.covariance[2 + k, 2 + k])))
        share = doubt**2 / (doubt**2 + sd[k] ** 2)
        value, u = share * drawn + (1 - share) * fitted, float(np.sqrt(share) * sd[k])
        how = "circle fitted to the edge, with the drawing" if said[k] else "most coherent ring; size not stated"
        choice = {} if said[k] else {"choice": CHOICE_SD_MM}
        radii.append(Measured.of(float(value), "mm", how=how, edge=u, **choice))
    return Face(
        centre_mm=fit.centre_mm, inner_mm=radii[0], outer_mm=radii[1],
        flat_mm=(float(fit.radii_mm[0]), float(fit.radii_mm[1])), covariance=fit.covariance,
        sure=all(said), seen_deg=np.column_stack([deg, seen]),
    )  # fmt: skip
