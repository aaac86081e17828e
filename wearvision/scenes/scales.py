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
from wearvision.measure.adjust import LENS_ROWS, project
from wearvision.measure.board import BoardSpec, card
from wearvision.measure.calibrate import Calibration, calibrate
from wearvision.measure.lens import Lens
from wearvision.measure.plane import N, Plane
from wearvision.measure.pose import solve
from wearvision.measure.prior import CHECK_BAR_SD_MM, HEIGHT_SD_MM, PAPER_MM, PRINT_SD, PrintCheck, prior_of
from wearvision.measure.scale import Sighting

Array = NDArray[np.float64]
SIZE_PX = (4000, 3000)
FOCAL35_MM = 26.0
FACE_MM = (240.0, 180.0)
TILT_MOST_DEG = 30.0
CRATE_PHOTOS = 20
COVER = (0.93, 0.98)
"""Share of 95 % intervals that must hold the truth."""
WIDE = 3.5
"""Largest median of U95 over median error. A perfect interval of a Gaussian error has 1.96 / 0.674 = 2.9."""
MODES = ("one card", "four cards", "one card, bent lens", "crate, bent lens")


@dataclass(frozen=True, kw_only=True)
class Shot:
    """A drawn photo: what was seen, what is known of the cards, and the true measured plane."""

    sightings: tuple[Sighting, ...]
    checks: tuple[PrintCheck, ...]
    truth: Plane


@dataclass(frozen=True, kw_only=True, eq=False)
class Score:
    """Relative errors and 95 % intervals of lengths under one mode."""

    mode: str
    error: Array
    u95: Array

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
    rng: np.random.Generator, lens: Array, cards: int, height_sd_mm: float = HEIGHT_SD_MM
) -> Shot:
    """Cards round the face, or one beside it, seen by a camera that looks at the face's middle."""
    theta = np.zeros(N)
    theta[LENS_ROWS] = lens
    axis, tilt = rng.uniform(0, 2 * np.pi), math.radians(TILT_MOST_DEG) * math.sqrt(rng.uniform())
    turn = _turned(tilt * np.array([math.cos(axis), math.sin(axis), 0.0]))
    turn = turn @ _turned(np.array([0.0, 0.0, rng.choice([0.0, np.pi]) + rng.normal(0.0, 0.1)]))
    distance = math.exp(lens[0]) * rng.uniform(0.1, 0.125)
    theta[:3] = np.asarray(cv2.Rodrigues(turn)[0]).ravel()
    theta[3:6] = [rng.normal(0.0, 8.0), rng.normal(0.0, 8.0), distance]
    noise_px = rng.uniform(0.05, 0.15)
    theta[11] = PAPER_MM + height_sd_mm * rng.standard_normal()
    found = [_draw_card(rng, theta, k, place, noise_px) for k, place in enumerate(_places(rng, cards))]
    return Shot(sightings=tuple(s for s, _ in found), checks=tuple(c for _, c in found), truth=_plane(theta))


def _places(rng: np.random.Generator, cards: int) -> list[tuple[float, float, float]]:
    """Turn (rad) and middle (mm) of each card."""
    x, y = FACE_MM[0] / 2 - 10, FACE_MM[1] / 2 - 10
    corners = [(-x, -y), (x, -y), (x, y), (-x, y)]
    first = int(rng.integers(4))
    return [(rng.normal(0.0, 0.2), *corners[(first + k) % 4]) for k in range(cards)]


def _draw_card(
    rng: np.random.Generator, theta: Array, number: int, place: tuple[float, float, float], noise_px: float
) -> tuple[Sighting, PrintCheck]:
    """One card, misprinted and bent, and the caliper readings of its bar."""
    spec = card(number)
    plain = blank_sighting(spec)
    points = paper.points_of(plain)
    across, down = (math.exp(rng.normal(0.0, PRINT_SD)) for _ in range(2))
    _, sd = paper.nuisance_prior(points, (0.0, 1.0), (0.0, 1.0))
    amount = sd * rng.standard_normal(len(sd))
    amount[paper.GROW], amount[paper.STRETCH] = math.sqrt(across * down) - 1, math.log(across / down) / 2
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
    common = CHECK_BAR_SD_MM / math.sqrt(2)
    reading = [100 * s + common * rng.standard_normal() for s in (across, down)]
    homography = np.asarray(cv2.findHomography(points.mm, px)[0], dtype=np.float64)
    return (
        replace(plain, corners_px=px, pull=pull, homography=homography),
        PrintCheck(across_mm=reading[0], down_mm=reading[1]),
    )


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


def lengths_of(rng: np.random.Generator, shot: Shot, lens: Lens | None, count: int) -> Iterator[tuple[float, float]]:
    """Relative error and U95 of lengths in one photo."""
    plane = solve(
        shot.sightings, size_px=SIZE_PX, focal35_mm=FOCAL35_MM, checks=shot.checks, lens=lens, card_height_mm=0.0
    )
    if not isinstance(plane, Plane):
        return
    ends = [_ends(rng, shot.truth) for _ in range(count)]
    px = np.vstack(ends)

    def figure(p: Plane) -> Array:
        mm = p.to_mm(px).reshape(-1, 2, 2)
        return np.asarray(np.linalg.norm(mm[:, 1] - mm[:, 0], axis=1))

    value, parts = plane.propagate(figure)
    true = figure(shot.truth)
    u = np.sqrt(sum(part**2 for part in parts.values()))
    yield from zip(((value - true) / true).tolist(), (1.96 * u / true).tolist(), strict=True)


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


def score_mode(mode: str, seed: int, photos: int, lengths: int = 2, height_sd_mm: float = HEIGHT_SD_MM) -> Score:
    """Draw photos and measure lengths under one of `MODES`; `height_sd_mm` is how well the height is truly stated."""
    rng = np.random.default_rng([seed, MODES.index(mode)])
    k1_most, cards = (0.05 if "bent" in mode else 0.0), (4 if "four" in mode else 1)
    rows: list[tuple[float, float]] = []
    while photos > 0:
        camera = draw_camera(rng, k1_most)
        crate = mode.startswith("crate")
        shots = [draw_shot(rng, camera, cards, height_sd_mm) for _ in range(CRATE_PHOTOS if crate else 1)]
        lens = crate_lens(shots) if crate else None
        for shot in shots:
            rows += lengths_of(rng, shot, lens, lengths)
        photos -= len(shots)
    error, u95 = np.array(rows).T
    return Score(mode=mode, error=error, u95=u95)


def crate_lens(shots: Sequence[Shot]) -> Lens | None:
    """The lens that a crate of one phone finds out about itself, when it convinces."""
    found = calibrate([s.sightings for s in shots], size_px=SIZE_PX, focal35_mm=FOCAL35_MM)
    return found.lens if isinstance(found, Calibration) and found.evidence.convincing else None


def table(scores: Sequence[Score]) -> str:
    """Figures of each mode in lines."""
    lines = ["mode                  lengths  median %  95th %  covered  U95/error"]
    for s in scores:
        errors = f"{s.percentile(0.5):9.3f} {s.percentile(0.95):7.3f}"
        lines.append(f"{s.mode:21} {len(s.error):7} {errors} {s.covered:8.3f} {s.wide:10.2f}")
    return "\n".join(lines)
