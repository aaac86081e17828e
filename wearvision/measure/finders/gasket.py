"""A gasket land: both its edges followed all the way round, what is left of its width, and where it is bitten into.

The land's two circles are found like those of a face (stated diameters, concentric edges). The ring is rolled out with
some of what lies beside it, and each edge is followed round the lap as the best closed way: land-like grey on the
land's side, another grey beyond, a step between. A shadow beside a raised land is neither; the step at its land side is
meant.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, along, fit_circles, log_gray, peak_offset, row_medians, slope
from wearvision.measure.face import Face
from wearvision.measure.lips import running_median
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image, Strip, ring_points, unwrap

BESIDE_MM = 6.0
"""How far beyond the land its surroundings are looked at."""
STEP_DEG = 0.25
NEAR_DEG = 25.0
"""The land's grey at an angle is the median over so many degrees."""
JUMP_COST = 0.5
"""Cost of an edge that moves one mm aside from row to row; a bite's flank is followed when its area pays for it."""
EDGE_WORTH, CLIP = 0.5, 3.0
"""Worth in mm of a step of usual strength, and most counted."""
OUT_MM, NEAR_MM = 1.2, 0.35
"""An edge lies at most so far outside its circle, the first time and the second."""
CIRCLE_SD_MM = 0.6
"""How far the circles' centre and radii may move from where the ring was found."""
HOLD_MM, HOLD_ROWS = 6.0, 9
"""What staying at a circle is worth where it shows a usual step; rows that have to share it."""
THROUGH_MM = 0.8
"""A bite that comes so near the other edge has gone through, unless that edge shows."""
CLEAR = 1.5
"""Least relative strength of a step that counts as an edge."""
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
        Where the ring was found.
    strip : Strip
    calm, steep : (N, C) arrays
        The strip's log grey and how steep it is along each ray, over the row's usual.
    deg, inner_mm, outer_mm : (N,) arrays
        Angles and radii of both edges.
    sound_mm : (2, N) array
        Radius of the circle each edge once was, about the strip's centre.
    scatter_mm : (float, float)
        Scatter of each edge about its circle where nothing is wrong.
    seen : (N,) bool
        Whether all of the land is in view at this angle.
    sure : (N,) bool
        Whether both edges show a clear step there.
    """

    face: Face
    strip: Strip
    calm: Grid
    steep: Grid
    deg: Array
    inner_mm: Array
    outer_mm: Array
    sound_mm: Array
    scatter_mm: tuple[float, float]
    seen: NDArray[np.bool_]
    sure: NDArray[np.bool_]

    @property
    def width_mm(self) -> Array:
        """What is left of the land at each angle."""
        return np.asarray(self.outer_mm - self.inner_mm)


def follow_land(gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...], *, blur_px: float) -> Land:
    """Follow both edges of a land round its circles, twice: the first way round tells where the circles are."""
    inner, outer = face.radii_mm
    radii = (max(1.0, inner - BESIDE_MM), outer + BESIDE_MM)
    strip = unwrap(gray, plane, face.centre_mm, radii, exclude_px=exclude_px, step_deg=STEP_DEG)
    calm = np.asarray(cv2.GaussianBlur(log_gray(strip.values), (0, 0), 0.6), dtype=np.float32)
    sigma = max(1.0, blur_px) * strip.px_mm / strip.step_mm
    size = np.abs(slope(calm, sigma))
    steep = np.asarray(size / (1.4826 * np.median(size, axis=1, keepdims=True) + 2e-3), dtype=np.float32)
    like = _land_like(calm, strip, (inner, outer))
    deg = strip.deg(np.arange(len(calm), dtype=np.float64))
    guess = np.tile([inner, outer], (len(calm), 1)).T
    first = _land(face, strip, calm, steep, _both_edges(like, steep, strip, guess, OUT_MM), guess)
    sound, scatter = sound_circles(first, deg)
    hold = (_hold(calm, sound[0], strip), _hold(calm, sound[1], strip))
    second = _both_edges(like, steep, strip, sound, NEAR_MM, hold)
    land = _land(face, strip, calm, steep, second, sound)
    return replace(land, scatter_mm=scatter)


def _land(
    face: Face, strip: Strip, calm: Grid, steep: Grid, columns: tuple[NDArray[np.int64], NDArray[np.int64]],
    sound_mm: Array,
) -> Land:  # fmt: skip
    """Columns of both edges to radii, with what is seen and sure of them."""
    rows = np.arange(len(steep), dtype=np.float64)
    inner_mm, inner_size = _fine(steep, columns[0], strip)
    outer_mm, outer_size = _fine(steep, columns[1], strip)
    middle = round((float(sound_mm.mean()) - strip.start_mm) / strip.step_mm)
    return Land(
        face=face, strip=strip, calm=calm, steep=steep, deg=strip.deg(rows), inner_mm=inner_mm, outer_mm=outer_mm,
        sound_mm=sound_mm, scatter_mm=(0.05, 0.05), seen=_seen(strip, *columns, middle),
        sure=(inner_size > CLEAR) & (outer_size > CLEAR),
    )  # fmt: skip


def sound_circles(land: Land, deg: Array) -> tuple[Array, tuple[float, float]]:
    """Radius (2, N) of both edges' own circles in each row, about the strip's centre, and the edges' scatter."""
    centre = land.face.centre_mm
    start = np.array([*centre, *land.face.radii_mm])
    points = np.vstack([ring_points(centre, deg, r) for r in (land.inner_mm, land.outer_mm)])
    group = np.repeat([0, 1], len(deg))
    use = np.tile(land.seen & land.sure, 2)
    if use.sum() < 40:
        return land.sound_mm, (0.1, 0.1)
    fit = fit_circles(points[use], group[use], start, np.full(4, CIRCLE_SD_MM), floor_mm=0.03, effective=8.0)
    angle, shift = np.radians(deg), fit.centre_mm - centre
    away = shift[0] * np.cos(angle) + shift[1] * np.sin(angle)
    return fit.radii_mm[:, None] + away[None, :], (float(fit.spread_mm[0]), float(fit.spread_mm[1]))


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
    rows = row_medians(np.asarray(values, dtype=np.float64))
    half = round(NEAR_DEG / 2 / strip.step_deg)
    wrap = np.concatenate([rows[-half:], rows, rows[:half]]) if strip.closed else np.pad(rows, half, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(wrap, 2 * half + 1)
    total = float(np.nanmedian(rows)) if np.isfinite(rows).any() else 0.0
    level = np.nan_to_num(row_medians(windows), nan=total)[:count]
    far = np.abs(values - level[:, None])
    spread = 1.4826 * float(np.nanmedian(far)) if np.isfinite(far).any() else ALIKE
    return level, np.full(count, max(spread, 0.02))


def _both_edges(
    land: Grid, steep: Grid, strip: Strip, circles_mm: Array, out_mm: float,
    hold: tuple[Array | float, Array | float] = (0.0, 0.0),
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:  # fmt: skip
    """Columns of both edges: each first by its own half of the land, then up to where the other edge is."""
    radius = strip.mm(np.arange(land.shape[1], dtype=np.float64))
    half = float(circles_mm.mean())
    place = np.arange(len(radius))[None, :]
    near, far = (np.where(side[None, :], land, 0) for side in (radius < half, radius > half))
    for _ in range(2):
        first = _edge(near, steep, radius, circles_mm, strip, out_mm, hold)
        turned = (far[:, ::-1], steep[:, ::-1], radius[::-1], circles_mm[::-1])
        last = len(radius) - 1 - _edge(*turned, strip, out_mm, hold[::-1])
        near, far = np.where(place <= last[:, None], land, 0), np.where(place >= first[:, None], land, 0)
    return first, last


def _edge(
    land: Grid, steep: Grid, radius: Array, circles_mm: Array, strip: Strip, out_mm: float,
    hold: tuple[Array | float, Array | float],
) -> NDArray[np.int64]:  # fmt: skip
    """Column of an edge in each row, land on the side of higher columns; the best closed way round.

    `circles_mm` (2, N) are the edge's own circle and the land's other one, beyond which nothing counts; `out_mm` is how
    far outside its circle it may lie, `hold` what staying at it, and off the other, is worth.
    """
    step = strip.step_mm
    way = float(np.sign((circles_mm[1] - circles_mm[0]).mean()))
    into = (radius[None, :] - circles_mm[0][:, None]) * way
    whole = np.abs(circles_mm[1] - circles_mm[0])[:, None]
    sums = np.cumsum(np.where(into <= whole, land, 0), axis=1) * step
    worth = (sums[:, -1:] - 2 * sums).astype(np.float64)
    worth += EDGE_WORTH * np.minimum(steep, CLIP)
    worth -= AWAY_COST * np.abs(into)
    worth += np.where(np.abs(into) < NEAR_MM, np.reshape(hold[0], (-1, 1)), 0.0)
    worth -= np.where(into > whole - THROUGH_MM, np.reshape(hold[1], (-1, 1)), 0.0)
    worth[(into < -out_mm) | (into > whole)] = -1e6
    lead = len(worth) // 4 if strip.closed else 0
    order = np.concatenate([np.arange(len(worth) - lead, len(worth)), np.arange(len(worth)), np.arange(lead)])
    path = best_way(worth[order], JUMP_COST * step)
    return path[lead : lead + len(worth)]


def _hold(calm: Grid, circle_mm: Array, strip: Strip) -> Array:
    """Worth in mm of staying at a circle, (N,): a step there that rows nearby share speaks against a bite."""
    mean = along(calm, HOLD_ROWS, closed=strip.closed)
    across = np.arange(-0.6, 0.6, strip.step_mm)
    column = np.rint((circle_mm[:, None] + across - strip.start_mm) / strip.step_mm).astype(np.int64)
    near = np.take_along_axis(mean, np.clip(column, 0, calm.shape[1] - 1), axis=1)
    gap = max(1, round(0.5 / strip.step_mm))
    step = np.abs(near[:, gap:] - near[:, :-gap]).max(axis=1)
    usual = max(0.03, float(np.median(step)))
    return np.asarray(HOLD_MM * np.clip((step / usual - 0.3) / 0.4, 0, 1), dtype=np.float64)


def best_way(worth: Array, cost: float) -> NDArray[np.int64]:
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
