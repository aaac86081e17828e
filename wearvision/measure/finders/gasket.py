"""A gasket land rolled out: where both its edges were, what is missing of either, and where that cannot be told.

The land's two circles are found as those of a face are (stated diameters, concentric edges), and fitted anew here.
Along each the land ends: just inside of it the tone is the land's, and most often a step shows. Where it does not,
something may be missing: there, and only there, the edge is sought further in (`bites`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Circles, Grid, along, fit_circles, log_gray, median, peak_offset, slope
from wearvision.measure.finders.land_tone import Tones, band, sample, steepest, tones_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image, Strip, ring_points, ring_scale, row_means, unwrap, unwrapped_as
from wearvision.measure.warmth import Warmth

BESIDE_MM = 4.0
"""How far beyond the land its surroundings are looked at."""
ROW_MM = 0.4
"""Distance of rows along the lap."""
STEP_PX = 1.2
"""Columns, photo px."""
LEAST_ROWS = 720
"""Rows of the lap at least."""
ALIKE, STANDS = -0.3, 0.35
"""Nothing can be told where what lies beside is as the land is, and the step less than this share of the usual."""
NEAR_MM, AT_MM = 2.0, 0.25
"""Told over so much of the lap, so near the circle."""
GRAIN_SHARE, CLEAR = 0.9, 2.0
"""An edge's usual step is so many times what this share of the land's own steps stay below; else a bite is not seen."""
SEEK_MM, EVEN_MM = (1.6, 0.8), 2.0
"""How far off its circle an edge is sought, first and again, in the mean over so much of the lap."""
FIRST, NOISES = 0.13, 4.0
"""Which step counts: as a share of the row's strongest, and in spreads of the land's own."""
FIT_ROWS, FIT_SD_MM, LEAST_POINTS = 3, (0.4, 0.3), 40
"""Every so many rows are fitted; how far centre and radii may move."""
LANDWARD, MOST_LANDWARD_MM = 0.4, 0.08
"""The circle lies so that this share of the points near it are on the land's side; it is moved by no more."""
SPREAD_DOUBT = 0.35
"""Share of the edges' scatter about their circles that they may be off together: shadows and walls lie on one side."""
INDEPENDENT = 6.0
"""So many points of an edge share one error."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ring:
    """Where a land lies.

    Attributes
    ----------
    centre_mm : (2,) array
    radii_mm : (inner, outer)
        Of its edges as they once were.
    covariance : (4, 4) array, mm2
        Of centre x, centre y, inner and outer radius, without the plane's own.
    """

    centre_mm: Array
    radii_mm: tuple[float, float]
    covariance: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Land:
    """A land rolled out.

    Attributes
    ----------
    ring : Ring
    fine : Strip
        Rows of a photo pixel.
    strip : Strip
        The same in rows of about `ROW_MM`.
    calm : (N, C) array
        The strip's log grey.
    rise : (N, C) array
        Change of it outward, per column.
    even : (N, C) array
        The same in the mean over `EVEN_MM` of the lap.
    tones : Tones
    deg : (N,) array
    sound_mm : (2, N) array
        Radius of the circle each edge once was.
    seen : (N,) bool
        Whether all of the land is in view at this angle.
    spread_mm : (2,) array
        Scatter of either edge about its circle.
    """

    ring: Ring
    fine: Strip
    strip: Strip
    calm: Grid
    rise: Grid
    even: Grid
    tones: Tones
    deg: Array
    sound_mm: Array
    seen: NDArray[np.bool_]
    spread_mm: Array

    @property
    def width_u_mm(self) -> float:
        """Standard uncertainty of the width between both circles: of their fit, and as they are ragged or shaded."""
        across = np.array([0.0, 0.0, -1.0, 1.0])
        shade = SPREAD_DOUBT * float(np.hypot(*self.spread_mm))
        return float(np.sqrt(max(0.0, across @ self.ring.covariance @ across) + shade**2))

    @cached_property
    def steps(self) -> Array:
        """Steepest change of log grey per column at either edge's circle, (2, N)."""
        return np.stack([steepest(self.rise, self.strip, circle) for circle in self.sound_mm])

    @cached_property
    def even_steps(self) -> Array:
        """The same in the mean over `EVEN_MM` of the lap."""
        return np.stack([steepest(self.even, self.strip, circle) for circle in self.sound_mm])

    @property
    def row_mm(self) -> float:
        """Distance of rows half way across."""
        return float(np.radians(self.strip.step_deg) * self.sound_mm.mean())


def roll_out(
    gray: Image, plane: Plane, ring: Ring, exclude_px: tuple[Array, ...], *, blur_px: float,
    warmth: Warmth | None = None,
) -> Land:  # fmt: skip
    """Roll out a land with some of what lies beside it; without its warmth, by its greys alone."""
    inner, outer = ring.radii_mm
    radii = (max(1.0, inner - BESIDE_MM), outer + BESIDE_MM)
    rows = max(LEAST_ROWS, 8 * round(np.pi * (inner + outer) / ROW_MM / 8))
    px_mm = ring_scale(plane, ring.centre_mm, sum(radii) / 2)
    each = max(1, round(np.pi * (inner + outer) / rows / px_mm))
    fine = unwrap(
        gray, plane, ring.centre_mm, radii, step_deg=360.0 / (rows * each), step_px=STEP_PX, exclude_px=exclude_px
    )
    strip = _coarse(fine, each)
    calm: Grid = np.asarray(cv2.GaussianBlur(log_gray(strip.values), (0, 0), 0.6), dtype=np.float32)
    sigma = max(0.9, blur_px * strip.px_mm / strip.step_mm)
    count = len(calm)
    rise, row_mm = slope(calm, sigma), np.radians(strip.step_deg) * (inner + outer) / 2
    even = along(rise, 2 * max(1, round(EVEN_MM / 2 / row_mm)) + 1, closed=strip.closed)
    sound = np.tile(np.array(ring.radii_mm)[:, None], (1, count))
    columns = slice(*(max(0, round((r - strip.start_mm) / strip.step_mm)) for r in (inner, outer)))
    warm = None if warmth is None else unwrapped_as(strip, warmth.image, warmth.plane)
    return Land(
        ring=ring, fine=fine, strip=strip, calm=calm, rise=rise, even=even,
        tones=tones_of(calm, strip, ring.radii_mm, warm),
        deg=strip.deg(np.arange(count, dtype=np.float64)), sound_mm=sound, spread_mm=np.full(2, 0.1),
        seen=np.asarray(strip.valid[:, columns].all(axis=1)),
    )  # fmt: skip


def _coarse(fine: Strip, rows: int) -> Strip:
    """A strip in the mean over so many rows."""
    count, wide = len(fine.values) // rows, fine.values.shape[1]
    valid = np.logical_and.reduce(fine.valid[: count * rows].reshape(count, rows, wide), axis=1)
    return replace(
        fine, values=row_means(fine.values, rows), valid=np.asarray(valid), step_deg=fine.step_deg * rows,
        first_deg=fine.first_deg + (rows - 1) / 2 * fine.step_deg,
    )  # fmt: skip


def settled(land: Land) -> Land:
    """The land with its circles fitted anew, to the first step met when going outward from the land in every row.

    Behind it may lie a stronger one: the far side of a raised land's shadow.
    """
    middle = np.abs(_middle(land, 8)).ravel()
    noise = NOISES * 1.4826 * median(middle) if middle.size else 0.0
    for reach in SEEK_MM:
        land = _fitted(land, reach, noise)
    return land


def _fitted(land: Land, reach_mm: float, noise: float) -> Land:
    centre, every = land.ring.centre_mm, slice(None, None, FIT_ROWS)
    points, group = [], []
    for edge, way in ((0, -1.0), (1, 1.0)):
        off, ok = _first_step(land, edge, way, reach_mm, noise)
        ok &= land.seen
        points.append(ring_points(centre, land.deg, land.sound_mm[edge] + way * off)[ok][every])
        group.append(np.full(len(points[-1]), edge))
    start = np.array([*centre, *land.ring.radii_mm])
    if min(len(p) for p in points) < LEAST_POINTS:
        return land
    sd = np.array([FIT_SD_MM[0], FIT_SD_MM[0], FIT_SD_MM[1], FIT_SD_MM[1]])
    fit = fit_circles(np.vstack(points), np.concatenate(group), start, sd, floor_mm=0.03, effective=INDEPENDENT)
    angle, shift = np.radians(land.deg), fit.centre_mm - centre
    away = shift[0] * np.cos(angle) + shift[1] * np.sin(angle)
    radii = fit.radii_mm + [_inward(fit, points[k], k) for k in (0, 1)]
    ring = replace(land.ring, radii_mm=(float(radii[0]), float(radii[1])), covariance=fit.covariance)
    return replace(land, ring=ring, sound_mm=radii[:, None] + away[None, :], spread_mm=fit.spread_mm)


def _inward(fit: Circles, points_mm: Array, edge: int) -> float:
    """What a radius moves towards the land: wall and shadow of a raised land only ever lie outside of its edge."""
    off = np.hypot(*(points_mm - fit.centre_mm).T) - fit.radii_mm[edge]
    near = off[np.abs(off) < 3 * fit.spread_mm[edge]]
    share = 1 - LANDWARD if edge == 0 else LANDWARD
    return float(np.clip(np.quantile(near, share), -MOST_LANDWARD_MM, MOST_LANDWARD_MM)) if len(near) else 0.0


def _first_step(
    land: Land, edge: int, way: float, reach_mm: float, noise: float
) -> tuple[Array, NDArray[np.bool_]]:
    """How far outside its circle each row's first clear step outward lies, mm, and whether there is one."""
    off = np.arange(-reach_mm, reach_mm + 1e-9, land.strip.step_mm)
    near = np.abs(sample(land.even, land.strip, land.sound_mm[edge][:, None] + way * off[None, :]))
    first, rows = _first_tops(near, noise), np.arange(len(near))
    at = np.maximum(first, 1)
    vertex = peak_offset(*(near[rows, at + k] for k in (-1, 0, 1)))
    return off[at] + vertex * land.strip.step_mm, first > 0


@compiled
def _first_tops(near: Array, noise: float) -> NDArray[np.int64]:
    """Column of each row's first peak that counts, 0 where there is none."""
    out = np.zeros(len(near), np.int64)
    for i in range(len(near)):
        row = near[i]
        least = max(noise, FIRST * row.max())
        for k in range(1, len(row) - 1):
            if row[k] >= row[k - 1] and row[k] > row[k + 1] and row[k] > least:
                out[i] = k
                break
    return out


def _middle(land: Land, skip: int) -> Grid:
    """Steps of the land's own, in the mean over a few rows, in every so many of the rows in view."""
    return land.even[np.flatnonzero(land.seen)[::skip]][:, land.tones.middle]


def told(land: Land) -> NDArray[np.bool_]:
    """Where either edge can be told, (2, N): what lies beside is unlike the land, or a step shows.

    An edge whose usual step is hardly more than the land's own grain is told nowhere: a bite would not show.
    """
    out = np.zeros((2, len(land.deg)), dtype=bool)
    wide = max(3, 2 * round(NEAR_MM / 2 / land.row_mm) + 1)
    grain = _grain(land)
    for edge, way in ((0, -1.0), (1, 1.0)):
        beside = band(land.tones.unlike, land.strip, land.sound_mm[edge], *sorted((0.2 * way, 0.8 * way)))
        step, steady = land.steps[edge], land.even_steps[edge]
        tone, stands = (_smooth(v, wide, closed=land.strip.closed) for v in (beside, step / usual(step, land)))
        out[edge] = ((tone > ALIKE) | (stands > STANDS)) & (usual(steady, land) > CLEAR * grain)
    return out


def usual(step: Array, land: Land) -> float:
    """Median of steps by row (N,) where the land is in view."""
    return max(0.004, median(step[land.seen])) if land.seen.any() else 1.0


def _grain(land: Land) -> float:
    """Size that steps of the land's own, in the mean over a few rows, hardly exceed, each the most near an edge."""
    middle = np.abs(_middle(land, 6))
    if not middle.size:
        return 0.0
    reach = np.ones((1, max(1, round(2 * AT_MM / land.strip.step_mm))), np.uint8)
    return float(np.quantile(cv2.dilate(middle, reach), GRAIN_SHARE))


def _smooth(values: Array, wide: int, *, closed: bool) -> Array:
    pad = np.pad(values, wide // 2, mode="wrap" if closed else "edge")
    return np.convolve(pad, np.full(wide, 1 / wide), mode="valid")
