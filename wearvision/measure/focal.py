"""Where nobody knows the focal length: its mean over all poses that fit, not that of the best pose."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.adjust import LEAST_POINTS, Fit, inverse_of, prior_state, rms_of, settle
from wearvision.measure.descent import descend
from wearvision.measure.model import DISTANCE, FOCAL, Fitted
from wearvision.measure.paper import Points
from wearvision.measure.prior import Prior

Array = NDArray[np.float64]

FOCAL_LOOSE = 0.1
"""Sd of ln f from which a focal length counts as unknown. Bends are judged at about that much round its guess: a
very short focal length would make any misprint look like a bend."""
FOCAL_STEPS = np.linspace(-2.2, 2.2, 5)
"""Sigmas of the best pose at which focal lengths are tried, round where two tilts in doubt would shift them."""


def settle_focal(boards: Sequence[Points], start: Array, prior: Prior, settled: Fit | None = None) -> Fit:
    """`settle`, and where nobody knows the focal length, its mean over all poses instead of its best pose.

    A card seen nearly square tells tilt over focal length, not either: the longer the focal length, the more tilts
    fit. The best single pose leaves that out and comes out short; adding ln det of the rest's normal matrix at each
    focal length puts it back (Laplace's approximation of the integral).
    """
    sd = float(prior.lens_precision[0, 0]) ** -0.5
    if sd < FOCAL_LOOSE:
        return settle(boards, start, prior) if settled is None else settled
    fit = settle(boards, start, held(prior)) if settled is None else settled
    if np.count_nonzero(fit.trust) < LEAST_POINTS:
        return fit
    boards = fit.boards
    known = prior_state(prior, boards)
    fit = _replaced(fit, descend(boards, fit.state, known, fit.wide_px, fit.trust), known[1])
    own = math.sqrt(float(inverse_of(fit.normal + fit.precision)[FOCAL, FOCAL]))
    at = fit.state[FOCAL] + 2 * own**2 + own * FOCAL_STEPS
    steps = [_at_focal(boards, fit, prior, float(log_f)) for log_f in at]
    weight = np.exp(-(np.array([cost for _, cost in steps]) - min(cost for _, cost in steps)) / 2)
    weight /= weight.sum()
    mean = float(weight @ at)
    variance = float(weight @ (at - mean) ** 2) + (at[1] - at[0]) ** 2 / 12
    nearest = steps[int(np.argmin(np.abs(at - mean)))][0]
    pinned = _pinned(prior, boards, mean)
    told = descend(boards, _refocused(nearest, mean), pinned, fit.wide_px, fit.trust)
    return _with_focal_spread(_replaced(fit, told, known[1]), variance)


def held(prior: Prior) -> Prior:
    """The prior with an unknown focal length held near its guess; as it is when that is known."""
    if prior.lens_precision[0, 0] > FOCAL_LOOSE**-2.0:
        return prior
    precision = prior.lens_precision.copy()
    precision[0, 0] = FOCAL_LOOSE**-2.0
    return replace(prior, lens_precision=precision)


def _pinned(prior: Prior, boards: Sequence[Points], log_f: float) -> tuple[Array, Array]:
    mean, precision = prior_state(prior, boards)
    mean[FOCAL], precision[FOCAL, FOCAL] = log_f, 1e10
    return mean, precision


def _refocused(state: Array, log_f: float) -> Array:
    """The same view through another focal length: distance goes with it."""
    out = state.copy()
    out[FOCAL] = log_f
    out[DISTANCE] *= math.exp(log_f - state[FOCAL])
    return out


def _at_focal(boards: Sequence[Points], fit: Fit, prior: Prior, log_f: float) -> tuple[Array, float]:
    """State at a focal length, and minus twice the log of its marginal probability."""
    known = _pinned(prior, boards, log_f)
    told = descend(boards, _refocused(fit.state, log_f), known, fit.wide_px, fit.trust)
    state, scale = told.state, np.ones(len(told.state))
    scale[DISTANCE] = state[DISTANCE]
    cost = told.cost + float((log_f - prior.lens[0]) ** 2 * prior.lens_precision[0, 0])
    rest = np.flatnonzero(np.arange(len(state)) != FOCAL)
    normal = (told.normal * np.outer(scale, scale) + known[1])[np.ix_(rest, rest)]
    return state, cost + float(np.linalg.slogdet(normal)[1])


def _replaced(fit: Fit, told: Fitted, precision: Array) -> Fit:
    """A fit at another state, under priors of such a precision."""
    return replace(
        fit, state=told.state, normal=told.normal, precision=precision, rms_px=rms_of(told.residual, fit.trust)
    )


def _with_focal_spread(fit: Fit, variance: float) -> Fit:
    """A fit whose ln f has the given variance."""
    precision = fit.precision.copy()
    precision[FOCAL, FOCAL] = 0.0
    whole = fit.normal + precision
    rest = np.flatnonzero(np.arange(len(fit.state)) != FOCAL)
    told = whole[FOCAL, FOCAL] - whole[FOCAL, rest] @ np.linalg.solve(whole[np.ix_(rest, rest)], whole[rest, FOCAL])
    precision[FOCAL, FOCAL] = max(1 / variance - told, 1e-3 / variance)
    return replace(fit, precision=precision)
