"""The best way through a grid of worths, row by row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.plane import Array


def best_way(worth: Array, cost: float, leap: float = np.inf) -> NDArray[np.int64]:
    """Best way through the rows when moving aside costs so much per column, at most ``leap`` (dynamic programming)."""
    return _best_way(np.ascontiguousarray(worth, dtype=np.float64), float(cost), float(leap))


@compiled
def _best_way(worth: Array, cost: float, leap: float) -> NDArray[np.int64]:
    count, wide = worth.shape
    came, total = np.empty((count, wide), np.int32), worth[0].copy()
    gain, source = np.empty(wide), np.empty(wide, np.int32)
    for row in range(1, count):
        best = np.argmax(total)
        far, high, at = total[best] - leap, -np.inf, 0
        for k in range(wide):  # from the left
            if total[k] + cost * k >= high:
                high, at = total[k] + cost * k, k
            gain[k], source[k] = high - cost * k, at
        high = -np.inf
        for k in range(wide - 1, -1, -1):  # from the right
            if total[k] - cost * k >= high:
                high, at = total[k] - cost * k, k
            if gain[k] < high + cost * k:
                gain[k], source[k] = high + cost * k, at
            came[row, k] = best if gain[k] < far else source[k]
        for k in range(wide):
            total[k] = max(gain[k], far) + worth[row, k]
    path = np.empty(count, np.int64)
    path[-1] = np.argmax(total)
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
    gain: Grid = np.empty((count, wide + 2 * most), dtype=np.float32)
    gain[0], gain[:, :most], gain[:, -most:] = -np.inf, -np.inf, -np.inf
    inner = gain[:, most : most + wide]
    inner[0] = np.maximum(worth[0], 0) if start is None else np.where(np.arange(wide) == start, 0, -np.inf)
    price = (cost * np.abs(np.arange(-most, most + 1))).astype(np.float32)
    _gains(gain, np.ascontiguousarray(worth), price, np.float32(0.0 if start is None else -np.inf), closed)
    last = int(np.argmax(inner.max(axis=1)))
    column = int(np.argmax(inner[last]))
    columns = _way_back(gain, price, last, column, start is None)
    return Stretch(first=last + 1 - len(columns), columns=columns, gain=float(inner[last, column]))


def best_stretches(worths: Sequence[Grid], cost: float, most: int) -> list[Stretch]:
    """`best_stretch` of many grids, (N, M) each of its own."""
    return [best_stretch(worth, cost, most) for worth in worths]


@compiled
def _gains(gain: Grid, worth: Grid, price: Grid, least: np.float32, closed: bool) -> None:
    """Most that a stretch gains up to each place, row by row from the second on, between the columns at either side."""
    wide, most = worth.shape[1], len(price) // 2
    for row in range(1, len(worth)):
        before, now = gain[row - 1], gain[row, most : most + wide]
        if closed:
            before[:most], before[most + wide :] = before[wide : wide + most], before[most : 2 * most]
        for k in range(wide):
            now[k] = before[k] - price[0]
        for step in range(1, len(price)):
            for k in range(wide):
                now[k] = max(now[k], before[k + step] - price[step])
        for k in range(wide):
            now[k] = max(now[k] + worth[row, k], least)


@compiled
def _way_back(gain: Grid, price: Grid, last: int, column: int, free: bool) -> NDArray[np.int64]:
    """Columns of the way to a place, as far back as it gains anything or, where it is not free, to the first row."""
    most = len(price) // 2
    wide = gain.shape[1] - 2 * most
    columns, first = np.empty(last + 1, np.int64), last
    columns[last] = column
    for row in range(last - 1, -1, -1):
        near = gain[row, columns[row + 1] % wide :]
        best = 0
        for step in range(1, len(price)):
            if near[step] - price[step] > near[best] - price[best]:
                best = step
        if free and near[best] <= 0:
            break
        columns[row] = columns[row + 1] + best - most
        first = row
    return columns[first:]
