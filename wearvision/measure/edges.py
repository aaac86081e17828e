"""Sub-pixel places of edges along many profiles at once, and robust circle fits through them."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.plane import Array

Grid = NDArray[np.float32]


def log_gray(values: Grid) -> Grid:
    """Logarithm of grey values, softened near black so that noise there stays small."""
    return np.asarray(np.log(values + np.float32(8.0)), dtype=np.float32)


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


def along_every(values: Grid, rows: int, step: int, *, closed: bool) -> Grid:
    """`along` at every `step`-th row only, from `step // 2` on."""
    half, first = rows // 2, step // 2
    ends = (values[-half:], values[:half]) if closed else (values[:1].repeat(half, 0), values[-1:].repeat(half, 0))
    padded = np.vstack([ends[0], values, ends[1]])
    count = len(range(first, len(values), step))
    total = padded[first : first + count * step : step].copy()
    for k in range(1, rows):
        total += padded[first + k : first + k + count * step : step][:count]
    return np.asarray(total / np.float32(rows), dtype=np.float32)


def median(values: NDArray[np.floating]) -> float:
    """Median of finite numbers (N,), N > 0, as numpy's: a tenth of its cost on the few of one block or circle."""
    half = len(values) // 2
    if len(values) % 2:
        return float(np.partition(values, half)[half])
    part = np.partition(values, (half - 1, half))
    return float((part[half - 1] + part[half]) / 2)


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
    theta, first = np.array(start, dtype=np.float64), np.array(start, dtype=np.float64)
    count = len(theta) - 2
    precision = np.diag(1.0 / np.asarray(prior_sd, dtype=np.float64) ** 2)
    spread, robust = np.full(count, floor_mm), np.ones(len(points_mm))
    normal = np.zeros_like(precision)
    for turn in range(turns):
        off = points_mm - theta[:2]
        far = np.maximum(np.hypot(off[:, 0], off[:, 1]), 1e-9)
        residual = far - theta[2:][group]
        for k in range(count):
            mine = np.abs(residual[group == k])
            spread[k] = max(floor_mm, 1.4826 * median(mine)) if len(mine) else floor_mm
        robust = np.clip(1 - (residual / (4.0 * spread[group])) ** 2, 0, None) ** 2
        jacobian = np.column_stack([off / far[:, None], group[:, None] == np.arange(count)[None, :]])
        weighted = jacobian * (robust / spread[group] ** 2)[:, None]
        normal = weighted.T @ jacobian / effective
        right = weighted.T @ residual / effective + precision @ (first - theta)
        step = np.linalg.solve(normal + precision, right)
        theta += step
        if turn > 3 and float(np.abs(step).max()) < 1e-5:
            break
    share = [float(np.mean(robust[group == k] > 0)) if np.any(group == k) else 0.0 for k in range(count)]
    return Circles(
        centre_mm=theta[:2].copy(), radii_mm=theta[2:].copy(), spread_mm=spread, share=np.array(share),
        covariance=np.asarray(np.linalg.inv(normal + precision), dtype=np.float64),
    )  # fmt: skip
