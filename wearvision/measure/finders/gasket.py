"""A gasket land: both its edges followed all the way round, what is left of its width, and where it is bitten into.

The land's two circles are found like those of a face (stated diameters, concentric edges). The ring is rolled out with
some of what lies beside it, and each edge is followed round the lap as the best closed way: land-like grey on the
land's side, another grey beyond, a step between. A shadow beside a raised land is neither; the step at its land side is
meant.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, log_gray, peak_offset, slope
from wearvision.measure.face import Face
from wearvision.measure.lips import running_median
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image, Strip, unwrap

BESIDE_MM = 6.0
"""How far beyond the land its surroundings are looked at."""
STEP_DEG = 0.25
NEAR_DEG = 25.0
"""The land's grey at an angle is the median over so many degrees."""
JUMP_COST = 0.5
"""Cost of an edge that moves one mm aside from row to row; a bite's flank is followed when its area pays for it."""
EDGE_WORTH, CLIP = 0.5, 3.0
"""Worth in mm of a step of usual strength, and most counted."""
OUT_MM = 1.2
"""An edge lies at most so far outside its circle."""
AWAY_COST = 0.06
"""Cost per mm off the circle: settles where land and metal look alike."""
ALIKE = 0.12
"""Least difference of log grey that tells land from metal."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Land:
    """The land's edges by angle.

    Attributes
    ----------
    face : Face
        Its circles, about which losses are told.
    strip : Strip
    deg, inner_mm, outer_mm : (N,) arrays
        Angles and radii of both edges.
    seen : (N,) bool
        Whether all of the land is in view at this angle.
    sure : (N,) bool
        Whether both edges show a clear step there.
    """

    face: Face
    strip: Strip
    deg: Array
    inner_mm: Array
    outer_mm: Array
    seen: NDArray[np.bool_]
    sure: NDArray[np.bool_]

    @property
    def width_mm(self) -> Array:
        """What is left of the land at each angle."""
        return np.asarray(self.outer_mm - self.inner_mm)


def follow_land(gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...], *, blur_px: float) -> Land:
    """Follow both edges of a land round its circles."""
    inner, outer = face.radii_mm
    radii = (max(1.0, inner - BESIDE_MM), outer + BESIDE_MM)
    strip = unwrap(gray, plane, face.centre_mm, radii, exclude_px=exclude_px, step_deg=STEP_DEG)
    log = log_gray(strip.values)
    calm = np.asarray(cv2.GaussianBlur(log, (0, 0), 0.6), dtype=np.float32)
    sigma = max(1.0, blur_px) * strip.px_mm / strip.step_mm
    size = np.abs(slope(calm, sigma))
    steep = np.asarray(size / (1.4826 * np.median(size, axis=1, keepdims=True) + 2e-3), dtype=np.float32)
    land = _land_like(calm, strip, (inner, outer))
    radius = strip.mm(np.arange(calm.shape[1], dtype=np.float64))
    middle = int(np.argmin(np.abs(radius - (inner + outer) / 2)))
    first, last = _both_edges(land, steep, radius, (inner, outer), strip)
    rows = np.arange(len(calm))
    inner_mm, inner_size = _fine(steep, first, strip)
    outer_mm, outer_size = _fine(steep, last, strip)
    clear = 1.5
    return Land(
        face=face, strip=strip, deg=strip.deg(rows.astype(np.float64)), inner_mm=inner_mm, outer_mm=outer_mm,
        seen=_seen(strip, first, last, middle), sure=(inner_size > clear) & (outer_size > clear),
    )  # fmt: skip


def _land_like(calm: Grid, strip: Strip, radii_mm: tuple[float, float]) -> Grid:
    """How much each place looks like the land at its angle and unlike what lies beside it, -0.5 to 0.5."""
    radius = strip.mm(np.arange(calm.shape[1], dtype=np.float64))
    inner, outer = radii_mm
    margin = 0.15 * (outer - inner)
    own = np.where(strip.valid, calm, np.nan)[:, (radius > inner + margin) & (radius < outer - margin)]
    level, spread = _around(own, strip)
    out = np.zeros_like(calm)
    for part in (radius < (inner + outer) / 2, radius >= (inner + outer) / 2):
        beyond = part & ((radius < inner - 1.0) | (radius > outer + 1.0))
        other, other_spread = _around(np.where(strip.valid, calm, np.nan)[:, beyond], strip)
        apart = np.abs(other - level)
        trust = np.clip((apart / np.maximum(ALIKE, 2 * np.minimum(spread, other_spread)) - 0.5), 0, 1)
        width = np.maximum(0.5 * ALIKE, np.minimum(2.0 * spread, 0.45 * apart + 1e-3))
        like = np.exp(-0.5 * ((calm[:, part] - level[:, None]) / width[:, None]) ** 2)
        out[:, part] = (like - 0.5) * trust[:, None]
    return np.asarray(np.where(strip.valid, out, 0), dtype=np.float32)


def _around(values: Array, strip: Strip) -> tuple[Array, Array]:
    """Running median and spread over the rows nearby, (N,); where nothing is seen, those of all."""
    count = len(values)
    with np.errstate(all="ignore"):
        rows = np.array([np.nanmedian(v) if np.isfinite(v).any() else np.nan for v in values])
    half = round(NEAR_DEG / 2 / strip.step_deg)
    wrap = np.concatenate([rows[-half:], rows, rows[:half]]) if strip.closed else np.pad(rows, half, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(wrap, 2 * half + 1)
    total = float(np.nanmedian(rows)) if np.isfinite(rows).any() else 0.0
    level = np.array([np.nanmedian(w) if np.isfinite(w).any() else total for w in windows])[:count]
    far = np.abs(values - level[:, None])
    spread = 1.4826 * float(np.nanmedian(far)) if np.isfinite(far).any() else ALIKE
    return level, np.full(count, max(spread, 0.02))


def _both_edges(
    land: Grid, steep: Grid, radius: Array, circles_mm: tuple[float, float], strip: Strip
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Columns of both edges: each first by its own half of the land, then up to where the other edge is."""
    inner, outer = circles_mm
    half = (inner + outer) / 2
    place = np.arange(len(radius))[None, :]
    near, far = (np.where(side[None, :], land, 0) for side in (radius < half, radius > half))
    first, last = _pair(near, far, steep, radius, circles_mm, strip)
    near, far = np.where(place <= last[:, None], land, 0), np.where(place >= first[:, None], land, 0)
    return _pair(near, far, steep, radius, circles_mm, strip)


def _pair(
    near: Grid, far: Grid, steep: Grid, radius: Array, circles_mm: tuple[float, float], strip: Strip
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    first = _edge(near, steep, radius, circles_mm, strip)
    return first, len(radius) - 1 - _edge(far[:, ::-1], steep[:, ::-1], radius[::-1], circles_mm[::-1], strip)


def _edge(
    land: Grid, steep: Grid, radius: Array, circles_mm: tuple[float, float], strip: Strip
) -> NDArray[np.int64]:
    """Column of an edge in each row, land on the side of higher columns; the best closed way round.

    `circles_mm` are the edge's own circle and the land's other one, beyond which nothing counts.
    """
    step = strip.step_mm
    into = (radius - circles_mm[0]) * np.sign(circles_mm[1] - circles_mm[0])
    whole = abs(circles_mm[1] - circles_mm[0])
    sums = np.cumsum(np.where(into <= whole, land, 0), axis=1) * step
    worth = (sums[:, -1:] - 2 * sums).astype(np.float64)
    worth += EDGE_WORTH * np.minimum(steep, CLIP)
    worth -= AWAY_COST * np.abs(into)[None, :]
    worth[:, (into < -OUT_MM) | (into > whole)] = -1e6
    lead = len(worth) // 4 if strip.closed else 0
    order = np.concatenate([np.arange(len(worth) - lead, len(worth)), np.arange(len(worth)), np.arange(lead)])
    path = _best_way(worth[order], JUMP_COST * step)
    return path[lead : lead + len(worth)]


def _best_way(worth: Array, cost: float) -> NDArray[np.int64]:
    """Best way through the rows when moving aside costs so much per column (dynamic programming)."""
    count, wide = worth.shape
    place = np.arange(wide)
    came = np.empty((count, wide), dtype=np.int32)
    total = worth[0].copy()
    for row in range(1, count):
        up = total + cost * place
        high = np.maximum.accumulate(up)
        from_left = np.maximum.accumulate(np.where(up >= high, place, 0))
        down = (total - cost * place)[::-1]
        low = np.maximum.accumulate(down)
        from_right = wide - 1 - np.maximum.accumulate(np.where(down >= low, place, 0))[::-1]
        left, right = high - cost * place, low[::-1] + cost * place
        came[row] = np.where(left >= right, from_left, from_right)
        total = np.maximum(left, right) + worth[row]
    path = np.empty(count, dtype=np.int64)
    path[-1] = int(np.argmax(total))
    for row in range(count - 1, 0, -1):
        path[row - 1] = came[row, path[row]]
    return path


def _fine(steep: Grid, column: NDArray[np.int64], strip: Strip) -> tuple[Array, Array]:
    """Radius of the strongest step within 0.3 mm of a column, to a fraction of it, and its strength."""
    reach = max(1, round(0.3 / strip.step_mm))
    rows = np.arange(len(steep))
    index = np.clip(column[:, None] + np.arange(-reach, reach + 1), 1, steep.shape[1] - 2)
    best = index[rows, np.argmax(steep[rows[:, None], index], axis=1)]
    offset = peak_offset(*(steep[rows, best + k].astype(np.float64) for k in (-1, 0, 1)))
    return running_median(strip.mm(best + offset), 3), steep[rows, best].astype(np.float64)


def _seen(strip: Strip, first: NDArray[np.int64], last: NDArray[np.int64], middle: int) -> NDArray[np.bool_]:
    """Rows where everything from edge to edge is in view."""
    hidden = np.cumsum(~strip.valid, axis=1)
    rows = np.arange(len(hidden))
    low = np.maximum(np.minimum(first, middle) - 1, 0)
    high = np.minimum(np.maximum(last, middle) + 1, hidden.shape[1] - 1)
    return np.asarray(hidden[rows, high] - hidden[rows, low] == 0)
