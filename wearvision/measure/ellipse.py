"""Ellipses: fits without bias, and what a circle's ellipse says about its plane.

The algebraic fit is hyper least squares: of all fits that minimise an algebraic distance under a quadratic norm it
is the one whose bias vanishes up to the second order of the noise (Kanatani and Rangarajan, Hyper least squares
fitting of circles and ellipses, Computational Statistics and Data Analysis 55, 2011; formulas from memory, held by
the tests against their claim). The geometric fit then minimises the distance along the normal, and is the best
that can be had for independent noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
LEAST_POINTS = 6
TURNS = 40


@dataclass(frozen=True, kw_only=True)
class Ellipse:
    """An ellipse in the picture.

    Attributes
    ----------
    x, y : float
        Centre, px.
    major, minor : float
        Semi-axes, px, major >= minor > 0.
    turn : float
        Angle of the major axis from x towards y, rad, in [0, pi).
    """

    x: float
    y: float
    major: float
    minor: float
    turn: float

    @property
    def conic(self) -> Array:
        """Symmetric matrix C (3, 3) with p' C p = 0 on the ellipse and < 0 inside."""
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        rot = np.array([[cos, -sin], [sin, cos]])
        shape = rot @ np.diag([self.major**-2.0, self.minor**-2.0]) @ rot.T
        centre = np.array([self.x, self.y])
        side = -shape @ centre
        return np.block([[shape, side[:, None]], [side[None, :], np.array([[centre @ shape @ centre - 1]])]])

    def points(self, count: int = 180) -> Array:
        """Points of the ellipse, evenly in its own parameter, (count, 2)."""
        return self.at(np.linspace(0, 2 * math.pi, count, endpoint=False))

    def at(self, angle: Array) -> Array:
        """Points at parameters (rad), (N, 2)."""
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        a, b = self.major * np.cos(angle), self.minor * np.sin(angle)
        return np.column_stack([self.x + a * cos - b * sin, self.y + a * sin + b * cos])


def ellipse_of(conic: Array) -> Ellipse | None:
    """The ellipse of a conic matrix; `None` when it is another curve."""
    c = np.asarray(conic, dtype=np.float64)
    shape, side = c[:2, :2], c[:2, 2]
    if np.linalg.det(shape) <= 0:
        return None
    centre = -np.linalg.solve(shape, side)
    level = float(centre @ shape @ centre - c[2, 2])
    value, axis = np.linalg.eigh(shape / level if level else shape)
    if level == 0 or value[0] <= 0:
        return None
    turn = math.atan2(axis[1, 0], axis[0, 0]) % math.pi
    return Ellipse(
        x=float(centre[0]), y=float(centre[1]), major=float(value[0] ** -0.5), minor=float(value[1] ** -0.5), turn=turn
    )


def fit_algebraic(points: Array, weights: Array | None = None) -> Ellipse | None:
    """Hyper-accurate algebraic fit.

    Parameters
    ----------
    points : (N, 2) array, N >= 6
    weights : (N,) array, optional
        Not negative; points of weight 0 are left out.

    Returns
    -------
    Ellipse or None
        `None` when too few points are given or another conic fits them better.
    """
    weight = np.ones(len(points)) if weights is None else np.asarray(weights, dtype=np.float64)
    use = weight > 0
    place, weight = np.asarray(points, dtype=np.float64)[use], weight[use]
    if len(place) < LEAST_POINTS:
        return None
    weight = weight / weight.sum()
    middle = weight @ place
    size = math.sqrt(float(weight @ np.sum((place - middle) ** 2, axis=1))) or 1.0
    theta = _hyper((place - middle) / size, weight)
    a, b, c, d, e, f = theta
    conic = np.array([[a, b, d], [b, c, e], [d, e, f]])
    move = np.array([[1 / size, 0, -middle[0] / size], [0, 1 / size, -middle[1] / size], [0, 0, 1.0]])
    return ellipse_of(move.T @ conic @ move)


def _hyper(place: Array, weight: Array) -> Array:
    """Conic (6,) of x^2, 2xy, y^2, 2x, 2y, 1 by hyper least squares on points of size about 1."""
    x, y = place.T
    one, zero = np.ones_like(x), np.zeros_like(x)
    xi = np.column_stack([x * x, 2 * x * y, y * y, 2 * x, 2 * y, one])
    noise = 4 * np.array([
        [x * x, x * y, zero, x, zero, zero],
        [x * y, x * x + y * y, x * y, y, x, zero],
        [zero, x * y, y * y, zero, y, zero],
        [x, y, zero, one, zero, zero],
        [zero, x, y, zero, one, zero],
        [zero, zero, zero, zero, zero, zero],
    ]).transpose(2, 0, 1)  # fmt: skip
    moment = (xi * weight[:, None]).T @ xi
    value, axis = np.linalg.eigh(moment)
    inverse = (axis[:, 1:] / value[1:]) @ axis[:, 1:].T
    e = np.array([1.0, 0, 1, 0, 0, 0])
    centre = weight @ xi
    norm = np.einsum("n,nij->ij", weight, noise) + np.outer(centre, e) + np.outer(e, centre)
    w2 = weight * weight
    trace = np.einsum("ij,nji->n", inverse, noise)
    far = np.einsum("ni,ij,nj->n", xi, inverse, xi)
    cross = np.einsum("n,nij,jk,nk,nl->il", w2, noise, inverse, xi, xi, optimize=True)
    norm -= np.einsum("n,ni,nj->ij", w2 * trace, xi, xi) + np.einsum("n,nij->ij", w2 * far, noise)
    norm -= cross + cross.T
    # of N t = (1/l) M t the largest |1/l|: M is positive definite, so its root makes the problem symmetric
    root = axis / np.sqrt(np.maximum(value, 1e-14 * value[-1]))
    small, turn = np.linalg.eigh(root.T @ norm @ root)
    return np.asarray(root @ turn[:, int(np.argmax(np.abs(small)))])


def distance(ellipse: Ellipse, points: Array) -> tuple[Array, Array]:
    """Signed distance (N,) of points along the normal, outside positive, and the feet' parameters (N,), rad."""
    cos, sin = math.cos(ellipse.turn), math.sin(ellipse.turn)
    off = np.asarray(points, dtype=np.float64) - [ellipse.x, ellipse.y]
    u, v = off[:, 0] * cos + off[:, 1] * sin, -off[:, 0] * sin + off[:, 1] * cos
    a, b = ellipse.major, ellipse.minor
    # the foot lies in the point's own quarter; deep inside there are others, so start from the nearest of a few
    few = np.linspace(0, math.pi / 2, 17)
    gap = np.hypot(np.abs(u)[:, None] - a * np.cos(few), np.abs(v)[:, None] - b * np.sin(few))
    quarter = few[np.argmin(gap, axis=1)]
    t = np.arctan2(np.copysign(np.sin(quarter), v), np.copysign(np.cos(quarter), u))
    for _ in range(8):
        ct, st = np.cos(t), np.sin(t)
        slope = (a * a - b * b) * ct * st - u * a * st + v * b * ct
        bend = (a * a - b * b) * (ct * ct - st * st) - u * a * ct - v * b * st
        t = t - np.clip(slope / np.where(np.abs(bend) > 1e-12, bend, -1e-12), -0.3, 0.3)
    far = np.hypot(u - a * np.cos(t), v - b * np.sin(t))
    outside = (u / a) ** 2 + (v / b) ** 2 >= 1
    return np.where(outside, far, -far), np.asarray(t)


def fit_geometric(points: Array, start: Ellipse, weights: Array | None = None) -> tuple[Ellipse, Array]:
    """Least squares along the normal from a start.

    Returns
    -------
    Ellipse
    (5, 5) array
        Covariance of (x, y, major, minor, turn) for points of unit standard deviation at weight 1.
    """
    weight = np.ones(len(points)) if weights is None else np.asarray(weights, dtype=np.float64)
    now = start
    normal = np.eye(5)
    for _ in range(TURNS):
        miss, t = distance(now, points)
        slope = _slopes(now, t)
        normal = (slope * weight[:, None]).T @ slope
        step = np.linalg.lstsq(normal, slope.T @ (weight * miss), rcond=1e-12)[0]
        major, minor, turn = now.major + step[2], now.minor + step[3], now.turn + step[4]
        if minor > major:
            major, minor, turn = minor, major, turn + math.pi / 2
        now = Ellipse(
            x=now.x + float(step[0]), y=now.y + float(step[1]), major=float(major), minor=float(max(minor, 1e-3)),
            turn=float(turn) % math.pi,
        )  # fmt: skip
        if float(np.abs(step[:4]).max()) < 1e-9 * now.major:
            break
    return now, np.asarray(np.linalg.pinv(normal, rcond=1e-12))


def _slopes(ellipse: Ellipse, t: Array) -> Array:
    """How each foot moves along its normal with the five numbers of the ellipse, (N, 5)."""
    cos, sin = math.cos(ellipse.turn), math.sin(ellipse.turn)
    a, b = ellipse.major, ellipse.minor
    ct, st = np.cos(t), np.sin(t)
    normal = np.column_stack([b * ct, a * st])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    nu, nv = normal.T
    return np.column_stack([
        nu * cos - nv * sin, nu * sin + nv * cos, nu * ct, nv * st, nv * a * ct - nu * b * st
    ])  # fmt: skip


def circle_poses(conic: Array, camera: Array, radius: float) -> list[tuple[Array, Array]]:
    """The two planes whose circle of a radius looks like this ellipse through a pinhole.

    Parameters
    ----------
    conic : (3, 3) array
        Of the ellipse, px, lens distortion taken out.
    camera : (3, 3) array
        Camera matrix.
    radius : float
        In any unit; the centres come in the same.

    Returns
    -------
    list of (normal, centre)
        Unit normal (3,) with positive z, and centre of the circle in the camera's axes, (3,). They mirror each other
        at the line of sight; a frontal circle gives the same twice.
    """
    cone = camera.T @ conic @ camera
    value, axis = np.linalg.eigh(cone / np.linalg.norm(cone))
    if value[1] < 0:
        value, axis, cone = -value[::-1], axis[:, ::-1], -cone
    # value ascending: one negative, two positive
    low, mid, high = value
    x, z = math.sqrt(max(0.0, (high - mid) / (high - low))), math.sqrt(max(0.0, (mid - low) / (high - low)))
    cone = cone / np.linalg.norm(cone)
    poses = []
    for side in (1.0, -1.0):
        normal = axis @ np.array([z, 0.0, side * x])
        normal = normal if normal[2] > 0 else -normal
        poses.append((normal, _centre(cone, normal, radius)))
    return poses


def _centre(cone: Array, normal: Array, radius: float) -> Array:
    """Centre of the circle that a plane of a given normal cuts from the cone."""
    pole = np.linalg.solve(cone, normal)
    across = np.linalg.svd(normal.reshape(1, 3))[2][1]
    depth = radius * math.sqrt(max(0.0, -float(across @ cone @ across) * float(normal @ pole)))
    centre = pole * (depth / float(normal @ pole))
    return np.asarray(centre if centre[2] > 0 else -centre)


def circle_centre(conic: Array, horizon: Array) -> Array:
    """Where the centre of a circle is seen, px (2,): the pole of its plane's horizon, not the ellipse's centre."""
    pole = np.linalg.solve(conic, horizon)
    return np.asarray(pole[:2] / pole[2])
