"""Lengths in a face held against the truth: errors, 95 % intervals, and how often these hold.

A known camera looks at a face of 240 x 180 mm; lengths of 20 to 120 mm lie anywhere in it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.adjust import LENS_ROWS
from wearvision.measure.plane import N, Plane
from wearvision.measure.prior import prior_of
from wearvision.quantity import K95

Array = NDArray[np.float64]
Row = tuple[float, float, float]
"""Relative error, U95, and least possible standard deviation (or nan) of one length."""
SIZE_PX = (4000, 3000)
FOCAL35_MM = 26.0
FACE_MM = (240.0, 180.0)
LENGTHS_MM = (20.0, 120.0)
TILT_MOST_DEG = 30.0
AWAY_PER_FOCAL = (0.1, 0.125)
"""Distance to the face, mm, for each pixel of focal length: the face about fills the picture."""
ASIDE_SD_MM, TURN_SD_RAD = 8.0, 0.1
"""How far a hand holds the middle of the face from that of the picture, and how far it turns the phone."""
TRIES = 200
"""So often a length is drawn before the face counts as out of the picture."""
COVER = (0.93, 0.98)
"""Share of 95 % intervals that must hold the truth."""
WIDE = 3.5
"""Largest median of U95 over median error. A perfect interval of a Gaussian error has 1.96 / 0.674 = 2.9."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Score:
    """Relative errors, 95 % intervals and least possible standard deviations of lengths under one mode.

    `photos` is how many the lengths come from: those of one photo err together. `asked` is how many were drawn.
    `wide_most` is the largest `wide` that is not needless.
    """

    mode: str
    error: Array
    u95: Array
    bound: Array
    photos: int
    asked: int
    wide_most: float = WIDE

    @property
    def covered(self) -> float:
        """Share of the intervals that hold the truth."""
        return float(np.mean(np.abs(self.error) <= self.u95))

    @property
    def covered_sd(self) -> float:
        """Binomial standard deviation of that share, were 95 % the truth; at most as many draws as photos count."""
        return math.sqrt(0.95 * 0.05 / self.photos)

    @property
    def wide(self) -> float:
        """Median interval over median error."""
        return float(np.median(self.u95) / np.median(np.abs(self.error)))

    @property
    def honest(self) -> bool:
        """Whether the intervals cover as often as they say, and are not needlessly wide."""
        return COVER[0] <= self.covered <= COVER[1] and self.wide <= self.wide_most

    @property
    def rms(self) -> float:
        """Root mean square error, percent."""
        return 100 * float(np.sqrt(np.mean(self.error**2)))

    @property
    def rms_bound(self) -> float:
        """The least that any estimate from the same sights can have, percent; nan where it was not worked out."""
        known = self.bound[np.isfinite(self.bound)]
        return 100 * float(np.sqrt(np.mean(known**2))) if len(known) else math.nan

    def percentile(self, share: float) -> float:
        """Error that this share of the lengths does not exceed, percent."""
        return 100 * float(np.quantile(np.abs(self.error), share))


def project(theta: Array, mm: Array, lift_mm: Array | None = None) -> Array:
    """Points (N, 2) of a board's plane, lifted off it, in pixels (N, 2), by OpenCV; parameters as in `plane.NAMES`."""
    focal = math.exp(theta[6])
    k = np.array([[focal, 0, theta[8]], [0, focal, theta[9]], [0, 0, 1.0]])
    lens = np.array([theta[7], theta[12], 0.0, 0.0])
    board = np.column_stack([mm, np.zeros(len(mm)) if lift_mm is None else -lift_mm])
    px, _ = cv2.projectPoints(board, theta[:3].copy(), theta[3:6].copy(), k, lens)
    return np.asarray(px, dtype=np.float64).reshape(-1, 2)


def draw_camera(rng: np.random.Generator, k1_most: float) -> Array:
    """A phone's lens in the order of `lens.LENS`: focal length and centre as EXIF leaves them, k1 up to a bound."""
    known = prior_of(SIZE_PX, FOCAL35_MM)
    spread = np.sqrt(np.diag(np.linalg.inv(known.lens_precision)))
    lens = known.lens + spread * rng.standard_normal(5)
    lens[1], lens[4] = rng.uniform(-k1_most, k1_most), 0.0
    return np.asarray(lens)


def draw_view(rng: np.random.Generator, lens: Array, tilt_most_deg: float = TILT_MOST_DEG) -> Array:
    """Parameters of a plane whose origin, the face's middle, a camera looks at from any side."""
    theta = np.zeros(N)
    theta[LENS_ROWS] = lens
    axis, tilt = rng.uniform(0, 2 * np.pi), math.radians(tilt_most_deg) * math.sqrt(rng.uniform())
    turn = _turned(tilt * np.array([math.cos(axis), math.sin(axis), 0.0]))
    turn = turn @ _turned(np.array([0.0, 0.0, rng.choice([0.0, np.pi]) + rng.normal(0.0, TURN_SD_RAD)]))
    distance = math.exp(lens[0]) * rng.uniform(*AWAY_PER_FOCAL)
    theta[:3] = np.asarray(cv2.Rodrigues(turn)[0]).ravel()
    theta[3:6] = [rng.normal(0.0, ASIDE_SD_MM), rng.normal(0.0, ASIDE_SD_MM), distance]
    return theta


def _turned(vector: Array) -> Array:
    return np.asarray(cv2.Rodrigues(vector)[0], dtype=np.float64)


def true_plane(theta: Array) -> Plane:
    """The measured plane as it was drawn."""
    return Plane(theta=theta, sources={}, size_px=SIZE_PX, source="truth")


def draw_ends(rng: np.random.Generator, truth: Plane, face_mm: tuple[float, float] = FACE_MM) -> Array:
    """Two points of the face, as far apart as `LENGTHS_MM`, in view; px."""
    for _ in range(TRIES):
        a = (rng.uniform(size=2) - 0.5) * face_mm
        turn, far = rng.uniform(0, 2 * np.pi), rng.uniform(*LENGTHS_MM)
        b = a + far * np.array([math.cos(turn), math.sin(turn)])
        if np.all(np.abs(b) <= np.array(face_mm) / 2):
            px = truth.to_px(np.vstack([a, b]))
            if np.all((px > 0) & (px < np.array(SIZE_PX))):
                return np.asarray(px)
    raise ValueError("the face is out of the picture")


def held(plane: Plane, truth: Plane, px: Array, best: Plane | None = None) -> Iterator[Row]:
    """What lengths between pixels (2 K, 2) come to; `best` is the plane of the least possible covariance."""

    def figure(p: Plane) -> Array:
        mm = p.to_mm(px).reshape(-1, 2, 2)
        return np.asarray(np.linalg.norm(mm[:, 1] - mm[:, 0], axis=1))

    value, parts = plane.propagate(figure)
    true = figure(truth)
    u = np.sqrt(sum(part**2 for part in parts.values()))
    bound = np.full(len(true), np.nan) if best is None else best.propagate(figure)[1]["bound"]
    yield from zip(*((v / true).tolist() for v in (value - true, K95 * u, bound)), strict=True)


def table(scores: Sequence[Score]) -> str:
    """Figures of each mode in lines; in brackets how far chance alone moves the share that is covered."""
    lines = ["mode                    photos  told lengths  median %  95th %   rms %  bound %  covered           wide"]
    for s in scores:
        errors = f"{s.percentile(0.5):9.3f} {s.percentile(0.95):7.3f} {s.rms:7.3f} {s.rms_bound:8.3f}"
        intervals = f"{s.covered:8.3f} (+-{s.covered_sd:.3f}) {s.wide:8.2f}"
        lines.append(f"{s.mode:23} {s.asked:6} {s.photos:5} {len(s.error):7} {errors} {intervals}")
    return "\n".join(lines)
