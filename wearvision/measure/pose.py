"""Boards of a photo to the measured plane.

A first pose of the best board, and its mirror, are settled by least squares (see `adjust`); the other boards are
placed on its plane and all are settled together. A board that the others contradict gives way (see `paper`) and is
named; one that does not lie on their plane is left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.errors import BadInput
from wearvision.measure.adjust import (
    LEAST_POINTS,
    LENS_ROWS,
    Fit,
    inverse_of,
    prior_state,
    rows_of,
    settle,
    sources,
)
from wearvision.measure.focal import held, settle_focal
from wearvision.measure.lens import Lens
from wearvision.measure.model import model
from wearvision.measure.paper import BENDS, GROW, NUISANCE, RISE, Points, points_of
from wearvision.measure.plane import N, Plane
from wearvision.measure.prior import FOCAL_GUESS, CheckBar, PrintCheck, Prior, prior_of
from wearvision.measure.scale import Sighting
from wearvision.quantity import Unmeasured

Array = NDArray[np.float64]

RIVAL = 4.0
"""A flat board has two poses; the second is tried when it fits less than this many times worse."""
LEAST_EXTENT = 0.02
"""Least width of the corners' field as a share of its length: below, they lie on a line."""
JOIN_SIGMA, JOIN_SHARE = 1.5, 0.8
"""Boards lie on one plane when together they raise the corners' scatter by less than this factor and each keeps
this share of its corners."""
HALF_TRUST = 0.5
FAULT_SLACK, FAULT_PRINT, FAULT_MM = 3.0, 0.003, 0.25
"""A board among others is named when its prior had to give way this much, and what it gave way to is this large."""


def solve(
    sightings: Sequence[Sighting],
    *,
    size_px: tuple[int, int],
    focal35_mm: float | None = None,
    check_bar_mm: CheckBar = None,
    card_height_mm: float = 0.0,
    checks: Sequence[PrintCheck | None] | None = None,
    lens: Lens | None = None,
) -> Plane | Unmeasured:
    """The measured plane from the boards of a photo.

    Parameters
    ----------
    sightings : sequence of Sighting
        The first one, the one with most corners, carries the plane's origin and axes. The others lie on the same
        plane; `doubts` of the plane names those that do not, or that are bent or of another print scale.
    size_px : (width, height)
        Of the photo, EXIF orientation applied.
    focal35_mm : float, optional
        35 mm film focal length of EXIF; a prior, never a scale.
    check_bar_mm : float or (across, down), optional
        Caliper length of the printed 100 mm bar, said of all boards.
    card_height_mm : float
        Stated height of the card's support above the measured plane, mm.
    checks : sequence of PrintCheck or None, optional
        What is kept of each board's own bars, in the order of the sightings.
    lens : Lens, optional
        A calibration of this camera; goes before `focal35_mm`.

    Raises
    ------
    BadInput
        For a focal length that is not positive.
    """
    readings = tuple(checks) if checks is not None else (None,) * len(sightings)
    usable = [k for k, s in enumerate(sightings) if len(s.corners_px) >= LEAST_POINTS]
    prior = prior_of(
        size_px, focal35_mm, check_bar_mm, card_height_mm, lens=lens, checks=[readings[k] for k in usable] or (None,)
    )
    if not sightings:
        return Unmeasured(reason="no card seen", hint="lay a printed card flat beside the part")
    if not usable:
        seen = max(len(s.corners_px) for s in sightings)
        return Unmeasured(reason=f"only {seen} corners of the card seen", hint="show the whole card")
    found = together([points_of(sightings[k]) for k in usable], prior, size_px)
    if isinstance(found, Unmeasured):
        return found
    if lens is not None and _moved(found.fit, prior) > MOVED_SIGMAS:
        plane = solve(
            sightings, size_px=size_px, focal35_mm=focal35_mm, check_bar_mm=check_bar_mm,
            card_height_mm=card_height_mm, checks=checks,
        )  # fmt: skip
        return replace(plane, doubts=(*plane.doubts, MOVED)) if isinstance(plane, Plane) else plane
    fit, boards = found.fit, found.fit.boards
    bends = [fit.state[rows_of(NUISANCE, k, len(boards))][BENDS] for k in range(len(boards))]
    firm = [b for k, b in enumerate(bends) if boards[k].name not in dict(found.doubts)] or bends
    return Plane(
        theta=fit.state[:N], sources=sources(fit, len(boards)), size_px=size_px, rms_px=fit.rms_px,
        bend_mm=float(np.abs(firm).max()), source="board" if sightings[0].spec.card is None else "card",
        boards=tuple(b.name for b in boards), doubts=found.doubts, lens_source=prior.lens_source,
    )  # fmt: skip


MOVED_SIGMAS = 4.5
"""Sigmas of a calibrated lens from which a photo is not believed to be taken with it."""
MOVED = ("lens", "this photo's card contradicts the calibration of its camera: not used; calibrate again")


@dataclass(frozen=True, kw_only=True, eq=False)
class Together:
    """Boards settled on one plane under the prior of these boards, and the doubts about some: (board, sentence)."""

    fit: Fit
    prior: Prior
    doubts: tuple[tuple[str, str], ...] = ()


def together(boards: Sequence[Points], prior: Prior, size_px: tuple[int, int]) -> Together | Unmeasured:
    """Settle all boards together, without those that do not lie on the common plane."""
    first = _only(prior, [0])
    fits = [settle(boards[:1], start, held(first)) for start in _starts(boards[0], first)]
    if not fits:
        return Unmeasured(reason="the card's corners fit no plane", hint="lay the card flat and retake")
    fit = min(fits, key=lambda f: f.cost)
    if np.count_nonzero(fit.trust) < LEAST_POINTS:
        return Unmeasured(reason="the card's corners do not agree", hint="lay the card flat and retake")
    if len(boards) == 1:
        return Together(fit=settle_focal(boards, fit.state, first, fit), prior=first)
    start = fit.state
    for k in range(1, len(boards)):
        start = _joined(start, k, boards[k], size_px)
    joint = settle_focal(boards, start, prior)
    lost = _elsewhere(joint, fit.sigma_px)
    if lost is None:
        return Together(fit=joint, prior=prior, doubts=tuple(_doubts(joint, prior)))
    kept = [k for k in range(len(boards)) if k != lost]
    rest = together([boards[k] for k in kept], _only(prior, kept), size_px)
    if isinstance(rest, Unmeasured):
        return rest
    away = (boards[lost].name, "does not lie on the plane of the others: left out")
    return replace(rest, doubts=(*rest.doubts, away))


def _moved(fit: Fit, prior: Prior) -> float:
    """Sigmas between a calibrated lens and what the corners made of it, the largest of its parameters.

    For a Gaussian prior the shift of the mean has the variance that the update took away.
    """
    spread = np.diag(np.linalg.inv(prior.lens_precision))
    gone = spread - np.diag(inverse_of(fit.normal + fit.precision))[LENS_ROWS]
    off = np.abs(fit.state[LENS_ROWS] - prior.lens)
    return float(np.max(off / np.sqrt(np.maximum(gone, 1e-3 * spread))))


def _only(prior: Prior, kept: Sequence[int]) -> Prior:
    """The prior of some of the boards."""
    prints = prior.prints
    grow, stretch = (tuple(figures[k] for k in kept) for figures in (prints.grow, prints.stretch))
    return replace(prior, prints=replace(prints, grow=grow, stretch=stretch))


def _doubts(fit: Fit, prior: Prior) -> Iterator[tuple[str, str]]:
    """Boards among others that are bent, or look larger or smaller than they should.

    A card printed small and one that lies low look nearly alike, so both are said.
    """
    count, distance = len(fit.boards), float(fit.state[5])
    own = [fit.state[rows_of(NUISANCE, k, count)] for k in range(count)]
    sizes = [float(o[GROW] - g[0] + o[RISE] / distance) for o, g in zip(own, prior.prints.grow, strict=True)]
    odd = [
        max(b.slack.grow, b.slack.rise) > FAULT_SLACK and abs(size) > FAULT_PRINT
        for b, size in zip(fit.boards, sizes, strict=True)
    ]
    for points, state, size, wrong in zip(fit.boards, own, sizes, odd, strict=True):
        if wrong and 2 * sum(odd) >= count:
            apart = 100 * (max(sizes) - min(sizes))
            yield points.name, f"the cards differ by {apart:.1f} % in size: measure their bars, lay them on one face"
        elif wrong:
            side, way = ("larger", "above") if size > 0 else ("smaller", "below")
            lies = f"printed so, or {abs(size) * distance:.0f} mm {way} them"
            yield points.name, f"{100 * abs(size):.1f} % {side} than the others ({lies}): its scale is not used"
        if points.slack.bends > FAULT_SLACK and (bend := float(np.abs(state[BENDS]).max())) > FAULT_MM:
            yield points.name, f"bent by {bend:.1f} mm: its shape is not used"


def _elsewhere(fit: Fit, sigma_px: float) -> int | None:
    """The board that fits worst when together they do not fit; the first only among three or more."""
    ends = np.cumsum([len(b.mm) for b in fit.boards])[:-1]
    shares = [float(part.mean()) for part in np.split(fit.trust > HALF_TRUST, ends)]
    if fit.sigma_px < JOIN_SIGMA * sigma_px and min(shares) > JOIN_SHARE:
        return None
    order = sorted(range(len(shares)), key=lambda k: (shares[k], -k))
    return order[0] if len(shares) > 2 else 1


def _joined(state: Array, count: int, board: Points, size_px: tuple[int, int]) -> Array:
    """The state of `count` boards with one more, placed by a rigid fit on the plane known so far."""
    printed = state[:N].copy()
    printed[10:12] = 0.0
    there = Plane(theta=printed, sources={}, size_px=size_px, source="printed").to_mm(board.px)
    a, b = (np.column_stack([p - p.mean(axis=0)]) @ [1, 1j] for p in (board.mm, there))
    turn = float(np.angle(np.vdot(a, b)))
    cos, sin = math.cos(turn), math.sin(turn)
    shift = there.mean(axis=0) - board.mm.mean(axis=0) @ np.array([[cos, sin], [-sin, cos]])
    last = N + len(NUISANCE) * count
    return np.concatenate([state[:last], np.zeros(len(NUISANCE)), state[last:], [turn, *shift]])


def _starts(points: Points, prior: Prior) -> list[Array]:
    """Poses of a flat board at the prior's lens, best first, as full states; none for corners on one line."""
    middle = points.mm.mean(axis=0)
    extent = np.linalg.svd(points.mm - middle, compute_uv=False)
    if extent[1] < LEAST_EXTENT * extent[0]:
        return []
    focal, centre = prior.focal_px, prior.lens[2:4]
    k = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1.0]])
    board = np.column_stack([points.mm, np.zeros(len(points.mm))])
    bent = np.array([prior.lens[1], prior.lens[4], 0.0, 0.0])
    _, turns, shifts, _ = cv2.solvePnPGeneric(board, points.px, k, bent, flags=cv2.SOLVEPNP_SQPNP)
    if not len(turns):
        return []
    turn, shift = (np.asarray(v, dtype=np.float64).ravel() for v in (turns[0], shifts[0]))
    states = [prior_state(prior, [points])[0] for _ in range(2)]
    states[0][:6] = *turn, *shift
    states[1][:6] = np.concatenate(_mirrored(turn, shift, np.array([*middle, 0.0])))
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
