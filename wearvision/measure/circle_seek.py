"""Turned circles in a photo of unknown scale and tilt: a frontal map of the part, and the rings on it.

Edge pixels of a small copy are laid on planes of several tilts; where a plane is tilted as the part is, the normals
of all edges of one axis meet in a point. About the best of these points the picture is rolled out, edges that run
round are fitted with circles of free centre and shape, and the tilt is settled by all of them together. Units here
are pixels of the small copy at the picture's middle.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.adjust import LENS_ROWS
from wearvision.measure.chart import Chart
from wearvision.measure.circle_fit import FREE, Known, fit_plane
from wearvision.measure.edges import Grid, log_gray, peak_offset, row_medians, slope
from wearvision.measure.plane import Array, N, Plane, shrunk_px
from wearvision.measure.prior import Prior
from wearvision.measure.rings import edge_pixels
from wearvision.measure.unwrap import Image

SMALL_PX = 640
EDGES, LEAST_EDGES = 4000, 50
SKIP, LESS, SEEN = 8, 2, 5
"""Of the edges every so many vote on all tilts, and every so many on the best starts unlike each other."""
TILTS_DEG = (0.0, 12.0, 20.0, 28.0)
WAYS = 10
"""Tilts tried, and directions of each."""
LEAST, MOST = 0.05, 0.75
"""Radii sought, as shares of the long side."""
CELL = 5.0
PAD = 0.4
"""Cells of the votes, and how far out of the picture the axis may lie, as a share of the long side."""
MOST_TILT_DEG = 45.0
"""Steeper planes are no view of a face: a fit that ran away."""
ROWS, FITTED = 120, 6
"""Rays of a look; clearest rings that its plane is fitted to."""
MIN_SEEN = 0.17
"""With less of a ring in view (60 degrees) its strength is taken over this share."""
SAME_AXIS, SAME_TILT = 40.0, 0.22
"""Starts nearer than this in units, and in tilt (rad), lead to one answer."""
REACH, LEFT = (7.0, 4.0, 3.0), (5, 3, 2)
"""How far from round a ring may run, in units: first look, second, last; and how many of the best starts get so far."""
LOOK_SETTLED = 1e-3
"""Step below which the fit of a look ends, see `circle_fit.SETTLED`: the next look reads its edges anew."""
ANGLE = np.arange(ROWS) * (2 * np.pi / ROWS)
SHAPE: Array = np.column_stack([
    np.ones(ROWS), np.cos(ANGLE), np.sin(ANGLE), np.cos(2 * ANGLE), np.sin(2 * ANGLE)
])  # fmt: skip
KNOT = 8
RIDGE: Array = np.diag([1e-9, 0.1, 0.1, 0.3, 0.3])
"""Rows that speak for a centre or shape other than the circle's, beyond which these are believed."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ring:
    """An edge that runs round the axis.

    Attributes
    ----------
    radius : float
        In the units of its plane.
    strength : float
        Summed strength of the points that agree with a circle, per row seen, 0 to 3.
    sign : float
        +1 when it is brighter outside, -1 when darker.
    px : (M, 2) array
        Its points, photo px.
    """

    radius: float
    strength: float
    sign: float
    px: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Family:
    """Rings about one axis: the plane has its origin there and units in which nothing is a millimetre yet."""

    plane: Plane
    rings: tuple[Ring, ...]

    @property
    def worth(self) -> float:
        """Strength of the best rings together."""
        return float(sum(sorted((r.strength for r in self.rings), reverse=True)[:4]))


def seek(gray: Image, prior: Prior, exclude_px: tuple[Array, ...] = ()) -> list[Family]:
    """Families of rings, best first; empty when no edge runs round.

    Parameters
    ----------
    gray : (H, W) uint8
    prior : Prior
        Of the lens.
    exclude_px : outlines in photo pixels that hide the part.
    """
    small = _small(gray, exclude_px)
    held = replace(prior, lens_precision=1e8 * prior.lens_precision)  # rings off the face would bend a free lens
    families = [Family(plane=plane, rings=()) for plane in _starts(small, gray, prior)]
    for reach, left in zip(REACH, LEFT, strict=True):
        families = _best([_family(small, f.plane, held, reach) for f in families[:left]])
    for family in families[:2]:
        other = Family(plane=mirrored(family.plane), rings=())
        for reach in REACH[1:]:
            other = _family(small, other.plane, held, reach)
        families.append(other)
    return _best(families)


def _best(families: list[Family]) -> list[Family]:
    return sorted((f for f in families if f.rings), key=lambda f: -f.worth)


@dataclass(frozen=True, kw_only=True, eq=False)
class Small:
    """A small copy: log grey, valid mask, photo px per pixel."""

    values: Grid
    valid: Grid
    shrink: float

    def to_photo(self, px: Array) -> Array:
        """Its pixels to photo pixels."""
        return (px + 0.5) * self.shrink - 0.5

    def from_photo(self, px: Array) -> Array:
        """Photo pixels to its own."""
        return (px + 0.5) / self.shrink - 0.5


def _small(gray: Image, exclude_px: tuple[Array, ...]) -> Small:
    shrink = max(1.0, max(gray.shape) / SMALL_PX)
    size = (round(gray.shape[1] / shrink), round(gray.shape[0] / shrink))
    copy = cv2.resize(gray, size, interpolation=cv2.INTER_AREA)
    valid = np.zeros(copy.shape, dtype=np.uint8)
    valid[2:-2, 2:-2] = 1
    for outline in exclude_px:
        cv2.fillPoly(valid, [np.round(shrunk_px(outline, shrink)).astype(np.int32)], 0)
    valid = np.asarray(cv2.erode(valid, np.ones((5, 5), np.uint8)))
    return Small(values=log_gray(copy.astype(np.float32)), valid=valid.astype(np.float32), shrink=shrink)


def _tilted(prior: Prior, shrink: float, size_px: tuple[int, int], tilt: float, way: float) -> Plane:
    """A plane at which one unit is one small pixel in the middle of the picture, tilted (rad) towards a direction."""
    theta = np.zeros(N)
    theta[0], theta[1] = -tilt * math.sin(way), tilt * math.cos(way)
    theta[5] = prior.focal_px / shrink
    theta[LENS_ROWS] = prior.lens
    return Plane(theta=theta, sources={}, size_px=size_px, source="seek")


def _starts(small: Small, gray: Image, prior: Prior) -> list[Plane]:
    """Planes of the likeliest tilts, origin at the likeliest axis, most votes first."""
    chart = Chart(values=small.values, valid=small.valid > 0, origin_mm=np.zeros(2), step_mm=1.0)
    place, normal, weight = edge_pixels(chart, EDGES)
    if len(place) < LEAST_EDGES:
        return []
    here, ahead = small.to_photo(place), small.to_photo(place + 0.5 * normal)
    size, side = (gray.shape[1], gray.shape[0]), max(small.values.shape)
    found: list[tuple[float, Plane]] = []
    for tilt in TILTS_DEG:
        for way in np.linspace(0, 2 * math.pi, WAYS if tilt else 1, endpoint=False).tolist():
            plane = _tilted(prior, small.shrink, size, math.radians(tilt), way)
            votes, axis = _vote(plane, here[::SKIP], ahead[::SKIP], weight[::SKIP], side)
            found.append((votes, _recentred(plane, axis)))
    kept: list[Plane] = []
    for _, plane in sorted(found, key=lambda one: -one[0]):
        if len(kept) < SEEN and all(_unlike(plane, other, small.shrink) for other in kept):
            kept.append(plane)
    again = [(*_vote(plane, here[::LESS], ahead[::LESS], weight[::LESS], side), plane) for plane in kept]
    return [_recentred(plane, axis) for _, axis, plane in sorted(again, key=lambda one: -one[0])]


def _unlike(one: Plane, other: Plane, shrink: float) -> bool:
    """Whether two starts have another axis, or tilts so far apart that one does not lead to the other."""
    apart = np.hypot(*(one.to_px(np.zeros((1, 2))) - other.to_px(np.zeros((1, 2))))[0])
    return bool(apart > SAME_AXIS * shrink or np.hypot(*(one.theta[:2] - other.theta[:2])) > SAME_TILT)


def _vote(plane: Plane, here: Array, ahead: Array, weight: Array, side: int) -> tuple[float, Array]:
    """Most votes for an axis, and where it is on the plane."""
    at = plane.to_mm(here)
    across = plane.to_mm(ahead) - at
    # across an edge of the picture is not across it on a tilted plane: turn the edge's direction instead
    turned = plane.to_mm(here + (ahead - here)[:, ::-1] * [-1.0, 1.0]) - at
    normal = np.column_stack([turned[:, 1], -turned[:, 0]])
    normal *= np.sign(np.sum(normal * across, axis=1, keepdims=True))
    normal /= np.maximum(np.hypot(*normal.T)[:, None], 1e-12)
    reach = np.arange(LEAST * side, MOST * side, CELL * 0.8)
    reach, each = np.concatenate([reach, -reach]).astype(np.float32), np.tile(1 / reach, 2).astype(np.float32)
    low = at.min(axis=0) - PAD * side
    width, height = (int(n) for n in np.ceil((at.max(axis=0) + PAD * side - low) / CELL))
    start, course = ((at - low) / CELL).astype(np.float32), (normal / CELL).astype(np.float32)
    x, y = (start[:, k, None] + course[:, k, None] * reach for k in (0, 1))
    ok = (x >= 0) & (y >= 0) & (x < width) & (y < height)
    cell = y[ok].astype(np.int32) * width + x[ok].astype(np.int32)
    total = np.bincount(cell, weights=(weight.astype(np.float32)[:, None] * each)[ok], minlength=height * width)
    image = cv2.GaussianBlur(total.reshape(height, width).astype(np.float32), (0, 0), 1.2)
    _, top, _, (column, row) = cv2.minMaxLoc(image)
    return top, (np.array([column, row]) + 0.5) * CELL + low


def _recentred(plane: Plane, axis: Array) -> Plane:
    """The same plane with its origin moved."""
    rotation = np.asarray(cv2.Rodrigues(plane.theta[:3].reshape(3, 1))[0])
    theta = plane.theta.copy()
    theta[3:6] += rotation[:, :2] @ axis
    return replace(plane, theta=theta)


def mirrored(plane: Plane) -> Plane:
    """The other plane whose circle about the origin looks nearly alike: tilted the other way at the line of sight."""
    rotation = np.asarray(cv2.Rodrigues(plane.theta[:3].reshape(3, 1))[0])
    sight = plane.theta[3:6] / np.linalg.norm(plane.theta[3:6])
    other = (2 * np.outer(sight, sight) - np.eye(3)) @ rotation @ np.diag([-1.0, -1.0, 1.0])
    return replace(plane, theta=np.concatenate([np.ravel(cv2.Rodrigues(other)[0]), plane.theta[3:]]))


def _family(small: Small, plane: Plane, prior: Prior, reach: float) -> Family:
    """One look: the rings about a plane's origin, and the plane that they make round; none where it runs away."""
    best = sorted(_rings(small, plane, reach), key=lambda r: -r.strength)
    if not best:
        return Family(plane=plane, rings=())
    clear = best[:FITTED]
    known = [Known(radius_mm=r.radius, sd_mm=FREE, unit=True) for r in clear]
    known[0] = replace(known[0], sd_mm=1e-3)
    points = np.vstack([r.px for r in clear])
    group = np.repeat(np.arange(len(clear)), [len(r.px) for r in clear])
    fit = fit_plane(
        points, group, plane, known, prior, scale_sd=1e-4, floor_px=0.3 * small.shrink, turns=14, settled=LOOK_SETTLED
    )
    if fit.plane.tilt_deg > MOST_TILT_DEG:
        return Family(plane=fit.plane, rings=())
    return Family(plane=fit.plane, rings=tuple(sorted(best, key=lambda r: r.radius)))


def _rings(small: Small, plane: Plane, reach: float) -> list[Ring]:
    """Edges of either polarity that run round the plane's origin, strongest first."""
    side = max(small.values.shape)
    radius = np.arange(LEAST * side, MOST * side, 1.0)
    at = _rays(small, plane, radius)
    behind = ~np.isfinite(at).all(axis=2) | (np.abs(at).max(axis=2) > 4 * side)
    at[behind] = -9
    values: Grid = np.asarray(
        cv2.remap(small.values, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    )
    valid: Grid = np.asarray(cv2.remap(
        small.valid, at[..., 0], at[..., 1], cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=0
    ))  # fmt: skip
    rise = slope(values, 1.0) * cv2.erode(valid, np.ones((1, 5), np.uint8))
    rise = np.clip(rise / (cv2.blur(np.abs(rise), (41, 9)) + 0.02), -3, 3).astype(np.float32)
    found = [r for sign in (1.0, -1.0) for r in _crests(plane, radius, (rise, valid), sign, reach)]
    kept: list[Ring] = []
    for one in sorted(found, key=lambda r: -r.strength):
        if all(abs(one.radius - other.radius) > 1.5 for other in kept):
            kept.append(one)
    return kept


def _rays(small: Small, plane: Plane, radius: Array) -> Grid:
    """Pixels of the small copy (ROWS, R, 2) at even radii along the rays: the camera is asked at every `KNOT` of them,
    and between they lie evenly, right to 0.02 px at 45 degrees."""
    knots = radius[0] + KNOT * np.arange(math.ceil(len(radius) / KNOT) + 1)
    ring = (SHAPE[:, None, 1:3] * knots[:, None]).reshape(-1, 2)
    px = small.from_photo(plane.to_px(ring)).astype(np.float32).reshape(ROWS, len(knots), 1, 2)
    share = (np.arange(KNOT, dtype=np.float32) / KNOT)[:, None]
    return np.asarray((px[:, :-1] + (px[:, 1:] - px[:, :-1]) * share).reshape(ROWS, -1, 2)[:, : len(radius)])


def _crests(
    plane: Plane, radius: Array, roll: tuple[Grid, Grid], sign: float, reach: float
) -> list[Ring]:
    """Rings of one polarity."""
    rise, valid = roll
    edge = np.maximum(sign * rise, 0)
    share = np.maximum(valid.sum(axis=0), MIN_SEEN * ROWS)
    wide = max(3, 2 * round(reach / 2) + 1)
    told = sign * cv2.blur(rise, (wide, 1)).sum(axis=0) / share * (wide / 3)
    crest = np.asarray(cv2.dilate(told.reshape(1, -1).astype(np.float32), np.ones((1, 5)))).ravel()
    half = max(3, math.ceil(reach))
    peak = (told >= 0.2) & (told >= crest - 1e-6) & (valid.sum(axis=0) >= 0.12 * ROWS)
    peak[: half + 1] = peak[-half - 1 :] = False
    columns = np.flatnonzero(peak)
    return list(_through(plane, radius, _Near.of(edge, valid, columns, half), sign)) if len(columns) else []


@dataclass(frozen=True, kw_only=True, eq=False)
class _Near:
    """The strongest edge of each row near each of P columns.

    Attributes
    ----------
    columns, share : (P,) arrays
        The columns, and how many rows are seen there.
    far, peak : (P, ROWS) arrays
        Where the edge is, in columns from there, and its strength.
    ok : (P, ROWS) array of bool
        Whether it counts.
    """

    columns: NDArray[np.int64]
    share: Array
    far: Array
    peak: Array
    ok: NDArray[np.bool_]

    @classmethod
    def of(cls, edge: Grid, valid: Grid, columns: NDArray[np.int64], half: int) -> _Near:
        """From the edges (ROWS, R) of a roll."""
        windows = np.lib.stride_tricks.sliding_window_view(edge, 2 * half + 1, axis=1)
        near = np.ascontiguousarray(windows[:, columns - half].transpose(1, 0, 2))
        top = np.argmax(near, axis=2).clip(1, 2 * half - 1)
        left, peak, right = (
            np.take_along_axis(near, (top + k)[:, :, None], axis=2)[:, :, 0].astype(np.float64) for k in (-1, 0, 1)
        )
        seen = valid[:, columns].T
        ok = (seen > 0) & (peak > 0.8) & (peak >= near.max(axis=2))
        far = top + peak_offset(left, peak, right) - half
        return cls(columns=columns, share=np.maximum(seen.sum(axis=1), MIN_SEEN * ROWS), far=far, peak=peak, ok=ok)


def _through(plane: Plane, radius: Array, near: _Near, sign: float) -> Iterator[Ring]:
    """Circles of free centre and shape through the strongest edges near each column, where enough agree."""
    weight, ok = near.ok.astype(np.float64), near.ok
    fit, error = np.zeros((len(near.far), 5)), np.abs(near.far)
    for _ in range(6):
        part = SHAPE * weight[:, :, None]
        right = np.einsum("pik,pi->pk", part, near.far)
        fit = np.linalg.solve(part.transpose(0, 2, 1) @ SHAPE + RIDGE, right[:, :, None])
        error = np.abs(near.far - (SHAPE @ fit)[:, :, 0])
        spread = np.maximum(0.5, 1.4826 * np.nan_to_num(row_medians(np.where(ok, error, np.nan))))[:, None]
        weight = ok * np.clip(1 - (error / (3 * spread)) ** 2, 0, None) ** 2
    close = ok & (error < 1.0)
    for k in np.flatnonzero(close.sum(axis=1) >= 0.1 * ROWS).tolist():
        mine, middle = close[k], float(radius[near.columns[k]])
        where = (middle + near.far[k, mine])[:, None] * SHAPE[mine, 1:3]
        strength = float(np.minimum(near.peak[k, mine], 3).sum() / near.share[k])
        yield Ring(radius=middle + float(fit[k, 0, 0]), strength=strength, sign=sign, px=plane.to_px(where))
