"""What bend a vane has: its shift from its siblings along it, explained by many bends and by none."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wearvision.measure.compiled import compiled
from wearvision.measure.plane import Array
from wearvision.measure.vanes.siblings import SHARED_MM
from wearvision.measure.vanes.strips import SMOOTH_MM
from wearvision.measure.vanes.telling import BENT_MM
from wearvision.quantity import K95

STARTS = np.arange(0.25, 0.86, 0.05)
POWERS = (1.5, 2.0)
LEAST_MM = 0.03
"""Standard deviation of a stretch of `SHARED_MM` at least."""
ROUNDS = 8
"""Of a robust fit."""
HALVINGS = 30
"""Of the interval in which the half-width of another is sought."""
SOUND = 0.75
"""Share of vanes that are not bent."""
BEND_SD_MM, TURN_SD_MM = 4.0, 0.1
"""How far a vane may be bent, and how far a sound one may stand from its place: priors of the fit."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Shape:
    """What differs from the siblings.

    Attributes
    ----------
    tip_shift_mm, tip_u_mm : float
        + to the left going outwards; nan where the outer part is not seen.
    bend_deg, bend_u_deg : float
    off_mm : (S,) array
        Fitted shift along the vane.
    measured_mm : (S,) array
        Measured shift; nan where not seen.
    """

    tip_shift_mm: float
    tip_u_mm: float
    bend_deg: float
    bend_u_deg: float
    off_mm: Array
    measured_mm: Array

    @property
    def bent(self) -> bool:
        """Whether the shift is surely a bend: of a limit's length, and no interval that may well hold none."""
        return bool(np.isfinite(self.tip_shift_mm) and abs(self.tip_shift_mm) >= max(BENT_MM, K95 * self.tip_u_mm))


def shapes(differences: Array, along_mm: Array, tip_mm: float, doubts_mm: Array) -> tuple[Shape, ...]:
    """A bend fitted to the difference (N, S) of each vane: the mean of many bends by how well each fits.

    Each bend starts at one of `STARTS` of the length and grows with a power of what is beyond; it and a shift of the
    whole vane are fitted by robust least squares with priors. The shift at the tip and the angle there are means over
    all of them, and their 95 % intervals hold 95 % of all of them together: a standard deviation would be made by the
    few bends that are hardly believed.
    """
    bends = _Bends.along(along_mm, tip_mm)
    return tuple(_shape(one, bends, doubt) for one, doubt in zip(differences, doubts_mm, strict=True))


def _shape(difference: Array, bends: _Bends, doubt_mm: Array) -> Shape:
    along, tip = bends.along_mm, bends.tip_mm
    use = np.isfinite(difference) & np.isfinite(doubt_mm) & (along < tip)
    outer = use & (along > tip - 0.25 * (tip - along[0]))
    if use.sum() < 8 or outer.sum() < 4:
        return Shape(
            tip_shift_mm=np.nan, tip_u_mm=np.nan, bend_deg=np.nan, bend_u_deg=np.nan,
            off_mm=np.full(len(along), np.nan), measured_mm=difference,
        )  # fmt: skip
    few = np.flatnonzero(use)[::2]  # neighbours share their error
    doubt = np.hypot(doubt_mm[few], LEAST_MM)
    cost, theta, cov = _fitted(bends.at[:, few], difference[few], doubt, 2 * float(along[1] - along[0]))
    weight = np.full(len(cost), (1 - SOUND) / (len(cost) - 1))
    weight[0] = SOUND
    weight *= np.exp(-0.5 * (cost - cost.min()))
    weight /= weight.sum()
    value, cov = np.einsum("fij,fj->fi", bends.to_tip, theta), bends.to_tip @ cov @ bends.to_tip.transpose(0, 2, 1)
    mean = weight @ value
    u = [_half_width(weight, value[:, i], np.sqrt(cov[:, i, i]), float(mean[i])) / K95 for i in (0, 1)]
    return Shape(
        tip_shift_mm=float(mean[0]), tip_u_mm=u[0], bend_deg=float(np.degrees(np.arctan(mean[1]))),
        bend_u_deg=float(np.degrees(u[1] / (1 + mean[1] ** 2))),
        off_mm=weight @ (theta[:, :1] + theta[:, 1:] * bends.at), measured_mm=difference,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class _Bends:
    """Bends that are tried; the first is none.

    `at` (F, S) is how much of its shift at the tip each shows at the places along a vane: edges are averaged along
    it up to its tip; `to_tip` (F, 2, 2) makes shift and slope at the tip of the shift of all and that of the bend.
    """

    along_mm: Array
    tip_mm: float
    at: Array
    to_tip: Array

    @classmethod
    def along(cls, along_mm: Array, tip_mm: float) -> _Bends:
        tried = [(0.5, 1.0), *((start, power) for start in STARTS.tolist() for power in POWERS)]
        start, power = (np.array([[t[k]] for t in tried]) for k in (0, 1))
        beyond = tip_mm - start * tip_mm
        to_tip = np.zeros((len(tried), 2, 2))
        to_tip[:, 0], to_tip[:, 1, 1] = 1.0, (power / beyond)[:, 0]
        at = np.clip((along_mm - start * tip_mm) / beyond, 0, None) ** power
        near = np.abs(along_mm[:, None] - along_mm) <= SMOOTH_MM / 2
        near &= (along_mm <= tip_mm) | np.eye(len(along_mm), dtype=bool)  # beyond the tip is no edge to be averaged
        averaged = at @ (near / near.sum(axis=1, keepdims=True)).T
        return cls(along_mm=along_mm, tip_mm=tip_mm, at=np.asarray(averaged), to_tip=to_tip)


def _fitted(at: Array, y: Array, doubt: Array, step: float) -> tuple[Array, Array, Array]:
    """Cost (F,), parameters (F, 2) and covariance (F, 2, 2) of every bend, by robust least squares with priors."""
    prior = np.repeat([[1 / TURN_SD_MM**2, 1 / BEND_SD_MM**2]], len(at), axis=0)
    prior[0, 1] = 1e6
    sd = np.maximum(doubt, 1e-3)
    cost, theta, normal = (np.zeros((len(prior), *shape)) for shape in ((), (2,), (2, 2)))
    _fit_each(at, y, sd, step / SHARED_MM, prior, theta, normal, cost)
    return cost, theta, np.asarray(np.linalg.inv(normal), dtype=np.float64)


@compiled
def _half_width(weight: Array, mean: Array, sd: Array, centre: float) -> float:
    """Half-width of the interval about `centre` that holds 95 % of some normal distributions (F,) by their weight."""
    low, high = 0.0, 0.0
    for f in range(len(mean)):
        high = max(high, abs(mean[f] - centre) + 4.0 * sd[f])
    for _ in range(HALVINGS):
        half, inside = 0.5 * (low + high), 0.0
        for f in range(len(mean)):
            wide, off = math.sqrt(2.0) * max(sd[f], 1e-9), centre - mean[f]
            inside += 0.5 * weight[f] * (math.erf((off + half) / wide) - math.erf((off - half) / wide))
        low, high = (half, high) if inside < 0.95 else (low, half)
    return high


@compiled
def _fit_each(
    at: Array, y: Array, sd: Array, share: float, prior: Array, theta: Array, normal: Array, cost: Array
) -> None:
    """Fit a shift of all and one of the bend (F, 2) to places, for bends that have `at` (F, S) of theirs there."""
    none, r, size, weight = np.zeros(2), np.empty(len(y)), np.empty(len(y)), np.empty(len(y))
    for f in range(len(at)):
        weight[:] = 1.0
        _solve(at[f], y, weight, none, theta[f], normal[f])
        for _ in range(ROUNDS):
            _misses(at[f], y, sd, theta[f], r)
            for i in range(len(r)):
                size[i] = abs(r[i])
            scale = max(1.0, 1.4826 * _in_order(size, len(r) // 2))
            for i in range(len(r)):
                root = max(1 - (r[i] / (4.0 * scale)) ** 2, 0.0)
                weight[i] = share * (root / (sd[i] * scale)) ** 2
            _solve(at[f], y, weight, prior[f], theta[f], normal[f])
        _misses(at[f], y, sd, theta[f], r)
        whole = normal[f, 0, 0] * normal[f, 1, 1] - normal[f, 0, 1] ** 2
        cost[f] = share * np.minimum(r**2, 16.0).sum() + np.log(whole / (prior[f, 0] * prior[f, 1]))
        cost[f] += prior[f, 0] * theta[f, 0] ** 2 + prior[f, 1] * theta[f, 1] ** 2


@compiled
def _misses(at: Array, y: Array, sd: Array, theta: Array, out: Array) -> None:
    """How far places lie off a fit, over their standard deviations."""
    for i in range(len(y)):
        out[i] = (y[i] - theta[0] - theta[1] * at[i]) / sd[i]


@compiled
def _in_order(values: Array, k: int) -> float:
    """The k-th smallest of some values, which are put in order as far as needed (Hoare's selection)."""
    low, high = 0, len(values) - 1
    while low < high:
        pivot, i, j = values[(low + high) // 2], low, high
        while i <= j:
            while values[i] < pivot:
                i += 1
            while values[j] > pivot:
                j -= 1
            if i <= j:
                values[i], values[j] = values[j], values[i]
                i, j = i + 1, j - 1
        low, high = (low, j) if k <= j else (i, high) if k >= i else (k, k)
    return float(values[k])


@compiled
def _solve(at: Array, y: Array, weight: Array, prior: Array, theta: Array, normal: Array) -> None:
    """Weighted least squares of `theta[0] + theta[1] at`; its normal matrix goes to `normal`."""
    level, cross, square, one, other = 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(len(y)):
        slope = weight[i] * at[i]
        level, cross, square = level + weight[i], cross + slope, square + slope * at[i]
        one, other = one + weight[i] * y[i], other + slope * y[i]
    normal[0, 0], normal[1, 1] = level + prior[0], square + prior[1]
    normal[0, 1] = normal[1, 0] = cross
    size = (normal[0, 0] + 1e-9) * (normal[1, 1] + 1e-9) - normal[0, 1] ** 2
    theta[0] = ((normal[1, 1] + 1e-9) * one - normal[0, 1] * other) / size
    theta[1] = ((normal[0, 0] + 1e-9) * other - normal[0, 1] * one) / size
