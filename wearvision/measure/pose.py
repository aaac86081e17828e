"""Boards of a photo to the measured plane.

A first pose of the best board, and its mirror, are settled by least squares (see `adjust`); further boards then
join it as rigid sheets on the same plane, unless they disagree.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.errors import BadInput
from wearvision.measure.adjust import (
    LEAST_POINTS,
    NUISANCE,
    PLACE,
    Fit,
    Points,
    model,
    points_of,
    rows_of,
    settle,
    sources,
    state_size,
)
from wearvision.measure.plane import N, Plane
from wearvision.measure.prior import FOCAL_GUESS, Prior, prior_of
from wearvision.measure.scale import Sighting
from wearvision.quantity import Unmeasured

Array = NDArray[np.float64]

RIVAL = 4.0
"""A flat board has two poses; the second is tried when it fits less than this many times worse."""
LEAST_EXTENT = 0.02
"""Least width of the corners' field as a share of its length: below, they lie on a line."""
JOIN_SIGMA, JOIN_SHARE = 1.5, 0.8
"""Boards join when they raise the corners' scatter by less than this factor and keep this share of corners;
else they do not lie on one plane."""


def solve(
    sightings: Sequence[Sighting],
    *,
    size_px: tuple[int, int],
    focal35_mm: float | None = None,
    check_bar_mm: float | None = None,
    card_height_mm: float = 0.0,
) -> Plane | Unmeasured:
    """The measured plane from the boards of a photo.

    Parameters
    ----------
    sightings : sequence of Sighting
        The first one, the one with most corners, carries the plane's origin and axes. The others are of the
        same print and lie on the same plane; those that do not are left out.
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
    boards = [points_of(s) for s in sightings if len(s.corners_px) >= LEAST_POINTS]
    if not boards:
        seen = max(len(s.corners_px) for s in sightings)
        return Unmeasured(reason=f"only {seen} corners of the card seen", hint="show the whole card")
    fits = [settle(boards[:1], start, prior) for start in _starts(boards[0], prior)]
    if not fits:
        return Unmeasured(reason="the card's corners fit no plane", hint="lay the card flat and retake")
    fit = min(fits, key=lambda f: f.cost)
    if fit.inliers.sum() < LEAST_POINTS:
        return Unmeasured(reason="the card's corners do not agree", hint="lay the card flat and retake")
    used = boards[:1]
    for board in boards[1:]:
        joint = settle([*used, board], _joined(fit, used, board, size_px), prior)
        if joint.sigma_px < JOIN_SIGMA * fit.sigma_px and joint.inliers.mean() > JOIN_SHARE:
            fit, used = joint, [*used, board]
    bends = [fit.state[rows_of(NUISANCE, k, len(used))][1:] for k in range(len(used))]
    return Plane(
        theta=fit.state[:N], sources=sources(fit, len(used)), size_px=size_px, rms_px=fit.rms_px,
        bend_mm=float(np.abs(bends).max()), source="board" if sightings[0].spec.card is None else "card",
    )  # fmt: skip


def _joined(fit: Fit, used: Sequence[Points], board: Points, size_px: tuple[int, int]) -> Array:
    """The state with one board more, placed by a rigid fit on the plane known so far."""
    printed = fit.state[:N].copy()
    printed[10:] = 0.0
    there = Plane(theta=printed, sources={}, size_px=size_px, source="printed").to_mm(board.px)
    a, b = (np.column_stack([p - p.mean(axis=0)]) @ [1, 1j] for p in (board.mm, there))
    turn = float(np.angle(np.vdot(a, b)))
    cos, sin = math.cos(turn), math.sin(turn)
    shift = there.mean(axis=0) - board.mm.mean(axis=0) @ np.array([[cos, sin], [-sin, cos]])
    count, last = len(used), N + len(NUISANCE) * len(used)
    state = np.zeros(state_size(count + 1))
    state[:last] = fit.state[:last]
    places = fit.state[last:]
    after = last + len(NUISANCE)
    state[after : after + len(places)] = places
    state[rows_of(PLACE, count, count + 1)] = turn, shift[0], shift[1], 0.0
    return state


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
        np.concatenate([t, s, prior.mean, np.zeros(len(NUISANCE))])
        for t, s in ((turn, shift), _mirrored(turn, shift, np.array([*middle, 0.0])))
    ]
    misses = [float(np.sum((model([points], s)[0] - points.px) ** 2)) for s in states]
    return [s for s, miss in zip(states, misses, strict=True) if miss <= RIVAL**2 * misses[0]]


def _mirrored(turn: Array, shift: Array, middle: Array) -> tuple[Array, Array]:
    """The other pose of a flat board that looks nearly alike: its tilt mirrored at the line of sight."""
    rotation = np.asarray(cv2.Rodrigues(turn)[0])
    centre = rotation @ middle + shift
    sight = centre / np.linalg.norm(centre)
    half_turn = 2 * np.outer(sight, sight) - np.eye(3)
    other = half_turn @ rotation @ np.diag([-1.0, -1.0, 1.0])
    return np.ravel(cv2.Rodrigues(other)[0]), centre - other @ middle


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
