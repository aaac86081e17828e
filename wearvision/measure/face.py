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

from wearvision.measure.edges import Circles, Grid, along, fit_circles, log_gray, peak_offset, slope
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image, Strip, ring_points, unwrap
from wearvision.quantity import Measured, Unmeasured
from wearvision.stated import Stated

MAP_PX = 640
"""Long side of the small map of the plane."""
EDGES = 16_000
"""Edge pixels that vote."""
DRAWING_SD = (0.15, 0.001)
"""How far a real radius may lie from the drawing's: standard deviation in mm, and relative to the radius; common
practice, no source."""
BREAK_MM = 0.35
"""Usual broken edge (chamfer or rounding): the flat of a face ends this far inside its drawn outline; common practice,
no source."""
BREAK_SD_MM = 0.3
INDEPENDENT = 12.0
"""Edge points of one circle count as this many independent ones: rust, chips and shadows err in long runs."""
MIN_SCORE = 0.08
"""Least mean excess of edge strength along what is seen of the two circles."""
MIN_SEEN = 0.2
"""With less of the circles in view the excess is taken over this share."""
PAD = 0.6
"""The centre may lie outside the picture by this share of the outer radius."""
REACH_MM = 3.0
"""How far the coarse centre may be off."""
RING_HINT = "state the face's inner and outer diameter, and have the face in the picture"


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
    seen_deg : (N, 2) array
        Angle and 1 where some of the ring is in the picture and not covered, else 0; every degree.
    """

    centre_mm: Array
    inner_mm: Measured
    outer_mm: Measured
    flat_mm: tuple[float, float]
    covariance: Array
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


@dataclass(frozen=True, kw_only=True, eq=False)
class _Map:
    """Small map of the plane: log grey, valid mask, mm of pixel (0, 0), mm per pixel."""

    values: Grid
    valid: NDArray[np.bool_]
    origin_mm: Array
    step_mm: float


def find_face(
    gray: Image, plane: Plane, stated: Stated, exclude_px: tuple[Array, ...] = ()
) -> Face | Unmeasured:
    """Find the ring of the wear face.

    Parameters
    ----------
    gray : (H, W) uint8
    plane : Plane
    stated : Stated
        `face_inner_diameter_mm` and `face_outer_diameter_mm` of its drawing sizes help much.
    exclude_px : outlines in photo pixels that hide the part (the card).
    """
    chart = _chart(gray, plane, exclude_px)
    nominal = _stated_radii(stated)
    if nominal is None:
        return Unmeasured(reason="no face found: its sizes are not stated", hint=RING_HINT)
    start = _coarse(chart, nominal)
    if start is None:
        return Unmeasured(reason="no ring of the stated sizes is in the picture", hint=RING_HINT)
    return _fine(gray, plane, start, nominal, exclude_px)


def _stated_radii(stated: Stated) -> tuple[float, float] | None:
    inner = stated.nominal.get("face_inner_diameter_mm", 0.0) / 2
    outer = stated.nominal.get("face_outer_diameter_mm", 0.0) / 2
    return (inner, outer) if 0 < inner < outer else None


def _chart(gray: Image, plane: Plane, exclude_px: tuple[Array, ...]) -> _Map:
    """Map of all of the plane that is in the picture."""
    width, height = plane.size_px
    edge = np.linspace(0, 1, 9)
    border = np.concatenate([
        np.column_stack([edge * (width - 1), np.full(9, y * (height - 1))]) for y in (0, 1)
    ] + [np.column_stack([np.full(9, x * (width - 1)), edge * (height - 1)]) for x in (0, 1)])  # fmt: skip
    corner = plane.to_mm(border)
    low, high = corner.min(axis=0), corner.max(axis=0)
    step = float((high - low).max() / MAP_PX)
    shrink = max(1, round(step / scale_at(plane, np.array([[width / 2, height / 2]]))))
    small = cv2.resize(gray, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA)
    nx, ny = (np.ceil((high - low) / step)).astype(int) + 1
    kx, ky = np.arange(0, nx + 16, 16), np.arange(0, ny + 16, 16)
    gx, gy = np.meshgrid(low[0] + kx * step, low[1] + ky * step)
    knots = plane.to_px(np.column_stack([gx.ravel(), gy.ravel()])).reshape(len(ky), len(kx), 2)
    at = (knots + 0.5) / shrink - 0.5
    maps = [_spread(at[..., k].astype(np.float32), 16)[:ny, :nx] for k in (0, 1)]
    inside = (maps[0] > 1) & (maps[1] > 1) & (maps[0] < small.shape[1] - 2) & (maps[1] < small.shape[0] - 2)
    values = cv2.remap(small, maps[0], maps[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    cover = np.zeros(values.shape, dtype=np.uint8)
    for outline in exclude_px:
        cv2.fillPoly(cover, [np.round((plane.to_mm(outline) - low) / step).astype(np.int32)], 1)
    valid = cv2.erode((inside & (cover == 0)).astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    return _Map(values=log_gray(values.astype(np.float32)), valid=valid, origin_mm=low, step_mm=step)


def _spread(knots: Grid, step: int) -> Grid:
    """Bilinear filling between knots `step` apart; knot (i, j) lands on pixel (i step, j step)."""
    rows, columns = ((n - 1) * step for n in knots.shape)
    y, x = (np.arange(n, dtype=np.float32) / step for n in (rows, columns))
    my, mx = np.meshgrid(y, x, indexing="ij")
    return np.asarray(cv2.remap(knots, mx, my, cv2.INTER_LINEAR), dtype=np.float32)


def _coarse(chart: _Map, nominal: tuple[float, float]) -> Array | None:
    """Centre (x, y) in mm, from votes and a comparison of the best places."""
    pad = round(PAD * nominal[1] / chart.step_mm)
    votes = _votes(chart, nominal, pad)
    best: tuple[float, float, Array] | None = None
    for _ in range(6):
        _, top, _, (column, row) = cv2.minMaxLoc(votes)
        if top <= 0:
            break
        found = _pair_score(chart, np.array([column, row], dtype=np.float64) - pad, nominal)
        if best is None or found[0] > best[0]:
            best = found
        cv2.circle(votes, (column, row), max(2, round(8 / chart.step_mm)), 0.0, -1)
    return None if best is None or best[1] < MIN_SCORE else chart.origin_mm + best[2] * chart.step_mm


def _votes(chart: _Map, nominal: tuple[float, float], pad: int) -> Grid:
    """Votes for the centre at the stated radii, on the map widened by `pad` all round."""
    soft = cv2.GaussianBlur(chart.values, (0, 0), 1.0)
    gx = cv2.Sobel(soft, cv2.CV_32F, 1, 0, ksize=3)
    gy = cv2.Sobel(soft, cv2.CV_32F, 0, 1, ksize=3)
    size = cv2.magnitude(gx, gy)
    size[~chart.valid] = 0
    weight = size / (cv2.blur(size, (31, 31)) + 0.5 * float(size.mean()) + 1e-6)
    row, column = np.nonzero(weight > np.quantile(weight, max(0.0, 1 - EDGES / weight.size)))
    w = np.minimum(weight[row, column], 4.0)
    nx, ny = gx[row, column] / size[row, column], gy[row, column] / size[row, column]
    height, width = (n + 2 * pad for n in chart.values.shape)
    total = np.zeros((height, width), dtype=np.float32)
    for radius in nominal:
        r = radius / chart.step_mm
        count = np.zeros(height * width)
        for sign in (-1.0, 1.0):
            x = np.rint(column + pad + sign * r * nx).astype(int)
            y = np.rint(row + pad + sign * r * ny).astype(int)
            ok = (x >= 0) & (y >= 0) & (x < width) & (y < height)
            count += np.bincount(y[ok] * width + x[ok], weights=w[ok], minlength=height * width)
        image = count.reshape(height, width).astype(np.float32)
        total += cv2.GaussianBlur(image, (0, 0), max(1.5, 2.5 / chart.step_mm)) / np.float32(radius)
    return total


def _shifts(deg: Array, reach: float, step: float) -> tuple[Array, Array]:
    """Centre shifts (M, 2) on a square grid, and how each moves a circle's radius at the angles, (M, T)."""
    one = np.arange(-reach, reach + step / 2, step)
    dx, dy = (m.ravel() for m in np.meshgrid(one, one))
    angle = np.radians(deg)
    return np.column_stack([dx, dy]), dx[:, None] * np.cos(angle) + dy[:, None] * np.sin(angle)


def _pair_score(chart: _Map, place: Array, nominal: tuple[float, float]) -> tuple[float, float, Array]:
    """How well two edges of the stated radii fit near a place (map px): in all, per point seen; and the best place."""
    radius = np.arange(0.85 * nominal[0], 1.1 * nominal[1], chart.step_mm) / chart.step_mm
    angle = np.radians(np.arange(0, 360, 3.0))
    x = (place[0] + np.cos(angle)[:, None] * radius[None, :]).astype(np.float32)
    y = (place[1] + np.sin(angle)[:, None] * radius[None, :]).astype(np.float32)
    values: Grid = np.asarray(cv2.remap(chart.values, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    valid = cv2.remap(
        chart.valid.astype(np.uint8), x, y, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=0
    )
    edge: Grid = np.abs(slope(values, 1.0)) * valid.astype(np.float32)
    edge = np.asarray(np.minimum(edge / (cv2.blur(edge, (41, 9)) + 0.02), 3.0) * valid, dtype=np.float32)
    wide = cv2.blur(edge, (3, 1)) - valid
    shifts, off = _shifts(np.arange(0, 360, 3.0), 9, 1)
    rows = np.arange(len(angle))[None, :]
    score = np.zeros(len(shifts))
    for r in nominal:
        column = np.rint(r / chart.step_mm - radius[0] + off).astype(int)
        score += wide[rows, np.clip(column, 0, len(radius) - 1)].sum(axis=1)
    best = int(np.argmax(score))
    columns = [np.rint(r / chart.step_mm - radius[0] + off[best]).astype(int) for r in nominal]
    seen = sum(float(valid[rows[0], c.clip(0, len(radius) - 1)].sum()) for c in columns)
    return float(score[best]), float(score[best]) / max(seen, MIN_SEEN * 2 * len(angle)), place + shifts[best]


def _fine(
    gray: Image, plane: Plane, centre: Array, nominal: tuple[float, float], exclude_px: tuple[Array, ...]
) -> Face | Unmeasured:
    sd = DRAWING_SD[0] + DRAWING_SD[1] * np.array(nominal)
    flat = np.array(nominal) + np.array([BREAK_MM, -BREAK_MM])
    strips = [
        unwrap(
            gray, plane, centre, (r - 3 * s - REACH_MM, r + 3 * s + REACH_MM), step_deg=1.0, exclude_px=exclude_px
        )
        for r, s in zip(flat, sd, strict=True)
    ]
    edges = [_edge_map(s) for s in strips]
    start = _best_pair(strips, edges, flat, sd)
    fit = _fit(strips, edges, start, flat, sd)
    if fit is None:
        return Unmeasured(reason="the edges of the face are not clear enough", hint=RING_HINT)
    return _face(fit, strips, nominal, sd)


def _edge_map(strip: Strip) -> Grid:
    """Edge strength relative to its surroundings, 0 where not valid."""
    size = np.abs(slope(along(log_gray(strip.values), 3, closed=strip.closed), 1.5))
    size = size * cv2.erode(strip.valid.astype(np.uint8), np.ones((1, 9), np.uint8))
    return np.asarray(size / (size.mean(axis=1, keepdims=True) + 0.004), dtype=np.float32)


def _best_pair(strips: list[Strip], edges: list[Grid], flat: Array, sd: Array) -> Array:
    """Centre and radii (4,) that gather most edge, by exhaustive search on a grid."""
    step = REACH_MM / 8
    total, radii = None, []
    for strip, edge, r, s in zip(strips, edges, flat, sd, strict=True):
        edge = np.asarray(cv2.blur(np.minimum(edge, 4.0), (1, 3))[1::3], dtype=np.float32)
        shifts, off = _shifts(strip.deg(np.arange(len(edge), dtype=np.float64) * 3 + 1.0), REACH_MM, step)
        delta = np.arange(-3 * s, 3 * s + step / 2, step)
        wide = cv2.blur(edge, (max(1, round(step / strip.step_mm)), 1))
        rows = np.arange(len(edge))[None, :]
        score = np.empty((len(shifts), len(delta)))
        for k, d in enumerate(delta):
            column = np.rint((r + d + off - strip.start_mm) / strip.step_mm).astype(int)
            score[:, k] = wide[rows, np.clip(column, 0, edge.shape[1] - 1)].sum(axis=1)
        score -= 0.1 * len(edge) * (delta / s) ** 2
        radii.append(r + delta[np.argmax(score, axis=1)])
        total = score.max(axis=1) if total is None else total + score.max(axis=1)
    assert total is not None
    best = int(np.argmax(total))
    return np.array([*(strips[0].centre_mm + shifts[best]), radii[0][best], radii[1][best]])


def _fit(strips: list[Strip], edges: list[Grid], start: Array, flat: Array, sd: Array) -> Circles | None:
    """Concentric circles through the sub-pixel edge places near a start."""
    prior = np.array([20.0, 20.0, *sd])
    fit: Circles | None = None
    for window in (0.7, 0.4, 0.25):
        places = [_places(s, e, start, k, window) for k, (s, e) in enumerate(zip(strips, edges, strict=True))]
        points = np.concatenate(places)
        if len(points) < 20:
            return None
        group = np.repeat([0, 1], [len(p) for p in places])
        centre = np.array([*start[:2], *flat])
        effective = max(1.0, len(points) / (2 * INDEPENDENT))
        fit = fit_circles(points, group, centre, prior, floor_mm=0.08, effective=effective)
        start = np.array([*fit.centre_mm, *fit.radii_mm])
    return fit


def _places(strip: Strip, edge: Grid, start: Array, k: int, window: float) -> Array:
    """Strongest edge of each row within a window about a circle, plane points (N, 2)."""
    deg = strip.deg(np.arange(len(edge), dtype=np.float64))
    angle = np.radians(deg)
    shift = start[:2] - strip.centre_mm
    expect = start[2 + k] + shift[0] * np.cos(angle) + shift[1] * np.sin(angle)
    column = (expect - strip.start_mm) / strip.step_mm
    half = max(2, round(window / strip.step_mm))
    index = np.rint(column).astype(int)[:, None] + np.arange(-half, half + 1)
    ok = (index.min(axis=1) > 0) & (index.max(axis=1) < edge.shape[1] - 1)
    near = np.take_along_axis(edge, np.clip(index, 0, edge.shape[1] - 1), axis=1)
    top = np.argmax(near, axis=1)
    rows = np.arange(len(edge))
    inner = np.clip(top, 1, near.shape[1] - 2)
    peak = near[rows, inner].astype(np.float64)
    offset = peak_offset(near[rows, inner - 1], peak, near[rows, inner + 1])
    ok &= (peak > 1.5) & (top == inner)
    radius = strip.mm(index[rows, inner] + offset)
    return ring_points(strip.centre_mm, deg[ok], radius[ok])


def _face(fit: Circles, strips: list[Strip], nominal: tuple[float, float], sd: Array) -> Face:
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
        radii.append(Measured.of(float(value), "mm", how="circle fitted to the edge, with the drawing", edge=u))
    return Face(
        centre_mm=fit.centre_mm, inner_mm=radii[0], outer_mm=radii[1],
        flat_mm=(float(fit.radii_mm[0]), float(fit.radii_mm[1])), covariance=fit.covariance,
        seen_deg=np.column_stack([deg, seen]),
    )  # fmt: skip


def scale_at(plane: Plane, px: Array) -> float:
    """Length of one photo pixel there, mm."""
    quad = plane.to_mm(px.reshape(1, 2) + np.array([[-1.0, 0], [1, 0], [0, -1], [0, 1]]))
    (ax, ay), (bx, by) = (quad[1] - quad[0]) / 2, (quad[3] - quad[2]) / 2
    return float(np.sqrt(abs(ax * by - ay * bx)))
