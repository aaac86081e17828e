"""Corners of cards drawn through a known camera, for the coverage of card scales.

Misprint, bend, height, lens and corner noise are each drawn from what is held possible of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure import paper
from wearvision.measure.adjust import HEIGHT, inverse_of, prior_state
from wearvision.measure.board import BoardSpec, card
from wearvision.measure.calibrate import Calibration, calibrate
from wearvision.measure.descent import descend
from wearvision.measure.lens import Lens
from wearvision.measure.plane import N, Plane
from wearvision.measure.pose import Together, solve, together
from wearvision.measure.prior import CHECK_BAR_SD_MM, HEIGHT_SD_MM, PAPER_MM, PRINT_SD, PrintCheck, prior_of
from wearvision.measure.scale import Sighting
from wearvision.scenes.coverage import (
    FACE_MM,
    FOCAL35_MM,
    SIZE_PX,
    Row,
    draw_camera,
    draw_ends,
    draw_view,
    held,
    project,
    true_plane,
)

Array = NDArray[np.float64]
Rng = np.random.Generator
CRATE_PHOTOS, CRATE_CARDS = 20, 4
"""A crate comes from one phone, its photos have these cards in turn."""
BOUND_EVERY = 4
"""The bound is worked out for every fourth photo."""
EXACT_MM = 1e-4
LEAST_CORNERS = 16
"""With fewer of its corners a card is asked for again."""
SHOWN = (0.4, 0.9)
"""Share of a card that is in the picture when it is cut off."""
IN_CORNER_MM, TURN_SD_RAD = 10.0, 0.2
"""How far the middle of a card lies inside a corner of the face, and how straight a hand lays it."""
NOISE_PX, PULL_PX = (0.05, 0.15), (0.0, 0.8)
"""Scatter of a card's corners, and how far ink and glare draw outline corners towards their square's middle."""
OUTLINE_SD = 1.2
"""Scatter of corners of markers and squares, in that of the chessboard's."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Print:
    """One printed card: what printer and paper made of it, in the order of `paper.NUISANCE`, and its bar's readings."""

    spec: BoardSpec
    amount: Array
    check: PrintCheck


@dataclass(frozen=True, kw_only=True)
class Shot:
    """A drawn photo: what was seen, what is known of the cards, and the true measured plane."""

    sightings: tuple[Sighting, ...]
    checks: tuple[PrintCheck, ...]
    truth: Plane
    noise_px: float


def draw_shot(rng: Rng, lens: Array, prints: Sequence[Print], loose: float = 1.0) -> Shot:
    """Cards round the face, or one beside it, seen by a camera that looks at the face's middle.

    `loose` is the share of the heights' possible errors that is drawn: at 0 every card lies as high as stated.
    """
    theta = draw_view(rng, lens)
    noise_px = rng.uniform(*NOISE_PX)
    theta[11] = PAPER_MM + loose * HEIGHT_SD_MM * rng.standard_normal()
    places = _places(rng, len(prints))
    found = [_seen(rng, theta, one, place, noise_px, loose) for one, place in zip(prints, places, strict=True)]
    checks = tuple(p.check for p in prints)
    return Shot(sightings=tuple(found), checks=checks, truth=true_plane(theta), noise_px=noise_px)


def _places(rng: Rng, cards: int) -> list[tuple[float, float, float]]:
    """Turn (rad) and middle (mm) of each card."""
    x, y = FACE_MM[0] / 2 - IN_CORNER_MM, FACE_MM[1] / 2 - IN_CORNER_MM
    corners = [(-x, -y), (x, -y), (x, y), (-x, y)]
    first = int(rng.integers(4))
    return [(rng.normal(0.0, TURN_SD_RAD), *corners[(first + k) % 4]) for k in range(cards)]


def draw_print(rng: Rng, number: int) -> Print:
    """One card, misprinted and bent, and the caliper readings of its bar."""
    spec = card(number)
    across, down = (math.exp(rng.normal(0.0, PRINT_SD)) for _ in range(2))
    sd = _paper_sd(spec)
    amount = sd * rng.standard_normal(len(sd))
    amount[paper.GROW], amount[paper.STRETCH] = math.sqrt(across * down) - 1, math.log(across / down) / 2
    reading = [100 * s + CHECK_BAR_SD_MM / math.sqrt(2) * rng.standard_normal() for s in (across, down)]
    return Print(spec=spec, amount=amount, check=PrintCheck(across_mm=reading[0], down_mm=reading[1]))


def _paper_sd(spec: BoardSpec) -> Array:
    return paper.nuisance_prior(paper.points_of(blank_sighting(spec)), (0.0, 1.0), (0.0, 1.0))[1]


def _seen(
    rng: Rng, theta: Array, one: Print, place: tuple[float, float, float], noise_px: float, loose: float
) -> Sighting:
    """The card in one photo: half the variance of its bends is its own, half comes of how it lies."""
    spec, plain = one.spec, blank_sighting(one.spec)
    points, sd = paper.points_of(plain), _paper_sd(spec)
    amount = one.amount.copy()
    fresh = sd * rng.standard_normal(len(sd))
    amount[paper.BENDS] = (amount[paper.BENDS] + fresh[paper.BENDS]) / math.sqrt(2)
    amount[paper.RISE] = loose * fresh[paper.RISE]
    printed = points.mm + points.fields @ amount[paper.FIELD_ROWS] - np.array(spec.size_mm) / 2
    cos, sin = math.cos(place[0]), math.sin(place[0])
    at = printed @ np.array([[cos, sin], [-sin, cos]]) + place[1:]
    px = project(theta, at, points.lifts @ amount[paper.LIFT_ROWS])
    corner, middle = _pull_ends(spec)
    flat = np.vstack([corner, middle]) - np.array(spec.size_mm) / 2
    ends = project(theta, flat @ np.array([[cos, sin], [-sin, cos]]) + place[1:])
    way = ends[len(corner) :] - ends[: len(corner)]
    long = np.linalg.norm(way, axis=1, keepdims=True)
    pull = np.divide(way, long, out=np.zeros_like(way), where=long > 1e-9)
    px = px + rng.uniform(*PULL_PX) * pull + noise_px * plain.sigma_rel[:, None] * rng.standard_normal(px.shape)
    homography = np.asarray(cv2.findHomography(points.mm, px)[0], dtype=np.float64)
    return replace(plain, corners_px=px, pull=pull, homography=homography)


def _pull_ends(spec: BoardSpec) -> tuple[Array, Array]:
    """Corners of a board and the middles they are pulled to; chessboard corners to themselves."""
    inner, markers, squares = spec.inner_corners_mm(), spec.marker_corners_mm(), spec.black_squares_mm()
    rim = spec.on_rim(squares)
    corners = np.vstack([inner, markers.reshape(-1, 2), squares[rim]])
    of_markers, of_squares = (np.repeat(q.mean(axis=1), 4, axis=0) for q in (markers, squares))
    return corners, np.vstack([inner, of_markers, of_squares[rim.ravel()]])


def blank_sighting(spec: BoardSpec) -> Sighting:
    """A sighting with every corner of a board, their pixels still to be filled in."""
    corners, _ = _pull_ends(spec)
    count = len(spec.inner_corners_mm())
    rim = np.flatnonzero(spec.on_rim(spec.black_squares_mm()).ravel())
    markers = np.arange(count + 4 * spec.marker_count)
    return Sighting(
        spec=spec, corners_px=np.zeros_like(corners), corners_mm=corners,
        ids=np.concatenate([markers, count + 4 * spec.marker_count + rim]),
        sigma_rel=np.where(np.arange(len(corners)) < count, 1.0, OUTLINE_SD), pull=np.zeros_like(corners),
        marker_count=spec.marker_count, inner_count=count, homography=np.eye(3), edge_sigma_px=0.8, black=40.0,
        white=200.0, glare_share=0.0, in_view_share=1.0,
    )  # fmt: skip


def lengths_of(rng: Rng, shot: Shot, lens: Lens | None, count: int, loose: float | None = None) -> list[Row]:
    """Lengths in one photo, with the bound where `loose` is given."""
    plane = solve(
        shot.sightings, size_px=SIZE_PX, focal35_mm=FOCAL35_MM, checks=shot.checks, lens=lens, card_height_mm=0.0
    )
    if not isinstance(plane, Plane):
        return []
    px = np.vstack([draw_ends(rng, shot.truth) for _ in range(count)])
    best = None if loose is None else at_best(shot, lens, plane, loose)
    return list(held(plane, shot.truth, px, best))


def at_best(shot: Shot, lens: Lens | None, plane: Plane, loose: float) -> Plane:
    """The plane with the least covariance that any estimate from these corners and priors can have.

    With `loose` at 0 heights are known exactly, as they were drawn.

    The Bayesian Cramer-Rao bound (Van Trees, Detection, Estimation, and Modulation Theory I, 1968): information of
    the corners at their true scatter, plus that of the priors.
    """
    prior = prior_of(SIZE_PX, FOCAL35_MM, checks=shot.checks, lens=lens)
    found = together([paper.points_of(s) for s in shot.sightings], prior, SIZE_PX)
    assert isinstance(found, Together)
    boards = [replace(b, slack=paper.Slack()) for b in found.fit.boards]
    mean, known = prior_state(found.prior, boards)
    trust = np.ones(len(found.fit.trust))
    told = descend(boards, found.fit.state, (mean, known), shot.noise_px, trust, still=True).normal
    if loose == 0.0:
        rises = [paper.rows_of(paper.NUISANCE, k, len(boards), N).start + paper.RISE for k in range(len(boards))]
        known[[HEIGHT, *rises], [HEIGHT, *rises]] = EXACT_MM**-2
    spread = inverse_of(told + known)
    return replace(plane, sources={"bound": spread[:N, :N]})


def cards(rng: Rng, photos: int, lengths: int, loose: float, *, count: int, k1_most: float) -> Iterator[list[Row]]:
    """Photos of so many cards, each from a phone of its own and with new prints."""
    for left in range(photos, 0, -1):
        camera = draw_camera(rng, k1_most)
        prints = [draw_print(rng, k) for k in range(count)]
        shot = draw_shot(rng, camera, prints, loose)
        yield lengths_of(rng, shot, None, lengths, loose if left % BOUND_EVERY == 0 else None)


def crates(rng: Rng, photos: int, lengths: int, loose: float, *, k1_most: float) -> Iterator[list[Row]]:
    """Photos of one card each, in crates that calibrate their phone."""
    for left in range(photos, 0, -CRATE_PHOTOS):
        camera = draw_camera(rng, k1_most)
        sets = [[draw_print(rng, 0)] for _ in range(CRATE_CARDS)]
        shots = [draw_shot(rng, camera, sets[k % len(sets)], loose) for k in range(CRATE_PHOTOS)]
        lens = crate_lens(shots)
        for k, shot in enumerate(shots):
            yield lengths_of(rng, shot, lens, lengths, loose if (left - k) % BOUND_EVERY == 0 else None)


def cut_cards(rng: Rng, photos: int, lengths: int, loose: float, *, k1_most: float) -> Iterator[list[Row]]:
    """Photos of one card of which a part is out of the picture."""
    for _ in range(photos):
        shot = draw_shot(rng, draw_camera(rng, k1_most), [draw_print(rng, 0)], loose)
        seen = _cut(rng, shot.sightings[0])
        yield [] if seen is None else lengths_of(rng, replace(shot, sightings=(seen,)), None, lengths)


def _cut(rng: Rng, whole: Sighting) -> Sighting | None:
    """What is left of a card beyond a line across it; None when that is too little."""
    turn = rng.uniform(0, 2 * np.pi)
    along = whole.corners_mm @ np.array([math.cos(turn), math.sin(turn)])
    kept = along <= along.min() + rng.uniform(*SHOWN) * np.ptp(along)
    if kept.sum() < LEAST_CORNERS:
        return None
    return replace(
        whole, corners_px=whole.corners_px[kept], corners_mm=whole.corners_mm[kept], ids=whole.ids[kept],
        sigma_rel=whole.sigma_rel[kept], pull=whole.pull[kept], inner_count=int(kept[: whole.inner_count].sum()),
    )  # fmt: skip


def crate_lens(shots: Sequence[Shot]) -> Lens | None:
    """The lens that a crate of one phone finds out about itself, when it convinces."""
    found = calibrate([s.sightings for s in shots], size_px=SIZE_PX, focal35_mm=FOCAL35_MM)
    return found.lens if isinstance(found, Calibration) and found.evidence.convincing else None
