"""A ring of the measured plane rolled out straight from the photo: one interpolation, rows by angle.

Row i of a strip covers the angle `first_deg + (i +- 1/2) step_deg`, column j the radius `start_mm + j step_mm`.
Angles run from the plane's x axis towards its y axis. Each row is the mean of several rays, so that a row
keeps nearly all the light that fell on it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import median
from wearvision.measure.plane import Array, Plane
from wearvision.measure.rays import Rays

Image = NDArray[np.uint8]
Grid = NDArray[np.float32]
RAY_STEP_PX = 1.5
"""Distance between neighbouring rays at mid radius, photo px."""
RIM_PX = 8.0
"""A ring whose rim, asked at every degree, stays so far within the picture is wholly in it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Strip:
    """A ring rolled out.

    Attributes
    ----------
    values : (T, R) float32
        Mean grey value, 0 to 255.
    valid : (T, R) bool
        False out of the picture and under the excluded outlines.
    centre_mm : (2,) array
    first_deg, step_deg : float
        Angle of row 0 and between rows.
    start_mm, step_mm : float
        Radius of column 0 and between columns.
    px_mm : float
        Length of one photo pixel at mid radius, mm.
    """

    values: Grid
    valid: NDArray[np.bool_]
    centre_mm: Array
    first_deg: float
    step_deg: float
    start_mm: float
    step_mm: float
    px_mm: float

    @property
    def closed(self) -> bool:
        """Whether the last row is the neighbour of the first."""
        return bool(abs(self.values.shape[0] * self.step_deg - 360.0) < 1e-6)

    def deg(self, row: Array) -> Array:
        """Angle of rows (fractions allowed)."""
        return self.first_deg + self.step_deg * np.asarray(row, dtype=np.float64)

    def mm(self, column: Array) -> Array:
        """Radius of columns (fractions allowed)."""
        return self.start_mm + self.step_mm * np.asarray(column, dtype=np.float64)


def ring_points(centre_mm: Array, deg: Array, radius_mm: Array | float) -> Array:
    """Plane points (N, 2) at angles and radii of one shape round a centre."""
    angle = np.radians(np.asarray(deg, dtype=np.float64).ravel())
    radius = np.asarray(radius_mm, dtype=np.float64).ravel()
    points = np.empty((len(angle), 2))
    points[:, 0] = np.cos(angle) * radius + centre_mm[0]
    points[:, 1] = np.sin(angle) * radius + centre_mm[1]
    return points


def polar(points_mm: Array, centre_mm: Array) -> tuple[Array, Array]:
    """Angle in degrees (-180 to 180) and radius of plane points round a centre."""
    off = np.asarray(points_mm, dtype=np.float64).reshape(-1, 2) - centre_mm
    return np.degrees(np.arctan2(off[:, 1], off[:, 0])), np.hypot(off[:, 0], off[:, 1])


def in_frame(px: Array, size_px: tuple[int, int], margin_px: float = 0.0) -> NDArray[np.bool_]:
    """Which pixels (N, 2) lie in a picture of (width, height)."""
    x, y = px.T
    right, bottom = (n - 1.0 - margin_px for n in size_px)
    return np.asarray((x >= margin_px) & (x <= right) & (y >= margin_px) & (y <= bottom))


def seen_arc(plane: Plane, centre_mm: Array, radii_mm: Array, step_deg: float) -> tuple[float, int]:
    """First angle and number of rows of the least arc that holds all that is seen of a ring.

    The rows are multiples of `step_deg`; `(0, 0)` when nothing is in the picture.
    """
    count = round(360.0 / step_deg)
    rim = ring_points(centre_mm, np.arange(360.0), float(radii_mm[-1]))
    if in_frame(plane.to_px(rim), plane.size_px, RIM_PX).all():
        return 0.0, count
    deg = np.arange(count, dtype=np.float64) * step_deg
    seen = np.zeros(count, dtype=bool)
    for radius in np.linspace(radii_mm[0], radii_mm[-1], 5).tolist():
        seen |= in_frame(plane.to_px(ring_points(centre_mm, deg, radius)), plane.size_px)
    if seen.all() or not seen.any():
        return (0.0, count if seen.any() else 0)
    rows = np.flatnonzero(seen)
    gaps = np.diff(np.append(rows, rows[0] + count))
    first = rows[(int(np.argmax(gaps)) + 1) % len(rows)]
    return float(first * step_deg), int(count - gaps.max() + 1)


def unwrap(
    gray: Image, plane: Plane, centre_mm: Array, radii_mm: tuple[float, float], *, step_deg: float = 0.5,
    step_px: float = 0.7, exclude_px: tuple[Array, ...] = (), ray_px: float = RAY_STEP_PX,
) -> Strip:  # fmt: skip
    """Roll out the ring between two radii.

    Parameters
    ----------
    gray : (H, W) uint8
    centre_mm : (2,) array
    radii_mm : (inner, outer)
    step_deg : float
        Rows.
    step_px : float
        Columns, in photo pixels at mid radius.
    exclude_px : outlines in photo pixels that hide the part (the card).
    ray_px : float
        Distance between neighbouring rays at mid radius, photo px: what lies between them is not seen.
    """
    mid = 0.5 * (radii_mm[0] + radii_mm[1])
    px_mm = ring_scale(plane, centre_mm, mid)
    columns = max(8, round((radii_mm[1] - radii_mm[0]) / (step_px * px_mm)) + 1)
    step_mm = (radii_mm[1] - radii_mm[0]) / (columns - 1)
    radius = radii_mm[0] + step_mm * np.arange(columns, dtype=np.float64)
    first, rows = seen_arc(plane, centre_mm, radius, step_deg)
    if rows == 0:
        rows = 1
    rays = max(1, round(np.radians(step_deg) * mid / (ray_px * px_mm)))
    way = Rays.of(plane, centre_mm, first - step_deg / 2, step_deg / rays, rows * rays, radius)
    strip = Strip(
        values=way.means(gray, rows, rays), valid=way.within(gray, rows, rays),
        centre_mm=np.asarray(centre_mm, dtype=np.float64), first_deg=first, step_deg=step_deg,
        start_mm=radii_mm[0], step_mm=step_mm, px_mm=px_mm,
    )  # fmt: skip
    for outline in exclude_px:
        _hide(strip, plane, outline)
    return strip


def unwrapped_as(strip: Strip, gray: Image, plane: Plane) -> Grid:
    """What another picture of the same ring shows at the places of a strip, (T, R): one ray to a row."""
    rows, columns = strip.values.shape
    radius = strip.mm(np.arange(columns, dtype=np.float64))
    begin = strip.first_deg - strip.step_deg / 2
    return Rays.of(plane, strip.centre_mm, begin, strip.step_deg, rows, radius).means(gray, rows, 1)


def ring_scale(plane: Plane, centre_mm: Array, radius_mm: float) -> float:
    """Length of one photo pixel, mm: median over the seen part of a circle (of all of it when none is)."""
    deg = np.arange(0.0, 360.0, 15.0)
    here = plane.to_px(ring_points(centre_mm, deg, radius_mm))
    out = plane.to_px(ring_points(centre_mm, deg, radius_mm + 1.0))
    seen = in_frame(here, plane.size_px)
    px_per_mm = np.hypot(*(out - here).T)
    return 1.0 / median(px_per_mm[seen] if seen.any() else px_per_mm)


def row_means(values: Image | Grid, rows: int) -> Grid:
    """Means (N, R) of every so many rows of (N * rows, R)."""
    if rows == 1:
        return values.astype(np.float32)
    total: Grid = np.zeros((len(values) // rows, values.shape[1]), dtype=np.float32)
    for k in range(rows):
        cv2.accumulate(values[k : len(total) * rows : rows], total)
    return np.multiply(total, np.float32(1 / rows), out=total)


def _hide(strip: Strip, plane: Plane, outline_px: Array) -> None:
    """Mark what an outline covers as not valid (the array is still private here)."""
    deg, radius = polar(plane.to_mm(_dense(outline_px)), strip.centre_mm)
    turned = np.mod(deg - strip.first_deg + 180.0 - strip.values.shape[0] * strip.step_deg / 2, 360.0)
    row = (turned - 180.0 + strip.values.shape[0] * strip.step_deg / 2) / strip.step_deg
    column = (radius - strip.start_mm) / strip.step_mm
    whole = 360.0 / strip.step_deg
    line = np.column_stack([column, np.unwrap(row, period=whole)])
    if abs(line[-1, 1] - line[0, 1]) > whole / 2:  # it goes round the centre: all that lies further in is hidden
        end = line[0, 1] + np.sign(line[-1, 1] - line[0, 1]) * whole
        line = np.vstack([line, [column[0], end], [-2.0, end], [-2.0, line[0, 1]]])
    if line[:, 0].min() > strip.values.shape[1]:
        return  # all of it lies further out
    cover = np.zeros(strip.values.shape, dtype=np.uint8)
    for lap in (-1, 0, 1):
        shifted = np.round(line + np.array([0.0, lap * whole])).astype(np.int32)
        cv2.fillPoly(cover, [shifted], 1)
    strip.valid[...] &= cover == 0


def _dense(outline_px: Array, count: int = 24) -> Array:
    """The outline with points added along its sides."""
    ahead = np.concatenate([outline_px[1:], outline_px[:1]])
    steps = np.linspace(0.0, 1.0, count, endpoint=False)[None, :, None]
    return np.asarray((outline_px[:, None] + (ahead - outline_px)[:, None] * steps).reshape(-1, 2))
