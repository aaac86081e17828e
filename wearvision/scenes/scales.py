"""How well lengths come out, and whether their intervals cover, by what the scale came from.

Corners of cards are drawn through a known camera, not pictures: misprint, bend, height, lens and corner noise are
each drawn from what is held possible of them. Lengths of 20 to 120 mm lie anywhere in a face of 240 x 180 mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure import paper
from wearvision.measure.adjust import HEIGHT, LENS_ROWS, inverse_of, misses, prior_state, project, weighed
from wearvision.measure.board import BoardSpec, card
from wearvision.measure.calibrate import Calibration, calibrate
from wearvision.measure.lens import Lens
from wearvision.measure.plane import N, Plane
from wearvision.measure.pose import Together, solve, together
from wearvision.measure.prior import CHECK_BAR_SD_MM, HEIGHT_SD_MM, PAPER_MM, PRINT_SD, PrintCheck, prior_of
from wearvision.measure.scale import Sighting
from wearvision.quantity import K95

Array = NDArray[np.float64]
SIZE_PX = (4000, 3000)
FOCAL35_MM = 26.0
FACE_MM = (240.0, 180.0)
TILT_MOST_DEG = 30.0
CRATE_PHOTOS, CRATE_CARDS = 20, 4
"""A crate comes from one phone, its photos have these cards in turn."""
COVER = (0.93, 0.98)
"""Share of 95 % intervals that must hold the truth."""
BOUND_EVERY = 4
"""The bound is worked out for every fourth photo."""
EXACT_MM = 1e-4
WIDE = 3.5
"""Largest median of U95 over median error. A perfect interval of a Gaussian error has 1.96 / 0.674 = 2.9."""
MODES = ("one card", "four cards", "one card, bent lens", "crate, bent lens")


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


@dataclass(frozen=True, kw_only=True, eq=False)
class Score:
    """Relative errors, 95 % intervals and least possible standard deviations of lengths under one mode."""

    mode: str
    error: Array
    u95: Array
    bound: Array

    @property
    def covered(self) -> float:
        """Share of the intervals that hold the truth."""
        return float(np.mean(np.abs(self.error) <= self.u95))

    @property
    def wide(self) -> float:
        """Median interval over median error."""
        return float(np.median(self.u95) / np.median(np.abs(self.error)))

    @property
    def honest(self) -> bool:
        """Whether the intervals cover as often as they say, and are not needlessly wide."""
        return COVER[0] <= self.covered <= COVER[1] and self.wide <= WIDE

    @property
    def rms(self) -> float:
        """Root mean square error, percent."""
        return 100 * float(np.sqrt(np.mean(self.error**2)))

    @property
    def rms_bound(self) -> float:
        """The least that any estimate from the same corners can have, percent (see `at_best`)."""
        return 100 * float(np.sqrt(np.nanmean(self.bound**2)))

    def percentile(self, share: float) -> float:
        """Error that this share of the lengths does not exceed, percent."""
        return 100 * float(np.quantile(np.abs(self.error), share))


def draw_camera(rng: np.random.Generator, k1_most: float) -> Array:
    """A phone's lens in the order of `lens.LENS`: focal length and centre as EXIF leaves them, k1 up to a bound."""
    known = prior_of(SIZE_PX, FOCAL35_MM)
    spread = np.sqrt(np.diag(np.linalg.inv(known.lens_precision)))
    lens = known.lens + spread * rng.standard_normal(5)
    lens[1], lens[4] = rng.uniform(-k1_most, k1_most), 0.0
    return np.asarray(lens)


def draw_shot(
    rng: np.random.Generator, lens: Array, prints: Sequence[Print], loose: float = 1.0
) -> Shot:
    """Cards round the face, or one beside it, seen by a camera that looks at the face's middle.

    `loose` is the share of the heights' possible errors that is drawn: at 0 every card lies as high as stated.
    """
    theta = np.zeros(N)
    theta[LENS_ROWS] = lens
    axis, tilt = rng.uniform(0, 2 * np.pi), math.radians(TILT_MOST_DEG) * math.sqrt(rng.uniform())
    turn = _turned(tilt * np.array([math.cos(axis), math.sin(axis), 0.0]))
    turn = turn @ _turned(np.array([0.0, 0.0, rng.choice([0.0, np.pi]) + rng.normal(0.0, 0.1)]))
    distance = math.exp(lens[0]) * rng.uniform(0.1, 0.125)
    theta[:3] = np.asarray(cv2.Rodrigues(turn)[0]).ravel()
    theta[3:6] = [rng.normal(0.0, 8.0), rng.normal(0.0, 8.0), distance]
    noise_px = rng.uniform(0.05, 0.15)
    theta[11] = PAPER_MM + loose * HEIGHT_SD_MM * rng.standard_normal()
    places = _places(rng, len(prints))
    found = [_seen(rng, theta, one, place, noise_px, loose) for one, place in zip(prints, places, strict=True)]
    return Shot(sightings=tuple(found), checks=tuple(p.check for p in prints), truth=_plane(theta), noise_px=noise_px)


def _places(rng: np.random.Generator, cards: int) -> list[tuple[float, float, float]]:
    """Turn (rad) and middle (mm) of each card."""
    x, y = FACE_MM[0] / 2 - 10, FACE_MM[1] / 2 - 10
    corners = [(-x, -y), (x, -y), (x, y), (-x, y)]
    first = int(rng.integers(4))
    return [(rng.normal(0.0, 0.2), *corners[(first + k) % 4]) for k in range(cards)]


def draw_print(rng: np.random.Generator, number: int) -> Print:
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
    rng: np.random.Generator, theta: Array, one: Print, place: tuple[float, float, float], noise_px: float,
    loose: float,
) -> Sighting:  # fmt: skip
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
    px = project(theta, at, points.lifts @ amount[paper.LIFT_ROWS])[0]
    corner, middle = _pull_ends(spec)
    flat = np.vstack([corner, middle]) - np.array(spec.size_mm) / 2
    ends = project(theta, flat @ np.array([[cos, sin], [-sin, cos]]) + place[1:])[0]
    way = ends[len(corner) :] - ends[: len(corner)]
    long = np.linalg.norm(way, axis=1, keepdims=True)
    pull = np.divide(way, long, out=np.zeros_like(way), where=long > 1e-9)
    px = px + rng.uniform(0, 0.8) * pull + noise_px * plain.sigma_rel[:, None] * rng.standard_normal(px.shape)
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
        sigma_rel=np.where(np.arange(len(corners)) < count, 1.0, 1.2), pull=np.zeros_like(corners),
        marker_count=spec.marker_count, inner_count=count, homography=np.eye(3), edge_sigma_px=0.8, black=40.0,
        white=200.0, glare_share=0.0, in_view_share=1.0,
    )  # fmt: skip


def _turned(vector: Array) -> Array:
    return np.asarray(cv2.Rodrigues(vector)[0], dtype=np.float64)


def _plane(theta: Array) -> Plane:
    return Plane(theta=theta, sources={}, size_px=SIZE_PX, source="truth")


def lengths_of(
    rng: np.random.Generator, shot: Shot, lens: Lens | None, count: int, loose: float | None = None
) -> Iterator[tuple[float, float, float]]:
    """Relative error, U95 and, if `loose` is given, bound of lengths in one photo; else nan."""
    plane = solve(
        shot.sightings, size_px=SIZE_PX, focal35_mm=FOCAL35_MM, checks=shot.checks, lens=lens, card_height_mm=0.0
    )
    if not isinstance(plane, Plane):
        return
    px = np.vstack([_ends(rng, shot.truth) for _ in range(count)])

    def figure(p: Plane) -> Array:
        mm = p.to_mm(px).reshape(-1, 2, 2)
        return np.asarray(np.linalg.norm(mm[:, 1] - mm[:, 0], axis=1))

    value, parts = plane.propagate(figure)
    true = figure(shot.truth)
    u = np.sqrt(sum(part**2 for part in parts.values()))
    best = np.full(count, np.nan)
    if loose is not None:
        best = at_best(shot, lens, plane, loose).propagate(figure)[1]["bound"]
    yield from zip(*((v / true).tolist() for v in (value - true, K95 * u, best)), strict=True)


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
    _, slope, weight = misses(boards, found.fit.state, shot.noise_px, np.ones(len(found.fit.trust)))
    known = prior_state(found.prior, boards)[1]
    if loose == 0.0:
        rises = [paper.rows_of(paper.NUISANCE, k, len(boards), N).start + paper.RISE for k in range(len(boards))]
        known[[HEIGHT, *rises], [HEIGHT, *rises]] = EXACT_MM**-2
    spread = inverse_of(weighed(slope, weight) + known)
    return replace(plane, sources={"bound": spread[:N, :N]})


def _ends(rng: np.random.Generator, truth: Plane) -> Array:
    """Two points of the face, 20 to 120 mm apart, in view; px."""
    for _ in range(200):
        a = (rng.uniform(size=2) - 0.5) * FACE_MM
        turn, far = rng.uniform(0, 2 * np.pi), rng.uniform(20.0, 120.0)
        b = a + far * np.array([math.cos(turn), math.sin(turn)])
        if np.all(np.abs(b) <= np.array(FACE_MM) / 2):
            px = truth.to_px(np.vstack([a, b]))
            if np.all((px > 0) & (px < np.array(SIZE_PX))):
                return np.asarray(px)
    raise ValueError("the face is out of the picture")


def score_mode(mode: str, seed: int, photos: int, lengths: int = 2, loose: float = 1.0) -> Score:
    """Draw photos and measure lengths under one of `MODES`; `loose` as in `draw_shot`."""
    rng = np.random.default_rng([seed, MODES.index(mode)])
    k1_most, cards = (0.05 if "bent" in mode else 0.0), (4 if "four" in mode else 1)
    rows: list[tuple[float, float, float]] = []
    while photos > 0:
        camera = draw_camera(rng, k1_most)
        crate = mode.startswith("crate")
        sets = [[draw_print(rng, k) for k in range(cards)] for _ in range(CRATE_CARDS if crate else 1)]
        shots = [draw_shot(rng, camera, sets[k % len(sets)], loose) for k in range(CRATE_PHOTOS if crate else 1)]
        lens = crate_lens(shots) if crate else None
        for k, shot in enumerate(shots):
            bounded = (photos - k) % BOUND_EVERY == 0
            rows += lengths_of(rng, shot, lens, lengths, loose if bounded else None)
        photos -= len(shots)
    error, u95, bound = np.array(rows).T
    return Score(mode=mode, error=error, u95=u95, bound=bound)


def crate_lens(shots: Sequence[Shot]) -> Lens | None:
    """The lens that a crate of one phone finds out about itself, when it convinces."""
    found = calibrate([s.sightings for s in shots], size_px=SIZE_PX, focal35_mm=FOCAL35_MM)
    return found.lens if isinstance(found, Calibration) and found.evidence.convincing else None


def table(scores: Sequence[Score]) -> str:
    """Figures of each mode in lines."""
    lines = ["mode                  lengths  median %  95th %   rms %  bound %  covered  U95/error"]
    for s in scores:
        errors = f"{s.percentile(0.5):9.3f} {s.percentile(0.95):7.3f} {s.rms:7.3f} {s.rms_bound:8.3f}"
        lines.append(f"{s.mode:21} {len(s.error):7} {errors} {s.covered:8.3f} {s.wide:10.2f}")
    return "\n".join(lines)
