"""From numbered marks to the plane of the rule, by least squares with priors.

Each mark says: this pixel has that x in the rule's face, whatever its y. The marks' directions say that x stays the
same along a mark, the foot line that y stays the same along the rule. With a focal length known, perspective along
the rule then tells its tilt about one axis, and the angle between marks and foot line some of the other; what is
left leans on a prior of the tilt.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.lens import LENS
from wearvision.measure.plane import NAMES, N, Plane
from wearvision.measure.prior import Prior
from wearvision.measure.rule.lattice import Lattice
from wearvision.measure.rule.marks import Marks
from wearvision.measure.rule.result import ACROSS
from wearvision.measure.rule.strip import Strip, place_px
from wearvision.stated import RuleClass

Array = NDArray[np.float64]
Residuals = Callable[[Array], tuple[Array, NDArray[np.str_]]]

FACE_MM, FACE_SD_MM = 0.7, 0.3
"""Face of a steel rule above what it lies on: 0.3 to 1.2 mm thick. Common practice, no source."""
TILT_SD = 0.3
"""Of each component of the plane's normal in the photo, before looking: 35 degrees is two of it."""
CLASS_MM: dict[RuleClass, tuple[float, float]] = {"I": (0.1, 0.1), "II": (0.3, 0.2), "III": (0.6, 0.4)}
"""Largest error a + b L between two marks, mm, L in metres rounded up (UK SI 2016/1153, schedule for material
measures of length; EU directive 2004/22, annex MI-008)."""
FREE = {0: 1e-6, 1: 1e-6, 2: 1e-6, 3: 1e-4, 4: 1e-4, 5: 1e-4, 6: 1e-6, 7: 1e-6, 8: 1e-3, 9: 1e-3, 12: 1e-6}
"""Parameters of the plane that the marks inform, and the steps they are differentiated with."""
LENS_AT = [NAMES.index(name) for name in LENS]
POSE, PUT_BACK = np.arange(1, 6), 2
"""Where the rule lies, its turn about itself left out; rounds in which a step is put back into the valley."""
STEPS, TURNS, ENOUGH, TINY = 25, 6, 1e-7, 1e-12
"""Steps of least squares and rounds of reweighting at most; share of the sum of squares not worth a further step."""
LAGS = 8
"""Neighbours whose errors may be alike: wear and glare reach over some marks."""
FOOT_ROWS = 0.6
"""Of the foot line at one end against the other, in rows of the strip: marks end in whole rows, and a line that runs
along them may end one further. Drawn rules show 0.6 rows root mean square."""
FIRST_SIGMA, OUTLIER = 0.05, 4.5
"""Of marks, in periods, before they are fitted; robust sigmas beyond which a mark is not believed."""


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
        lean_sd_px=math.sqrt(3) * lean.sd * reach, foot_px=px(ends, foot),
        foot_sd_px=max(marks.foot_sd_px, FOOT_ROWS * strip.step_px),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Solution:
    """The plane, how far marks lie from where it puts them, and which were believed."""

    plane: Plane
    residual_px: float
    used: NDArray[np.bool_]


def solve_rule(sights: Sights, size_px: tuple[int, int], prior: Prior, height_mm: float, grade: RuleClass) -> Solution:
    """The plane of the rule and its covariance by source; of the prior the lens counts.

    `height_mm` is that of what the rule lies on, above the measured plane.
    """
    theta, count, span = _start(sights, prior), len(sights.mark_mm), float(np.ptp(sights.mark_mm))
    root = np.asarray(np.linalg.cholesky(prior.lens_precision), dtype=np.float64)
    sigma_mm, robust = FIRST_SIGMA * span / count, np.ones(count)

    def residuals(at: Array) -> tuple[Array, NDArray[np.str_]]:
        return _residuals(at, sights, prior.lens, root, sigma_mm, robust)

    slope = np.zeros((0, len(FREE)))
    for _ in range(TURNS):
        theta, slope = _settled(theta, residuals)
        off = _off_mm(theta, sights)
        last, sigma_mm = sigma_mm, max(1.4826 * float(np.median(np.abs(off))), 1e-5)
        robust = np.clip(1 - (off / (OUTLIER * sigma_mm)) ** 2, 0, None)
        if abs(last / sigma_mm - 1) < 0.02:
            break
    theta, slope, rival = _best_tilt(theta, slope, residuals)
    sources = _sources(slope, residuals(theta)[1], _correlation(_off_mm(theta, sights), robust > 0))
    sources["tilt"] = sources["tilt"] + rival
    theta[11] = height_mm + FACE_MM
    plane = Plane(
        theta=theta, size_px=size_px, source="rule", lens_source=prior.lens_source,
        sources=sources | _outside(theta, sources, span, grade),
    )  # fmt: skip
    scale = plane.mm_per_px(sights.mark_px.mean(axis=0)).value
    return Solution(plane=plane, residual_px=sigma_mm / scale, used=robust > 0)


def _settled(theta: Array, residuals: Residuals) -> tuple[Array, Array]:
    """Parameters of least squares (Levenberg and Marquardt), and the slope of the residuals there.

    The marks hold where the rule lies a thousand times tighter than lens and tilt about the rule, so that a step along
    these leaves a narrow curved valley: each step is put back into it by the pose alone before it is judged.
    """
    value, damp = residuals(theta)[0], 1e-4
    slope = _slope(theta, value, residuals)
    for _ in range(STEPS):
        own = slope.copy()
        own[:, :3] = slope[:, :3] @ _by_own_axes(theta[:3])
        size = np.linalg.norm(own, axis=0) + TINY
        part = own / size
        move = np.linalg.solve(part.T @ part + damp * np.eye(len(FREE)), -part.T @ value) / size
        ahead = _moved(theta, move)
        found = residuals(ahead)[0]
        back = np.linalg.pinv(part[:, POSE]) / size[POSE, None]
        for _ in range(PUT_BACK):
            move = np.zeros(len(FREE))
            move[POSE] = -back @ found
            ahead = _moved(ahead, move)
            found = residuals(ahead)[0]
        gain = 1 - float(found @ found) / max(float(value @ value), TINY)
        if not gain > 0:
            damp = 30 * damp
            if damp > 1e6:
                break
            continue
        theta, value, damp = ahead, found, damp / 20
        slope = _slope(theta, value, residuals)
        if gain < ENOUGH:
            break
    return theta, slope


def _moved(theta: Array, move: Array) -> Array:
    """Parameters after a step of the free ones, the turn taken about the rule's own axes."""
    ahead = theta.copy()
    ahead[list(FREE)] += move
    ahead[:3] = _turned(theta[:3], move[:3])
    return ahead


def _turned(vector: Array, step: Array) -> Array:
    """A rotation vector after a further turn about the rotated axes."""
    first, more = (np.asarray(cv2.Rodrigues(v.reshape(3, 1))[0]) for v in (vector, step))
    return np.ravel(cv2.Rodrigues(first @ more)[0]).astype(np.float64)


def _by_own_axes(vector: Array) -> Array:
    """How a rotation vector moves with turns about the rotated axes, (3, 3)."""
    steps = 1e-6 * np.eye(3)
    return np.column_stack([(_turned(vector, step) - _turned(vector, -step)) / 2e-6 for step in steps])


def _best_tilt(theta: Array, slope: Array, residuals: Residuals) -> tuple[Array, Array, Array]:
    """The better of the two tilts about the rule that look nearly alike, its slope, and the covariance (13, 13) that
    the other one brings in: its share of the probability times the square of its distance."""
    one, two = (theta, slope), _settled(_leant_back(theta), residuals)
    cost = [float(np.sum(residuals(at)[0] ** 2)) for at, _ in (one, two)]
    if cost[1] < cost[0]:
        one, two = two, one
    share = 1 / (1 + math.exp(min(abs(cost[1] - cost[0]) / 2, 50.0)))
    off = np.zeros(N)
    off[list(FREE)] = (two[0] - one[0])[list(FREE)]
    return (*one, share * np.outer(off, off))


def _leant_back(theta: Array) -> Array:
    """The pose whose tilt about the rule's own direction is turned round, that along it kept."""
    rotation = np.asarray(cv2.Rodrigues(theta[:3].reshape(3, 1))[0], dtype=np.float64)
    sight = theta[3:6] / np.linalg.norm(theta[3:6])
    across = np.cross(sight, rotation[:, 0])
    across /= np.linalg.norm(across)
    lean = math.atan2(float(rotation[:, 2] @ across), float(rotation[:, 2] @ np.cross(rotation[:, 0], across)))
    return np.concatenate([_turned(theta[:3], np.array([2 * lean, 0.0, 0.0])), theta[3:]])


def _slope(theta: Array, value: Array, residuals: Residuals) -> Array:
    """Derivatives of the residuals by the free parameters, (R, F)."""
    columns = []
    for k, step in FREE.items():
        ahead = theta.copy()
        ahead[k] += step
        columns.append((residuals(ahead)[0] - value) / step)
    return np.stack(columns, axis=1)


def _start(sights: Sights, prior: Prior) -> Array:
    """A frontal plane of the right scale and direction at the middle mark."""
    ends = sights.mark_px[[0, -1]]
    way, run = ends[1] - ends[0], float(sights.mark_mm[-1] - sights.mark_mm[0])
    near = int(np.argmin(np.abs(sights.mark_mm)))
    at = (sights.mark_px[near] - prior.lens[2:4]) / prior.focal_px
    theta = np.zeros(N)
    theta[2] = math.atan2(way[1], way[0]) + (0.0 if run > 0 else math.pi)
    theta[3:6] = prior.focal_px * abs(run) / float(np.linalg.norm(way)) * np.array([at[0], at[1], 1.0])
    theta[LENS_AT] = prior.lens
    return theta


def _flat(theta: Array) -> Plane:
    """The face itself, as engraved."""
    face = theta.copy()
    face[10:12] = 0.0
    return Plane(theta=face, sources={}, size_px=(1, 1), source="rule")


def _off_mm(theta: Array, sights: Sights) -> Array:
    return np.asarray(_flat(theta).to_mm(sights.mark_px)[:, 0] - sights.mark_mm)


def _residuals(
    theta: Array, sights: Sights, lens: Array, root: Array, sigma_mm: float, robust: Array
) -> tuple[Array, NDArray[np.str_]]:
    """All residuals over their standard deviations, and the source of each."""
    count = len(sights.mark_px)
    mm = _flat(theta).to_mm(np.vstack([sights.mark_px, sights.lean_px.reshape(-1, 2), sights.foot_px]))
    ends = np.linalg.norm(sights.mark_px[-1] - sights.mark_px[0])
    scale = abs(float(sights.mark_mm[-1] - sights.mark_mm[0])) / float(ends)
    lean = mm[count:-2].reshape(-1, 2, 2)
    normal = np.asarray(cv2.Rodrigues(theta[:3].reshape(3, 1))[0])[:, 2]
    parts = {
        "marks": np.sqrt(robust) * (mm[:count, 0] - sights.mark_mm) / sigma_mm,
        "edge": np.concatenate([
            (lean[:, 1, 0] - lean[:, 0, 0]) / (scale * sights.lean_sd_px),
            [(mm[-1, 1] - mm[-2, 1]) / (scale * sights.foot_sd_px), mm[-1, 1] / (10 * scale)],
        ]),
        "lens": root.T @ (theta[LENS_AT] - lens),
        "tilt": normal[:2] / TILT_SD,
    }  # fmt: skip
    return np.concatenate(list(parts.values())), np.repeat(list(parts), [len(v) for v in parts.values()])


def _correlation(off: Array, used: NDArray[np.bool_]) -> float:
    """By how much fewer independent marks there are, from neighbours that err alike."""
    r = off[used]
    if len(r) < 8:
        return 2.0
    total = 1.0
    for lag in range(1, LAGS):
        rho = float(np.sum(r[lag:] * r[:-lag]) / np.sum(r * r))
        if rho <= 0:
            break
        total += 2 * rho
    return total * len(r) / max(len(r) - 6, 2)


def _sources(slope: Array, groups: NDArray[np.str_], grown: float) -> dict[str, Array]:
    """Covariance by source: S J'J S of each group of residuals, S the inverse of the whole; marks count with lean and
    foot as `edge`."""
    whole = np.linalg.inv(slope.T @ slope + TINY * np.eye(len(FREE)))
    free = np.ix_(list(FREE), list(FREE))
    out = {}
    for name in dict.fromkeys(groups.tolist()):
        part = slope[groups == name]
        out[name] = np.zeros((N, N))
        out[name][free] = whole @ part.T @ part @ whole
    out["edge"] += grown * out.pop("marks")
    return out


def _outside(theta: Array, sources: dict[str, Array], span_mm: float, grade: RuleClass) -> dict[str, Array]:
    """What the picture cannot tell: the rule's own error, the height of its face, foreshortening to second order."""
    limit, slope = CLASS_MM[grade]
    rule = (limit + slope * math.ceil(span_mm / 1000)) / math.sqrt(3) / span_mm
    out = {}
    for name, index, sd in (
        ("rule", 10, rule), ("height", 11, FACE_SD_MM), (ACROSS, 10, _second_order(theta, sources)),
    ):  # fmt: skip
        out[name] = np.zeros((N, N))
        out[name][index, index] = sd**2
    return out


def _second_order(theta: Array, sources: dict[str, Array]) -> float:
    """What linear propagation leaves out: a tilt in doubt by a shortens lengths by a^2 / 2, also about zero."""

    def normal(v: Array) -> Array:
        return np.asarray(cv2.Rodrigues(v.reshape(3, 1))[0], dtype=np.float64)[:2, 2]

    first = normal(theta[:3])
    slope = np.column_stack([(normal(theta[:3] + step) - first) / 1e-6 for step in 1e-6 * np.eye(3)])
    cov = np.sum([c[:3, :3] for c in sources.values()], axis=0)
    return float(np.linalg.eigvalsh(slope @ cov @ slope.T).max()) / 2
