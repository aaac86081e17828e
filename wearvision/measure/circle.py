"""Scale from a turned circle of known diameter: the rim or the bore of a face, measured with a caliper.

The rings of the part are sought (`circle_seek`), the one of the stated diameter is told from the others, and the
plane is fitted to sub-pixel edges of it and of a second ring of the same axis (`circle_fit`): the second one settles
which way the face is tilted, by where its centre is seen, whatever the focal length. With one ring alone the tilt has
two answers that mirror each other; what that costs is carried as `tilt`. Less than 60 degrees of the circle in view
is no answer: an ellipse is not to be told from such an arc.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.circle_fit import FREE, CircleFit, Known, covariance_parts, fit_plane
from wearvision.measure.circle_seek import MOST_TILT_DEG, Family, Ring, mirrored, seek
from wearvision.measure.edges import Grid, along, peak_offset, slope
from wearvision.measure.lens import Lens
from wearvision.measure.plane import Array, N, Plane
from wearvision.measure.prior import Prior, prior_of
from wearvision.measure.unwrap import Image, Strip, ring_points, unwrap
from wearvision.quantity import K95, Unmeasured

CALIPER_SD_MM = 0.03
"""Of a diameter read with a caliper: limit of error 0.03 mm and a little ovality. Common practice, no source."""
EDGE_SD_MM = 0.03
"""How far from the measured diameter's radius a clean edge may be seen: it is broken a little. A ragged one may be as
far off as its runs scatter. Common practice, no source."""
EDGE_SD_PX = 0.15
"""The same in pixels, all round alike: where a blurred edge is seen hangs on the photo's tones and sharpening. Common
practice, no source."""
DRAWING_SD = (0.06, 0.0006)
"""How far the other diameter, taken from a drawing, may lie from the part's: mm, and relative to the radius. Common
practice, no source."""
LEVEL_SD_MM, OTHER_SD_MM = 0.3, 3.0
"""Height of the face's other edge against the first, and of a ring of which nothing is stated."""
PLANE_SD_MM = {"rim": 0.1, "bore": 0.2}
"""Of the measured plane against the circle's edge, which is broken; a bore may have a small register. Common practice,
no source."""
LEAST_ARC_DEG = 60.0
RATIO_SD = 0.005
"""Of the logarithm of the ratio of two rings on the first look."""
HYPOTHESES = 6
SAME_SCALE, SAME_TILT = 0.006, 0.12
FIRST_PX, RUN_PX = 18.0, 6.0
"""Half-widths of the band in which a circle is sought at first, its centre and shape free, and of that in which its
edge may run."""
WINDOWS_PX = ((0.0, 6.0, 4.0, 3.0), (14.0, 6.0, 4.0, 3.0))
"""Half-widths of the band in which the edge nearest to the circle is taken, from turn to turn; 0: the clearest ring
near by. Either way of beginning finds circles that the other misses."""
FOUND_SD = (0.004, 0.1)
"""How far from where it should be a circle may be found: relative, and mm."""
ROW_DEG, STRIP_PX = 1.0, 0.7
LEAST_SLOPE = 0.004
"""Slope of the light per strip column over its mean, at least, for a row to hold an edge."""
LEAST_ROWS = 40
"""Edge points of the known circle, at least: two thirds of 60 degrees."""
CLEAR, APART = 0.15, 0.15
"""Strength of a ring against the strongest, from which on it may be the one meant; and how far apart two of them must
be, in the logarithm of their radii, not to be two edges of one rim."""
MOST_SPREAD_PX, LEAST_WORTH, MOST_PULL = 0.45, 1.6, 9.2
"""Scatter of the edge about its circle, clear edge in full circles, and the sum of squares, in standard deviations, of
what lens, sizes and levels have to give: chi squared of 2 degrees of freedom, 99 %. A wrong edge bends the lens first:
good fits on drawn photos have 0.1 to 0.4 px, 2 or more, and below 5."""
SURE_SPREAD_PX, SURE_WORTH, RIVAL = 0.35, 2.2, 0.9
HINT = "state both diameters of the face, have all of it in the picture, or lay a card beside it"
GAMMA = 2.2


@dataclass(frozen=True, kw_only=True, eq=False)
class Circle:
    """What a known diameter gave.

    Attributes
    ----------
    plane : Plane
        Source `diameter`, origin in the circle's axis.
    arc_deg : float
        How much of the circle was used.
    second : bool
        Whether a second ring settled the tilt.
    edge_px : (M, 2) array
        Edge points used, photo px.
    radii_mm : (K,) array
        Of the rings used, the known one first.
    """

    plane: Plane
    arc_deg: float
    second: bool
    edge_px: Array
    radii_mm: Array


@dataclass(frozen=True, kw_only=True)
class KnownCircle:
    """What is said of the face: which circle was measured, its diameter, and the other one's from the drawing."""

    which: str
    diameter_mm: float
    sd_mm: float = CALIPER_SD_MM
    other_mm: float | None = None

    @property
    def ratio(self) -> float | None:
        """Radius of the other ring over that of the known one."""
        return None if self.other_mm is None else self.other_mm / self.diameter_mm


def solve_circle(
    gray: Image, stated: KnownCircle, *, focal35_mm: float | None = None, lens: Lens | None = None,
    exclude_px: tuple[Array, ...] = (),
) -> Circle | Unmeasured:  # fmt: skip
    """The measured plane from one circle of known diameter.

    Parameters
    ----------
    gray : (H, W) uint8
    stated : Stated
    focal35_mm : 35 mm film focal length of EXIF; a prior, never a scale
    lens : a calibration of this camera, in the photo's frame
    exclude_px : outlines in photo pixels that hide the part.
    """
    size = (gray.shape[1], gray.shape[0])
    prior = prior_of(size, focal35_mm, lens=lens)
    families = seek(gray, prior, exclude_px)
    families = [f for f in families if f.worth > 0.6 * families[0].worth]
    if not families:
        return Unmeasured(reason="no circle is seen", hint=HINT)
    starts = list(_starts(families, stated))
    if not starts:
        return Unmeasured(reason=f"no ring is surely the {stated.which}", hint=HINT)
    good = [f for f in _fitted(gray, starts, stated, prior, exclude_px) if _clear(f)]
    if not good:
        return Unmeasured(reason=f"the edge of the {stated.which} is not clear enough", hint=HINT)
    good.sort(key=lambda f: -f.worth)
    best = good[0]
    if any(f.worth > RIVAL * best.worth and abs(math.log(f.distance / best.distance)) > 0.01 for f in good[1:]):
        return Unmeasured(reason=f"two rings may be the {stated.which}", hint=HINT)
    return _answer(best, stated, size, prior.lens_source)


def _fitted(
    gray: Image, starts: Sequence[Start], stated: KnownCircle, prior: Prior, exclude_px: tuple[Array, ...]
) -> Iterator[Fine]:
    """Starts fitted to edges, until one is so clear that no other can be."""
    for start in starts:
        for windows in WINDOWS_PX:
            fine = _fine(gray, start, stated, prior, exclude_px, windows)
            if fine is not None:
                yield fine
                if fine.worth > SURE_WORTH and float(fine.fit.spread_px.max()) < SURE_SPREAD_PX:
                    return


def _clear(fine: Fine) -> bool:
    """Whether the edges are those of circles, and of the sizes and the lens that were expected."""
    enough = LEAST_WORTH * (1.0 if len(fine.fit.radii_mm) > 1 else 0.5)
    return bool(
        fine.fit.spread_px.max() <= MOST_SPREAD_PX and fine.worth >= enough and np.sum(fine.fit.pulls**2) < MOST_PULL
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Start:
    """A plane in millimetres to begin from, and the radii of its rings, the known one first."""

    plane: Plane
    radii_mm: tuple[float, ...]
    worth: float


def _starts(families: Sequence[Family], stated: KnownCircle) -> Iterator[Start]:
    """Which ring is the known one, best guess first."""
    found: list[Start] = []
    for family in families:
        found += _by_ratio(family, stated) if stated.ratio else _by_look(family, stated)
    kept: list[Start] = []
    for start in sorted(found, key=lambda s: -s.worth):
        if all(_unlike(start, other) for other in kept):
            kept.append(start)
    yield from kept[:HYPOTHESES]


def _unlike(one: Start, other: Start) -> bool:
    """Whether two starts differ in scale or in tilt by more than a fit walks."""
    a, b = one.plane.theta, other.plane.theta
    return bool(abs(math.log(a[5] / b[5])) > SAME_SCALE or np.hypot(*(a[:2] - b[:2])) > SAME_TILT)


def _by_ratio(family: Family, stated: KnownCircle) -> Iterator[Start]:
    """Each ring as either circle; it counts more when the other one is seen where it should be."""
    assert stated.ratio is not None and stated.other_mm is not None
    for one in family.rings:
        for ratio, scale in ((stated.ratio, 1.0), (1 / stated.ratio, stated.ratio)):
            told = [r.strength * math.exp(-0.5 * (math.log(r.radius / one.radius / ratio) / RATIO_SD) ** 2)
                    for r in family.rings if r is not one]  # fmt: skip
            worth = family.worth / 8 + min(one.strength, 2.0) + 2 * max(told, default=0.0)
            yield _scaled(family, one, stated, (stated.other_mm / 2,), worth, stated.diameter_mm / 2 * scale)


def _by_look(family: Family, stated: KnownCircle) -> Iterator[Start]:
    """Of one clear ring, or two, the bore is the inner and the rim the outer; of more, any may be meant."""
    top = max(r.strength for r in family.rings)
    clear = [r for r in family.rings if r.strength >= CLEAR * top]
    if len(clear) > 2 or (len(clear) == 2 and math.log(clear[1].radius / clear[0].radius) < APART):
        return
    one = clear[0] if stated.which == "bore" else clear[-1]
    scale = stated.diameter_mm / 2 / one.radius
    second = tuple(r.radius * scale for r in clear if r is not one)
    yield _scaled(family, one, stated, second, one.strength, stated.diameter_mm / 2)


def _scaled(
    family: Family, one: Ring, stated: KnownCircle, others_mm: tuple[float, ...], worth: float, radius_mm: float
) -> Start:
    """A start at the scale at which a ring has a radius."""
    theta = family.plane.theta.copy()
    theta[3:6] *= radius_mm / one.radius
    radii = (stated.diameter_mm / 2, *others_mm)
    return Start(plane=replace(family.plane, theta=theta), radii_mm=radii, worth=worth)


@dataclass(frozen=True, kw_only=True, eq=False)
class Fine:
    """A plane fitted to edges in full size."""

    fit: CircleFit
    px: Array
    group: NDArray[np.int64]
    worth: float

    @property
    def distance(self) -> float:
        """Distance of the axis over focal length: what the scale hangs on."""
        return float(self.fit.plane.theta[5] / self.fit.plane.focal_px)


def _known(stated: KnownCircle, radii_mm: Sequence[float], ragged_mm: Sequence[float]) -> list[Known]:
    """What is known of each ring, given how its edge scatters in runs."""
    out = [Known(radius_mm=radii_mm[0], sd_mm=math.hypot(EDGE_SD_MM, ragged_mm[0]), unit=True)]
    for radius, ragged in zip(radii_mm[1:], ragged_mm[1:], strict=True):
        if stated.other_mm is None:
            out.append(Known(radius_mm=radius, sd_mm=FREE, height_sd_mm=OTHER_SD_MM))
        else:
            sd = math.hypot(EDGE_SD_MM, ragged, DRAWING_SD[0] + DRAWING_SD[1] * radius)
            out.append(Known(radius_mm=radius, sd_mm=sd, height_sd_mm=LEVEL_SD_MM))
    return out


def _fine(
    gray: Image, start: Start, stated: KnownCircle, prior: Prior, exclude_px: tuple[Array, ...],
    windows_px: tuple[float, ...],
) -> Fine | None:  # fmt: skip
    """Edges, fit, edges nearer by, and so on."""
    plane, radii, heights = start.plane, np.array(start.radii_mm), np.zeros(len(start.radii_mm))
    known = _known(stated, start.radii_mm, [EDGE_SD_MM] * len(radii))
    scale_sd = stated.sd_mm / stated.diameter_mm
    fit: CircleFit | None = None
    px, group, strength = np.zeros((0, 2)), np.zeros(0, dtype=np.int64), np.zeros(0)
    for turn, window in enumerate(windows_px):
        rings = zip(radii.tolist(), heights.tolist(), strict=True)
        rows = [_edges(gray, plane, radius, height, window, exclude_px) for radius, height in rings]
        px = np.vstack([r[0] for r in rows])
        group = np.repeat(np.arange(len(rows)), [len(r[0]) for r in rows])
        strength = np.concatenate([r[1] for r in rows])
        if len(rows[0][0]) < LEAST_ROWS:
            return None
        last = turn == len(windows_px) - 1
        fit = fit_plane(px, group, plane, known, prior, scale_sd=scale_sd, turns=40 if last else 10)
        plane, radii, heights = fit.plane, fit.radii_mm, fit.heights_mm
        if not np.isfinite(plane.theta).all() or plane.tilt_deg > MOST_TILT_DEG or plane.theta[5] <= 0:
            return None
        ragged = [
            math.hypot(float(s), EDGE_SD_PX) * _scale(plane, float(r)) for s, r in zip(fit.sigma_px, radii, strict=True)
        ]
        known = _known(stated, start.radii_mm, ragged)
    assert fit is not None
    if len(radii) == 1:  # of the two answers the steeper one: its interval holds the other
        other = fit_plane(px, group, mirrored(fit.plane), known, prior, scale_sd=scale_sd)
        if other.spread_px[0] < 1.5 * fit.spread_px[0] and fit.plane.tilt_deg < other.plane.tilt_deg < MOST_TILT_DEG:
            fit = other
    return Fine(fit=fit, px=px, group=group, worth=_worth(fit, group, strength))


def _worth(fit: CircleFit, group: NDArray[np.int64], strength: Array) -> float:
    """How much clear edge lies on the fitted circles, in full circles, less what the priors had to give."""
    total = 0.0
    for k in range(len(fit.radii_mm)):
        mine = group == k
        told = np.minimum(strength[mine], 3.0) * fit.weights[mine] * ROW_DEG / 360.0
        total += float(told.sum()) / (1 + fit.spread_px[k] ** 2)
    return total


def _edges(
    gray: Image, plane: Plane, radius_mm: float, height_mm: float, window_px: float,
    exclude_px: tuple[Array, ...],
) -> tuple[Array, Array]:  # fmt: skip
    """Edge points of the clearest ring about a circle, photo px (M, 2), and their strength (M,)."""
    theta = plane.theta.copy()
    theta[11] -= height_mm
    lifted = replace(plane, theta=theta)
    px_mm = _scale(lifted, radius_mm)
    half = ((window_px or FIRST_PX + RUN_PX) + 4.0) * px_mm
    strip = unwrap(
        gray, lifted, np.zeros(2), (radius_mm - half, radius_mm + half), step_deg=ROW_DEG, step_px=STRIP_PX,
        exclude_px=exclude_px,
    )
    if len(strip.values) < 9:
        return np.zeros((0, 2)), np.zeros(0)
    light = np.asarray((strip.values / np.float32(255.0)) ** np.float32(GAMMA) * np.float32(255.0), dtype=np.float32)
    edge = np.abs(slope(along(light, 3, closed=strip.closed), 1.5)) / (light.mean(axis=1, keepdims=True) + 4.0)
    edge = np.asarray(edge * strip.valid, dtype=np.float32)
    if window_px == 0.0:
        return _ring_near(strip, lifted, edge, radius_mm)
    return _nearest(strip, lifted, edge, radius_mm, window_px)


def _scale(plane: Plane, radius_mm: float) -> float:
    """Length of a photo pixel about a circle, mm."""
    there = plane.to_px(ring_points(np.zeros(2), np.arange(0.0, 360.0, 30.0), radius_mm))
    out = plane.to_px(ring_points(np.zeros(2), np.arange(0.0, 360.0, 30.0), radius_mm * 1.01))
    return float(0.01 * radius_mm / np.median(np.hypot(*(out - there).T)))


def _ring_near(strip: Strip, plane: Plane, edge: Grid, radius_mm: float) -> tuple[Array, Array]:
    """Edge points of the clearest ring near where a circle should be, centre and shape free."""
    deg = strip.deg(np.arange(len(edge), dtype=np.float64))
    angle = np.radians(deg)
    shape = np.column_stack([np.ones(len(angle)), *(f(k * angle) for k in (1, 2) for f in (np.cos, np.sin))])
    around = edge.mean(axis=1, keepdims=True) + 1e-6
    level = np.minimum(edge / around, 5.0)
    half = max(3, round(RUN_PX / STRIP_PX))
    told = cv2.blur(level, (5, 1)).mean(axis=0)
    crest = np.asarray(cv2.dilate(told.reshape(1, -1), np.ones((1, 7)))).ravel()
    columns = np.flatnonzero((told >= crest - 1e-6) & (told > np.median(told)))
    best, best_worth = (np.zeros((0, 2)), np.zeros(0)), 0.0
    for column in columns[(columns > half) & (columns < edge.shape[1] - half - 1)].tolist():
        far, close, peak = _ring_fit(level, shape, column, half)
        radius = strip.mm(np.array([far.mean()]))[0]
        off = (radius - radius_mm) / (FOUND_SD[0] * radius_mm + FOUND_SD[1])
        worth = float(np.minimum(peak, 3.0)[close].sum()) * math.exp(-0.5 * off * off)
        if worth > best_worth:
            ring = ring_points(np.zeros(2), deg[close], strip.mm(far[close]))
            best, best_worth = (plane.to_px(ring), peak[close] / 2.0), worth
    return best


def _ring_fit(level: Grid, shape: Array, column: int, half: int) -> tuple[Array, NDArray[np.bool_], Array]:
    """Edge column of every row near a column, which of them agree on one ring, and their strength."""
    rows = np.arange(len(level))
    near = level[:, column - half : column + half + 1]
    top = np.argmax(near, axis=1).clip(1, 2 * half - 1)
    peak = near[rows, top].astype(np.float64)
    ok = (peak > 1.5) & (peak >= near.max(axis=1))
    far = column - half + top + peak_offset(near[rows, top - 1], peak, near[rows, top + 1])
    weight, error = ok.astype(np.float64), np.abs(far - column)
    ridge = np.diag([1e-9, 0.1, 0.1, 0.3, 0.3])
    for _ in range(6):
        part = shape * weight[:, None]
        fit = np.linalg.solve(part.T @ shape + ridge, part.T @ (far - column))
        error = np.abs(far - column - shape @ fit)
        spread = max(0.7, 1.4826 * float(np.median(error[ok]))) if ok.any() else 0.7
        weight = ok * np.clip(1 - (error / (3 * spread)) ** 2, 0, None) ** 2
    return np.where(ok, far, column), ok & (error < 1.5), peak


def _nearest(
    strip: Strip, plane: Plane, edge: Grid, radius_mm: float, window_px: float
) -> tuple[Array, Array]:
    """The edge of each row that is strong and near the circle, photo px (M, 2), and its strength (M,)."""
    rows = np.arange(len(edge))
    column = (radius_mm - strip.start_mm) / strip.step_mm
    half = max(2, round(window_px / STRIP_PX))
    first = max(1, round(column) - half)
    near = edge[:, first : round(column) + half + 1]
    off = (np.arange(near.shape[1]) + first - column) / (0.5 * half)
    crest = near * (near >= cv2.dilate(near, np.ones((1, 3), np.uint8)))
    at = (np.argmax(crest * np.exp(-0.5 * off * off), axis=1) + first).clip(1, edge.shape[1] - 2)
    peak = edge[rows, at].astype(np.float64)
    around = edge.mean(axis=1)
    whole = strip.valid[:, max(0, first - 3) : round(column) + half + 4].all(axis=1)
    top = (peak >= edge[rows, at - 1]) & (peak >= edge[rows, at + 1])
    ok = whole & top & (peak > LEAST_SLOPE) & (peak > 1.5 * around)
    far = strip.mm(at + peak_offset(edge[rows, at - 1], peak, edge[rows, at + 1]))
    deg = strip.deg(rows.astype(np.float64))
    px = plane.to_px(ring_points(np.zeros(2), deg[ok], far[ok]))
    return px, np.asarray(peak[ok] / np.maximum(around[ok], 1e-6) / 2.0)


def _arc_deg(fine: Fine, circle: int) -> float:
    """How much of a circle its agreeing edge points cover, in steps of 5 degrees."""
    mine = (fine.group == circle) & (fine.fit.weights > 0.3)
    mm = fine.fit.plane.to_mm(fine.px[mine])
    cells = np.unique(np.floor(np.degrees(np.arctan2(mm[:, 1], mm[:, 0])) / 5.0))
    return float(5.0 * len(cells))


def _answer(fine: Fine, stated: KnownCircle, size: tuple[int, int], lens_source: str) -> Circle | Unmeasured:
    fit = fine.fit
    arc = _arc_deg(fine, 0)
    if arc < LEAST_ARC_DEG:
        return Unmeasured(reason=f"only {arc:.0f} degrees of the {stated.which} are clear, 60 are needed", hint=HINT)
    second = len(fit.radii_mm) > 1 and _arc_deg(fine, 1) >= LEAST_ARC_DEG
    sources = covariance_parts(fit, fine.group, fine.px)
    lift = np.zeros((N, N))
    lift[11, 11] = PLANE_SD_MM[stated.which] ** 2
    sources["height"] = sources["height"] + lift
    if not second:
        sources["tilt"] = _either_way(fit.plane)
    miss = fit.spread_px[0]
    plane = replace(fit.plane, sources=sources, size_px=size, source="diameter", rms_px=float(miss),
        lens_source=lens_source)
    return Circle(
        plane=plane, arc_deg=arc, second=second, edge_px=fine.px[fit.weights > 0.3], radii_mm=fit.radii_mm
    )


def _either_way(plane: Plane) -> Array:
    """What it costs that the tilt may be the other way: the perspective may have the other sign.

    Distance and focal length grow together while the perspective fades; twice that turns its sign. The 95 % interval
    reaches as far as the other answer, which is less steep.
    """
    way = np.zeros(N)
    way[5], way[6] = plane.theta[5], 1.0
    return np.outer(way, way) * (2 / K95) ** 2


