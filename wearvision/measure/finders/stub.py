"""A stub on a bar: one shape of two flanks, a top, two rounded corners and a base, fitted to edge points."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.plane import Array

ALIKE_MM = 1.0
"""Length of an edge whose points share one error: rust, cast skin and grain are as coarse as that."""
TURNS, STAYS = 30, 1e9
MOVED_MM = 0.003
"""How far the shape may move before its slopes are taken anew."""
LEAST_SPREAD_MM = 0.004
CUT = 4.0
"""Robust spreads beyond which a point tells nothing."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Stub:
    """The fitted shape; plane mm.

    Attributes
    ----------
    origin_mm, along, up : (2,) arrays
        Middle of the base, unit vectors along the bar and up the vane.
    shape : (10,) array
        Left flank at the base and lean, right flank and lean, top at the middle and lean, radius left and right, base
        and lean; mm and mm per mm, in (along, up) about the origin.
    covariance : (10, 10) array
    px_mm : float
    spread_mm : float
        Robust standard deviation of the points about the shape.
    share : mapping of str to float
        How much of each part of the outline lies on the shape, 0 to 1.
    rough_mm : mapping of str to float
        Root mean square of each part's points about the shape: rust, cast skin, chips.
    hidden : str or None
        Side, `left` or `right`, whose flank and corner are not seen: it lies where a drawing has it.
    through : float
        Edge across the bar's edge under the vane, over that beside it.
    runs_on : float
        Change of tone across the flanks' lines beyond the top or the bar's edge, over that between.
    arc_mm : (float, float)
        Radius of the arc along which the picture changes most at the left and the right corner.
    """

    origin_mm: Array
    along: Array
    up: Array
    shape: Array
    covariance: Array
    px_mm: float
    spread_mm: float
    share: Mapping[str, float]
    rough_mm: Mapping[str, float]
    hidden: str | None = None
    through: float = 0.0
    runs_on: float = 0.0
    arc_mm: tuple[float, float] = (0.0, 0.0)

    @property
    def radius(self) -> tuple[float, float]:
        """Apparent radius of the left and the right corner, mm."""
        return float(self.shape[6]), float(self.shape[7])

    @property
    def radius_u(self) -> tuple[float, float]:
        """Standard uncertainties of the radii from the fit."""
        return float(self.covariance[6, 6] ** 0.5), float(self.covariance[7, 7] ** 0.5)

    @property
    def height_mm(self) -> float:
        """Height at the middle."""
        return self._top(self._middle) - self._base(self._middle)

    @property
    def height_u(self) -> float:
        """Standard uncertainty of the height from the fit."""
        middle = np.array([0, 0, 0, 0, 1, 0, 0, 0, -1, -self._middle])
        return float((middle @ self.covariance @ middle) ** 0.5)

    @property
    def thickness_mm(self) -> float:
        """Thickness at half height."""
        half = (self._base(self._middle) + self._top(self._middle)) / 2
        return self._flank(1, half) - self._flank(0, half)

    @property
    def thickness_u(self) -> float:
        """Standard uncertainty of the thickness from the fit."""
        return float((self.covariance[0, 0] + self.covariance[2, 2]) ** 0.5)

    def plane_mm(self, along: Array, up: Array) -> Array:
        """Plane points (N, 2) of places in (along, up)."""
        return np.asarray(self.origin_mm + np.outer(along, self.along) + np.outer(up, self.up))

    def _flank(self, k: int, up: float) -> float:
        return float(self.shape[2 * k] + self.shape[2 * k + 1] * up)

    def _top(self, along: float) -> float:
        return float(self.shape[4] + self.shape[5] * (along - self._middle))

    def _base(self, along: float) -> float:
        return float(self.shape[8] + self.shape[9] * along)

    @property
    def _middle(self) -> float:
        return float(self.shape[0] + self.shape[2]) / 2

    def gauge_mm(self) -> Array:
        """Ends of the height at the middle, and of the thickness at half height, (4, 2)."""
        x = self._middle
        low, high = self._base(x), self._top(x)
        half = (low + high) / 2
        return self.plane_mm(
            np.array([x, x, self._flank(0, half), self._flank(1, half)]), np.array([low, high, half, half])
        )

    def places_mm(self) -> Array:
        """Where to gauge the height: the middle of the top, and the bar beside the vane."""
        x = self._middle
        return self.plane_mm(np.array([x]), np.array([self._top(x)]))

    def corner_mm(self, k: int) -> Array:
        """Arc of a corner, from the flank to the top, (N, 2)."""
        r, way = max(self.radius[k], 1e-3), (-1.0, 1.0)[k]
        x = self._flank(k, self._top(self._middle) - r) - way * r
        y = self._top(x) - r
        turn = np.linspace(0, np.pi / 2, 24)
        return self.plane_mm(x + way * r * np.cos(turn), y + r * np.sin(turn))

    def outline_mm(self) -> Array:
        """Closed outline from the left foot over the top to the right foot, (N, 2)."""
        feet = [self._flank(k, self._base(self.shape[2 * k])) for k in (0, 1)]
        foot = [self.plane_mm(np.array([x]), np.array([self._base(x)])) for x in feet]
        return np.vstack([foot[0], self.corner_mm(0), self.corner_mm(1)[::-1], foot[1]])


def distance(points: Array, base: NDArray[np.bool_], shape: Array) -> Array:
    """Signed distance (N,) of points (N, 2) from the bar's edge where `base` is true, else from the rounded stub."""
    return _distances(points, base, shape)


@compiled
def _distances(points: Array, base: NDArray[np.bool_], shape: Array) -> Array:
    left, lean_l, right, lean_r, top, lean_t, r_l, r_r, foot, lean_b = shape
    middle, over_1, base_1 = (left + right) / 2, np.hypot(1.0, lean_t), np.hypot(1.0, lean_b)
    side_l, side_r = np.hypot(1.0, lean_l), np.hypot(1.0, lean_r)
    # cosine of the angle between the outward normals of flank and top
    cosine_l, cosine_r = (lean_t + lean_l) / side_l / over_1, -(lean_t + lean_r) / side_r / over_1
    out = np.empty(len(points))
    for i in range(len(points)):
        x, y = points[i]
        over = (y - top - lean_t * (x - middle)) / over_1
        if base[i]:
            out[i] = (y - foot - lean_b * x) / base_1
        elif x < middle:
            out[i] = _rounded((left + lean_l * y - x) / side_l, over, cosine_l, r_l)
        else:
            out[i] = _rounded((x - right - lean_r * y) / side_r, over, cosine_r, r_r)
    return out


@compiled
def _rounded(side: float, over: float, cosine: float, radius: float) -> float:
    """Distance from two edges that meet in an arc, given those from either edge."""
    a, b = side + radius, over + radius
    if a > b * cosine and b > a * cosine:
        return math.sqrt(max(a * a + b * b - 2 * a * b * cosine, 1e-18) / (1 - cosine**2)) - radius
    return max(a, b) - radius


def fit_shape(
    points: Array, base: NDArray[np.bool_], run_mm: Array, start: Array, held: tuple[int, ...] = ()
) -> tuple[Array, Array, float]:
    """Robust least squares (Tukey's biweight): shape (10,), its covariance, robust spread of the points.

    Parameters
    ----------
    points : (N, 2) array
    base : (N,) bool, true for points of the bar's edge
    run_mm : (N,) length of edge that each point stands for
    held : which numbers of the shape stay as they are
    """
    shape = start.copy()
    most = min(max(0.4, 0.5 * (start[2] - start[0])), 0.9 * max(0.5, start[4] - start[8]))
    prior = 1.0 / np.array([5.0, 0.1, 5.0, 0.1, 5.0, 0.1, 5.0, 5.0, 5.0, 0.1]) ** 2
    prior[list(held)] = STAYS
    share = np.minimum(1.0, run_mm / ALIKE_MM)
    covariance: Array = np.eye(10)
    spread = 1.0
    known = np.full(10, np.inf)
    for turn in range(TURNS):
        residual = distance(points, base, shape)
        if float(np.abs(shape - known).max()) > MOVED_MM:
            jacobian, known = _slopes(points, base, shape, residual), shape
        spread = max(LEAST_SPREAD_MM, 1.4826 * float(np.median(np.abs(residual))))
        wide = CUT * spread * (1.0 if turn > 10 else 3.0 - 0.2 * turn)
        weight = np.clip(1 - (residual / wide) ** 2, 0, None) ** 2 * share / spread**2
        normal = (jacobian * weight[:, None]).T @ jacobian + np.diag(prior)
        pull = (shape - start) * prior
        step = -np.linalg.solve(normal, (jacobian * weight[:, None]).T @ residual + pull)
        shape = shape + np.clip(step, -0.4, 0.4)
        shape[6:8] = np.clip(shape[6:8], 1e-3, most)
        covariance = np.asarray(np.linalg.inv(normal), dtype=np.float64)
        if float(np.abs(step).max()) < 1e-4 and turn > 11:
            break
    return shape, covariance, spread


@compiled
def _slopes(points: Array, base: NDArray[np.bool_], shape: Array, residual: Array) -> Array:
    """How the distances change with each number of the shape, (N, 10)."""
    out = np.empty((len(points), 10))
    moved = shape.copy()
    for i in range(10):
        moved[i] = shape[i] + 1e-5
        out[:, i] = (_distances(points, base, moved) - residual) / 1e-5
        moved[i] = shape[i]
    return out
