"""Sub-pixel edge points of a circle whose place is roughly known, in full size."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.circle_sight import lifted
from wearvision.measure.edges import Grid, along, median, peak_offset, slope
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import RAY_STEP_PX, Image, Strip, ring_points, unwrap

FIRST_PX, RUN_PX = 18.0, 6.0
"""Half-widths of the band in which a circle is sought at first, its centre and shape free, and of that in which its
edge may run."""
FOUND_SD = (0.004, 0.1)
"""How far from where it should be a circle may be found: relative, and mm."""
ROW_DEG, STRIP_PX = 1.0, 0.7
RAYS = 2
"""Rays lie at most this many times closer than half the band is wide: what is sought roughly is looked at roughly."""
LEAST_SLOPE = 0.004
"""Slope of the light per strip column over its mean, at least, for a row to hold an edge."""
GAMMA = 2.2


def ring_edges(
    gray: Image, plane: Plane, radius_mm: float, height_mm: float, window_px: float,
    exclude_px: tuple[Array, ...],
) -> tuple[Array, Array]:  # fmt: skip
    """Edge points of the clearest ring about a circle, photo px (M, 2), and their strength (M,)."""
    there = lifted(plane, height_mm)
    px_mm = mm_per_px_about(there, radius_mm)
    reach = window_px or FIRST_PX + RUN_PX
    half = (reach + 4.0) * px_mm
    strip = unwrap(
        gray, there, np.zeros(2), (radius_mm - half, radius_mm + half), step_deg=ROW_DEG, step_px=STRIP_PX,
        exclude_px=exclude_px, ray_px=max(RAY_STEP_PX, reach / RAYS),
    )
    if len(strip.values) < 9:
        return np.zeros((0, 2)), np.zeros(0)
    light = np.asarray((strip.values / np.float32(255.0)) ** np.float32(GAMMA) * np.float32(255.0), dtype=np.float32)
    edge = np.abs(slope(along(light, 3, closed=strip.closed), 1.5)) / (light.mean(axis=1, keepdims=True) + 4.0)
    edge = np.asarray(edge * strip.valid, dtype=np.float32)
    if window_px == 0.0:
        return _ring_near(strip, there, edge, radius_mm)
    return _nearest(strip, there, edge, radius_mm, window_px)


def mm_per_px_about(plane: Plane, radius_mm: float) -> float:
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
        spread = max(0.7, 1.4826 * median(error[ok])) if ok.any() else 0.7
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
