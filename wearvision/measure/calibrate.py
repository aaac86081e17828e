"""One camera's lens from the cards in many of its photos.

Every photo is settled on its own (see `adjust`), its lens held near the common one; what it then says about the
lens, all of its own unknowns integrated out, is one small Gaussian. The common lens is where these agree, found by
turns. Between photos a lens may move a little: focusing changes the focal length, a stabiliser the centre.
Whether the result may be used is asked of the photos themselves: each must be told better by the lens of the
others than by what is known without them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.adjust import LEAST_POINTS, LENS_ROWS, Fit, settle
from wearvision.measure.lens import LENS, Lens
from wearvision.measure.paper import points_of
from wearvision.measure.pose import together
from wearvision.measure.prior import Prior, prior_of
from wearvision.measure.scale import Sighting
from wearvision.quantity import Unmeasured

Array = NDArray[np.float64]

LEAST_SHOTS, MOST_SHOTS = 5, 24
"""Photos it takes to hold any of them against the others; photos beyond which little is gained."""
FOCUS_SD, SHIFT_SD = 0.004, 0.0015
"""Of ln f from photo to photo: an image lies f (1 + f/Z) behind the lens, 0.9 to 1.9 % at 60 to 30 cm and 5.6 mm
(thin lens); of the principal point, as a share of the width. Common practice, no source."""
K1_MOVE, K2_MOVE = 0.001, 0.0005
ROUNDS = 12
SETTLED = 1e-3
"""Change of the lens, in its sigmas, below which the rounds end."""
ALIKE_SHARE = 0.02
"""Of the long side: photos in which no corner lies further off count as one."""
SURE = 2.0
"""Standard errors by which the photos must be told better on average."""
STRANGE = 3.0
"""Mean squared deviation per parameter, 1 when all is well, beyond which the photos are not of one lens."""


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """Why a calibration may be used.

    Attributes
    ----------
    photos : int
    gain, gain_se : float
        By how much a left-out photo is told better by the others than without them, mean log likelihood and its
        standard error.
    better : int
        Photos told better.
    strain : float
        Mean squared deviation of left-out photos per parameter, at most about 1.
    """

    photos: int
    gain: float
    gain_se: float
    better: int
    strain: float

    @property
    def convincing(self) -> bool:
        """Whether left-out photos are demonstrably told better."""
        return self.gain > SURE * self.gain_se and self.strain < STRANGE


@dataclass(frozen=True, kw_only=True, eq=False)
class Calibration:
    """A lens with its evidence; to be used only when that is `convincing`."""

    lens: Lens
    evidence: Evidence


@dataclass(frozen=True, kw_only=True, eq=False)
class _Told:
    """What one photo says of its lens: information (5, 5) about, and place (5,) of, its own lens."""

    information: Array
    place: Array
    sigma_px: float


def calibrate(
    shots: Sequence[Sequence[Sighting]], *, size_px: tuple[int, int], focal35_mm: float | None = None
) -> Calibration | Unmeasured:
    """The lens of one camera from its photos.

    Parameters
    ----------
    shots : sequence of sequences of Sighting
        Boards of each photo, all in the sensor's own frame (as stored, before orientation).
    size_px : (width, height)
        Of that frame.
    focal35_mm : float, optional
        35 mm film focal length of EXIF.
    """
    seen = [[s for s in shot if len(s.corners_px) >= LEAST_POINTS] for shot in shots]
    seen = [shot for shot in seen if shot]
    views = _views(seen, ALIKE_SHARE * max(size_px))[:MOST_SHOTS]
    if len(views) < LEAST_SHOTS:
        alike = f" from different places ({len(seen)} in all)" if len(seen) > len(views) else ""
        hint = f"{LEAST_SHOTS} or more calibrate a phone"
        return Unmeasured(reason=f"only {len(views)} photos show a card{alike}", hint=hint)
    known = prior_of(size_px, focal35_mm)
    move = np.diag(np.array([FOCUS_SD, K1_MOVE, SHIFT_SD * size_px[0], SHIFT_SD * size_px[0], K2_MOVE]) ** 2)
    firsts = [_first(shot, known, size_px) for shot in views]
    fits = [fit for fit in firsts if fit is not None]
    if len(fits) < LEAST_SHOTS:
        return Unmeasured(reason=f"only {len(fits)} photos have a card that fits", hint="lay the cards flat")
    told = _agree(fits, known, move)
    mean, covariance = _common(told, known, move)
    lens = Lens(
        mean=mean, covariance=covariance + move, size_px=size_px,
        sigma_px=float(np.median([t.sigma_px for t in told])),
    )  # fmt: skip
    return Calibration(lens=lens, evidence=_evidence(told, known, move))


def _views(shots: Sequence[Sequence[Sighting]], alike_px: float) -> list[Sequence[Sighting]]:
    """The photos without those that see no board elsewhere than an earlier one did.

    What a print has wrong bends all photos from one place alike: they agree without being right.
    """
    views: list[Sequence[Sighting]] = []
    for shot in shots:
        if not any(_alike(shot, other, alike_px) for other in views):
            views.append(shot)
    return views


def _alike(shot: Sequence[Sighting], other: Sequence[Sighting], alike_px: float) -> bool:
    """Whether the corners that two photos share lie in the same places of the picture."""
    there = {s.spec.name: s for s in other}
    apart = [_apart(s, there[s.spec.name]) for s in shot if s.spec.name in there]
    return bool(apart) and max(apart) < alike_px


def _apart(one: Sighting, other: Sighting) -> float:
    """Farthest that a corner of a board lies from itself in two photos, px."""
    _, here, there = np.intersect1d(one.ids, other.ids, return_indices=True)
    return float(np.abs(one.corners_px[here] - other.corners_px[there]).max(initial=0.0)) if len(here) else math.inf


def _first(shot: Sequence[Sighting], known: Prior, size_px: tuple[int, int]) -> tuple[Fit, Prior] | None:
    """A photo settled with what is known of any lens."""
    prior = replace(known, prints=prior_of(size_px, None, checks=(None,) * len(shot)).prints)
    found = together([points_of(s) for s in shot], prior, size_px)
    return None if isinstance(found, Unmeasured) else (found.fit, found.prior)


def _agree(fits: Sequence[tuple[Fit, Prior]], known: Prior, move: Array) -> list[_Told]:
    """What the photos say once their lenses lie near a common one."""
    lens = known.lens
    held = np.asarray(np.linalg.inv(move))
    states = [fit.state for fit, _ in fits]
    told: list[_Told] = []
    for turn in range(ROUNDS):
        near = [
            settle(fit.boards, state, replace(prior, lens=lens, lens_precision=held))
            for (fit, prior), state in zip(fits, states, strict=True)
        ]
        states = [fit.state for fit in near]
        told = [_told(fit, lens, held) for fit in near]
        fresh, covariance = _common(told, known, move)
        moved = np.abs(fresh - lens) / np.sqrt(np.diag(covariance))
        lens = fresh
        if turn and moved.max() < SETTLED:
            break
    return told


def _told(fit: Fit, lens: Array, held: Array) -> _Told:
    """The photo's own lens, its pose and paper integrated out.

    At the optimum the corners pull the lens off the common one as hard as the prior pulls it back.
    """
    whole = fit.normal + fit.precision
    whole[np.ix_(LENS_ROWS, LENS_ROWS)] -= held
    rest = np.setdiff1d(np.arange(len(whole)), LENS_ROWS)
    cross = whole[np.ix_(LENS_ROWS, rest)]
    scale = 1 / np.sqrt(np.diag(whole)[rest])
    own = whole[np.ix_(rest, rest)] * np.outer(scale, scale)
    information = whole[np.ix_(LENS_ROWS, LENS_ROWS)] - (cross * scale) @ np.linalg.solve(own, (cross * scale).T)
    information = (information + information.T) / 2
    here = fit.state[LENS_ROWS]
    # a weak hold of its own keeps directions that the photo does not tell from running away
    weak = held * 1e-6
    place = here + np.linalg.solve(information + weak, held @ (here - lens))
    return _Told(information=information, place=place, sigma_px=fit.sigma_px)


def _worth(told: _Told, spread: Array) -> Array:
    """Information about a lens that the photo's own may differ from by `spread`."""
    return np.asarray(np.linalg.solve(np.eye(len(LENS)) + told.information @ spread, told.information))


def _common(told: Sequence[_Told], known: Prior, move: Array) -> tuple[Array, Array]:
    """Mean and covariance of the common lens."""
    worths = [_worth(t, move) for t in told]
    covariance = np.linalg.inv(known.lens_precision + np.sum(worths, axis=0))
    pull = known.lens_precision @ known.lens + np.sum([w @ t.place for w, t in zip(worths, told, strict=True)], axis=0)
    return np.asarray(covariance @ pull), np.asarray(covariance)


def _evidence(told: Sequence[_Told], known: Prior, move: Array) -> Evidence:
    """Each photo under the lens of the others, against what is known without them."""
    prior_spread = np.asarray(np.linalg.inv(known.lens_precision))
    gains, strains = [], []
    for k, one in enumerate(told):
        mean, covariance = _common([*told[:k], *told[k + 1 :]], known, move)
        by_others, strain = _surprise(one, mean, covariance + move)
        without, _ = _surprise(one, known.lens, prior_spread)
        gains.append((without - by_others) / 2)
        strains.append(strain)
    return Evidence(
        photos=len(told), gain=float(np.mean(gains)), gain_se=float(np.std(gains, ddof=1) / math.sqrt(len(gains))),
        better=int(np.sum(np.array(gains) > 0)), strain=float(np.mean(strains)),
    )  # fmt: skip


def _surprise(told: _Told, mean: Array, spread: Array) -> tuple[float, float]:
    """Minus twice the log likelihood of a photo under a Gaussian of its lens, but for a constant of the photo, and
    the squared deviation per parameter."""
    off = told.place - mean
    worth = _worth(told, spread)
    square = float(off @ worth @ off)
    gain = np.eye(len(LENS)) + spread @ told.information
    return square + float(np.linalg.slogdet(gain)[1]), square / len(LENS)
