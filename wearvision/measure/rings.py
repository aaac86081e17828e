"""Concentric rings of stated sizes on a small map of the plane: votes for the centre, then a comparison.

Edge pixels vote for the centre along their gradient, at the stated radii; the best places are compared by how
well a concentric pair of edges fits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import Chart
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, slope
from wearvision.measure.plane import Array

EDGES = 16_000
"""Edge pixels that vote."""
VOTED, LEAST = 0.15, 0.1
"""A ring is followed when the mean excess of edge strength along what is seen of its two circles, and this much for
each e-fold by which the votes for its centre surpass those of the next place, come to the least."""
PLACES, FOLLOWED = 6, 0.5
"""So many places are compared, of those that have more than this share of the votes of the first: on 410 drawn and
photographed faces the face found is the same as without this share, to 0.005 mm."""
MIN_SEEN = 0.2
"""With less of the circles in view the excess is taken over this share."""
ANGLES: Array = np.arange(0.0, 360.0, 3.0)
"""Degrees at which a ring is looked at."""
SHIFT = 9
"""A place is compared with others so far about it, map px each way."""
BLOCK = 2
"""Votes are counted in blocks of so many map pixels."""
PAD = 0.6
"""The centre may lie outside the picture by this share of the outer radius."""


def find_rings(chart: Chart, nominal: tuple[float, float]) -> tuple[Array, bool]:
    """Centre (x, y) in mm, from votes and a comparison of the best places; and whether the rings stand out there."""
    pad = round(PAD * nominal[1] / chart.step_mm)
    votes = _votes(chart, np.array(nominal), pad, EDGES)
    tried = _Tried.of(chart, nominal)
    best, tops = (-math.inf, 0.0, np.zeros(2)), list[float]()
    for _ in range(PLACES):
        _, top, _, (column, row) = cv2.minMaxLoc(votes)
        tops.append(float(top))
        if top <= FOLLOWED * tops[0]:
            break
        place = (np.array([column, row]) + 0.5) * BLOCK - 0.5 - pad
        best = max(best, tried.score(chart, place), key=lambda one: one[0])
        cv2.circle(votes, (column, row), max(1, round(8 / (BLOCK * chart.step_mm))), 0.0, -1)
    lead = math.log(tops[0] / tops[1]) if min(tops[:2]) > 0 else 0.0
    return chart.origin_mm + best[2] * chart.step_mm, best[1] + VOTED * lead >= LEAST


def edge_pixels(chart: Chart, count: int) -> tuple[Array, Array, Array]:
    """Places (N, 2), unit gradients (N, 2) and weights (N,) of the strongest edge pixels for their surroundings."""
    soft = cv2.GaussianBlur(chart.values, (0, 0), 1.0)
    across, down = (np.asarray(cv2.Sobel(soft, cv2.CV_32F, *way, ksize=3), np.float32) for way in ((1, 0), (0, 1)))
    size = _sizes(across, down, chart.valid)
    weight: Grid = np.asarray(cv2.blur(size, (31, 31)), dtype=np.float32)
    _set_against(size, np.float32(0.5 * float(size.mean()) + 1e-6), weight)
    least = np.quantile(weight[::3, ::3], max(0.0, 1 - count / weight.size))
    at = np.flatnonzero(weight > least)
    return _picked(at, across.ravel(), down.ravel(), size.ravel(), weight.ravel(), weight.shape[1])


@compiled
def _sizes(across: Grid, down: Grid, valid: NDArray[np.bool_]) -> Grid:
    """Sizes of gradients, 0 where not valid."""
    out = np.empty_like(across)
    for row in range(len(out)):
        x, y, seen, size = across[row], down[row], valid[row], out[row]
        for k in range(len(size)):
            size[k] = np.sqrt(x[k] * x[k] + y[k] * y[k]) * seen[k]
    return out


@compiled
def _set_against(size: Grid, more: np.float32, usual: Grid) -> None:
    """What is usual about each place gives way to the size there over it and some more."""
    for row in range(len(size)):
        here, about = size[row], usual[row]
        for k in range(len(here)):
            about[k] = here[k] / (about[k] + more)


@compiled
def _picked(
    at: NDArray[np.int64], across: NDArray[np.float32], down: NDArray[np.float32], size: NDArray[np.float32],
    weight: NDArray[np.float32], width: int,
) -> tuple[Array, Array, Array]:  # fmt: skip
    """What `edge_pixels` gives, of pixels in reading order."""
    place, normal, strength = np.empty((len(at), 2)), np.empty((len(at), 2)), np.empty(len(at))
    for k in range(len(at)):
        place[k, 0], place[k, 1] = at[k] % width, at[k] // width
        normal[k, 0], normal[k, 1] = across[at[k]] / size[at[k]], down[at[k]] / size[at[k]]
        strength[k] = min(np.float64(weight[at[k]]), 4.0)
    return place, normal, strength


def _votes(chart: Chart, radii_mm: Array, pad: int, count: int) -> Grid:
    """Votes for the centre at some radii, on the map widened by `pad` all round, in blocks of `BLOCK` pixels."""
    height, width = ((n + 2 * pad) // BLOCK for n in chart.values.shape)
    image = np.zeros((height, width))
    _vote(*edge_pixels(chart, count), radii_mm / chart.step_mm, pad, image)
    sigma = max(1.5, 2.5 / chart.step_mm) / BLOCK
    return np.asarray(cv2.GaussianBlur(image.astype(np.float32), (0, 0), sigma), dtype=np.float32)


@compiled
def _vote(place: Array, normal: Array, weight: Array, reach: Array, pad: int, votes: Array) -> None:
    """Each edge pixel votes on both its sides, the farther the less."""
    high, wide = votes.shape
    for i in range(len(place)):
        for far in reach:
            for side in (far, -far):
                column = (place[i, 0] + pad + 0.5 + side * normal[i, 0]) / BLOCK
                row = (place[i, 1] + pad + 0.5 + side * normal[i, 1]) / BLOCK
                if 0 <= column < wide and 0 <= row < high:
                    votes[int(row), int(column)] += weight[i] / far


def shifts_of(deg: Array, reach: float, step: float) -> tuple[Array, Array]:
    """Centre shifts (M, 2) on a square grid, and how each moves a circle's radius at the angles, (M, T)."""
    one = np.arange(-reach, reach + step / 2, step)
    dx, dy = (m.ravel() for m in np.meshgrid(one, one))
    angle = np.radians(deg)
    return np.column_stack([dx, dy]), dx[:, None] * np.cos(angle) + dy[:, None] * np.sin(angle)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Tried:
    """Where two edges of the stated radii lie in the map rolled out about a place.

    Attributes
    ----------
    radius : (R,) array
        Radii of the rolled out map, map px.
    column : (2,) array
        Columns of the stated radii in it.
    """

    radius: Array
    column: Array

    @classmethod
    def of(cls, chart: Chart, nominal: tuple[float, float]) -> _Tried:
        radius = np.arange(0.85 * nominal[0], 1.1 * nominal[1], chart.step_mm) / chart.step_mm
        return cls(radius=radius, column=np.array(nominal) / chart.step_mm - radius[0])

    def score(self, chart: Chart, place: Array) -> tuple[float, float, Array]:
        """How well the edges fit near a place (map px): in all, per point seen; and the best place."""
        edge, valid = _polar_edges(chart, place, self.radius)
        excess = np.asarray(cv2.blur(edge, (3, 1)) - valid, dtype=np.float32)
        score, x, y, seen = _best_shift(excess, valid, self.column, np.radians(ANGLES))
        return score, score / max(seen, MIN_SEEN * 2 * len(ANGLES)), place + np.array([x, y])


@compiled
def _best_shift(excess: Grid, valid: Grid, column: Array, angle: Array) -> tuple[float, int, int, float]:
    """Most excess of edge along two circles about a centre that is moved by up to `SHIFT` map px, that move, and how
    much of the circles is seen there."""
    last, best, cos, sin = excess.shape[1] - 1, (-np.inf, 0, 0, 0.0), np.cos(angle), np.sin(angle)
    for y in range(-SHIFT, SHIFT + 1):
        for x in range(-SHIFT, SHIFT + 1):
            total, seen = 0.0, 0.0
            for row in range(len(angle)):
                off = x * cos[row] + y * sin[row]
                for middle in column:
                    at = min(max(int(np.rint(middle + off)), 0), last)
                    total, seen = total + excess[row, at], seen + valid[row, at]
            if total > best[0]:
                best = (total, x, y, seen)
    return best


def _polar_edges(chart: Chart, place: Array, radius: Array) -> tuple[Grid, Grid]:
    """The map rolled out about a place: edge strength for its surroundings, and what is seen, (T, R) each."""
    angle = np.radians(ANGLES)
    x = (place[0] + np.cos(angle)[:, None] * radius[None, :]).astype(np.float32)
    y = (place[1] + np.sin(angle)[:, None] * radius[None, :]).astype(np.float32)
    values: Grid = np.asarray(cv2.remap(chart.values, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    seen = cv2.remap(
        chart.valid.astype(np.uint8), x, y, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=0
    )
    valid = np.asarray(seen, dtype=np.float32)
    edge: Grid = np.abs(slope(values, 1.0)) * valid
    edge = np.asarray(np.minimum(edge / (cv2.blur(edge, (41, 9)) + 0.02), 3.0) * valid, dtype=np.float32)
    return edge, valid
