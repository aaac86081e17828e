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


def best_stretch(worth: Grid, cost: float, most: int, *, start: int | None = None) -> Stretch:
    """The stretch with the most gain from any row to any later one, at most so many columns aside a row.

    Parameters
    ----------
    worth : (N, M) float32
    cost : of each column aside
    start : column of the first row where it has to begin
    """
    price = _price(cost, most)
    return _best(_table(worth, price, start=start), price, free=start is None)


def best_stretches(worths: Sequence[Grid], cost: float, most: int) -> list[Stretch]:
    """`best_stretch` of many grids, (N, M) each of its own."""
    return [best_stretch(worth, cost, most) for worth in worths]


def stretches_apart(
    worth: Grid, cost: float, most: int, *, apart: int, least: float, count: int
) -> list[Stretch]:
    """Up to `count` stretches of a grid whose last column is the neighbour of the first, best first.

    None lies nearer to a better one than `apart` columns, each gains at least `least`. `worth` is overwritten where
    none may lie any more.
    """
    price, wide, out = _price(cost, most), worth.shape[1], list[Stretch]()
    table = _table(worth, price, closed=True)
    while len(out) < count:
        best = _best(table, price, free=True)
        if best.gain < least:
            break
        out.append(best)
        if len(out) == count:
            break
        first, last = int(best.columns.min()) - apart, int(best.columns.max()) + apart
        worth[:, np.arange(first, last + 1) % wide] = -np.inf
        reach = most * len(worth)  # no gain farther from there has come over it
        _begin(table, worth, most)
        _gains_again(table, worth, price, np.float32(0), first - reach, min(wide, last - first + 1 + 2 * reach))
    return out


def _price(cost: float, most: int) -> Grid:
    """What it costs to go so many columns aside, from the most on one side to the most on the other."""
    return (cost * np.abs(np.arange(-most, most + 1))).astype(np.float32)


def _table(worth: Grid, price: Grid, *, closed: bool = False, start: int | None = None) -> Grid:
    """Most that a stretch gains up to each place, with room for a step at either side."""
    most = len(price) // 2
    gain: Grid = np.empty((len(worth), worth.shape[1] + 2 * most), dtype=np.float32)
    gain[0], gain[:, :most], gain[:, -most:] = -np.inf, -np.inf, -np.inf
    _begin(gain, worth, most, start)
    _gains(gain, np.ascontiguousarray(worth), price, np.float32(0.0 if start is None else -np.inf), closed)
    return gain


def _begin(gain: Grid, worth: Grid, most: int, start: int | None = None) -> None:
    """Fill in the first row."""
    wide = worth.shape[1]
    free = np.maximum(worth[0], 0) if start is None else np.where(np.arange(wide) == start, 0, -np.inf)
    gain[0, most : most + wide] = free


def _best(gain: Grid, price: Grid, *, free: bool) -> Stretch:
    """The stretch that ends where most is gained."""
    most = len(price) // 2
    inner = gain[:, most : gain.shape[1] - most]
    last = int(np.argmax(inner.max(axis=1)))
    column = int(np.argmax(inner[last]))
    columns = _way_back(gain, price, last, column, free)
    return Stretch(first=last + 1 - len(columns), columns=columns, gain=float(inner[last, column]))


@compiled
def _gains(gain: Grid, worth: Grid, price: Grid, least: np.float32, closed: bool) -> None:
    """Most that a stretch gains up to each place, row by row from the second on, between the columns at either side."""
    for row in range(1, len(worth)):
        if closed:
            _close(gain[row - 1], len(price) // 2)
        _row_gains(gain[row - 1], gain[row], worth[row], price, least, 0, worth.shape[1])


@compiled
def _gains_again(gain: Grid, worth: Grid, price: Grid, least: np.float32, first: int, count: int) -> None:
    """The same for so many columns of a closed grid from the first on, which may be below nought."""
    wide = worth.shape[1]
    begin = first % wide
    for row in range(1, len(worth)):
        _close(gain[row - 1], len(price) // 2)
        _row_gains(gain[row - 1], gain[row], worth[row], price, least, begin, min(wide, begin + count))
        _row_gains(gain[row - 1], gain[row], worth[row], price, least, 0, max(0, begin + count - wide))


@compiled
def _close(before: Grid, most: int) -> None:
    """What lies at either side of a closed row."""
    wide = len(before) - 2 * most
    before[:most], before[most + wide :] = before[wide : wide + most], before[most : 2 * most]


@compiled
def _row_gains(before: Grid, after: Grid, worth: Grid, price: Grid, least: np.float32, start: int, stop: int) -> None:
    """One row's gains from those of the one before, between two columns."""
    come, now, here = before[start:], after[start + len(price) // 2 :], worth[start:]
    for k in range(stop - start):
        now[k] = come[k] - price[0]
    for step in range(1, len(price)):
        for k in range(stop - start):
            now[k] = max(now[k], come[k + step] - price[step])
    for k in range(stop - start):
        now[k] = max(now[k] + here[k], least)


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
