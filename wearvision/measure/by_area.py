"""Areas a person outlines: a rubbed or otherwise worn area (how large, how far out), a notch of a land."""

from __future__ import annotations

import cv2
import numpy as np

from wearvision.measure.chart import scale_at
from wearvision.measure.face import Face
from wearvision.measure.finders.groove import axis_covariance
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import polar
from wearvision.quantity import Measured, Quantity, Unit, Unmeasured

HAND_PX = 1.0
"""Standard uncertainty of a side drawn by hand, photo px; common practice, no source."""
UNITS: tuple[Unit, ...] = ("mm2", "mm", "mm")
NOTCH_UNITS: tuple[Unit, ...] = ("mm", "deg", "mm2")
NO_LAND = Unmeasured(reason="no land was found on this photo", hint="state its diameters, or gauge the loss")
NO_EDGE = Unmeasured(reason="the outline reaches neither edge of the land", hint="draw it across the edge")


def measure_rub(polygon_px: Array, plane: Plane, face: Face | None) -> dict[str, Quantity]:
    """`area` within an outline, and its extent: `radius_inner`, `radius_outer` on a face, else `length`, `width`."""
    edge = HAND_PX * scale_at(plane, polygon_px.mean(axis=0))
    if face is None:
        names, how, axis = ("area", "length", "width"), "of the least rectangle about the outline", 0.0
    else:
        names, how = ("area", "radius_inner", "radius_outer"), "from the axis, as outlined"
        axis = float(np.sqrt(np.trace(axis_covariance(face, plane)) / 2))

    def figures(p: Plane) -> Array:
        mm = p.to_mm(polygon_px)
        extent = _rectangle(mm) if face is None else _radii(mm, face.centre_mm)
        return np.array([_area(mm), *extent])

    value, parts = plane.propagate(figures)
    hand = (edge * _around(plane.to_mm(polygon_px)), edge * 1.4, edge * 1.4)
    return {
        name: Measured.of(
            float(value[k]), UNITS[k], how=how if k else "within the outline", outline=hand[k],
            **({"axis": axis} if k and axis else {}), **{n: float(u[k]) for n, u in parts.items()},
        )
        for k, name in enumerate(names)
    }  # fmt: skip


def measure_notch(polygon_px: Array, plane: Plane, circles_px: tuple[Array, ...]) -> dict[str, Quantity]:
    """`loss`, `arc` and `area` of a notch: what of the outline lies on the land, from the edge that it reaches.

    `circles_px` are the land's outer and inner edge, points all along each; an outline may reach beyond them.
    """
    px_mm = scale_at(plane, polygon_px.mean(axis=0))
    if len(circles_px) < 2:
        area = plane.measured(
            lambda p: np.array([_area(p.to_mm(polygon_px))]), "mm2", how="within the outline",
            outline=HAND_PX * px_mm * _around(plane.to_mm(polygon_px)),
        )[0]  # fmt: skip
        return {"loss": NO_LAND, "arc": NO_LAND, "area": area}
    middle, inner, outer = _edges(circles_px, plane)
    reach = _radii(plane.to_mm(polygon_px), middle)
    cut = (reach[0] <= inner + HAND_PX * px_mm, reach[1] >= outer - HAND_PX * px_mm)

    def figures(p: Plane) -> Array:
        centre, low, high = _edges(circles_px, p)
        ring = _dense(p.to_mm(polygon_px)) - centre
        far = np.hypot(*ring.T)
        kept = ring * (np.clip(far, low, high) / np.maximum(far, 1e-9))[:, None]
        on_land = (far > low) & (far < high)
        turn = _turn(ring[on_land] if on_land.any() else ring)
        loss = min(far.max(), high) - low if cut[0] else high - max(far.min(), low)
        return np.array([loss, np.degrees(turn), _area(kept)])

    value, parts = plane.propagate(figures)
    edge, radius = HAND_PX * px_mm, float(np.mean(reach))
    long = np.radians(float(value[1])) * radius
    hand = (1.4 * edge, float(np.degrees(1.4 * edge / radius)), edge * (long + 2 * float(value[0])))
    how = ("from the edge's own circle to the outline's farthest", "as outlined", "of the outline, on the land")
    found: dict[str, Quantity] = {
        name: Measured.of(
            float(value[k]), NOTCH_UNITS[k], how=how[k], outline=hand[k],
            **{n: float(u[k]) for n, u in parts.items()},
        )
        for k, name in enumerate(("loss", "arc", "area"))
    }  # fmt: skip
    return found if any(cut) else {**found, "loss": NO_EDGE}


def _dense(polygon_mm: Array) -> Array:
    ahead = np.roll(polygon_mm, -1, axis=0)
    steps = np.linspace(0, 1, 100, endpoint=False)[None, :, None]
    return np.asarray((polygon_mm[:, None] + (ahead - polygon_mm)[:, None] * steps).reshape(-1, 2))


def _radii(polygon_mm: Array, centre_mm: Array) -> tuple[float, float]:
    """Least and largest distance from a centre to an outline."""
    far = np.hypot(*(_dense(polygon_mm) - centre_mm).T)
    return float(far.min()), float(far.max())


def _turn(points: Array) -> float:
    """Angle that points about the origin span, radians: the lap less the widest gap."""
    at = np.sort(np.radians(polar(points, np.zeros(2))[0]))
    return float(2 * np.pi - np.diff(np.append(at, at[0] + 2 * np.pi)).max())


def _rectangle(polygon_mm: Array) -> tuple[float, float]:
    """Sides of the least rectangle about an outline, the longer first."""
    middle = polygon_mm.mean(axis=0)
    hull = cv2.convexHull((polygon_mm - middle).astype(np.float32)).reshape(-1, 2)
    turns = np.arctan2(*(np.roll(hull, -1, axis=0) - hull).T[::-1])
    sides = []
    for turn in turns:
        way = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        sides.append(np.ptp((polygon_mm - middle) @ way, axis=0))
    best = min(sides, key=lambda s: float(np.prod(s)))
    return float(best.max()), float(best.min())


def _edges(circles_px: tuple[Array, ...], plane: Plane) -> tuple[Array, float, float]:
    """Centre of the land, its inner and its outer radius."""
    (centre, one), (_, other) = (_circle(plane.to_mm(c)) for c in circles_px[:2])
    return centre, min(one, other), max(one, other)


def _circle(points_mm: Array) -> tuple[Array, float]:
    """Centre and radius of the circle through points that lie on one, by least squares."""
    middle = points_mm.mean(axis=0)
    at = points_mm - middle
    found = np.linalg.lstsq(np.column_stack([2 * at, np.ones(len(at))]), (at**2).sum(axis=1), rcond=None)[0]
    return middle + found[:2], float(np.sqrt(found[2] + found[0] ** 2 + found[1] ** 2))


def _around(polygon_mm: Array) -> float:
    return float(np.hypot(*(np.roll(polygon_mm, -1, axis=0) - polygon_mm).T).sum())


def _area(polygon_mm: Array) -> float:
    x, y = (polygon_mm - polygon_mm.mean(axis=0)).T
    return float(abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2)
