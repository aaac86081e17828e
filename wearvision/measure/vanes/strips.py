"""Every vane rolled out straight along one common line: rows along the vane, columns across it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import Chart
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, log_gray
from wearvision.measure.plane import Array, Plane
from wearvision.measure.polyline import at_run, length_of
from wearvision.measure.roughness import roughness
from wearvision.measure.unwrap import Image

SMOOTH_MM = 5.0
"""Length along a vane over which light is averaged before an edge across it is looked for."""
LOG_GRAY = log_gray(np.arange(256, dtype=np.float32))
CAP = 3.5
LEAST_SEEN = 0.3
"""Share of that length that must be seen."""
GRAIN_MM, LEAST_BLUR = ((0.8, 0.8), (0.6, 1.0)), 0.6
"""Roughness is what strays within the first of these across and along, over the second; least blur, steps."""
BY_GRAIN = 0.5
"""What an edge in roughness counts, of one in light: tops are worn smooth, the disc between them is as it was cast."""
QUIET = 0.7
"""Edges are never held against less than this share of what is usual over all vanes: quiet metal has none."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Line:
    """The common line of the vanes, as vane 0 would have it: points (S, 2) about the centre, from root to tip.

    `left` (S, 2) are unit normals to the left going outwards, as seen (y runs down); `along_mm` (S,) distances.
    """

    points_mm: Array
    left: Array
    along_mm: Array

    @classmethod
    def through(cls, points_mm: Array, step_mm: float) -> Line:
        """Evenly spaced line through points (N, 2)."""
        along = np.arange(0.0, length_of(points_mm), step_mm)
        points = at_run(points_mm, along)
        way = np.gradient(points, axis=0)
        way /= np.hypot(way[:, 0], way[:, 1])[:, None]
        return cls(points_mm=points, left=np.column_stack([way[:, 1], -way[:, 0]]), along_mm=along)

    @property
    def radius_mm(self) -> Array:
        """Distance from the centre."""
        return np.asarray(np.hypot(self.points_mm[:, 0], self.points_mm[:, 1]))

    def moved(self, left_mm: Array) -> Line:
        """The line shifted to its left by so much at each of its points, evenly spaced anew."""
        step = float(self.along_mm[1] - self.along_mm[0])
        return Line.through(self.points_mm + self.left * left_mm[:, None], step)

    def turned(self, number: int) -> tuple[Array, Array]:
        """Points and normals of all vanes, (N, S, 2) each, about the centre."""
        angle = 2 * np.pi * np.arange(number) / number
        turn = np.stack([np.cos(angle), np.sin(angle), -np.sin(angle), np.cos(angle)], axis=1).reshape(-1, 2, 2)
        return self.points_mm @ turn, self.left @ turn


@dataclass(frozen=True, kw_only=True, eq=False)
class Strips:
    """All vanes rolled out.

    Attributes
    ----------
    values : (N, S, M) float32
        Log grey; column 0 lies `reach_mm` to the right of the line, the last as far to its left.
    seen : (N, S, M) bool
    across_mm : (M,) array
        Offset of the columns, + to the left.
    left : (N, S, 2) array
        Normals.
    """

    values: Grid
    seen: NDArray[np.bool_]
    across_mm: Array
    left: Array

    @property
    def step_mm(self) -> float:
        """Between columns."""
        return float(self.across_mm[1] - self.across_mm[0])


def _places(line: Line, centre_mm: Array, number: int, across_mm: Array) -> tuple[Array, Array]:
    points, left = line.turned(number)
    return centre_mm + points[:, :, None, :] + left[:, :, None, :] * across_mm[None, None, :, None], left


def from_chart(chart: Chart, line: Line, centre_mm: Array, number: int, across_mm: Array) -> Strips:
    """Strips read from the small map."""
    places, left = _places(line, centre_mm, number, across_mm)
    at = ((places - chart.origin_mm) / chart.step_mm).astype(np.float32)
    shape = at.shape[:3]
    flat = at.reshape(shape[0] * shape[1], shape[2], 2)
    values = cv2.remap(chart.values, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    valid = chart.valid.astype(np.uint8)
    seen = cv2.remap(
        valid, flat[..., 0], flat[..., 1], cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=0
    )
    return Strips(
        values=np.asarray(values, dtype=np.float32).reshape(shape), seen=np.asarray(seen > 0).reshape(shape),
        across_mm=across_mm, left=left,
    )  # fmt: skip


def from_photo(
    gray: Image, plane: Plane, line: Line, centre_mm: Array, number: int, across_mm: Array, hidden_px: tuple[Array, ...]
) -> Strips:
    """Strips read from the photo itself; the camera is asked at three columns, and a parabola tells those between."""
    knots = np.linspace(across_mm[0], across_mm[-1], 3)
    places, left = _places(line, centre_mm, number, knots)
    exact = plane.to_px(places.reshape(-1, 2)).reshape(*places.shape)
    t = np.linspace(-1, 1, len(across_mm))
    basis = np.stack([t * (t - 1) / 2, 1 - t * t, t * (t + 1) / 2]).astype(np.float32)
    shape = (*exact.shape[:2], len(across_mm))
    x, y = (exact[..., k].reshape(-1, 3).astype(np.float32) @ basis for k in (0, 1))
    values = cv2.remap(gray, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    width, height = plane.size_px
    seen = (x >= 1) & (y >= 1) & (x <= width - 2) & (y <= height - 2)
    rows = len(line.along_mm)
    for first in range(0, len(x), rows):
        vane = slice(first, first + rows)
        for outline in (one for one in hidden_px if _near(x[vane], y[vane], one)):
            seen[vane] &= ~_inside(x[vane], y[vane], outline)
    light = np.asarray(cv2.LUT(np.asarray(values, dtype=np.uint8), LOG_GRAY), dtype=np.float32)
    return Strips(values=light.reshape(shape), seen=np.asarray(seen).reshape(shape), across_mm=across_mm, left=left)


def _near(x: Grid, y: Grid, outline: Array) -> bool:
    """Whether boxes about places and about an outline overlap."""
    low, high = outline.min(axis=0), outline.max(axis=0)
    return bool(x.max() >= low[0] and x.min() <= high[0] and y.max() >= low[1] and y.min() <= high[1])


def _inside(x: Grid, y: Grid, outline: Array) -> NDArray[np.bool_]:
    """Which places lie in a convex outline, whichever way it runs."""
    ahead = np.roll(outline, -1, axis=0)
    sides = [
        (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])
        for a, b in zip(outline, ahead, strict=True)
    ]
    return np.asarray(np.all([s >= 0 for s in sides], axis=0) | np.all([s <= 0 for s in sides], axis=0))


def grain_of(strips: Strips, along_step_mm: float) -> Strips:
    """The strips in how rough each place looks (`roughness`)."""
    near, over = (
        (max(across / strips.step_mm, LEAST_BLUR), max(along / along_step_mm, LEAST_BLUR)) for across, along in GRAIN_MM
    )
    return replace(strips, values=np.stack([roughness(one, near, over) for one in strips.values]))


def at_columns(values: Grid, column: Array) -> Array:
    """Values of rows (S, M) at columns (S, K), linear between them; beyond the ends the last value stands."""
    out = np.empty(column.shape)
    _at_columns(values, column, out)
    return out


@compiled
def _at_columns(values: Grid, column: Array, out: Array) -> None:
    for i in range(len(column)):
        for k in range(column.shape[1]):
            base = min(max(int(np.floor(column[i, k])), 0), values.shape[1] - 2)
            part = min(max(column[i, k] - base, 0.0), 1.0)
            out[i, k] = values[i, base] * (1 - part) + values[i, base + 1] * part


def means_between(values: Grid, low: NDArray[np.intp], up: NDArray[np.intp]) -> Array:
    """Means (..., N, S) of rows of strips (N, S, M) from columns `low` on and before `up`; 0 where there are none."""
    out = np.empty(low.shape)
    shape = (-1, *values.shape[:2])
    _means_between(np.ascontiguousarray(values), low.reshape(shape), up.reshape(shape), out.reshape(shape))
    return out


@compiled
def _means_between(values: Grid, low: NDArray[np.intp], up: NDArray[np.intp], out: Array) -> None:
    for t in range(len(out)):
        for n in range(len(values)):
            for i in range(values.shape[1]):
                total, first, stop = 0.0, low[t, n, i], up[t, n, i]
                for j in range(first, stop):
                    total += values[n, i, j]
                out[t, n, i] = total / max(stop - first, 1)


def signed_across(strips: Strips, along_step_mm: float, sigma_mm: float, smooth_mm: float = SMOOTH_MM) -> Grid:
    """Signed edge across each vane (N, S, M); where not seen it is 0."""
    rows, half = _odd(smooth_mm / along_step_mm), max(1, int(np.ceil(3 * sigma_mm / strips.step_mm)))
    x = np.arange(-half, half + 1)
    bell = np.exp(-0.5 * (x * strips.step_mm / sigma_mm) ** 2)
    kernel = (x * bell / np.sum(x * x * bell) / strips.step_mm).reshape(1, -1)
    signed = np.empty_like(strips.values)
    for values, seen, out in zip(strips.values, strips.seen, signed, strict=True):
        mean, known = _mean_along(values, seen, rows)
        cv2.filter2D(mean, cv2.CV_32F, kernel, dst=out, borderType=cv2.BORDER_REPLICATE)
        if known is not None:
            out *= cv2.erode(known, np.ones((1, 2 * half + 1), np.uint8))
    return signed


def _mean_along(values: Grid, seen: NDArray[np.bool_], rows: int) -> tuple[Grid, NDArray[np.uint8] | None]:
    """Mean of one strip over so many rows, and where enough of them is seen; `None` where all is."""
    if seen.all():
        return np.asarray(cv2.blur(values, (1, rows), borderType=cv2.BORDER_REPLICATE), dtype=np.float32), None
    here = seen.astype(np.float32)
    mean = cv2.blur(values * here, (1, rows), borderType=cv2.BORDER_REPLICATE)
    share = cv2.blur(here, (1, rows), borderType=cv2.BORDER_REPLICATE)
    known = share > LEAST_SEEN
    return np.where(known, mean / np.maximum(share, LEAST_SEEN), 0.0).astype(np.float32), known.astype(np.uint8)


def edges_across(
    strips: Strips, along_step_mm: float, sigma_mm: float, smooth_mm: float = SMOOTH_MM, cap: float = CAP
) -> tuple[Grid, Grid]:
    """Signed edge across each vane, and its size for its surroundings (0 to `cap`, about 1 where nothing is).

    Both (N, S, M); where not seen they are 0.
    """
    signed = signed_across(strips, along_step_mm, sigma_mm, smooth_mm)
    size, around = np.abs(signed), (signed.shape[2] | 1, 3 * _odd(smooth_mm / along_step_mm) | 1)
    usual = np.empty_like(size)
    for one, out in zip(size, usual, strict=True):
        cv2.blur(one, around, dst=out, borderType=cv2.BORDER_REPLICATE)
    means = [float(u.sum()) / max(int(np.count_nonzero(u)), 1) for u in usual]
    np.maximum(usual, np.float32(QUIET * np.median(means)), out=usual)
    usual += np.float32(0.004)
    size /= usual
    return signed, np.minimum(size, np.float32(cap), out=size)


def _odd(rows: float) -> int:
    """The odd number of rows next to so many."""
    return max(1, round(rows)) | 1
