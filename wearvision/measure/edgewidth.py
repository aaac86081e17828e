"""How blurred a photo is, measured on a board's own black and white edges.

Right within 5 % up to a sigma of a tenth of the plain strip between square and marker, 20 % low at a quarter.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.board import BoardSpec
from wearvision.measure.compiled import compiled

Array = NDArray[np.float64]
BIN_PX = 0.25
WIDTH_10_90 = 2.5631
"""10 to 90 % width of a Gaussian edge in sigmas: 2 x 1.28155, the normal quantile."""
LEAST_STEP = 15.0
EDGES = 8
"""Edges looked at in either grid direction, spread over the board."""
ALONG_PX, ACROSS_PX = 60.0, 20.0
"""Most of an edge that is looked at."""


def edge_sigma(
    gray: NDArray[np.uint8], spec: BoardSpec, numbers: NDArray[np.int64], px: Array, homography: Array
) -> float:
    """Gaussian sigma of the edges between inner corners, px, in the blurrier of the two grid directions.

    `numbers` are inner-corner numbers, `px` their places (N, 2), `homography` takes drawn mm to px about there.
    Nan when no edge is clear.
    """
    columns, mm, free = spec.squares_x - 1, spec.inner_corners_mm(), (spec.square_mm - spec.marker_mm) / 2
    place = np.full(mm.shape, np.nan)
    place[numbers] = px
    widths = []
    for stride, across in ((1, np.array([0.0, free])), (columns, np.array([free, 0.0]))):
        k = np.arange(len(mm) - stride)
        k = k[np.isfinite(place[k] + place[k + stride]).all(axis=1) & ((stride > 1) | (k % columns < columns - 1))]
        k = k[:: max(1, len(k) // EDGES)]
        middle = (mm[k] + mm[k + stride]) / 2
        at = np.vstack([middle, middle + across, middle - across, np.zeros((0, 2))])
        at = np.column_stack([at, np.ones(len(at))]) @ homography.T
        ends = (at[:, :2] / at[:, 2:]).reshape(3, -1, 2)
        found = _sigmas(gray, place[k], place[k + stride], ends[1] - ends[0], ends[2] - ends[0])
        widths += [float(np.median(found[~np.isnan(found)]))] if (~np.isnan(found)).any() else []
    finite = [w for w in widths if np.isfinite(w)]
    return max(finite) if finite else float("nan")


@compiled
def _sigmas(gray: NDArray[np.uint8], a: Array, b: Array, free: Array, back: Array) -> Array:
    """Sigma of the edge between each a and b; `free` and `back`: shifts from its middle, across, up to which all is
    plain. Nan where that is too little or out of the photo, inf where the step is too low."""
    out = np.full(len(a), np.nan)
    for i in range(len(a)):
        x, y = b[i, 0] - a[i, 0], b[i, 1] - a[i, 1]
        length = math.sqrt(x * x + y * y)
        x, y = x / length, y / length
        plain = min(abs(free[i, 1] * x - free[i, 0] * y), abs(back[i, 1] * x - back[i, 0] * y))
        reach, half = min(0.85 * plain, ACROSS_PX), min(0.3 * length, ALONG_PX / 2)
        cx, cy, span = (a[i, 0] + b[i, 0]) / 2, (a[i, 1] + b[i, 1]) / 2, half + reach
        inside = min(cx, cy) >= span and cx + span <= gray.shape[1] - 1 and cy + span <= gray.shape[0] - 1
        if reach >= 2 and inside:
            rise = np.zeros((3, int(2 * reach / BIN_PX) + 2))
            out[i] = _sigma(rise, _profile(gray, cx, cy, x, y, reach, half, rise))
    return out


@compiled
def _profile(
    gray: NDArray[np.uint8], cx: float, cy: float, along_x: float, along_y: float, reach: float, half: float,
    bins: Array,
) -> int:  # fmt: skip
    """Fill bins across an edge, from its near side, with distance (px), mean grey level and number of pixels; how many
    have any, those first."""
    wide, high = half * abs(along_x) + reach * abs(along_y), half * abs(along_y) + reach * abs(along_x)
    least = reach
    for counting in (False, True):
        for y in range(math.floor(cy - high), math.ceil(cy + high) + 1):
            for x in range(math.floor(cx - wide), math.ceil(cx + wide) + 1):
                across = (y - cy) * along_x - (x - cx) * along_y
                if abs(across) > reach or abs((x - cx) * along_x + (y - cy) * along_y) > half:
                    continue
                if counting:
                    cell = int((across - least) / BIN_PX)
                    bins[1, cell] += gray[y, x]
                    bins[2, cell] += 1
                least = min(least, across)
    kept = 0
    for cell in range(bins.shape[1]):
        if bins[2, cell] > 0:
            bins[0, kept], bins[1, kept] = (cell + 0.5) * BIN_PX, bins[1, cell] / bins[2, cell]
            kept += 1
    return kept


@compiled
def _sigma(bins: Array, count: int) -> float:
    """10-90 % width of a binned edge over 2.5631; inf when the step is too low."""
    at, rise = bins[0], bins[1]
    tail = max(2, count // 8)
    first, last = _median(rise, 0, tail), _median(rise, max(count - tail, 0), count)
    if abs(last - first) < LEAST_STEP:
        return math.inf
    middle = 0
    for k in range(count):
        rise[k] = (rise[k] - first) / (last - first)
        middle = k if abs(rise[k] - 0.5) < abs(rise[middle] - 0.5) else middle
    below, above = middle - 1, middle
    while below >= 0 and rise[below] > 0.1:
        below -= 1
    while above < count and rise[above] < 0.9:
        above += 1
    if below < 0 or above == count:
        return math.inf
    return (_crossing(at, rise, above, 0.9) - _crossing(at, rise, below + 1, 0.1)) / WIDTH_10_90


@compiled
def _median(values: Array, start: int, end: int) -> float:
    """Of a few values, by insertion."""
    order = values[start:end].copy()
    for i in range(1, len(order)):
        k, own = i, order[i]
        while k > 0 and order[k - 1] > own:
            order[k] = order[k - 1]
            k -= 1
        order[k] = own
    return float(0.5 * (order[(len(order) - 1) // 2] + order[len(order) // 2]))


@compiled
def _crossing(at: Array, rise: Array, k: int, level: float) -> float:
    """Where the rise passes a level between bins k - 1 and k."""
    low, high = rise[k - 1], rise[k]
    share = (level - low) / (high - low) if high != low else 1.0
    return float(at[k - 1] + share * (at[k] - at[k - 1]))
