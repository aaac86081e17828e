"""From numbered marks to the plane of the rule, by least squares with priors.

Each mark says: this pixel has that x in the rule's face, whatever its y. The marks' directions say that x stays the
same along a mark, the foot line that y stays the same along the rule. With a focal length known, perspective along
the rule then tells its tilt about one axis, and the angle between marks and foot line some of the other; what is
left leans on a prior of the tilt.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.plane import N, Plane
from wearvision.measure.prior import prior_of
from wearvision.measure.rule.lattice import Lattice
from wearvision.measure.rule.marks import Marks
from wearvision.measure.rule.result import ACROSS
from wearvision.measure.rule.strip import Strip, place_px
from wearvision.stated import RuleClass

Array = NDArray[np.float64]

FACE_MM, FACE_SD_MM = 0.7, 0.3
"""Face of a steel rule above what it lies on: 0.3 to 1.2 mm thick. Common practice, no source."""
TILT_SD = 0.3
"""Of each component of the plane's normal in the photo, before looking: 35 degrees is two of it."""
CLASS_MM: dict[RuleClass, tuple[float, float]] = {"I": (0.1, 0.1), "II": (0.3, 0.2), "III": (0.6, 0.4)}
"""Largest error a + b L between two marks, mm, L in metres rounded up (UK SI 2016/1153, schedule for material
measures of length; EU directive 2004/22, annex MI-008)."""
FREE = 10
STEPS = 12


@dataclass(frozen=True, kw_only=True, eq=False)
class Sights:
    """What was seen of one scale.

    Attributes
    ----------
    mark_px : (N, 2), mark_mm : (N,)
        Places of marks and their x.
    lean_px : (K, 2, 2)
        Two places each along a mark; `lean_sd_px` of the second.
    foot_px : (2, 2)
        Two places of the foot line; `foot_sd_px` of the second.
    """

    mark_px: Array
    mark_mm: Array
    lean_px: Array
    lean_sd_px: float
    foot_px: Array
    foot_sd_px: float


def sights_of(strip: Strip, lattice: Lattice, marks: Marks, period_mm: float) -> Sights:
    """Observations of a scale in photo px."""
    line, lean = strip.line, marks.lean

    def px(t: Array, s: Array) -> Array:
        return place_px(line, t + lean.shift(t, s), s)

    middle = (marks.zone_px[0] + marks.zone_px[1]) / 2
    zero = int(np.median(lattice.n))
    t = lattice.t_px
    parts = np.quantile(t, [0.1, 0.5, 0.9])
    reach = max(abs(float(np.nanmedian(marks.length_px))), 8.0)
    far = np.full(3, middle + marks.side * reach)
    ends = np.quantile(t, [0.0, 1.0])
    foot = np.interp(ends, marks.t_px, marks.foot_px)
    return Sights(
        mark_px=px(t, np.full(len(t), middle)), mark_mm=np.asarray((lattice.n - zero) * period_mm, dtype=np.float64),
        lean_px=np.stack([px(parts, np.full(3, middle)), px(parts, far)], axis=1),
        lean_sd_px=math.sqrt(3) * lean.sd * reach, foot_px=px(ends, foot), foot_sd_px=max(marks.foot_sd_px, 0.3),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Solution:
    """The plane, how far marks lie from where it puts them, and which were believed."""

    plane: Plane
    residual_px: float
    used: NDArray[np.bool_]


def solve_rule(
    sights: Sights, size_px: tuple[int, int], focal35_mm: float | None, height_mm: float, grade: RuleClass
) -> Solution:
    """The plane of the rule and its covariance by source."""
    prior = prior_of(size_px, focal35_mm, None, 0.0)
    theta = _start(sights, prior.mean, size_px)
    span = float(np.ptp(sights.mark_mm))
    sigma_mm, robust = 0.02 * span / len(sights.mark_mm), np.ones(len(sights.mark_mm))
    jacobian = np.zeros((0, FREE))
    groups: list[str] = []
    for turn in range(STEPS):
        value, groups = _residuals(theta, sights, prior, size_px, sigma_mm, robust)
        jacobian = np.empty((len(value), FREE))
        for k in range(FREE):
            step = np.zeros(N)
            step[k] = (1e-6, 1e-6, 1e-6, 1e-4, 1e-4, 1e-4, 1e-6, 1e-6, 1e-3, 1e-3)[k]
            ahead, _ = _residuals(theta + step, sights, prior, size_px, sigma_mm, robust)
            jacobian[:, k] = (ahead - value) / step[k]
        move = np.linalg.solve(jacobian.T @ jacobian + 1e-12 * np.eye(FREE), -jacobian.T @ value)
        theta[:FREE] += move
        off = _off_mm(theta, sights)
        sigma_mm = max(1.4826 * float(np.median(np.abs(off))), 1e-5)
        robust = np.clip(1 - (off / (4.5 * sigma_mm)) ** 2, 0, None)
        if turn > 3 and float(np.abs(move[:3]).max()) < 1e-6 and abs(move[6]) < 1e-6:
            break
    off = _off_mm(theta, sights)
    grown = _correlation(off, robust > 0)
    sources = _sources(jacobian, np.array(groups), grown)
    limit, slope = CLASS_MM[grade]
    theta[10], theta[11] = 0.0, height_mm + FACE_MM
    _set(sources, "rule", 10, (limit + slope * math.ceil(span / 1000)) / math.sqrt(3) / span)
    _set(sources, "height", 11, FACE_SD_MM)
    _set(sources, ACROSS, 10, _second_order(theta, sources))
    plane = Plane(theta=theta, sources=sources, size_px=size_px, source="rule")
    scale = float(plane.mm_per_px(sights.mark_px.mean(axis=0)).value)
    return Solution(plane=plane, residual_px=sigma_mm / scale, used=robust > 0)


def _start(sights: Sights, lens: tuple[float, ...], size_px: tuple[int, int]) -> Array:
    """A frontal plane of the right scale and direction at the middle mark."""
    focal = math.exp(lens[0])
    ends = sights.mark_px[[0, -1]]
    way, run = ends[1] - ends[0], float(sights.mark_mm[-1] - sights.mark_mm[0])
    scale = abs(run) / float(np.linalg.norm(way))
    turn = math.atan2(way[1], way[0]) + (0.0 if run > 0 else math.pi)
    near = int(np.argmin(np.abs(sights.mark_mm)))
    at = (sights.mark_px[near] - np.array(lens[2:4])) / focal
    theta = np.zeros(N)
    theta[2] = turn
    theta[3:6] = focal * scale * np.array([at[0], at[1], 1.0])
    theta[6:10] = lens[:4]
    return theta


def _flat(theta: Array) -> Plane:
    printed = theta.copy()
    printed[10:] = 0.0
    return Plane(theta=printed, sources={}, size_px=(1, 1), source="rule")


def _off_mm(theta: Array, sights: Sights) -> Array:
    return np.asarray(_flat(theta).to_mm(sights.mark_px)[:, 0] - sights.mark_mm)


def _residuals(
    theta: Array, sights: Sights, prior: object, size_px: tuple[int, int], sigma_mm: float, robust: Array
) -> tuple[Array, list[str]]:
    """All residuals over their standard deviations, and the source of each."""
    from wearvision.measure.prior import Prior

    assert isinstance(prior, Prior)
    count = len(sights.mark_px)
    points = np.vstack([sights.mark_px, sights.lean_px.reshape(-1, 2), sights.foot_px])
    mm = _flat(theta).to_mm(points)
    scale = abs(float(sights.mark_mm[-1] - sights.mark_mm[0])) / float(
        np.linalg.norm(sights.mark_px[-1] - sights.mark_px[0])
    )
    lean = mm[count:-2].reshape(-1, 2, 2)
    normal = np.asarray(cv2.Rodrigues(theta[:3].reshape(3, 1))[0])[:, 2]
    parts = {
        "edge": np.concatenate([
            np.sqrt(robust) * (mm[:count, 0] - sights.mark_mm) / sigma_mm,
            (lean[:, 1, 0] - lean[:, 0, 0]) / (scale * sights.lean_sd_px),
            [(mm[-1, 1] - mm[-2, 1]) / (scale * sights.foot_sd_px), mm[-1, 1] / (10 * scale)],
        ]),
        "lens": (theta[6:10] - np.array(prior.mean[:4])) / np.array(prior.sd[:4]),
        "tilt": normal[:2] / TILT_SD,
    }  # fmt: skip
    return np.concatenate(list(parts.values())), [name for name, v in parts.items() for _ in v]


def _correlation(off: Array, used: NDArray[np.bool_]) -> float:
    """By how much fewer independent marks there are, from neighbours that err alike."""
    r = off[used]
    if len(r) < 8:
        return 2.0
    rho = float(np.clip(np.sum(r[1:] * r[:-1]) / np.sum(r * r), 0.0, 0.8))
    return (1 + rho) / (1 - rho) * len(r) / max(len(r) - 6, 2)


def _sources(jacobian: Array, groups: NDArray[np.str_], grown: float) -> dict[str, Array]:
    """Covariance by source: S J'J S of each group of residuals, S the inverse of the whole."""
    whole = np.linalg.inv(jacobian.T @ jacobian + 1e-12 * np.eye(FREE))
    out = {}
    for name in dict.fromkeys(groups.tolist()):
        part = jacobian[groups == name]
        cov = np.zeros((N, N))
        cov[:FREE, :FREE] = whole @ part.T @ part @ whole * (grown if name == "edge" else 1.0)
        out[name] = cov
    return out


def _set(sources: dict[str, Array], name: str, index: int, sd: float) -> None:
    cov = np.zeros((N, N))
    cov[index, index] = sd**2
    sources[name] = cov


def _second_order(theta: Array, sources: dict[str, Array]) -> float:
    """What linear propagation leaves out: a tilt in doubt by a shortens lengths by a^2 / 2, also about zero."""
    def normal(v: Array) -> Array:
        return np.asarray(cv2.Rodrigues(v.reshape(3, 1))[0], dtype=np.float64)[:2, 2]

    first = normal(theta[:3])
    slope = np.column_stack([(normal(theta[:3] + step) - first) / 1e-6 for step in 1e-6 * np.eye(3)])
    cov = np.sum([c[:3, :3] for c in sources.values()], axis=0)
    return float(np.linalg.eigvalsh(slope @ cov @ slope.T).max()) / 2
