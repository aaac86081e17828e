"""Where the corners of boards should be seen, and how that moves with the state of `adjust`."""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.paper import NUISANCE, PLACE, Points, rows_of
from wearvision.measure.plane import N

Array = NDArray[np.float64]
Three = tuple[float, float, float]

PULL, LIFT, FIELD, ALL = 0, 2, 6, 15
"""Where pulls, lifts and fields begin among the nuisances of a board, and how many there are."""


def model(boards: Sequence[Points], state: Array) -> tuple[Array, Array]:
    """Expected pixels (N, 2) of all boards, and their derivative (2 N, S) by the state."""
    count = sum(len(points.mm) for points in boards)
    px, slope = np.empty((count, 2)), np.zeros((2 * count, len(state)))
    rotation, spins = _turns(state)
    end = 0
    for k, points in enumerate(boards):
        start, end = end, end + len(points.mm)
        own, place = (rows_of(kind, k, len(boards), N).start for kind in (NUISANCE, PLACE))
        _board(
            points.mm, points.pulls, points.lifts, points.fields, state, rotation, spins,
            own, place if k else NOWHERE, px[start:end], slope[2 * start : 2 * end],
        )  # fmt: skip
    return px, slope


NOWHERE = -1
"""Stands for where the place of the first board is kept: it carries the plane's axes."""


def _turns(state: Array) -> tuple[Array, Array]:
    """Rotation (3, 3), and its slopes (3, 3, 3) by the rotation vector."""
    rotation, slope = cv2.Rodrigues(state[:3].copy())
    return np.asarray(rotation, dtype=np.float64), np.ascontiguousarray(slope, dtype=np.float64).reshape(3, 3, 3)


@compiled
def _board(
    mm: Array, pulls: Array, lifts: Array, fields: Array, state: Array, rotation: Array, spins: Array,
    first: int, place: int, px: Array, slope: Array,
) -> None:  # fmt: skip
    """Pixels and slopes of one board, whose nuisances and place stand in the state from `first` and `place`."""
    own = state[first : first + ALL]
    cos, sin, dx, dy = 1.0, 0.0, 0.0, 0.0
    if place != NOWHERE:
        cos, sin, dx, dy = math.cos(state[place]), math.sin(state[place]), state[place + 1], state[place + 2]
    for i in range(len(mm)):
        x, y, lift = _printed(mm[i], lifts[i], fields[i], own)
        x, y = cos * x - sin * y, sin * x + cos * y
        at = (x + dx, y + dy, -lift)
        straight, bent, steep = _seen(at, rotation, state)
        for axis in range(2):
            px[i, axis] = bent[axis] + state[8 + axis] + pulls[i, axis, 0] * own[0] + pulls[i, axis, 1] * own[1]
            row, by = slope[2 * i + axis], _along_axes(rotation, steep[axis])
            _camera_row(row, at, spins, steep[axis], axis, straight, bent)
            _own_row(row[first : first + ALL], by, pulls[i, axis], lifts[i], fields[i], cos, sin)
            if place != NOWHERE:
                row[place], row[place + 1], row[place + 2] = by[1] * x - by[0] * y, by[0], by[1]


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
