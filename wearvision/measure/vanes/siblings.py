"""Each vane against its own siblings: the median of the others, and what differs from it along the vane."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import medians
from wearvision.measure.plane import Array
from wearvision.measure.vanes.foot import Where
from wearvision.measure.vanes.trace import Traces

AGREE_MM = 0.8
"""Both edges of a vane must be shifted alike to this."""
HUBER_MM = 0.3
CENTRE_MOST_MM, CENTRE_ROUNDS = 1.5, 12
"""How far traced vanes may move the centre (also what is known of it beforehand), and rounds of the fit."""
CENTRE_SD_MM = 0.15
"""Of a vane's place over `SHARED_MM` of its length."""
TIP_MM = 2.0
"""This much before the tip is left out: averaging along the vane reaches past its end there."""
STARTS = np.arange(0.25, 0.86, 0.05)
POWERS = (1.5, 2.0)
SHARED_MM = 8.0
"""Length along a vane over which errors are one and the same."""
LEAST_MM = 0.12
"""Least standard deviation of such a stretch."""
SOUND = 0.75
"""Share of vanes that are not bent."""
BEND_SD_MM, TURN_SD_MM = 4.0, 0.25
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


def offsets(traces: Traces) -> Array:
    """Shift (N, S) of each vane from the common line by its two edges; nan where they are not seen or disagree."""
    off = traces.edge_mm - traces.pair_mm[None]
    right, left = off[..., 0], off[..., 1]
    both = np.abs(right - left)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # the mean of no edge at all is nan, as it should be
        mean = np.nanmean(off, axis=2)
    return np.where(np.nan_to_num(both, nan=0.0) > AGREE_MM, np.nan, mean)


def centred(off: Array, traces: Traces, tip: float, believed: Where) -> tuple[Array, Array, Array]:
    """The offsets with what is left of the centre's error taken out, that error (2,), and its covariance (2, 2).

    A centre `d` off shifts each vane by `d . left`, and what the vanes share by nothing: both are fitted together, by
    least squares with weights that fall to nothing for what is bent. Few vanes, or straight ones two and two opposite,
    leave one direction weakly determined: the covariance says so. `believed` is where the error is thought to be
    beforehand.
    """
    rows = traces.line.along_mm < tip - TIP_MM
    now, left = off[:, rows], traces.strips.left[:, rows]
    known = np.isfinite(now)
    now = np.where(known, now, 0.0)
    share = float(traces.line.along_mm[1] - traces.line.along_mm[0]) / SHARED_MM
    prior = np.linalg.inv(believed.spread_mm2) * CENTRE_SD_MM**2 / share
    total, level = believed.middle_mm, np.nan_to_num(medians(np.where(known, now, np.nan)[None])[0])
    for _ in range(CENTRE_ROUNDS):
        weight = known / (1 + ((now - left @ total - level) / HUBER_MM) ** 2) ** 2
        each = np.maximum(weight.sum(axis=0), 1e-9)
        beside = left - (weight[..., None] * left).sum(axis=0) / each[:, None]
        value = now - (weight * now).sum(axis=0) / each
        normal = np.einsum("ks,ksi,ksj->ij", weight, beside, beside)
        moved = np.einsum("ks,ksi,ks->i", weight, beside, value) + prior @ believed.middle_mm
        total = np.linalg.solve(normal + prior, moved)
        level = (weight * (now - left @ total)).sum(axis=0) / each
    cov = np.linalg.inv(share * (normal + prior) / CENTRE_SD_MM**2)
    if float(np.hypot(*total)) > CENTRE_MOST_MM:
        total = total * (CENTRE_MOST_MM / float(np.hypot(*total)))
    return off - traces.strips.left @ total, total, np.asarray(cov, dtype=np.float64)


def centre_u(traces: Traces, cov: Array, tip: float) -> Array:
    """What the centre's covariance (2, 2) makes of the shift of each vane at its tip against its siblings, (N,)."""
    left = traces.strips.left[:, int(np.argmin(np.abs(traces.line.along_mm - tip)))]
    number = len(left)
    way = (left - left.mean(axis=0)) * number / max(number - 1, 1)  # less the mean of the others
    return np.asarray(np.sqrt(np.einsum("ki,ij,kj->k", way, cov, way)))


def against_siblings(off: Array, k: int, sound: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Shift (S,) of vane k from the median of its siblings, and how unsure that median is (S,).

    Where two siblings are seen the vane itself counts among them: of two, one bent sibling would halve its bend onto
    the other. Of one sibling nothing is told.
    """
    others = off[[j for j in range(len(off)) if j != k and sound[j]]]
    count = np.isfinite(others).sum(axis=0)
    among = off[sound | (np.arange(len(off)) == k)]
    enough = np.isfinite(among).sum(axis=0) >= 3
    median = np.where(count >= 3, medians(others[None])[0], np.where(enough, medians(among[None])[0], np.nan))
    spread = 1.4826 * medians(np.abs(others - median)[None])[0]
    doubt = 1.25 * np.maximum(np.nan_to_num(spread, nan=0.2), 0.08) / np.sqrt(np.maximum(count, 1))
    return off[k] - median, np.where(count > 0, doubt, np.nan)


def shape(difference: Array, along_mm: Array, tip_mm: float, doubt_mm: Array) -> Shape:
    """A bend fitted to the difference: the mean of many bends by how well each fits.

    Each bend starts at one of `STARTS` of the length and grows with a power of what is beyond; it and a shift of the
    whole vane are fitted by robust least squares with priors. The shift at the tip and the angle there are means over
    all of them, and so their uncertainty holds what the choice between them is worth.
    """
    use = np.isfinite(difference) & np.isfinite(doubt_mm) & (along_mm < tip_mm - TIP_MM)
    outer = use & (along_mm > tip_mm - 0.25 * (tip_mm - along_mm[0]))
    nothing = np.full(len(along_mm), np.nan)
    if use.sum() < 8 or outer.sum() < 4:
        return Shape(
            tip_shift_mm=np.nan, tip_u_mm=np.nan, bend_deg=np.nan, bend_u_deg=np.nan, off_mm=nothing,
            measured_mm=difference,
        )  # fmt: skip
    few = np.flatnonzero(use)[::2]  # neighbours share their error
    step = 2 * float(along_mm[1] - along_mm[0])
    x, y = along_mm[few], difference[few]
    tried = [(0.5, 1.0), *((start, power) for start in STARTS.tolist() for power in POWERS)]
    start, power = (np.array([[t[k]] for t in tried]) for k in (0, 1))
    bends = _Bends(start=start * tip_mm, power=power, tip=tip_mm)
    cost, theta, cov = _fitted(bends, x, y, doubt_mm[few], step)
    prior = np.full(len(tried), (1 - SOUND) / (len(tried) - 1))
    prior[0] = SOUND
    weight = prior * np.exp(-0.5 * (cost - cost.min()))
    weight /= weight.sum()
    to = bends.to_tip()
    value, cov = np.einsum("fij,fj->fi", to, theta), to @ cov @ to.transpose(0, 2, 1)
    mean = weight @ value
    spread = np.einsum("f,fij->ij", weight, cov) + (value - mean).T @ (weight[:, None] * (value - mean))
    angle = np.degrees(np.arctan(mean[1]))
    curve = weight @ (theta[:, :1] + theta[:, 1:] * bends.at(along_mm))
    return Shape(
        tip_shift_mm=float(mean[0]), tip_u_mm=float(np.sqrt(spread[0, 0])), bend_deg=float(angle),
        bend_u_deg=float(np.degrees(np.sqrt(spread[1, 1]) / (1 + mean[1] ** 2))), off_mm=curve, measured_mm=difference,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class _Bends:
    """Bends that are tried: where each begins (F, 1), mm, its power (F, 1), and the tip; the first is none."""

    start: Array
    power: Array
    tip: float

    def at(self, along_mm: Array) -> Array:
        """How much of its shift at the tip each bend has at places (S,), (F, S)."""
        return np.asarray(np.clip((along_mm - self.start) / (self.tip - self.start), 0, None) ** self.power)

    def to_tip(self) -> Array:
        """What makes (shift, slope) at the tip of (shift of all, shift of the bend), (F, 2, 2)."""
        out = np.zeros((len(self.start), 2, 2))
        out[:, 0] = 1.0
        out[:, 1, 1] = (self.power / (self.tip - self.start))[:, 0]
        return out


def _fitted(bends: _Bends, x: Array, y: Array, doubt: Array, step: float) -> tuple[Array, Array, Array]:
    """Cost (F,), parameters (F, 2) and covariance (F, 2, 2) of every bend, by robust least squares with priors."""
    a = np.stack([np.ones((len(bends.start), len(x))), bends.at(x)], axis=2)
    prior = np.zeros((len(a), 2, 2))
    prior[:, 0, 0], prior[:, 1, 1] = 1 / TURN_SD_MM**2, 1 / BEND_SD_MM**2
    prior[0, 1, 1] = 1e6
    share = step / SHARED_MM
    sd = np.maximum(np.hypot(doubt, LEAST_MM), 1e-3)
    across = a.transpose(0, 2, 1)
    square = across @ a + 1e-9 * np.eye(2)
    theta = np.linalg.solve(square, across @ y[:, None])
    for _ in range(8):
        r = (y - (a @ theta)[..., 0]) / sd
        scale = np.maximum(1.0, 1.4826 * np.partition(np.abs(r), len(x) // 2, axis=1)[:, len(x) // 2, None])
        w = share / (sd * scale) ** 2 * np.clip(1 - (r / (4.0 * scale)) ** 2, 0.0, None) ** 2
        normal = (across * w[:, None]) @ a + prior
        theta = np.linalg.solve(normal, across @ (w * y)[..., None])
    r, flat = (y - (a @ theta)[..., 0]) / sd, theta[..., 0]
    fit = share * np.minimum(r**2, 16.0).sum(axis=1) + np.einsum("fi,fij,fj->f", flat, prior, flat)
    cost = fit + np.linalg.slogdet(normal)[1] - np.linalg.slogdet(prior)[1]
    return np.asarray(cost), np.asarray(flat), np.asarray(np.linalg.inv(normal), dtype=np.float64)
