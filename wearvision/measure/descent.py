"""The state of `adjust` that corners and priors tell best, by Levenberg-Marquardt, and how far corners lie from it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.model import model
from wearvision.measure.paper import Points
from wearvision.measure.plane import NAMES

Array = NDArray[np.float64]

LEAST_GAIN = 1e-5
"""Of minus twice the log posterior: a step that gains less moves nothing by a hundredth of its uncertainty."""
DISTANCE, FOCAL = NAMES.index("tz"), NAMES.index("log_f")


class Misses(NamedTuple):
    """Miss of every corner (2 N,), px, its slope by the state (2 N, S), and its weight (2 N,)."""

    residual: Array
    slope: Array
    weight: Array


def misses(boards: Sequence[Points], state: Array, sigma: float, trust: Array) -> Misses:
    """How far corners lie from where they should be seen."""
    px, slope = model(boards, state)
    seen = np.vstack([b.px for b in boards])
    relative = np.concatenate([b.sigma_rel for b in boards])
    return Misses((seen - px).ravel(), slope, np.repeat(trust * (sigma * relative) ** -2.0, 2))


def descend(
    boards: Sequence[Points], state: Array, known: tuple[Array, Array], sigma: float, trust: Array
) -> tuple[Array, Misses]:
    """The state that corners and priors tell best, and the misses there, by Levenberg-Marquardt.

    Focal length and distance lie in a narrow curved valley, along which a frontal board tells them hardly apart;
    stepping in log f and log (distance / f) makes it straight.
    """
    target, precision = known

    def cost(residual: Array, at: Array) -> float:
        return float(residual @ (residual * weight) + (at - target) @ precision @ (at - target))

    residual, slope, weight = misses(boards, state, sigma, trust)
    seen = np.vstack([b.px for b in boards])
    now, damping = cost(residual, state), 0.0
    while damping < 1e8:
        turned = slope.copy()
        turned[:, DISTANCE] *= state[DISTANCE]
        turned[:, FOCAL] += turned[:, DISTANCE]
        normal = weighed(turned, weight) + precision
        pull = turned.T @ (residual * weight) - precision @ (state - target)
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), pull)
        ahead = state + step
        ahead[DISTANCE] = state[DISTANCE] * math.exp(max(-1.0, min(step[DISTANCE] + step[FOCAL], 1.0)))
        px, trial_slope = model(boards, ahead)
        trial = (seen - px).ravel()
        then = cost(trial, ahead)
        if not then < now:
            damping = max(10 * damping, 1e-4)
            continue
        gain, state, now, damping = now - then, ahead, then, damping / 10 if damping > 1e-5 else 0.0
        residual, slope = trial, trial_slope
        if gain < LEAST_GAIN:
            break
    return state, Misses(residual, slope, weight)


def weighed(slope: Array, weight: Array) -> Array:
    """slope' W slope, within this thread: a matrix library's own threads cost more than they save here."""
    return np.asarray(cv2.gemm(slope * weight[:, None], slope, 1.0, NOTHING, 0.0, flags=cv2.GEMM_1_T))


NOTHING = np.zeros((0, 0))
