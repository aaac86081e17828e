"""Sub-pixel places of edges along many profiles at once, and robust circle fits through them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.plane import Array

Grid = NDArray[np.float32]


FEW = 500
"""Of twice so many numbers numpy finds the median sooner than a plain loop."""


def log_gray(values: Grid) -> Grid:
    """Logarithm of grey values, softened near black so that noise there stays small."""
    raised = np.asarray(values + np.float32(8.0), dtype=np.float32)
    return np.log(raised, out=raised)


def slope(values: Grid, sigma: float) -> Grid:
    """Derivative along the rows (per column step) of a Gaussian-smoothed image, (T, R)."""
    half = max(2, int(np.ceil(3.5 * sigma)))
    x = np.arange(-half, half + 1, dtype=np.float64)
    bell = np.exp(-0.5 * (x / sigma) ** 2)
    kernel = x * bell / np.sum(x * x * bell)
    out = cv2.filter2D(values, cv2.CV_32F, kernel.reshape(1, -1), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(out, dtype=np.float32)


def along(values: Grid, rows: int, *, closed: bool) -> Grid:
    """Running mean over an odd number of rows; wraps when the strip is closed."""
    if rows <= 1:
        return values
    half = rows // 2
    padded = np.vstack([values[-half:], values, values[:half]]) if closed else values
    border = cv2.BORDER_REPLICATE
    out = cv2.blur(padded, (1, rows), borderType=border)
    return np.asarray(out[half:-half] if closed else out, dtype=np.float32)


def median(values: NDArray[np.floating]) -> float:
    """Median of finite numbers (N,), N > 0, as numpy's: a tenth of its cost on the few of one block or circle."""
    half = len(values) // 2
    if 0 < half < FEW:
        middle = float(_median(np.array(values, order="C"), len(values)))
        return float(np.float32(middle)) if values.dtype == np.float32 else middle
    if len(values) % 2:
        return float(np.partition(values, half)[half])
    part = np.partition(values, half)  # one place at a time is several times as quick as two
    return float((part[:half].max() + part[half]) / 2)


def quantile(values: Array, share: float) -> float:
    """Quantile of finite numbers (N,), N > 0, as numpy's own: linear between places."""
    place = share * (len(values) - 1)
    low, over = int(place), place - int(place)
    part = np.sort(values)[low : low + 2]
    return float(part[0] + over * (part[-1] - part[0]))


def peak_offset(left: Array, top: Array, right: Array) -> Array:
    """Offset of a parabola's vertex from its middle sample, -0.5 to 0.5 columns."""
    bend = left - 2 * top + right
    safe = np.where(np.abs(bend) > 1e-12, bend, 1.0)
    return np.asarray(np.clip(np.where(np.abs(bend) > 1e-12, 0.5 * (left - right) / safe, 0.0), -0.5, 0.5))


def row_medians(values: Array, *, least: int = 1) -> Array:
    """Median of each row's finite values; nan where there are fewer than `least`."""
    return medians(values[:, :, None], least=least)[:, 0]


def medians(values: NDArray[np.floating], *, least: int = 1) -> Array:
    """Medians (N, K) of the finite values of (N, M, K) over M; nan where there are fewer than `least`."""
    if not values.shape[1]:
        return np.full((values.shape[0], values.shape[2]), np.nan)
    ordered = np.sort(values, axis=1)
    count = np.isfinite(values).sum(axis=1)[:, None]
    last = values.shape[1] - 1
    low, high = (np.take_along_axis(ordered, np.clip(at, 0, last), axis=1) for at in ((count - 1) // 2, count // 2))
    return np.where(count >= least, (low + high) / 2, np.nan)[:, 0]


@dataclass(frozen=True, kw_only=True, eq=False)
class Circles:
    """Concentric circles with the covariance of (x, y, radius, radius, ...).

    Attributes
    ----------
    centre_mm : (2,) array
    radii_mm : (K,) array
    covariance : (2 + K, 2 + K) array, mm2
    spread_mm : (K,) array
        Robust standard deviation of each circle's points about it.
    share : (K,) array
        Share of each circle's points that agree, 0 to 1.
    """

    centre_mm: Array
    radii_mm: Array
    covariance: Array
    spread_mm: Array
    share: Array


def fit_circles(
    points_mm: Array, group: NDArray[np.int64], start: Array, prior_sd: Array, *, floor_mm: float = 0.02,
    effective: float = 1.0, turns: int = 25,
) -> Circles:  # fmt: skip
    """Concentric circles through points by iterated reweighting (Tukey's biweight on radial residuals).

    Parameters
    ----------
    points_mm : (N, 2) array
    group : (N,) array
        Which circle a point belongs to.
    start, prior_sd : (2 + K,) arrays
        Where to start (centre, radii), and how far from it the answer may lie (standard deviations).
    floor_mm : least robust spread taken for the weights
    effective : number of points that share one error (neighbours along an edge are not independent)
    """
    theta, sd = np.array(start, dtype=np.float64), np.asarray(prior_sd, dtype=np.float64)
    spread, robust = np.full(len(theta) - 2, floor_mm), np.ones(len(points_mm))
    inverse = np.zeros((len(theta), len(theta)))
    points, circle = np.ascontiguousarray(points_mm, dtype=np.float64), np.ascontiguousarray(group, dtype=np.int64)
    _settle(points, circle, theta, 1.0 / sd**2, float(floor_mm), float(effective), turns, spread, robust, inverse)
    mine = [robust[circle == k] > 0 for k in range(len(spread))]
    return Circles(
        centre_mm=theta[:2].copy(), radii_mm=theta[2:].copy(), spread_mm=spread, covariance=inverse,
        share=np.array([np.count_nonzero(m) / max(1, len(m)) for m in mine]),
    )  # fmt: skip


@compiled
def _settle(
    points: Array, group: NDArray[np.int64], theta: Array, precision: Array, floor: float, effective: float, turns: int,
    spread: Array, robust: Array, inverse: Array,
) -> None:  # fmt: skip
    """Turns of `fit_circles` until the step is small: `theta`, `spread`, `robust` and `inverse` are filled in."""
    first, size, right = theta.copy(), len(theta), np.empty(len(theta))
    residual = np.empty(len(points))
    for turn in range(turns):
        for i in range(len(points)):
            x, y = points[i, 0] - theta[0], points[i, 1] - theta[1]
            residual[i] = max(math.sqrt(x * x + y * y), 1e-9) - theta[2 + group[i]]
        _spreads(residual, group, floor, spread)
        _equations(points, group, theta, residual, spread, robust, inverse, right)
        for j in range(size):
            right[j] = right[j] / effective + precision[j] * (first[j] - theta[j])
            for k in range(size):
                inverse[j, k] /= effective
            inverse[j, j] += precision[j]
        _invert(inverse)
        most = 0.0
        for j in range(size):
            step = 0.0
            for k in range(size):
                step += inverse[j, k] * right[k]
            theta[j] += step
            most = max(most, abs(step))
        if turn > 3 and most < 1e-5:
            break


@compiled
def _equations(
    points: Array, group: NDArray[np.int64], theta: Array, residual: Array, spread: Array, robust: Array,
    normal: Array, right: Array,
) -> None:  # fmt: skip
    """Sums of the weighted equations, each point speaking for x, y and its radius; fills in their weights, too."""
    normal[:], right[:] = 0.0, 0.0
    for i in range(len(points)):
        at, off = 2 + group[i], residual[i]
        near, far = off / (4.0 * spread[group[i]]), max(off + theta[at], 1e-9)
        robust[i] = max(0.0, 1.0 - near * near) ** 2
        weight = robust[i] / spread[group[i]] ** 2
        x, y = (points[i, 0] - theta[0]) / far, (points[i, 1] - theta[1]) / far
        for j, by_j in ((0, x), (1, y), (at, 1.0)):
            right[j] += weight * by_j * off
            for k, by_k in ((0, x), (1, y), (at, 1.0)):
                normal[j, k] += weight * by_j * by_k


@compiled
def _invert(matrix: Array) -> None:
    """A symmetric matrix with positive eigenvalues becomes its inverse (Gauss and Jordan)."""
    size = len(matrix)
    for k in range(size):
        pivot, matrix[k, k] = matrix[k, k], 1.0
        for column in range(size):
            matrix[k, column] /= pivot
        for row in range(size):
            share = matrix[row, k]
            if row != k:
                matrix[row, k] = 0.0
                for column in range(size):
                    matrix[row, column] -= share * matrix[k, column]


@compiled
def _spreads(residual: Array, group: NDArray[np.int64], floor: float, spread: Array) -> None:
    """Robust standard deviation of each circle's residuals, at least `floor`."""
    held = np.empty(len(residual))
    for circle in range(len(spread)):
        count = 0
        for i in range(len(residual)):
            if group[i] == circle:
                held[count] = abs(residual[i])
                count += 1
        spread[circle] = max(floor, 1.4826 * _median(held, count)) if count else floor


@compiled
def _median(values: Array, count: int) -> float:
    """Median of the first `count` > 0 values, which change their order."""
    _place(values, count, count // 2)
    upper, lower = values[count // 2], values[0]
    if count % 2:
        return float(upper)
    for i in range(count // 2):
        lower = max(lower, values[i])
    return float(lower + upper) / 2


@compiled
def _place(values: Array, count: int, place: int) -> None:
    """The value that belongs at a place in order comes there, none before it larger: Hoare's selection."""
    low, high = 0, count - 1
    while low < high:
        pivot, i, j = values[(low + high) // 2], low, high
        while i <= j:
            while values[i] < pivot:
                i += 1
            while pivot < values[j]:
                j -= 1
            if i <= j:
                values[i], values[j] = values[j], values[i]
                i, j = i + 1, j - 1
        if place <= j:
            high = j
        elif place >= i:
            low = i
        else:
            break
