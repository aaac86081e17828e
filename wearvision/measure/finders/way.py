"""The best way through a grid of worths, row by row."""

from __future__ import annotations

from collections.abc import Sequence
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
    return _traced(_gains(worth[:, None], cost, most, closed, start)[:, 0], cost, most, start is None)


def best_stretches(worths: Sequence[Grid], cost: float, most: int) -> list[Stretch]:
    """`best_stretch` of many grids, (N, M) each of its own, all at once."""
    rows, wide = (max((worth.shape[k] for worth in worths), default=0) for k in (0, 1))
    together: Grid = np.full((rows, len(worths), wide), -np.inf, dtype=np.float32)
    for k, worth in enumerate(worths):
        together[: worth.shape[0], k, : worth.shape[1]] = worth
    gains = _gains(together, cost, most) if worths else together
    return [_traced(np.ascontiguousarray(gains[: len(w), k]), cost, most, True) for k, w in enumerate(worths)]


def _gains(worth: Grid, cost: float, most: int, closed: bool = False, start: int | None = None) -> Grid:
    """Most that a stretch gains up to each place (N, L, M) of L grids, with `most` columns more on either side."""
    count, lines, wide = worth.shape
    gain: Grid = np.full((count, lines, wide + 2 * most), -np.inf, dtype=np.float32)
    inner = slice(most, most + wide)
    least = np.float32(0.0 if start is None else -np.inf)
    gain[0, :, inner] = np.maximum(worth[0], 0) if start is None else np.where(np.arange(wide) == start, 0, -np.inf)
    price = (cost * np.abs(np.arange(-most, most + 1))).astype(np.float32)[:, None]
    came = np.empty((lines, 2 * most + 1, wide), dtype=np.float32)
    aside = np.lib.stride_tricks.sliding_window_view(gain, wide, axis=2)
    for k in range(1, count):
        if closed:
            before = gain[k - 1]
            before[:, :most], before[:, -most:] = before[:, wide : wide + most], before[:, most : 2 * most]
        np.subtract(aside[k - 1], price, out=came)
        best = np.maximum.reduce(came, axis=1, out=gain[k, :, inner])
        np.maximum(np.add(best, worth[k], out=best), least, out=best)
    return gain


def _traced(gain: Grid, cost: float, most: int, free: bool) -> Stretch:
    """The way back from the highest gain."""
    wide = gain.shape[1] - 2 * most
    last, column = divmod(int(np.argmax(gain[:, most : most + wide])), wide)
    columns, price = [column], (cost * np.abs(np.arange(-most, most + 1))).astype(np.float32)
    for row in range(last - 1, -1, -1):
        first = columns[-1] % wide
        near = gain[row, first : first + 2 * most + 1]
        step = int((near - price).argmax())
        if free and near[step] <= 0:
            break
        columns.append(columns[-1] + step - most)
    return Stretch(
        first=last + 1 - len(columns), columns=np.array(columns[::-1]), gain=float(gain[last, column + most])
    )
