"""How clearly upright edges run through each place of a map: its steps of log grey, summed along them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, slope

USUAL, LEAST_SLOPE = 88.0, 0.006
"""Edges are held against this percentile of the map's own slopes, and a least step of log grey per sample."""
FROM, FULL = 0.5, 3.5
"""So many times as steep as that an edge begins to count, and counts in full."""
SOME = 7
"""Every so many samples are enough for a percentile."""


def upright_edges(log: Grid, seen: NDArray[np.bool_], run: int) -> Grid:
    """How clearly an upright edge runs through each sample (H, W), 0 to 1; 0 where nothing is seen.

    Parameters
    ----------
    log : (H, W) logarithm of grey
    run : samples along an edge over which its step is summed
    """
    steep = slope(log, 1.0)
    steep *= seen
    size = mean_down(steep, run)
    some = SOME * np.flatnonzero(seen.ravel()[::SOME])
    usual = percentile(np.abs(size.ravel()[some]), USUAL) if len(some) else 1.0
    _share(size, seen, np.float32(1 / ((FULL - FROM) * (usual + LEAST_SLOPE))), np.float32(FROM / (FULL - FROM)))
    return size


def percentile(values: NDArray[np.floating], share: float) -> float:
    """Percentile of finite numbers (N,), N > 0, as numpy's: one place in order costs a tenth of two at once."""
    place = share / 100 * (len(values) - 1)
    order = np.partition(values, int(place))
    low, above = float(order[int(place)]), order[int(place) + 1 :]
    return low + (place % 1) * (float(above.min()) - low) if len(above) else low


@compiled
def mean_down(values: Grid, run: int) -> Grid:
    """Mean (H, W) over `run` samples down the columns, the rim mirrored: OpenCV's blur at a third of its cost."""
    high, wide = values.shape
    before, after, share = run // 2, run - run // 2, 1.0 / run
    mean, total = np.empty((high, wide), dtype=np.float32), np.zeros(wide)
    for aside in range(-before, after):
        total += values[_mirrored(aside, high)]
    for row in range(high):
        new, old = _mirrored(row + after, high), _mirrored(row - before, high)
        for column in range(wide):
            mean[row, column] = total[column] * share
            total[column] += np.float64(values[new, column]) - np.float64(values[old, column])
    return mean


@compiled
def _mirrored(place: int, count: int) -> int:
    """A place beyond either end, mirrored there; never one that is not there."""
    place = abs(place)
    return place if place < count else max(2 * (count - 1) - place, 0)


@compiled
def _share(size: Grid, seen: NDArray[np.bool_], scale: np.float32, less: np.float32) -> None:
    """What takes its place: size of the steepest of a sample and its neighbours in the row, scaled to 0 to 1."""
    high, wide = size.shape
    padded = np.zeros(wide + 2, dtype=np.float32)
    none, one = np.float32(0), np.float32(1)
    for row in range(high):
        for column in range(wide):
            padded[column + 1] = abs(size[row, column])
        for column in range(wide):
            before, best, after = padded[column], padded[column + 1], padded[column + 2]
            best = before if before > best else best
            best = (after if after > best else best) * scale - less
            best = best if best > none else none
            best = best if best < one else one
            size[row, column] = best * np.float32(seen[row, column])
