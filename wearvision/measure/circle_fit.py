"""Concentric circles of one plane, seen by one camera: least squares over edge points and what is known before.

The plane's origin lies in the circles' axis and its drawn millimetres are those of the stated diameter. Unknown are
the plane's tilt (2), the place of the axis (3), the lens (log focal, k1, principal point, k2), the log of true over
stated size, and for each circle the radius at which its edge is seen and its height above the first.

A point's miss is its distance from the circle on the plane over the slope of that distance in the picture: to first
order, its distance along the normal in pixels. Two circles of one axis fix the tilt by the place of their centres
alone; one leaves it to the ellipse's shape and the focal length, and then the tilt's direction has two answers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.adjust import LENS_ROWS
from wearvision.measure.circle_sight import LENS, POSE, RADII, SCALE, lifted, misses, moved
from wearvision.measure.edges import median
from wearvision.measure.plane import Array, N, Plane
from wearvision.measure.prior import Prior

FREE = 1e6
"""Standard deviation of what nothing is known of before."""
OUTLIER = 4.0
FLOOR_PX = 0.05
BLOCK_DEG = 15.0
"""Edge points nearer than this share their errors: rust, chips and shadows err in runs."""
TURNS = 40
RIDGE = 1e-12
"""Of a normal matrix with ones on its diagonal, what keeps it from being singular."""
SETTLED, SURE_TURNS = 1e-5, 4
"""Step below which a fit ends (radians, and shares of the known radius and of the distance), a hundredth of what the
sharpest fit is sure of; turns before that is asked."""


@dataclass(frozen=True, kw_only=True)
class Known:
    """What is known of a circle before looking: radius in mm and its standard deviation, and whether it is stated
    (then it is a true length) or is the circle the drawn millimetres belong to. `height_sd_mm`: how far its edge may
    lie above or below the plane."""

    radius_mm: float
    sd_mm: float
    unit: bool = False
    height_sd_mm: float = 1e-6


@dataclass(frozen=True, kw_only=True, eq=False)
class CircleFit:
    """A settled fit.

    Attributes
    ----------
    plane : Plane
        Parameters only; its `sources` are empty.
    radii_mm, heights_mm : (K,) arrays
        Radius and height of each circle's edge, drawn mm.
    normal : (S, S) array
        Information of the points.
    prior : (S, S) array
        Information of what was known before.
    prior_parts : dict of str to (S, S) array
    cost : float
        Minus twice the log posterior, up to a constant.
    spread_px : (K,) array
        Robust scatter of each circle's points.
    share : (K,) array
        Share of each circle's points that agree with it.
    weights : (N,) array
        Robust weight of each point, 0 to 1.
    pulls : (6 + 2 K,) array
        What the priors had to give, in standard deviations: lens, scale, radii, heights.
    sigma_px : (K,) array
        Standard deviation a point counts with: its run's error, as if every point were independent.
    runs_px : (K,) array
        Scatter of the runs themselves about the circle.
    """

    plane: Plane
    radii_mm: Array
    heights_mm: Array
    normal: Array
    prior: Array
    prior_parts: dict[str, Array]
    cost: float
    spread_px: Array
    share: Array
    weights: Array
    pulls: Array
    sigma_px: Array
    runs_px: Array


def fit_plane(
    px: Array, group: NDArray[np.int64], start: Plane, known: Sequence[Known], prior: Prior, *,
    scale_sd: float, floor_px: float = FLOOR_PX, turns: int = TURNS, settled: float = SETTLED,
) -> CircleFit:  # fmt: skip
    """Plane and radii from points on concentric circles.

    Parameters
    ----------
    px : (N, 2) array
        Points, photo pixels.
    group : (N,) array
        Circle of each point.
    start : Plane
        Its origin near the axis.
    known : sequence of Known
        One per circle; radii to start from.
    prior : Prior
        Of the lens.
    scale_sd : float
        Of ln true over stated size: the caliper's error.
    settled : float
        Step below which it ends, see `SETTLED`.
    """
    now, size = start, np.array([[k.radius_mm, 0.0] for k in known], dtype=np.float64)
    spread, weights = np.full(len(known), 1.0), np.ones(len(px))
    sigma = runs = spread
    normal = slope = np.zeros((0, 0))
    damping, last = 0.0, math.inf
    for turn in range(turns):
        miss, slope = misses(px, group, now, size)
        spread = _spreads(miss, group, len(known), floor_px)
        weights = np.clip(1 - (miss / (OUTLIER * spread[group])) ** 2, 0, None) ** 2
        if turn % 4 == 0:
            sigma, runs = _effective(px, group, now, miss, weights, spread)
        weight = weights / sigma[group] ** 2
        normal = (slope * weight[:, None]).T @ slope
        pulls, lean = _pulls(now, size, known, prior, scale_sd), _lean(size, known, prior, scale_sd)
        right = -lean.T @ pulls - slope.T @ (weight * miss)
        step = _solve(normal + lean.T @ lean + damping * np.diag(np.diag(normal)), right)
        step = _limited(step, now, size)
        now, size = moved(now, step), size + step[RADII:].reshape(2, -1).T
        length = float(np.abs(step[:POSE] / [1, 1, size[0, 0], size[0, 0], now.theta[5]]).max())
        if turn >= SURE_TURNS and length < settled:
            break
        damping = 1e-3 if length > 0.5 * last else 0.0
        last = length
    return _settled(px, group, now, size, known, prior, scale_sd, (spread, weights, sigma, runs, normal))


def _settled(
    px: Array, group: NDArray[np.int64], now: Plane, size: Array, known: Sequence[Known], prior: Prior,
    scale_sd: float, state: tuple[Array, Array, Array, Array, Array],
) -> CircleFit:  # fmt: skip
    spread, weights, sigma, runs, normal = state
    miss, _ = misses(px, group, now, size)
    cut = np.minimum((miss / sigma[group]) ** 2, OUTLIER**2)
    pulls = _pulls(now, size, known, prior, scale_sd)
    share = [float(np.mean(weights[group == k] > 0)) if np.any(group == k) else 0.0 for k in range(len(known))]
    parts = _prior_parts(size, known, prior, scale_sd)
    return CircleFit(
        plane=now, radii_mm=size[:, 0], heights_mm=size[:, 1], normal=normal,
        prior=np.sum(np.stack(list(parts.values())), axis=0), prior_parts=parts, spread_px=spread,
        cost=float(cut.sum()) + float(np.sum(pulls**2)), share=np.array(share), weights=weights, pulls=pulls,
        sigma_px=sigma, runs_px=runs,
    )  # fmt: skip


def _solve(matrix: Array, right: Array) -> Array:
    """Solution in units that make the diagonal one: what no point tells of stays where it is."""
    scale = 1 / np.sqrt(np.maximum(np.diag(matrix), 1e-30))
    unit = matrix * scale * scale[:, None]
    return np.asarray(scale * np.linalg.solve(unit + RIDGE * np.eye(len(unit)), scale * right))


def _limited(step: Array, now: Plane, size: Array) -> Array:
    """The step, cut back where it would leave the neighbourhood in which it was found."""
    most = np.full(len(step), math.inf)
    most[:2], most[2:4], most[4], most[POSE] = 0.15, size[:, 0].max(), 0.2 * now.theta[5], 0.2
    worst = float(np.max(np.abs(step) / most))
    return step / worst if worst > 1 else step


def _spreads(miss: Array, group: NDArray[np.int64], circles: int, floor_px: float) -> Array:
    out = np.full(circles, floor_px)
    for k in range(circles):
        if np.any(group == k):
            out[k] = max(floor_px, 1.4826 * median(np.abs(miss[group == k])))
    return out


def _effective(
    px: Array, group: NDArray[np.int64], plane: Plane, miss: Array, weights: Array, spread: Array
) -> tuple[Array, Array]:
    """What a point's error counts as when neighbours share theirs, and what their runs' is, (K,) px each.

    From the scatter of the means of blocks of `BLOCK_DEG`; a circle's fit has taken five numbers out of them.
    """
    mm = plane.to_mm(px)
    block = np.floor(np.degrees(np.arctan2(mm[:, 1], mm[:, 0])) / BLOCK_DEG).astype(int)
    block -= block.min(initial=0)
    out, runs = spread.copy(), spread.copy()
    for k in range(len(spread)):
        mine = group == k
        count = np.bincount(block[mine], weights=weights[mine])
        total = np.bincount(block[mine], weights=(weights * miss)[mine])
        use = count > 1
        blocks = int(use.sum())
        if blocks < 3:
            continue
        mean = total[use] / count[use]
        free = max(blocks - 5, 0.4 * blocks)
        out[k] = max(spread[k], math.sqrt(float(np.sum(mean**2 * count[use])) / free))
        runs[k] = out[k] / math.sqrt(float(count[use].mean()))
    return out, runs


def _pulls(plane: Plane, size: Array, known: Sequence[Known], prior: Prior, scale_sd: float) -> Array:
    """Priors as residuals in standard deviations, in the order lens (5), scale, radii, heights."""
    scale = float(plane.theta[10])
    lens = _root(prior) @ (plane.theta[LENS_ROWS] - prior.lens)
    radii = [
        (r * (1.0 if k.unit else math.exp(scale)) - k.radius_mm) / k.sd_mm
        for r, k in zip(size[:, 0], known, strict=True)
    ]
    heights = [h / k.height_sd_mm for h, k in zip(size[:, 1], known, strict=True)]
    return np.concatenate([lens, [scale / scale_sd], radii, heights])


def _lean(size: Array, known: Sequence[Known], prior: Prior, scale_sd: float) -> Array:
    """How those residuals move with the state, (6 + 2 K, S)."""
    count = len(known)
    lean = np.zeros((6 + 2 * count, RADII + 2 * count))
    lean[:5, LENS] = _root(prior)
    lean[5, SCALE] = 1 / scale_sd
    for k, one in enumerate(known):
        lean[6 + k, RADII + k] = 1 / one.sd_mm
        lean[6 + count + k, RADII + count + k] = 1 / one.height_sd_mm
        if not one.unit:
            lean[6 + k, SCALE] = size[k, 0] / one.sd_mm
    return lean


def _root(prior: Prior) -> Array:
    """Matrix that turns the lens's distance from what was expected into independent standard deviations."""
    return np.asarray(np.linalg.cholesky(prior.lens_precision).T)


def _prior_parts(size: Array, known: Sequence[Known], prior: Prior, scale_sd: float) -> dict[str, Array]:
    """Information of the priors by the name their share of the covariance goes under."""
    lean, count = _lean(size, known, prior, scale_sd), len(known)
    unit = [6 + k for k, one in enumerate(known) if one.unit]
    stated = [6 + k for k, one in enumerate(known) if not one.unit]
    rows = {
        "lens": [0, 1, 2, 3, 4], "diameter": [5, *stated], "edge": unit, "height": [6 + count + k for k in range(count)]
    }  # fmt: skip
    return {name: lean[i].T @ lean[i] for name, i in rows.items()}


def to_theta(fit: CircleFit) -> Array:
    """How the thirteen parameters of the plane move with the state, (13, S)."""
    out = np.zeros((N, len(fit.normal)))
    for k in range(2):
        step = np.zeros(len(fit.normal))
        step[k] = 1e-6
        out[:3, k] = (moved(fit.plane, step).theta[:3] - moved(fit.plane, -step).theta[:3]) / 2e-6
    out[3:6, 2:POSE] = np.eye(3)
    out[LENS_ROWS, LENS] = np.eye(5)
    out[10, SCALE] = 1.0
    return out


def whole_circle(fit: CircleFit, group: NDArray[np.int64], px: Array) -> Array:
    """Information (S, S) the points would bring if each circle were seen all round as densely as it is seen."""
    extra = np.zeros_like(fit.normal)
    mm = fit.plane.to_mm(px)
    turn = np.degrees(np.arctan2(mm[:, 1], mm[:, 0])) % 360.0
    cells = np.arange(0.0, 360.0, 5.0)
    for k in range(len(fit.radii_mm)):
        mine = (group == k) & (fit.weights > 0)
        if not mine.any():
            continue
        seen = np.zeros(len(cells), dtype=bool)
        seen[np.unique((turn[mine] // 5.0).astype(int) % len(cells))] = True
        angle = np.radians(cells[~seen] + 2.5)
        if not len(angle):
            continue
        ring = fit.radii_mm[k] * np.column_stack([np.cos(angle), np.sin(angle)])
        there = lifted(fit.plane, float(fit.heights_mm[k])).to_px(ring)
        _, slope = misses(there, np.full(len(there), k), fit.plane, np.column_stack([fit.radii_mm, fit.heights_mm]))
        dense = float(fit.weights[mine].sum()) / max(1, int(seen.sum()))
        extra += slope.T @ slope * (dense / fit.sigma_px[k] ** 2)
    return np.asarray(fit.normal + extra)


def covariance_parts(fit: CircleFit, group: NDArray[np.int64], px: Array) -> dict[str, Array]:
    """Covariance (13, 13) of the plane's parameters by what brought it in: `edge`, `arc`, `lens`, `diameter`,
    `height`.

    `arc` is what the missing part of the circle costs: what there is less what there would be all round.
    """
    jump = to_theta(fit)

    def parts(normal: Array) -> tuple[Array, dict[str, Array]]:
        spread = _inverse(normal + fit.prior)
        split = {name: spread @ info @ spread for name, info in fit.prior_parts.items()}
        split["edge"] = split["edge"] + spread @ normal @ spread
        return spread, split

    here, split = parts(fit.normal)
    full = whole_circle(fit, group, px)
    round_all, ideal = parts(full)
    split["arc"] = _positive(here - round_all)
    out = {name: ideal.get(name, split[name]) if name != "arc" else split["arc"] for name in split}
    return {name: jump @ cov @ jump.T for name, cov in out.items()}


def _positive(matrix: Array) -> Array:
    """The matrix without the negative part that rounding leaves."""
    scale = 1 / np.sqrt(np.maximum(np.abs(np.diag(matrix)), 1e-30))
    value, axis = np.linalg.eigh(matrix * np.outer(scale, scale))
    clean = (axis * np.clip(value, 0, None)) @ axis.T
    return np.asarray(clean / np.outer(scale, scale))


def _inverse(matrix: Array) -> Array:
    """Inverse of a matrix of information; what nothing tells of stays without bound instead of failing."""
    scale = 1 / np.sqrt(np.maximum(np.diag(matrix), 1e-30))
    value, axis = np.linalg.eigh(matrix * np.outer(scale, scale))
    return np.asarray((axis / np.maximum(value, 1e-15)) @ axis.T * np.outer(scale, scale))
