"""Least squares over corners and priors, with the covariance split by what brought it in.

The state is the parameters of `plane.NAMES`, then for each board what `paper` says of ink, printer and paper, then
for each board but the first where it lies on the plane of the first.
With S = (J'WJ + P^-1)^-1, a prior with inverse covariance Q_i brings S Q_i S, the corners S J'WJ S, and these
add up to S.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure import paper
from wearvision.measure.descent import descend
from wearvision.measure.lens import LENS
from wearvision.measure.model import Fitted, model
from wearvision.measure.paper import (
    FIELD_ROWS,
    GIVING,
    LIFT_ROWS,
    NUISANCE,
    PLACE,
    PULL_ROWS,
    Points,
    Slack,
    nuisance_prior,
    slack_of,
)
from wearvision.measure.plane import NAMES, N
from wearvision.measure.prior import Prior

Array = NDArray[np.float64]

CORNER_FLOOR_PX = 0.05
OUTLIER, GROSS = 2.5, 8.0
"""Corners further off than this many robust sigmas count for less, and for nothing."""
LEAST_POINTS = 6
ALIKE_SIGMAS = 3.0
"""Standard errors, sqrt(2 / pairs), from which a correlation along printed lines is believed."""
SOURCES = {"lens": LENS, "print": ("log_print",), "height": ("height",)}
"""Priors by the name their share of the covariance goes under; besides, what is known of each board's print, its
paper, and the rest, `corner`."""
LENS_ROWS = np.array([NAMES.index(name) for name in LENS])

SCALE, HEIGHT = NAMES.index("log_print"), NAMES.index("height")


def state_size(boards: int) -> int:
    """Length of the state for so many boards."""
    return paper.state_size(N, boards)


def rows_of(kind: Sequence[str], board: int, boards: int) -> slice:
    """Where a board's `NUISANCE` or `PLACE` stands in the state; the first board has no place."""
    return paper.rows_of(kind, board, boards, N)


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """A settled least-squares problem.

    Attributes
    ----------
    state : (S,) array
    normal : (S, S) array
        J'WJ of the corners.
    precision : (S, S) array
        Of the priors.
    cost, sigma_px, wide_px, rms_px : float
        Minus twice the log posterior; scatter of a chessboard corner; the same widened for corners that are off
        alike; root mean square residual.
    trust : (N,) array
        Weight of each corner, 0 to 1; 0 for one left out.
    boards : tuple of Points
        With the slack that was found.
    """

    state: Array
    normal: Array
    precision: Array
    cost: float
    sigma_px: float
    wide_px: float
    rms_px: float
    trust: Array
    boards: tuple[Points, ...]


def prior_state(prior: Prior, boards: Sequence[Points]) -> tuple[Array, Array]:
    """Prior mean (S,) and precision (S, S) of a state; poses and places are free."""
    count = len(boards)
    mean, inverse = np.zeros(state_size(count)), np.zeros(state_size(count))
    mean[LENS_ROWS] = prior.lens
    mean[SCALE], inverse[SCALE] = prior.prints.mean, prior.prints.sd**-2.0
    mean[HEIGHT], inverse[HEIGHT] = prior.height_mm, prior.height_sd_mm**-2.0
    for k, points in enumerate(boards):
        own = rows_of(NUISANCE, k, count)
        mean[own], sd = nuisance_prior(points, prior.prints.grow[k], prior.prints.stretch[k])
        inverse[own] = sd**-2.0
    precision = np.diag(inverse)
    precision[np.ix_(LENS_ROWS, LENS_ROWS)] = prior.lens_precision
    return mean, precision


def settle(boards: Sequence[Points], start: Array, prior: Prior) -> Fit:
    """Robust least squares: solve, find the corners' own scatter, weigh down those far off, until settled.

    Weights are Huber's (Robust Statistics, 1981), so that no corner enters or leaves at a stroke; gross ones leave.
    """
    relative = np.concatenate([b.sigma_rel for b in boards])[:, None]
    # a board's corners settle eight numbers of a homography or four of a place, and the pull
    given = 9 + 5 * (len(boards) - 1)
    trust, state, sigma = np.ones(len(relative)), start, 0.5
    firm = prior_state(prior, [replace(points, slack=Slack()) for points in boards])
    for _ in range(10):
        known = prior_state(prior, boards)
        told = descend(boards, state, known, sigma, trust)
        boards, state = _given_way(boards, told, firm, prior), told.state
        off = np.abs(told.residual.reshape(-1, 2) / relative)
        robust = max(1.4826 * float(np.median(off)), CORNER_FLOOR_PX)
        far = off.max(axis=1) / robust
        fresh = np.where(far > GROSS, 0.0, np.minimum(1.0, OUTLIER / np.maximum(far, 1e-9)))
        free = max(2 * float(fresh.sum()) - given, 1.0)
        scatter = max(math.sqrt(float(np.sum(fresh[:, None] * off**2)) / free), CORNER_FLOOR_PX)
        settled = np.abs(fresh - trust).max() < 0.02 and abs(scatter / sigma - 1) < 0.01
        sigma, trust = scatter, fresh
        if settled or np.count_nonzero(trust) < LEAST_POINTS:
            break
    wide = sigma * alike(boards, state, trust)
    told = descend(boards, state, known, wide, trust, still=wide <= sigma)
    misfit = 4 * float(trust.sum()) * math.log(wide) + 2 * OUTLIER**2 * float(np.sum(1 - trust))
    return Fit(
        state=told.state, normal=told.normal, precision=known[1], trust=trust, cost=told.cost + misfit,
        sigma_px=sigma, wide_px=wide, rms_px=rms_of(told.residual, trust), boards=tuple(boards),
    )  # fmt: skip


SLACK_STEPS = 8


def _given_way(boards: Sequence[Points], told: Fitted, firm: tuple[Array, Array], prior: Prior) -> tuple[Points, ...]:
    """The boards with the slack that their corners suggest, by expectation maximisation about a state; `firm` is the
    prior without slack."""
    (mean, precision), count = firm, len(boards)
    rows = np.concatenate([np.arange(len(mean))[rows_of(NUISANCE, k, count)][GIVING] for k in range(count)])
    pull = told.normal @ told.state + told.pull
    alone, pull = _alone(rows, told.normal + precision, pull + precision @ mean)
    mean, stiff = mean[rows], np.diag(precision)[rows]
    alone, pull = alone - np.diag(stiff), pull - stiff * mean
    slacks = [points.slack for points in boards]
    for _ in range(SLACK_STEPS):
        before = slacks
        prior_told = stiff / np.concatenate([slack.each for slack in slacks]) ** 2
        spread = np.linalg.inv(alone + np.diag(prior_told))
        off = spread @ (pull + prior_told * mean) - mean
        seen = ((off**2 + np.diag(spread)) * stiff).reshape(count, -1).tolist()
        slacks = [slack_of(one, sd) for one, (_, sd) in zip(seen, prior.prints.grow, strict=True)]
        if slacks == before:
            break
    return tuple(replace(points, slack=slack) for points, slack in zip(boards, slacks, strict=True))


def _alone(rows: NDArray[np.int64], told: Array, pull: Array) -> tuple[Array, Array]:
    """Inverse covariance, and that times the mean, of some rows of a Gaussian by themselves (Schur's complement)."""
    scale = 1 / np.sqrt(np.diag(told))
    scaled, rest = told * np.outer(scale, scale), np.ones(len(told), dtype=bool)
    rest[rows] = False
    other, own = scaled[rest], scale[rows]
    across = np.column_stack([other[:, rows], (scale * pull)[rest]])
    taken = other[:, rows].T @ np.linalg.solve(other[:, rest], across)
    return (scaled[rows][:, rows] - taken[:, :-1]) / np.outer(own, own), pull[rows] - taken[:, -1] / own


def rms_of(residual: Array, trust: Array) -> float:
    """Root mean square miss of the corners that count, px."""
    kept = np.repeat(trust > 0, 2)
    return math.sqrt(2 * float(np.mean(residual[kept] ** 2))) if kept.any() else math.inf


def alike(boards: Sequence[Points], state: Array, trust: Array) -> float:
    """How much wider than their scatter corners must be taken for printed lines that lie off as a whole.

    Corners on one printed line share the error of its raster row or feed, so that they count for fewer than they
    are: by the root of the design effect 1 + (m - 1) rho (Kish, Survey Sampling, 1965), with rho the correlation of
    the residuals along lines of m corners. One when that is not significant.
    """
    px, slope = model(boards, state)
    pairs, products, squares, sizes = 0.0, 0.0, 0.0, []
    end = 0
    for k, points in enumerate(boards):
        start, end = end, end + len(points.mm)
        use = trust[start:end] > 0
        turn = state[rows_of(PLACE, k, len(boards))][0] if k else 0.0
        axes = slope[2 * start : 2 * end, 3:6].reshape(-1, 2, 3) @ cv2.Rodrigues(state[:3].copy())[0]
        cos, sin = math.cos(turn), math.sin(turn)
        local = axes[:, :, :2] @ np.array([[cos, -sin], [sin, cos]])
        off = np.linalg.solve(local, (points.px - px[start:end])[:, :, None])[:, :, 0]
        for axis in (0, 1):
            _, line = np.unique(np.round(points.mm[use, axis], 6), return_inverse=True)
            e = off[use, axis]
            total, own, count = (np.bincount(line, weights=w) for w in (e, e * e, np.ones(len(e))))
            products += float(np.sum(total**2 - own))
            pairs += float(np.sum(count * (count - 1)))
            squares += float(np.sum(own))
            sizes.append((float(np.sum(count**2)), float(np.sum(count))))
    if not (pairs and squares):
        return 1.0
    number = sum(n for _, n in sizes)
    rho = products / pairs / (squares / number)
    if rho < ALIKE_SIGMAS * math.sqrt(2 / pairs):
        return 1.0
    return math.sqrt(1 + (sum(n2 for n2, _ in sizes) / number - 1) * rho)


def sources(fit: Fit, boards: int) -> dict[str, Array]:
    """Covariance (13, 13) of the parameters by what brought it in."""
    spread = inverse_of(fit.normal + fit.precision)
    rows = {name: [NAMES.index(m) for m in members] for name, members in SOURCES.items()}
    rows["paper"], pulls = [], []
    for k in range(boards):
        own = np.arange(N + len(NUISANCE) * boards)[rows_of(NUISANCE, k, boards)]
        pulls += own[PULL_ROWS].tolist()
        rows["paper"] += own[LIFT_ROWS].tolist()
        rows["print"] += own[FIELD_ROWS].tolist()
    out = {name: _share(spread, fit.precision, i) for name, i in rows.items()}
    return {"corner": (spread @ fit.normal @ spread)[:N, :N] + _share(spread, fit.precision, pulls), **out}


def _share(spread: Array, precision: Array, rows: Sequence[int]) -> Array:
    """What the prior of some rows brings into the covariance of the parameters."""
    return np.asarray(spread[:N, rows] @ precision[np.ix_(rows, rows)] @ spread[rows, :N])


def inverse_of(matrix: Array) -> Array:
    """Inverse of a positive definite matrix with very unlike units, scaled to ones on its diagonal first."""
    scale = 1 / np.sqrt(np.diag(matrix))
    return np.asarray(np.linalg.inv(matrix * np.outer(scale, scale)) * np.outer(scale, scale))
