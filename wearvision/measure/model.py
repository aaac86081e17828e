"""Where the corners of boards should be seen, how that moves with the state of `adjust`, and which state fits best."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.paper import NOWHERE, Corners, Points, corners_of
from wearvision.measure.plane import NAMES, N

Array = NDArray[np.float64]
Three = tuple[float, float, float]

PULL, LIFT, FIELD, ALL = 0, 2, 6, 15
"""Where pulls, lifts and fields begin among the nuisances of a board, and how many there are."""
DISTANCE, FOCAL = NAMES.index("tz"), NAMES.index("log_f")
LEAST_GAIN = 1e-5
"""Of minus twice the log posterior: a step that gains less moves nothing by a hundredth of its uncertainty."""
DAMPED_MOST = 1e8


def model(boards: Sequence[Points], state: Array) -> tuple[Array, Array]:
    """Expected pixels (N, 2) of all boards, and their derivative (2 N, S) by the state."""
    corners = corners_of(boards, N)
    count = len(corners.mm)
    px, slope = np.empty((count, 2)), np.zeros((2 * count, len(state)))
    _model(corners, state, px, slope)
    return px, slope


class Fitted(NamedTuple):
    """Where a descent came to: the state (S,), minus twice the log posterior, the miss of every corner (2 N,), px,
    J'WJ (S, S) and J'W miss (S,)."""

    state: Array
    cost: float
    residual: Array
    normal: Array
    pull: Array


def fitted(
    boards: Sequence[Points], seen_px: Array, weight: Array, start: Array, known: tuple[Array, Array], *,
    still: bool = False,
) -> Fitted:  # fmt: skip
    """The state that corners (N, 2) with weights (N,), and a prior of mean (S,) and precision (S, S), tell best; or the
    start itself, held ``still``.

    Levenberg-Marquardt. Focal length and distance lie in a narrow curved valley, along which a frontal board tells
    them hardly apart; stepping in log f and log (distance / f) makes it straight.
    """
    hoped = 0.0 if still else math.inf
    return Fitted(*_fitted(corners_of(boards, N), seen_px, weight, start, *known, hoped))


@compiled
def _fitted(
    corners: Corners, seen: Array, weight: Array, state: Array, target: Array, precision: Array, gain: float
) -> tuple[Array, float, Array, Array, Array]:
    """What `fitted` gives; ``gain`` is what the first step is hoped to."""
    px, slope = np.empty_like(seen), np.zeros((seen.size, len(state)))
    residual, then = _missed(corners, seen, weight, state, target, precision, px, slope)
    normal, pull = _told(slope, weight, residual)
    damping = 0.0
    while damping < DAMPED_MOST and gain >= LEAST_GAIN:
        now, step = then, _step(normal, pull, state, target, precision, damping)
        ahead = state + step
        ahead[DISTANCE] = state[DISTANCE] * math.exp(max(-1.0, min(step[DISTANCE] + step[FOCAL], 1.0)))
        trial, then = _missed(corners, seen, weight, ahead, target, precision, px, slope)
        if not then < now:
            then, damping = now, max(10 * damping, 1e-4)
            continue
        gain, state, residual = now - then, ahead, trial
        normal, pull = _told(slope, weight, residual)
        damping = damping / 10 if damping > 1e-5 else 0.0
    return state, then, residual, normal, pull


@compiled
def _missed(
    corners: Corners, seen: Array, weight: Array, state: Array, target: Array, precision: Array, px: Array,
    slope: Array,
) -> tuple[Array, float]:  # fmt: skip
    """Miss of every corner at a state, and minus twice the log posterior there; pixels and slopes are overwritten."""
    _model(corners, state, px, slope)
    residual, cost, off = np.empty(seen.size), 0.0, state - target
    for i in range(len(seen)):
        for axis in range(2):
            residual[2 * i + axis] = seen[i, axis] - px[i, axis]
            cost += weight[i] * residual[2 * i + axis] ** 2
    for j in range(len(off)):
        for k in range(len(off)):
            cost += off[j] * precision[j, k] * off[k]
    return residual, cost


@compiled
def _told(slope: Array, weight: Array, residual: Array) -> tuple[Array, Array]:
    """J'WJ and J'W miss."""
    size = slope.shape[1]
    normal, pull = np.zeros((size, size)), np.zeros(size)
    for i in range(len(slope)):
        row = slope[i]
        for j in range(size):
            heavy = weight[i // 2] * row[j]
            if heavy != 0.0:
                pull[j] += heavy * residual[i]
                for k in range(j + 1):
                    normal[j, k] += heavy * row[k]
    for j in range(size):
        for k in range(j):
            normal[k, j] = normal[j, k]
    return normal, pull


@compiled
def _step(normal: Array, pull: Array, state: Array, target: Array, precision: Array, damping: float) -> Array:
    """The damped step, in log (distance / f) where the distance stands; all nan where the corners leave it open."""
    told, way, distance = normal.copy(), pull.copy(), state[DISTANCE]
    told[DISTANCE] *= distance
    told[FOCAL] += told[DISTANCE]
    told[:, DISTANCE] *= distance
    told[:, FOCAL] += told[:, DISTANCE]
    way[DISTANCE] *= distance
    way[FOCAL] += way[DISTANCE]
    for j in range(len(way)):
        for k in range(len(way)):
            told[j, k] += precision[j, k]
            way[j] -= precision[j, k] * (state[k] - target[k])
    for j in range(len(way)):
        told[j, j] *= 1 + damping
    return _solved(told, way)


@compiled
def _solved(matrix: Array, right: Array) -> Array:
    """Solution of a positive definite system by Cholesky's factors, which unlike units do not harm; both are used
    up."""
    size = len(right)
    for j in range(size):
        for k in range(j + 1):
            left = matrix[j, k]
            for m in range(k):
                left -= matrix[j, m] * matrix[k, m]
            if k < j:
                matrix[j, k] = left / matrix[k, k]
            elif left > 0:
                matrix[j, j] = math.sqrt(left)
            else:
                return np.full(size, np.nan)
        for m in range(j):
            right[j] -= matrix[j, m] * right[m]
        right[j] /= matrix[j, j]
    for j in range(size - 1, -1, -1):
        for m in range(j + 1, size):
            right[j] -= matrix[m, j] * right[m]
        right[j] /= matrix[j, j]
    return right


@compiled
def _model(corners: Corners, state: Array, px: Array, slope: Array) -> None:
    """Pixels and slopes of all corners; slopes that stay nought are not written."""
    rotation, spins = _turns(state[:3])
    for i in range(len(corners.mm)):
        first, place = corners.first[i], corners.place[i]
        own, cos, sin, dx, dy = state[first : first + ALL], 1.0, 0.0, 0.0, 0.0
        if place != NOWHERE:
            cos, sin, dx, dy = math.cos(state[place]), math.sin(state[place]), state[place + 1], state[place + 2]
        lifts, fields = corners.lifts[i], corners.fields[i]
        x, y, lift = _printed(corners.mm[i], lifts, fields, own)
        x, y = cos * x - sin * y, sin * x + cos * y
        at = (x + dx, y + dy, -lift)
        straight, bent, steep = _seen(at, rotation, state)
        for axis in range(2):
            pulls = corners.pulls[i, axis]
            px[i, axis] = bent[axis] + state[8 + axis] + pulls[0] * own[0] + pulls[1] * own[1]
            row, by = slope[2 * i + axis], _along_axes(rotation, steep[axis])
            _camera_row(row, at, spins, steep[axis], axis, straight, bent)
            _own_row(row[first : first + ALL], by, pulls, lifts, fields, cos, sin)
            if place != NOWHERE:
                row[place], row[place + 1], row[place + 2] = by[1] * x - by[0] * y, by[0], by[1]


@compiled
def _turns(turn: Array) -> tuple[Array, Array]:
    """Rotation (3, 3) by a rotation vector (Rodrigues), and its slopes (3, 3, 3) by that."""
    angle = math.sqrt(turn[0] ** 2 + turn[1] ** 2 + turn[2] ** 2)
    if angle < TINY_ANGLE:
        return np.eye(3), np.stack((_crossing(1.0, 0.0, 0.0), _crossing(0.0, 1.0, 0.0), _crossing(0.0, 0.0, 1.0)))
    axis, cos, sin = turn / angle, math.cos(angle), math.sin(angle)
    cross, rest, slopes = _crossing(axis[0], axis[1], axis[2]), 1 - cos, np.empty((3, 3, 3))
    for k in range(3):
        unit = np.zeros(3)
        unit[k] = 1.0
        moved, along = (unit - axis[k] * axis) / angle, axis[k]
        over = _crossing(moved[0], moved[1], moved[2])
        for i in range(3):
            for j in range(3):
                slopes[k, i, j] = along * (cos * cross[i, j] + sin * axis[i] * axis[j]) + sin * over[i, j]
                slopes[k, i, j] += rest * (moved[i] * axis[j] + axis[i] * moved[j])
            slopes[k, i, i] -= sin * along
    return cos * np.eye(3) + rest * np.outer(axis, axis) + sin * cross, slopes


TINY_ANGLE = 1e-15
"""Rad: below, a turn has no axis."""


@compiled
def _crossing(x: float, y: float, z: float) -> Array:
    """The matrix that takes the cross product with a vector."""
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


@compiled
def _printed(mm: Array, lifts: Array, fields: Array, own: Array) -> Three:
    """Where on the board a corner was printed, and its height."""
    x, y, lift = mm[0], mm[1], 0.0
    for k in range(len(lifts)):
        lift += lifts[k] * own[LIFT + k]
    for k in range(fields.shape[1]):
        x += fields[0, k] * own[FIELD + k]
        y += fields[1, k] * own[FIELD + k]
    return x, y, lift


@compiled
def _seen(at: Three, rotation: Array, state: Array) -> tuple[Three, Three, tuple[Three, Three]]:
    """A point in px from the principal point, without and with what the lens does, each with its radius squared in
    focal lengths; and how the latter moves with camera coordinates."""
    x, y, z = _turned(rotation, at)
    x, y, z = x + state[3], y + state[4], z + state[5]
    focal, k1, k2 = math.exp(state[6]), state[7], state[12]
    u, v = x / z, y / z
    r2 = u * u + v * v
    bent, rise = focal * (1 + r2 * (k1 + r2 * k2)), 2 * focal * (k1 + 2 * r2 * k2)
    xx, xy, yy = (bent + rise * u * u) / z, rise * u * v / z, (bent + rise * v * v) / z
    steep = (xx, xy, -(xx * u + xy * v)), (xy, yy, -(xy * u + yy * v))
    return (focal * u, focal * v, r2), (bent * u, bent * v, r2), steep


@compiled
def _camera_row(row: Array, at: Three, spins: Array, steep: Three, axis: int, straight: Three, bent: Three) -> None:
    """Slope of a pixel by the parameters of the camera, in the order of `plane.NAMES`."""
    for k in range(3):
        dx, dy, dz = _turned(spins[k], at)
        row[k] = steep[0] * dx + steep[1] * dy + steep[2] * dz
        row[3 + k] = steep[k]
    r2 = straight[2]
    row[6], row[7], row[8 + axis], row[12] = bent[axis], straight[axis] * r2, 1.0, straight[axis] * r2 * r2


@compiled
def _own_row(row: Array, by: Three, pulls: Array, lifts: Array, fields: Array, cos: float, sin: float) -> None:
    """Slope of a pixel by the nuisances of its board; `by` are those by the plane's own axes."""
    row[PULL], row[PULL + 1] = pulls[0], pulls[1]
    for k in range(len(lifts)):
        row[LIFT + k] = -by[2] * lifts[k]
    for k in range(fields.shape[1]):
        row[FIELD + k] = by[0] * (cos * fields[0, k] - sin * fields[1, k]) + by[1] * (
            sin * fields[0, k] + cos * fields[1, k]
        )


@compiled
def _turned(matrix: Array, at: Three) -> Three:
    return (
        matrix[0, 0] * at[0] + matrix[0, 1] * at[1] + matrix[0, 2] * at[2],
        matrix[1, 0] * at[0] + matrix[1, 1] * at[1] + matrix[1, 2] * at[2],
        matrix[2, 0] * at[0] + matrix[2, 1] * at[1] + matrix[2, 2] * at[2],
    )


@compiled
def _along_axes(rotation: Array, steep: Three) -> Three:
    """Slope by the plane's own axes of what has a slope by camera coordinates."""
    x, y, z = steep
    return (
        rotation[0, 0] * x + rotation[1, 0] * y + rotation[2, 0] * z,
        rotation[0, 1] * x + rotation[1, 1] * y + rotation[2, 1] * z,
        rotation[0, 2] * x + rotation[1, 2] * y + rotation[2, 2] * z,
    )
