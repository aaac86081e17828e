"""How blurred a photo is, measured on a board's own black and white edges.

Right within 5 % up to a sigma of a tenth of the plain strip between square and marker, 20 % low at a quarter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.board import BoardSpec

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
    columns, place = spec.squares_x - 1, {int(k): p for k, p in zip(numbers, px, strict=True)}
    mm, free = spec.inner_corners_mm(), (spec.square_mm - spec.marker_mm) / 2
    widths = []
    for stride, across in ((1, np.array([0.0, free])), (columns, np.array([free, 0.0]))):
        pairs = [
            (k, k + stride) for k in place if k + stride in place and not (stride == 1 and k % columns == columns - 1)
        ]
        found = []
        for k, m in pairs[:: max(1, len(pairs) // EDGES)]:
            middle = (mm[k] + mm[m]) / 2
            ends = np.array([middle, middle + across, middle - across])
            at = np.column_stack([ends, np.ones(3)]) @ homography.T
            at = at[:, :2] / at[:, 2:]
            profile = _profile(gray, place[k], place[m], at[1:] - at[0])
            if profile is not None:
                found.append(_sigma(profile))
        if found:
            widths.append(float(np.median(found)))
    finite = [w for w in widths if np.isfinite(w)]
    return max(finite) if finite else float("nan")


def _profile(gray: NDArray[np.uint8], a: Array, b: Array, free: Array) -> tuple[Array, Array] | None:
    """Distance across the edge a-b (px) and grey level there, over the plain middle of the edge.

    `free` are the two shifts (2, 2) from its middle, across, up to which all is plain.
    """
    length = float(np.linalg.norm(b - a))
    along_x, along_y = (b - a) / length
    plain = float(np.abs(free @ np.array([-along_y, along_x])).min())
    reach, half = min(0.85 * plain, ACROSS_PX), min(0.3 * length, ALONG_PX / 2)
    if reach < 2:
        return None
    middle, span = (a + b) / 2, half + reach
    low, high = np.floor(middle - span).astype(int), np.ceil(middle + span).astype(int) + 1
    if low.min() < 0 or high[0] > gray.shape[1] or high[1] > gray.shape[0]:
        return None
    y, x = np.arange(low[1], high[1])[:, None], np.arange(low[0], high[0])[None]
    along = (x - middle[0]) * along_x + (y - middle[1]) * along_y
    across = (y - middle[1]) * along_x - (x - middle[0]) * along_y
    use = (np.abs(across) <= reach) & (np.abs(along) <= half)
    return across[use], gray[low[1] : high[1], low[0] : high[0]][use].astype(np.float64)


def _sigma(profile: tuple[Array, Array]) -> float:
    """10-90 % width of the binned edge over 2.5631; inf when the step is too low."""
    across, level = profile
    cell = np.floor((across - across.min()) / BIN_PX).astype(int)
    count = np.bincount(cell)
    mean = np.bincount(cell, weights=level) / np.maximum(count, 1)
    at = across.min() + (np.flatnonzero(count) + 0.5) * BIN_PX
    edge = mean[count > 0]
    tail = max(2, len(edge) // 8)
    first, last = float(np.median(edge[:tail])), float(np.median(edge[-tail:]))
    if abs(last - first) < LEAST_STEP:
        return float("inf")
    rise = (edge - first) / (last - first)
    middle = int(np.argmin(np.abs(rise - 0.5)))
    below, above = np.flatnonzero(rise[:middle] <= 0.1), middle + np.flatnonzero(rise[middle:] >= 0.9)
    if not (len(below) and len(above)):
        return float("inf")
    return float((_crossing(at, rise, above[0], 0.9) - _crossing(at, rise, below[-1] + 1, 0.1)) / WIDTH_10_90)


def _crossing(at: Array, rise: Array, k: int, level: float) -> float:
    """Where the rise passes a level between bins k - 1 and k."""
    low, high = rise[k - 1], rise[k]
    share = (level - low) / (high - low) if high != low else 1.0
    return float(at[k - 1] + share * (at[k] - at[k - 1]))
