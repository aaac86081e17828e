"""Best-scoring run through scores by row, width and place, by dynamic programming.

As in local sequence alignment (Smith and Waterman 1981, from memory): a run may begin and end in any row; from row to
row it stays, or steps one place aside or to a neighbouring width at a cost.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid

SLIDE, WIDEN, NOTHING = np.float32(1.0), np.float32(4.0), np.float32(0.0)
"""Cost of a side step of one place, and of a step to the next width; worth of a run that has not begun."""
Path = NDArray[np.int64]
"""Row, width and place of each step, (N, 3)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Room:
    """What `best_path` writes to.

    Attributes
    ----------
    table : (T + 1, W + 2, R + 2) float32
        Best score of a run that ends at each entry of the scores, with a rim of nought and a row of it in front.
    tops : (T,) float32
        The best of each row.
    """

    table: Grid
    tops: Grid

    @classmethod
    def of(cls, gain: Grid) -> Room:
        """Room for scores of that shape."""
        rows, widths, places = gain.shape
        return cls(
            table=np.zeros((rows + 1, widths + 2, places + 2), dtype=np.float32), tops=np.zeros(rows, dtype=np.float32)
        )


def best_path(gain: Grid, first: int, room: Room, since: int = 0) -> tuple[Path, float]:
    """The best run, and its score.

    Parameters
    ----------
    gain : (T, W, R) float32
    first : row of the scores to begin at; those before it come last, and rows of the run are counted from it on
    room : overwritten
    since : row of the run before which scores and room are as they were left by a call with the same `first`
    """
    table = room.table
    _fill(gain, first, since, table, room.tops, np.empty(gain.shape[2], dtype=np.float32))
    row = int(np.argmax(room.tops)) + 1
    width, place = (int(n) for n in np.unravel_index(int(np.argmax(table[row])), table.shape[1:]))
    path = np.empty((row, 3), dtype=np.int64)
    return path[_trace(table, row, width, place, path) :], float(table[row, width, place])


@compiled
def _fill(gain: Grid, first: int, since: int, table: Grid, tops: Grid, line: Grid) -> None:
    """Best score of a run that ends at each entry, from some row on, and the best of each row; `line` is room for the
    best of each place."""
    rows, widths, places = gain.shape
    for i in range(since, rows):
        line[:] = NOTHING
        for w in range(widths):
            told, here = gain[(i + first) % rows, w], table[i + 1, w + 1]
            narrower, same, wider = table[i, w], table[i, w + 1], table[i, w + 2]
            for c in range(places):
                aside = max(same[c], same[c + 2]) - SLIDE
                other = max(narrower[c + 1], wider[c + 1]) - WIDEN
                best = max(max(max(aside, other), same[c + 1]) + told[c], NOTHING)
                here[c + 1], line[c] = best, max(line[c], best)
        tops[i] = line.max()


@compiled
def _trace(table: Grid, row: int, width: int, place: int, path: Path) -> int:
    """Fill the path from its end backwards, from each entry to the best it may have come from; where it begins."""
    i, w, c = row, width, place
    while True:
        path[i - 1, 0], path[i - 1, 1], path[i - 1, 2] = i - 1, w - 1, c - 1
        best, wider, aside = table[i - 1, w, c], 0, 0
        for dw, dc in ((0, -1), (0, 1), (-1, 0), (1, 0)):
            came = table[i - 1, w + dw, c + dc] - (SLIDE if dw == 0 else WIDEN)
            if came > best:
                best, wider, aside = came, dw, dc
        if best <= NOTHING:
            return i - 1
        i, w, c = i - 1, w + wider, c + aside
