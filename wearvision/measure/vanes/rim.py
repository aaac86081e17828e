"""The axis of a disc from its rim: a circle below the tops of the vanes, of a size that is stated.

Seen from a camera `H` above the tops, a circle of radius `R` that lies `h` below them is one of radius `R H / (H + h)`
on their plane, its centre drawn towards the camera's foot by the same share (parallel planes: a similarity). So the
radius that shows tells the depth, and the depth tells where the axis stands among the tops.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import Chart
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, median, peak_offset, slope
from wearvision.measure.plane import Array, Plane
from wearvision.measure.vanes.foot import Where, camera_foot, lifted

RAYS = 120
DEPTHS_MM = np.arange(-1.0, 25.0, 0.75)
"""How far a rim may lie below the tops."""
ALONG_MM, BESIDE_MM = np.arange(-8.0, 8.1, 1.0), np.arange(-1.0, 1.1, 0.5)
"""Where its centre may lie from that of all the disc's circles, which lie at several depths: towards the camera's foot,
and across."""
MARGIN_MM = 6.0
"""Rays go so far beyond the radii that may be."""
NEAR_END = 4
"""Columns at either end of a ray on which no circle is sought."""
CAP = 5.0
"""Most that one edge counts for, over what is usual along its ray."""
CLEAR, LEAST_SHARE = 1.2, 0.5
"""An edge above the first is placed; so many of the rays must show one."""
NEAR_COLUMNS = (3, 2, 2, 2)
"""How far from the circle edges are placed, round by round."""
ROUND_MM = 0.45
"""Robust standard deviation of a rim's edge about its circle, at most."""
RADIUS_SD_MM, CENTRE_SD_MM = 0.35, 0.25
"""Of the rim's radius against the stated one (its edge is broken, the size rounded), and of the circle's centre."""
WEIGHT = 0.05
"""Of the axis against a pile of edges, which is sharper; it is looked for nearby only."""


def axis_by_rim(chart: Chart, plane: Plane, centre_mm: Array, radius_mm: float) -> Where | None:
    """Where the axis of a disc stands on the plane of the tops.

    Parameters
    ----------
    chart : map of the plane
    plane : the plane of the tops
    centre_mm : where the disc's circles seem to have their centre
    radius_mm : stated radius of the rim

    Returns
    -------
    `None` where no round rim of such a size shows.
    """
    foot, height = camera_foot(plane)
    rays = _Rays.of(chart, centre_mm, radius_mm * height / (height + DEPTHS_MM))
    circle = rays.fitted(rays.likeliest(foot - centre_mm))
    if circle is None:
        return None
    centre, depth = centre_mm + circle[1:], height * (radius_mm / circle[0] - 1)
    lift = (centre - foot) / height
    cov = CENTRE_SD_MM**2 * np.eye(2) + (RADIUS_SD_MM * height / radius_mm) ** 2 * np.outer(lift, lift)
    return Where(middle_mm=lifted(plane, centre, float(depth)), spread_mm2=cov, weight=WEIGHT)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Rays:
    """Edges along rays from a place: `edge` (T, R) over what is usual on each, its radii, the rays' ways (T, 2)."""

    edge: Grid
    radius: Array
    way: Array
    radii: Array

    @classmethod
    def of(cls, chart: Chart, centre_mm: Array, radii: Array) -> _Rays:
        turn = np.arange(RAYS) * 2 * np.pi / RAYS
        way = np.column_stack([np.cos(turn), np.sin(turn)])
        radius = np.arange(radii.min() - MARGIN_MM, radii.max() + MARGIN_MM, chart.step_mm)
        at = (centre_mm - chart.origin_mm + way[:, None] * radius[None, :, None]) / chart.step_mm
        x, y = (np.ascontiguousarray(at[..., k], dtype=np.float32) for k in (0, 1))
        light = cv2.remap(chart.values, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        seen = cv2.remap(
            chart.valid.astype(np.uint8), x, y, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=0
        )
        edge = np.abs(slope(np.asarray(light, dtype=np.float32), 1.0)) * cv2.erode(seen, np.ones((1, 5), np.uint8))
        usual = edge.sum(axis=1) / np.maximum(seen.sum(axis=1), 1) + 0.01
        size = np.minimum(edge / usual[:, None], CAP)
        return cls(edge=np.asarray(size, dtype=np.float32), radius=radius, way=way, radii=radii)

    def likeliest(self, to_foot: Array) -> Array:
        """Circle (radius, x, y) with most edge on it, of all that may be; its centre from where the rays begin."""
        toward = to_foot / max(float(np.hypot(*to_foot)), 1e-6)
        beside = np.array([-toward[1], toward[0]])
        a, b, r = (g.ravel() for g in np.meshgrid(ALONG_MM, BESIDE_MM, self.radii, indexing="ij"))
        off = a[:, None] * toward + b[:, None] * beside
        worth, step = np.empty(len(r)), self.radius[1] - self.radius[0]
        _on_circles(self.edge, (r - self.radius[0]) / step, off / step, self.way, worth)
        best = int(np.argmax(worth))
        return np.array([r[best], *off[best]])

    def _columns(self, radius: Array, off: Array) -> NDArray[np.intp]:
        """Column of each ray at which circles (C,) about places (C, 2) cross it, (C, T)."""
        place = (radius[..., None] + off @ self.way.T - self.radius[0]) / (self.radius[1] - self.radius[0])
        return np.asarray(np.clip(np.rint(place), NEAR_END, self.edge.shape[1] - 1 - NEAR_END), dtype=np.intp)

    def fitted(self, circle: Array) -> Array | None:
        """The circle on sub-pixel edges near it; `None` where too few rays show one, or they do not lie on a circle."""
        rows, step, spread = np.arange(RAYS), self.radius[1] - self.radius[0], np.inf
        for half in NEAR_COLUMNS:
            near = self._columns(circle[0], circle[1:])[:, None] + np.arange(-half, half + 1)
            top = near[rows, np.argmax(np.take_along_axis(self.edge, near, axis=1), axis=1)]
            left, mid, right = (self.edge[rows, top + d].astype(np.float64) for d in (-1, 0, 1))
            clear = (mid > CLEAR) & (mid >= left) & (mid >= right)
            if clear.mean() < LEAST_SHARE:
                return None
            place = self.radius[0] + (top + peak_offset(left, mid, right)) * step
            circle, spread = _circle(self.way[clear], place[clear], circle)
        return circle if spread < ROUND_MM else None


@compiled
def _on_circles(edge: Grid, radius: Array, off: Array, way: Array, worth: Array) -> None:
    """Sum of the edges on circles (C,) about places (C, 2), all in columns."""
    last = edge.shape[1] - 1
    for c in range(len(radius)):
        worth[c] = 0.0
        for t in range(len(way)):
            place = int(np.rint(radius[c] + off[c, 0] * way[t, 0] + off[c, 1] * way[t, 1]))
            worth[c] += edge[t, min(max(place, NEAR_END), last - NEAR_END)]


def _circle(way: Array, place: Array, circle: Array) -> tuple[Array, float]:
    """Circle (radius, x, y) through places along rays by robust least squares, and their spread about it."""
    design, spread = np.column_stack([np.ones(len(way)), way]), np.inf
    for _ in range(5):
        off = place - design @ circle
        spread = max(0.08, 1.4826 * median(np.abs(off)))
        root = np.clip(1 - (off / (3 * spread)) ** 2, 0, None)
        circle = np.asarray(np.linalg.lstsq(design * root[:, None], place * root, rcond=None)[0], dtype=np.float64)
    return circle, spread
