"""The best way through a grid of worths, row by row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array


def best_way(worth: Array, cost: float, leap: float = np.inf) -> NDArray[np.int64]:
    """Best way through the rows when moving aside costs so much per column, at most ``leap`` (dynamic programming)."""
    count, wide = worth.shape
    place = np.arange(wide)
    slope = cost * place
    came = np.empty((count, wide), dtype=np.int32)
    total = worth[0].astype(np.float64)
    for row in range(1, count):
        up, down = total + slope, (total - slope)[::-1]
        high, low = np.maximum.accumulate(up), np.maximum.accumulate(down)
        from_left = np.maximum.accumulate(np.where(up >= high, place, 0))
        from_right = wide - 1 - np.maximum.accumulate(np.where(down >= low, place, 0))[::-1]
        left, right = high - slope, low[::-1] + slope
        near, best = np.maximum(left, right), int(np.argmax(total))
        far = total[best] - leap
        came[row] = np.where(near < far, best, np.where(left >= right, from_left, from_right))
        total = np.maximum(near, far) + worth[row]
    path = np.empty(count, dtype=np.int64)
    path[-1] = int(np.argmax(total))
    for row in range(count - 1, 0, -1):
        path[row - 1] = came[row, path[row]]
    return path


@dataclass(frozen=True, kw_only=True, eq=False)
class Stretch:
    """Part of a way: its first row, the column in each row from there (N,), not wrapped, and what it gained."""

    first: int
    columns: NDArray[np.int64]
    gain: float

    @property
    def rows(self) -> NDArray[np.int64]:
        """Its rows (N,)."""
        return self.first + np.arange(len(self.columns))


def best_stretch(worth: Grid, cost: float, most: int, *, closed: bool = False, start: int | None = None) -> Stretch:
    """The stretch with the most gain from any row to any later one, at most so many columns aside a row.

    Parameters
    ----------
    worth : (N, M) float32
    cost : of each column aside
    closed : whether the last column is the neighbour of the first
    start : column of the first row where it has to begin
    """
    count, wide = worth.shape
    gain: Grid = np.full((count, wide + 2 * most), -np.inf, dtype=np.float32)
    inner = slice(most, most + wide)
    least = np.float32(0.0 if start is None else -np.inf)
    gain[0, inner] = np.maximum(worth[0], 0) if start is None else np.where(np.arange(wide) == start, 0, -np.inf)
    price = (cost * np.abs(np.arange(-most, most + 1))).astype(np.float32)[:, None]
    came = np.empty((2 * most + 1, wide), dtype=np.float32)
    aside = np.lib.stride_tricks.sliding_window_view(gain, wide, axis=1)
    for k in range(1, count):
        if closed:
            before = gain[k - 1]
            before[:most], before[-most:] = before[wide : wide + most], before[most : 2 * most]
        np.subtract(aside[k - 1], price, out=came)
        best = np.maximum.reduce(came, axis=0, out=gain[k, inner])
        np.maximum(np.add(best, worth[k], out=best), least, out=best)
    return _traced(gain, cost, most, start is None)


def _traced(gain: Grid, cost: float, most: int, free: bool) -> Stretch:
    """The way back from the highest gain."""
    wide = gain.shape[1] - 2 * most
    last, column = divmod(int(np.argmax(gain[:, most : most + wide])), wide)
    columns, aside = [column], (cost * np.abs(np.arange(-most, most + 1))).tolist()
    for row in range(last - 1, -1, -1):
        near = gain[row, columns[-1] % wide :][: 2 * most + 1].tolist()
        worth = [one - price for one, price in zip(near, aside, strict=True)]
        step = worth.index(max(worth))
        if free and near[step] <= 0:
            break
        columns.append(columns[-1] + step - most)
    return Stretch(
        first=last + 1 - len(columns), columns=np.array(columns[::-1]), gain=float(gain[last, column + most])
    )
