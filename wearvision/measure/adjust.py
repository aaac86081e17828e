"""Least squares over corners and priors, with the covariance split by what brought it in.

The state is the twelve parameters of `plane.NAMES`; for each board how far blur and ink pull its marker corners
inwards and how its paper bends; and for each board but the first where it lies on the plane of the first.
With S = (J'WJ + P^-1)^-1, a prior with inverse covariance Q_i brings S Q_i S, the corners S J'WJ S, and these
add up to S.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.plane import NAMES, N
from wearvision.measure.prior import Prior
from wearvision.measure.scale import Sighting

Array = NDArray[np.float64]

CORNER_FLOOR_PX = 0.05
OUTLIER = 4.0
"""Corners further off than this many robust sigmas are dropped."""
LEAST_POINTS = 6
NUISANCE = ("pull", "bow_x", "bow_y", "twist")
PULL_SD_PX = 1.0
"""Of the inward shift of marker corners; drawn and real photos show 0.3 to 1 px."""
FLATNESS_SD_MM = 0.04
"""Of each way the card may bend, at its edges: glued to something flat. Common practice, no source."""
PLACE = ("turn", "dx", "dy", "rise")
RISE_SD_MM = 0.15
"""Of another card's height against the first, both lying on one face. Common practice, no source."""
SOURCES = {"lens": ("log_f", "k1", "cx", "cy"), "print": ("log_print",), "height": ("height",)}
"""Priors by the name their share of the covariance goes under; besides, `paper` and the rest, `corner`."""

DISTANCE, FOCAL = NAMES.index("tz"), NAMES.index("log_f")


@dataclass(frozen=True, kw_only=True, eq=False)
class Points:
    """Correspondences of one board.

    Attributes
    ----------
    mm, px : (N, 2) arrays
        On the drawing and in the photo.
    sigma_rel : (N,) array
        Relative scatter.
    pull : (N, 2) array
        Direction in which a marker corner is pulled.
    bends : (N, 3) array
        Height of each point when the paper bends by one each way; mean and slope over the board are 0.
    """

    mm: Array
    px: Array
    sigma_rel: Array
    pull: Array
    bends: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """A settled least-squares problem.

    Attributes
    ----------
    state : (S,) array
    normal : (S, S) array
        J'WJ of the corners.
    inverse : (S,) array
        Inverse variances of the priors.
    cost, sigma_px, rms_px : float
        Minus twice the log posterior; scatter of a chessboard corner; root mean square residual.
    inliers : (N,) bool array
    """

    state: Array
    normal: Array
    inverse: Array
    cost: float
    sigma_px: float
    rms_px: float
    inliers: NDArray[np.bool_]


def points_of(sighting: Sighting) -> Points:
    """The correspondences of a sighting."""
    u, v = (2 * sighting.corners_mm / np.array(sighting.spec.size_mm) - 1).T
    return Points(
        mm=sighting.corners_mm, px=sighting.corners_px, sigma_rel=sighting.sigma_rel, pull=sighting.pull,
        bends=np.column_stack([u * u - 1 / 3, v * v - 1 / 3, u * v]),
    )  # fmt: skip


def state_size(boards: int) -> int:
    """Length of the state for so many boards."""
    return N + len(NUISANCE) * boards + len(PLACE) * (boards - 1)


def rows_of(kind: Sequence[str], board: int, boards: int) -> slice:
    """Where a board's `NUISANCE` or `PLACE` stands in the state; the first board has no place."""
    start = N + len(NUISANCE) * board
    if kind is PLACE:
        start = N + len(NUISANCE) * boards + len(PLACE) * (board - 1)
    return slice(start, start + len(kind))


def project(theta: Array, mm: Array, lift_mm: Array | None = None) -> tuple[Array, Array, Array]:
    """Drawn points (N, 2), lifted off the board's plane, to pixels.

    Returns pixels (N, 2), their derivative by the twelve parameters (2 N, 12), and by x, y and lift (2 N, 3).
    """
    focal = math.exp(theta[6])
    k = np.array([[focal, 0, theta[8]], [0, focal, theta[9]], [0, 0, 1.0]])
    lens = np.array([theta[7], 0.0, 0.0, 0.0])
    board = np.column_stack([mm, np.zeros(len(mm)) if lift_mm is None else -lift_mm])
    px, slope = cv2.projectPoints(board, theta[:3].copy(), theta[3:6].copy(), k, lens)
    jacobian = np.zeros((2 * len(mm), N))
    jacobian[:, :6] = slope[:, :6]
    jacobian[:, 6] = focal * (slope[:, 6] + slope[:, 7])
    jacobian[:, 7] = slope[:, 10]
    jacobian[:, 8:10] = slope[:, 8:10]
    rotation = np.asarray(cv2.Rodrigues(theta[:3].reshape(3, 1))[0], dtype=np.float64)
    world = slope[:, 3:6] @ rotation * [1.0, 1.0, -1.0]
    return np.asarray(px, dtype=np.float64).reshape(-1, 2), jacobian, np.asarray(world)


def model(boards: Sequence[Points], state: Array) -> tuple[Array, Array]:
    """Expected pixels (N, 2) of all boards, and their derivative (2 N, S) by the state."""
    parts = [_board_model(points, state, k, len(boards)) for k, points in enumerate(boards)]
    return np.vstack([px for px, _ in parts]), np.vstack([slope for _, slope in parts])


def _board_model(points: Points, state: Array, board: int, boards: int) -> tuple[Array, Array]:
    own = rows_of(NUISANCE, board, boards)
    pull, bend = state[own][0], state[own][1:]
    slope = np.zeros((2 * len(points.mm), len(state)))
    mm, lift = points.mm, points.bends @ bend
    if board:
        turn, dx, dy, rise = state[rows_of(PLACE, board, boards)]
        cos, sin = math.cos(turn), math.sin(turn)
        turned = mm @ np.array([[cos, sin], [-sin, cos]])
        mm, lift = turned + np.array([dx, dy]), lift + rise
    px, slope[:, :N], world = project(state[:N], mm, lift)
    slope[:, own.start] = points.pull.ravel()
    slope[:, own.start + 1 : own.stop] = world[:, 2:] * np.repeat(points.bends, 2, axis=0)
    if board:
        spin = np.repeat(np.column_stack([-turned[:, 1], turned[:, 0]]), 2, axis=0)
        place = np.column_stack([np.sum(world[:, :2] * spin, axis=1), world])
        slope[:, rows_of(PLACE, board, boards)] = place
    return px + pull * points.pull, slope


def prior_state(prior: Prior, boards: int) -> tuple[Array, Array]:
    """Prior mean and inverse variance of a state; poses and places are free."""
    mean, inverse = np.zeros(state_size(boards)), np.zeros(state_size(boards))
    mean[6:N], inverse[6:N] = prior.mean, np.array(prior.sd) ** -2.0
    for board in range(boards):
        own = np.array([PULL_SD_PX, *[FLATNESS_SD_MM] * 3])
        inverse[rows_of(NUISANCE, board, boards)] = own**-2.0
        if board:
            inverse[rows_of(PLACE, board, boards).stop - 1] = RISE_SD_MM**-2.0
    return mean, inverse


def settle(boards: Sequence[Points], start: Array, prior: Prior) -> Fit:
    """Robust least squares: solve, find the corners' own scatter, drop those far off, until settled."""
    px = np.vstack([b.px for b in boards])
    relative = np.concatenate([b.sigma_rel for b in boards])[:, None]
    # a board's corners settle eight numbers of a homography or four of a place, and the pull
    given = 9 + 5 * (len(boards) - 1)
    inliers, state, sigma = np.ones(len(px), dtype=bool), start, 0.5
    for _ in range(6):
        state = _descend(boards, state, prior, sigma, inliers)
        off = (model(boards, state)[0] - px) / relative
        robust = 1.4826 * float(np.median(np.abs(off)))
        near = np.abs(off).max(axis=1) <= OUTLIER * max(robust, CORNER_FLOOR_PX)
        free = max(2 * int(near.sum()) - given, 1)
        fresh = max(math.sqrt(float(np.sum(off[near] ** 2)) / free), CORNER_FLOOR_PX)
        settled = np.array_equal(near, inliers) and abs(fresh / sigma - 1) < 0.01
        sigma, inliers = fresh, near
        if settled or inliers.sum() < LEAST_POINTS:
            break
    residual, slope, weight = _residual(boards, state, sigma, inliers)
    misfit = float(residual @ (residual * weight)) + 2 * residual.size * math.log(sigma)
    misfit += 2 * OUTLIER**2 * float(np.sum(~inliers))
    target, inverse = prior_state(prior, len(boards))
    return Fit(
        state=state, normal=slope.T @ (slope * weight[:, None]), inverse=inverse, inliers=inliers,
        cost=misfit + float((state - target) ** 2 @ inverse), sigma_px=sigma,
        rms_px=math.sqrt(2 * float(np.mean(residual**2))) if inliers.any() else math.inf,
    )  # fmt: skip


def _residual(
    boards: Sequence[Points], state: Array, sigma: float, inliers: NDArray[np.bool_]
) -> tuple[Array, Array, Array]:
    px, slope = model(boards, state)
    seen = np.vstack([b.px for b in boards])
    relative = np.concatenate([b.sigma_rel for b in boards])
    use = np.repeat(inliers, 2)
    return (seen - px).ravel()[use], slope[use], np.repeat((sigma * relative) ** -2.0, 2)[use]


def _descend(boards: Sequence[Points], state: Array, prior: Prior, sigma: float, inliers: NDArray[np.bool_]) -> Array:
    """Levenberg-Marquardt on corners and priors.

    Focal length and distance lie in a narrow curved valley, along which a frontal board tells them hardly apart;
    stepping in log f and log (distance / f) makes it straight.
    """
    target, inverse = prior_state(prior, len(boards))

    def cost(residual: Array, weight: Array, at: Array) -> float:
        return float(residual @ (residual * weight) + (at - target) ** 2 @ inverse)

    residual, slope, weight = _residual(boards, state, sigma, inliers)
    now, damping = cost(residual, weight, state), 0.0
    while damping < 1e8:
        turned = slope.copy()
        turned[:, DISTANCE] *= state[DISTANCE]
        turned[:, FOCAL] += turned[:, DISTANCE]
        normal = turned.T @ (turned * weight[:, None]) + np.diag(inverse)
        pull = turned.T @ (residual * weight) - (state - target) * inverse
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), pull)
        ahead = state + step
        ahead[DISTANCE] = state[DISTANCE] * math.exp(min(step[DISTANCE] + step[FOCAL], 1.0))
        trial = _residual(boards, ahead, sigma, inliers)
        then = cost(trial[0], trial[2], ahead)
        if not then < now:
            damping = max(10 * damping, 1e-4)
            continue
        gain, state, now, damping = now - then, ahead, then, damping / 10 if damping > 1e-5 else 0.0
        residual, slope, weight = trial
        if gain < 1e-8 * (1 + now):
            break
    return state


def sources(fit: Fit, boards: int) -> dict[str, Array]:
    """Covariance (12, 12) of the twelve parameters by what brought it in."""
    spread = _inverse(fit.normal + np.diag(fit.inverse))
    rows = {name: [NAMES.index(m) for m in members] for name, members in SOURCES.items()}
    nuisances = [rows_of(NUISANCE, k, boards) for k in range(boards)]
    rows["paper"] = [i for own in nuisances for i in range(own.start + 1, own.stop)]
    rows["paper"] += [rows_of(PLACE, k, boards).stop - 1 for k in range(1, boards)]
    out = {name: np.asarray((spread[:N, i] * fit.inverse[i]) @ spread[i, :N]) for name, i in rows.items()}
    pulls = [own.start for own in nuisances]
    by_pull = (spread[:N, pulls] * fit.inverse[pulls]) @ spread[pulls, :N]
    return {"corner": (spread @ fit.normal @ spread)[:N, :N] + by_pull, **out}


def _inverse(matrix: Array) -> Array:
    """Inverse of a positive definite matrix with very unlike units, scaled to ones on its diagonal first."""
    scale = 1 / np.sqrt(np.diag(matrix))
    return np.asarray(np.linalg.inv(matrix * np.outer(scale, scale)) * np.outer(scale, scale))
