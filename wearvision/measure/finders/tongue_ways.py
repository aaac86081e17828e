"""The best way along a band, and the ways it gives way to when it is pulled to either side."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from wearvision.measure.plane import Array

NOWHERE = -1e6
"""Worth of a place off the grid."""


def best_ways(worth: Array, jump: float, reach: int) -> NDArray[np.int64]:
    """Best way (M, N) through each of M grids of worths (M, N, H): a place in each of N columns.

    A way moves by at most `reach` places from column to column, each costing `jump` (dynamic programming).
    """
    many, count, high = worth.shape
    cost = jump * np.abs(np.arange(-reach, reach + 1))
    came = np.empty((count, many, high), dtype=np.int16)
    held = np.full((many, high + 2 * reach), NOWHERE)
    held[:, reach : reach + high] = worth[:, 0]
    around = sliding_window_view(held, 2 * reach + 1, axis=1)
    for k in range(1, count):
        near = around - cost
        came[k] = near.argmax(axis=2)
        held[:, reach : reach + high] = near.max(axis=2) + worth[:, k]
    path = np.empty((many, count), dtype=np.int64)
    path[:, -1] = held[:, reach : reach + high].argmax(axis=1)
    each = np.arange(many)
    for k in range(count - 1, 0, -1):
        path[:, k - 1] = path[:, k] + came[k, each, path[:, k]] - reach
    return path
