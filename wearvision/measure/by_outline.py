"""Grooves, pits and rubbed areas measured from a drawn outline."""

from __future__ import annotations

import math

import numpy as np

from wearvision.errors import BadInput
from wearvision.finding import Kind
from wearvision.measure.band import Band, band_of, measure_band
from wearvision.measure.by_area import HAND_PX, measure_rub
from wearvision.measure.chart import scale_at
from wearvision.measure.face import Face
from wearvision.measure.finders.groove import axis_covariance
from wearvision.measure.finders.pits import measure_pit
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import polar
from wearvision.quantity import Measured, Quantity, Unit, Unmeasured

STEP_DEG = 0.5


def measure_outline(kind: Kind, polygon_px: Array, plane: Plane, face: Face | None) -> dict[str, Quantity]:
    """Quantities of a groove, a pit or a rubbed area from its outline.

    Parameters
    ----------
    kind : `groove`, `pit` or `rub`
    polygon_px : (N, 2) array
        Closed outline in photo pixels.
    face : Face or None
        Without it a groove has no radius and no arc.

    Raises
    ------
    BadInput
        For another kind.
    """
    polygon = np.asarray(polygon_px, dtype=np.float64).reshape(-1, 2)
    if kind == "pit":
        return measure_pit(polygon, plane)
    if kind == "rub":
        return measure_rub(polygon, plane, face)
    if kind != "groove":
        raise BadInput("an outline alone cannot be measured as this", got=kind, do="use groove, pit or rub")
    px_mm = scale_at(plane, polygon.mean(axis=0))
    if face is None:
        return _groove_alone(polygon, plane, px_mm)
    band = _band(polygon, plane, face)
    area = face.area_mm2 if face.sure else None
    return measure_band(band, plane, 2 * px_mm, axis_covariance(face, plane), area)


def _band(polygon_px: Array, plane: Plane, face: Face) -> Band:
    """Band of a drawn outline: inner and outer radius at every half degree that it covers."""
    deg, inner, outer = _by_angle(plane.to_mm(polygon_px), face.centre_mm)
    width, centre = outer - inner, (inner + outer) / 2
    full = bool(deg[-1] - deg[0] > 360.0 - 4 * STEP_DEG)
    if not full:
        half = int(np.ceil(np.degrees(np.median(width) / 2 / np.median(centre)) / STEP_DEG))
        body = slice(half, len(deg) - half) if len(deg) > 4 * half + 4 else slice(None)
        width = np.interp(deg, deg[body], width[body])
        centre = np.interp(deg, deg[body], centre[body])
    return band_of(deg, centre, width, face.centre_mm, plane, full=full, cut=(False, False))


def _by_angle(polygon_mm: Array, centre_mm: Array) -> tuple[Array, Array, Array]:
    """Angles at half-degree steps that a polygon covers, and its least and largest radius there."""
    ahead = np.roll(polygon_mm, -1, axis=0)
    steps = np.linspace(0, 1, 200, endpoint=False)[None, :, None]
    dense = (polygon_mm[:, None] + (ahead - polygon_mm)[:, None] * steps).reshape(-1, 2)
    deg, radius = polar(dense, centre_mm)
    deg = np.degrees(np.unwrap(np.radians(deg)))
    if np.ptp(deg) > 360.0 - 2 * STEP_DEG:
        deg = np.mod(deg, 360.0)
    low, high = float(deg.min()), float(deg.max())
    count = max(3, round((high - low) / STEP_DEG))
    grid = low + (np.arange(count) + 0.5) * (high - low) / count
    cell = np.clip(((deg - low) / max(1e-9, high - low) * count).astype(int), 0, count - 1)
    inner, outer = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(inner, cell, radius)
    np.maximum.at(outer, cell, radius)
    good = np.isfinite(inner) & (outer > inner)
    if good.sum() < 2:
        raise BadInput("the outline is too small to measure", do="draw it larger, or zoom in")
    return grid, np.interp(grid, grid[good], inner[good]), np.interp(grid, grid[good], outer[good])


def _groove_alone(polygon_px: Array, plane: Plane, px_mm: float) -> dict[str, Quantity]:
    """Width and area of a drawn groove without a face: the capsule of the same area and circumference."""

    def capsule(p: Plane) -> Array:
        mm = p.to_mm(polygon_px)
        side = np.roll(mm, -1, axis=0) - mm
        around = float(np.hypot(*side.T).sum())
        area = float(abs(np.sum(mm[:, 0] * np.roll(mm[:, 1], -1) - mm[:, 1] * np.roll(mm[:, 0], -1))) / 2)
        inside = max(0.0, around**2 - 4 * math.pi * area)
        return np.array([(around - math.sqrt(inside)) / math.pi, area])

    value, parts = plane.propagate(capsule)
    width, area = (float(v) for v in value)
    edge = HAND_PX * px_mm
    how = ("from area and circumference of the outline", "within the outline")
    extra = (edge, area * edge / max(width, edge))
    units: tuple[Unit, ...] = ("mm", "mm2")
    found = [
        Measured.of(
            float(value[k]), units[k], how=how[k], outline=extra[k], **{n: float(u[k]) for n, u in parts.items()}
        )
        for k in range(2)
    ]
    no_face = Unmeasured(reason="no face was found", hint="state the face's sizes, or retake with the face in view")
    return {"width": found[0], "area": found[1], "radius": no_face, "arc": no_face, "arc_in_view": no_face}


def places_of(kind: Kind, polygon_px: Array, plane: Plane, face: Face | None) -> Array:
    """Gauge places of a drawn mark: along a groove's centreline, or the middle of a pit."""
    if kind == "groove" and face is not None:
        band = _band(polygon_px, plane, face)
        rows = np.linspace(0, len(band.inner_px) - 1, 7).astype(int)[[3, 1, 5]]
        return np.asarray((band.inner_px[rows] + band.outer_px[rows]) / 2)
    return np.asarray(polygon_px.mean(axis=0, keepdims=True))
