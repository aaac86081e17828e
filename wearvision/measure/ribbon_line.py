"""The best line near a guess for a groove of known width: both lips must be there, or another grey between them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.evidence import Evidence
from wearvision.measure.plane import Array

HIGHEST, ALONE = np.float32(4.0), np.float32(1.55)
"""Highest strength of a lip; and half way between the weaker lip of a weakly lit groove and that of no groove at all,
in usual strengths."""
USUAL, OTHER, MOST = np.float32(1.2), np.float32(0.8), np.float32(2.0)
"""Least unlikeness taken for the face beside; what more counts even where a lip is not seen; and how much at most."""
SLACK, BESIDE, SKIP = 0.06, 0.5, 2
"""How far a lip may lie off, and how far the face beside reaches, as shares of the width; cells from it to a
lip."""
ROOM = 12
"""Cells beyond what a line can reach and twice the width, so that no line meets the rim."""
ASIDE, FIRST_ASIDE = 1.0, 0.1
"""What a side step of one cell costs, and each cell off the guess to begin with."""
OUT = -1e9
"""Worth of a cell that no line may take."""
HALF, NOUGHT, ONE = np.float32(0.5), np.float32(0.0), np.float32(1.0)


def best_line(
    found: Evidence, width: float, span: NDArray[np.int64], guess: Array, reach: int
) -> tuple[Array, Array]:  # fmt: skip
    """The line's cells, and how much each speaks for a groove.

    Parameters
    ----------
    width : of the groove, cells
    span : (N,) rows of the search, one after the other, round the lap
    guess : (N,) cells
    reach : how far the line may lie from it, cells
    """
    room = reach + 2 * int(width) + ROOM
    first, stop = max(0, int(guess.min()) - room), min(found.z.shape[1], int(guess.max()) + room)
    lips = both_lips(found, width, first, stop)
    middle = np.rint(guess - first).astype(np.int64)
    gain = _near(lips, span, middle, reach)
    path = np.empty(len(span), dtype=np.int64)
    _follow(gain, middle, np.empty_like(gain), path)
    cells = np.minimum(np.maximum(middle - reach + path, 0), stop - first - 1)
    return cells + float(first), gain[np.arange(len(span)), path]


@compiled
def _near(lips: Grid, span: NDArray[np.int64], middle: NDArray[np.int64], reach: int) -> Array:
    """What stands within `reach` cells of the middle ones in some rows round the lap, (N, 2 reach + 1); beyond the rim
    that of its cell."""
    lap, last = lips.shape[0], lips.shape[1] - 1
    out = np.empty((len(span), 2 * reach + 1))
    for n in range(len(span)):
        row, here = lips[span[n] % lap], out[n]
        for k in range(len(here)):
            here[k] = row[min(max(middle[n] - reach + k, 0), last)]
    return out


def both_lips(found: Evidence, width: float, first: int, stop: int) -> Grid:
    """How much a cell speaks for being the middle of a groove of known width (cells), (T', stop - first)."""
    slack, near = max(1, round(SLACK * width)), max(3, round(BESIDE * width))
    a, b = int(np.floor(width / 2 + 0.5)), int(np.ceil(width / 2 - 0.5))
    out = np.empty((len(found.z), stop - first), dtype=np.float32)
    rim = a + near + SKIP + 1
    line = np.zeros((3, stop - first + 2 * rim), dtype=np.float32)
    _score_rows(found.z, found.off, first, np.array([a, b, slack, near, rim]), line, out)
    return out


@compiled
def _score_rows(z: Grid, off: Grid, first: int, shape: NDArray[np.int64], line: Grid, out: Grid) -> None:
    """Fill the scores row by row; `line` is room, in a rim of nought, for crests, lips and running sums."""
    slack, rim, columns = shape[2], shape[4], out.shape[1]
    crests, lips, sums = line[0], line[1], line[2]
    for i in range(len(out)):
        for c in range(columns):
            crests[rim + c] = min(z[i, first + c], HIGHEST)
            sums[rim + c + 1] = sums[rim + c] + off[i, first + c]
        for at in range(rim, rim + columns):
            lips[at] = _highest(crests, at, slack)
        _score_row(lips, sums, shape, out[i])
        for c in range(columns):
            out[i, c] = out[i, c] if z[i, first + c] > NOUGHT else NOUGHT


@compiled
def _score_row(lips: Grid, sums: Grid, shape: NDArray[np.int64], here: Grid) -> None:
    """Scores of one row: the weaker lip, and the mean unlikeness between the lips against that beside."""
    a, b, near, rim = shape[0], shape[1], shape[3], shape[4]
    low, high = min(1 - a, b - 1), max(1 - a, b - 1) + 1
    inner, outer, start, stop = lips[rim - a :], lips[rim + b :], sums[rim + low :], sums[rim + high :]
    left, left_end = sums[rim - a - SKIP - near :], sums[rim - a - SKIP + 1 :]
    right, right_end = sums[rim + b + SKIP :], sums[rim + b + SKIP + near + 1 :]
    width, beside = np.float32(high - low), np.float32(near + 1)
    for c in range(len(here)):
        usual = max(HALF * ((left_end[c] - left[c]) / beside + (right_end[c] - right[c]) / beside), USUAL)
        more = min(max((stop[c] - start[c]) / width - usual - OTHER, NOUGHT), ONE)
        here[c] = min(inner[c], outer[c]) - ALONE + MOST * more


@compiled
def _highest(crests: Grid, at: int, slack: int) -> np.float32:
    """The highest crest near a place."""
    best = NOUGHT
    for c in range(at - slack, at + slack + 1):
        best = max(best, crests[c])
    return best


@compiled
def _follow(gain: Array, middle: NDArray[np.int64], total: Array, path: NDArray[np.int64]) -> None:
    """Fill `path` with the place in each row of the line whose gains come to most; `total` is room.

    Places are counted from the middle cell of their row, less as many as lie before it.
    """
    rows, size = gain.shape
    for k in range(size):
        total[0, k] = gain[0, k] - FIRST_ASIDE * abs(k - size // 2)
    for i in range(1, rows):
        drift = middle[i] - middle[i - 1]
        for k in range(size):
            left, stay, right = _before(total[i - 1], k + drift)
            total[i, k] = max(max(left, right) - ASIDE, stay) + gain[i, k]
    best = 0
    for k in range(size):
        best = k if total[rows - 1, k] > total[rows - 1, best] else best
    path[rows - 1] = best
    for i in range(rows - 1, 0, -1):
        at = path[i] + middle[i] - middle[i - 1]
        left, stay, right = _before(total[i - 1], at)
        step = 0 if stay >= max(left, right) - ASIDE else -1 if left >= right else 1
        path[i - 1] = min(max(at + step, 0), size - 1)


@compiled
def _before(total: Array, at: int) -> tuple[float, float, float]:
    """The entry before, at and after a place."""
    size = len(total)
    return (
        total[at - 1] if 0 <= at - 1 < size else OUT, total[at] if 0 <= at < size else OUT,
        total[at + 1] if 0 <= at + 1 < size else OUT,
    )  # fmt: skip
