"""Corners and priors to a plane with its covariance.

Least squares over the twelve parameters of `plane.NAMES`: corner residuals weighted by their own scatter, and
Gaussian priors for what corners tell little of. The posterior covariance is split exactly by what went in:
with S = (J'WJ + P^-1)^-1, a prior with inverse covariance Q_i brings S Q_i S, the corners S J'WJ S, and these
add up to S. Four nuisances ride along: how far blur and ink pull the corners of markers inwards, and how the
paper bends.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.errors import BadInput
from wearvision.measure.plane import NAMES, N, Plane
from wearvision.measure.prior import FOCAL_GUESS, Prior, prior_of
from wearvision.measure.scale import Sighting
from wearvision.quantity import Unmeasured

Array = NDArray[np.float64]

CORNER_FLOOR_PX = 0.05
OUTLIER = 4.0
"""Corners further off than this many robust sigmas are dropped."""
RIVAL = 4.0
"""A flat board has two poses; the second is tried when it fits less than this many times worse."""
LEAST_EXTENT = 0.02
"""Least width of the corners' field as a share of its length: below, they lie on a line."""
FREE = 9
"""Parameters the corners of one board settle: eight of a homography and the pull."""
LEAST_POINTS = 6
PULL_SD_PX = 1.0
"""Of the inward shift of marker corners; drawn and real photos show 0.3 to 1 px."""
BENDS = ("bow_x", "bow_y", "twist")
FLATNESS_SD_MM = 0.04
"""Of each way the card may bend, at its edges: glued to something flat. Common practice, no source."""
STATE = (*NAMES, "pull", *BENDS)
DISTANCE, FOCAL = NAMES.index("tz"), NAMES.index("log_f")

SOURCES = {
    "lens": ("log_f", "k1", "cx", "cy"), "print": ("log_print",), "height": ("height",), "paper": BENDS
}  # fmt: skip
"""Priors by the name their share of the covariance goes under; the rest is `corner`."""


def solve(
    sightings: Sequence[Sighting],
    *,
    size_px: tuple[int, int],
    focal35_mm: float | None = None,
    check_bar_mm: float | None = None,
    card_height_mm: float = 0.0,
) -> Plane | Unmeasured:
    """The measured plane from the best board of a photo.

    Parameters
    ----------
    sightings : sequence of Sighting
        The first one, the one with most corners, is used.
    size_px : (width, height)
        Of the photo, EXIF orientation applied.
    focal35_mm : float, optional
        35 mm film focal length of EXIF; a prior, never a scale.
    check_bar_mm : float, optional
        Caliper length of the printed 100 mm bar.
    card_height_mm : float
        Stated height of the card's support above the measured plane, mm.

    Raises
    ------
    BadInput
        For a focal length that is not positive.
    """
    prior = prior_of(size_px, focal35_mm, check_bar_mm, card_height_mm)
    if not sightings:
        return Unmeasured(reason="no card seen", hint="lay a printed card flat beside the part")
    best = sightings[0]
    points = points_of(best)
    if len(points.px) < LEAST_POINTS:
        seen = len(points.px)
        return Unmeasured(reason=f"only {seen} corners of the card seen", hint="show the whole card")
    fits = [_fit(points, start, prior) for start in _starts(points, prior)]
    if not fits:
        return Unmeasured(reason="the card's corners fit no plane", hint="lay the card flat and retake")
    fit = min(fits, key=lambda f: f.cost)
    if fit.inliers.sum() < LEAST_POINTS:
        return Unmeasured(reason="the card's corners do not agree", hint="lay the card flat and retake")
    return Plane(
        theta=fit.state[:N], sources=_sources(fit, prior), size_px=size_px, rms_px=fit.rms_px,
        bend_mm=float(np.abs(fit.state[N + 1 :]).max()),
        source="board" if best.spec.card is None else "card",
    )  # fmt: skip


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
        Height of each point when the paper bends by one in each of `BENDS`; mean and slope over the board are 0.
    """

    mm: Array
    px: Array
    sigma_rel: Array
    pull: Array
    bends: Array

    def model(self, state: Array) -> tuple[Array, Array]:
        """Expected pixels (N, 2) and derivative (2N, 16) at a state, in the order of `STATE`."""
        px, slope, rise = project(state[:N], self.mm, self.bends @ state[N + 1 :])
        bends = (rise[:, :, None] * self.bends[:, None]).reshape(-1, len(BENDS))
        return px + state[N] * self.pull, np.column_stack([slope, self.pull.ravel(), bends])


def points_of(sighting: Sighting) -> Points:
    """The correspondences of a sighting."""
    u, v = (2 * sighting.corners_mm / np.array(sighting.spec.size_mm) - 1).T
    return Points(
        mm=sighting.corners_mm, px=sighting.corners_px, sigma_rel=sighting.sigma_rel, pull=sighting.pull,
        bends=np.column_stack([u * u - 1 / 3, v * v - 1 / 3, u * v]),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class _Fit:
    state: Array
    normal: Array  # J'WJ of the corners, (16, 16)
    cost: float
    rms_px: float
    inliers: NDArray[np.bool_]


def _starts(points: Points, prior: Prior) -> list[Array]:
    """Poses of a flat board at the prior's lens, best first, as full states; none for corners on one line."""
    middle = points.mm.mean(axis=0)
    extent = np.linalg.svd(points.mm - middle, compute_uv=False)
    if extent[1] < LEAST_EXTENT * extent[0]:
        return []
    focal, centre = math.exp(prior.mean[0]), prior.mean[2:4]
    k = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1.0]])
    board = np.column_stack([points.mm, np.zeros(len(points.mm))])
    _, turns, shifts, _ = cv2.solvePnPGeneric(board, points.px, k, None, flags=cv2.SOLVEPNP_SQPNP)
    if not len(turns):
        return []
    turn, shift = (np.asarray(v, dtype=np.float64).ravel() for v in (turns[0], shifts[0]))
    states = [
        np.concatenate([t, s, prior.mean, np.zeros(4)])
        for t, s in ((turn, shift), _mirrored(turn, shift, np.array([*middle, 0.0])))
    ]
    misses = [float(np.sum((points.model(s)[0] - points.px) ** 2)) for s in states]
    return [s for s, miss in zip(states, misses, strict=True) if miss <= RIVAL**2 * misses[0]]


def _mirrored(turn: Array, shift: Array, middle: Array) -> tuple[Array, Array]:
    """The other pose of a flat board that looks nearly alike: its tilt mirrored at the line of sight."""
    rotation = np.asarray(cv2.Rodrigues(turn)[0])
    centre = rotation @ middle + shift
    sight = centre / np.linalg.norm(centre)
    half_turn = 2 * np.outer(sight, sight) - np.eye(3)
    other = half_turn @ rotation @ np.diag([-1.0, -1.0, 1.0])
    return np.ravel(cv2.Rodrigues(other)[0]), centre - other @ middle


def project(theta: Array, mm: Array, lift_mm: Array | None = None) -> tuple[Array, Array, Array]:
    """Drawn points (N, 2), lifted off the board's plane, to pixels.

    Returns pixels (N, 2), their derivative by the twelve parameters (2N, 12), and by the lift (N, 2).
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
    up = -np.asarray(cv2.Rodrigues(theta[:3].reshape(3, 1))[0], dtype=np.float64)[:, 2]
    return np.asarray(px, dtype=np.float64).reshape(-1, 2), jacobian, (slope[:, 3:6] @ up).reshape(-1, 2)


def _fit(points: Points, start: Array, prior: Prior) -> _Fit:
    """Robust least squares: solve, find the corners' own scatter, drop those far off, until settled."""
    inliers = np.ones(len(points.px), dtype=bool)
    state, sigma = start, 0.5
    for _ in range(6):
        state = _descend(points, state, prior, sigma, inliers)
        off = (points.model(state)[0] - points.px) / points.sigma_rel[:, None]
        robust = 1.4826 * float(np.median(np.abs(off)))
        near = np.abs(off).max(axis=1) <= OUTLIER * max(robust, CORNER_FLOOR_PX)
        free = max(2 * int(near.sum()) - FREE, 1)
        fresh = max(math.sqrt(float(np.sum(off[near] ** 2)) / free), CORNER_FLOOR_PX)
        settled = np.array_equal(near, inliers) and abs(fresh / sigma - 1) < 0.01
        sigma, inliers = fresh, near
        if settled or inliers.sum() < LEAST_POINTS:
            break
    residual, slope, weight = _residual(points, state, sigma, inliers)
    misfit = float(residual @ (residual * weight)) + 2 * residual.size * math.log(sigma)
    misfit += 2 * OUTLIER**2 * float(np.sum(~inliers))
    target, inverse = _prior_state(prior)
    return _Fit(
        state=state, normal=slope.T @ (slope * weight[:, None]), inliers=inliers,
        cost=misfit + float((state - target) ** 2 @ inverse),
        rms_px=math.sqrt(2 * float(np.mean(residual**2))) if inliers.any() else math.inf,
    )  # fmt: skip


def _prior_state(prior: Prior) -> tuple[Array, Array]:
    """Prior mean and inverse variance of a whole state; the pose is free."""
    mean = np.concatenate([np.zeros(6), prior.mean, np.zeros(4)])
    sd = np.array([*prior.sd, PULL_SD_PX, *[FLATNESS_SD_MM] * 3])
    return mean, np.concatenate([np.zeros(6), sd**-2.0])


def _residual(points: Points, state: Array, sigma: float, inliers: NDArray[np.bool_]) -> tuple[Array, Array, Array]:
    px, slope = points.model(state)
    use = np.repeat(inliers, 2)
    weight = np.repeat((sigma * points.sigma_rel) ** -2.0, 2)
    return (points.px - px).ravel()[use], slope[use], weight[use]


def _descend(points: Points, state: Array, prior: Prior, sigma: float, inliers: NDArray[np.bool_]) -> Array:
    """Levenberg-Marquardt on corners and priors.

    Focal length and distance lie in a narrow curved valley, along which a frontal board tells them hardly apart;
    stepping in log f and log (distance / f) makes it straight.
    """
    target, inverse = _prior_state(prior)

    def cost(residual: Array, weight: Array, at: Array) -> float:
        return float(residual @ (residual * weight) + (at - target) ** 2 @ inverse)

    residual, slope, weight = _residual(points, state, sigma, inliers)
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
        trial = _residual(points, ahead, sigma, inliers)
        then = cost(trial[0], trial[2], ahead)
        if not then < now:
            damping = max(10 * damping, 1e-4)
            continue
        gain, state, now, damping = now - then, ahead, then, damping / 10 if damping > 1e-5 else 0.0
        residual, slope, weight = trial
        if gain < 1e-8 * (1 + now):
            break
    return state


def _sources(fit: _Fit, prior: Prior) -> dict[str, Array]:
    """Covariance of the twelve parameters by what brought it in."""
    _, inverse = _prior_state(prior)
    spread = _inverse(fit.normal + np.diag(inverse))
    corner = fit.normal.copy()
    corner[N, N] += inverse[N]
    out = {"corner": (spread @ corner @ spread)[:N, :N]}
    for name, members in SOURCES.items():
        rows = [STATE.index(m) for m in members]
        out[name] = (spread[:N, rows] * inverse[rows]) @ spread[rows, :N]
    return out


def _inverse(matrix: Array) -> Array:
    """Inverse of a positive definite matrix with very unlike units, scaled to ones on its diagonal first."""
    scale = 1 / np.sqrt(np.diag(matrix))
    return np.asarray(np.linalg.inv(matrix * np.outer(scale, scale)) * np.outer(scale, scale))


STATED_SCALE_SD = 0.03
"""Of ln scale when a person states it: the plane's tilt up to 14 degrees goes uncorrected.
Common practice, no source."""
STATED_TILT_SD = 0.1
"""Of each tilt angle, rad."""


def from_stated_scale(mm_per_px: float, size_px: tuple[int, int]) -> Plane:
    """A frontal plane of a stated scale: last resort, no tilt correction, a few percent uncertain.

    Its origin is the photo's centre.

    Raises
    ------
    BadInput
        For a scale that is not positive.
    """
    if not (math.isfinite(mm_per_px) and mm_per_px > 0):
        raise BadInput("stated scale: not a positive number", got=mm_per_px, do="state mm per pixel")
    focal = FOCAL_GUESS * max(size_px)
    theta = np.zeros(N)
    theta[5], theta[6] = focal * mm_per_px, math.log(focal)
    theta[8:10] = (size_px[0] - 1) / 2, (size_px[1] - 1) / 2
    spread = np.zeros(N)
    spread[:2], spread[10] = STATED_TILT_SD, STATED_SCALE_SD
    return Plane(theta=theta, sources={"stated": np.diag(spread**2)}, size_px=size_px, source="stated")
