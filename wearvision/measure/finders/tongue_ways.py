"""The best way along a band, and the ways it gives way to when it is pulled to either side."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.plane import Array

NOWHERE = -1e6
"""Worth of a place off the grid."""


def best_ways(worth: Array, jump: float, reach: int) -> NDArray[np.int64]:
    """Best way (M, N) through each of M grids of worths (M, N, H): a place in each of N columns.

    A way moves by at most `reach` places from column to column, each costing `jump` (dynamic programming).
    """
    grids = np.ascontiguousarray(worth, dtype=np.float64)
    return np.stack([_best_way(grid, float(jump), reach) for grid in grids])


@compiled
def _best_way(worth: Array, jump: float, reach: int) -> NDArray[np.int64]:
    count, high = worth.shape
    came = np.empty((count, high), dtype=np.int32)
    held = np.full(high + 2 * reach, NOWHERE)
    held[reach : reach + high] = worth[0]
    best = np.empty(high)
    for k in range(1, count):
        best[:] = -np.inf
        for move in range(2 * reach + 1):
            cost = jump * abs(move - reach)
            for i in range(high):
                if held[i + move] - cost > best[i]:
                    best[i] = held[i + move] - cost
                    came[k, i] = move
        for i in range(high):
            held[reach + i] = best[i] + worth[k, i]
    path = np.empty(count, dtype=np.int64)
    path[-1] = np.argmax(held[reach : reach + high])
    for k in range(count - 1, 0, -1):
        path[k - 1] = path[k] + came[k, path[k]] - reach
    return path
