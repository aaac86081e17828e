"""The best way through a grid of worths, row by row."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.plane import Array


def best_way(worth: Array, cost: float) -> NDArray[np.int64]:
    """Best way through the rows when moving aside costs so much per column (dynamic programming)."""
    count, wide = worth.shape
    place = np.arange(wide)
    slope = cost * place
    came = np.empty((count, wide), dtype=np.int32)
    total = worth[0].copy()
    for row in range(1, count):
        up, down = total + slope, (total - slope)[::-1]
        high, low = np.maximum.accumulate(up), np.maximum.accumulate(down)
        from_left = np.maximum.accumulate(np.where(up >= high, place, 0))
        from_right = wide - 1 - np.maximum.accumulate(np.where(down >= low, place, 0))[::-1]
        left, right = high - slope, low[::-1] + slope
        came[row] = np.where(left >= right, from_left, from_right)
        total = np.maximum(left, right) + worth[row]
    path = np.empty(count, dtype=np.int64)
    path[-1] = int(np.argmax(total))
    for row in range(count - 1, 0, -1):
        path[row - 1] = came[row, path[row]]
    return path
