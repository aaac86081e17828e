"""How much each cell of an unwrapped ring speaks for being the middle of a ribbon, for each of some widths."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.evidence import Evidence
from wearvision.measure.plane import Array

CLIP, OFFSET = np.float32(5.0), np.float32(2.0)
"""An edge scores min(z, CLIP) - OFFSET, z its strength over the usual strength nearby."""
INSIDE, OUTSIDE = np.float32(0.15), np.float32(0.4)
"""Part of the score of edges inside the ribbon that speaks for it, and of edges just outside that speaks against."""
USUAL, HIGHEST = np.float32(1.6), np.float32(3.0)
"""Unlikeness met on a sound face, and the highest that counts."""
UNLIKE, MASS, BESIDE = 1.0, 1.0, np.float32(3.0)
"""Weight of being unlike the face inside the ribbon: in all, and per mm of width; and just outside (against)."""
MOST, UNSEEN, NOWHERE = np.float32(12.0), np.float32(-0.05), np.float32(-4.0)
"""Highest score of a row; score where nothing is seen; score where a ribbon cannot be."""
SLACK, NEAR, NEAR_PX = 0.08, 0.3, 4.0
"""How far a lip may lie off, and how far the face beside reaches, as shares of the width; the latter at least so
far."""
HALF, NOUGHT = np.float32(0.5), np.float32(0.0)


def lip_pairs(found: Evidence, widths: Array, cell_px: float, cell_mm: float) -> Grid:
    """Score (T', W, R') of a ribbon centred on a cell, for each width in cells (rising).

    Parameters
    ----------
    cell_px, cell_mm : width of a cell
    """
    left, right = np.floor(widths / 2 + 0.5), np.ceil(widths / 2 - 0.5)
    slack = np.maximum(1, np.rint(SLACK * widths))
    near = np.maximum(1, np.rint(np.maximum(NEAR_PX / cell_px, NEAR * widths)))
    shapes = np.column_stack([left, right, slack, near]).astype(np.int64)
    rows, columns = found.z.shape
    out = np.full((rows, len(widths), columns), NOWHERE)
    line = np.zeros((4, columns + 1), dtype=np.float32)
    _score_rows(found.z, found.off, shapes, UNLIKE + MASS * widths * cell_mm, line, out)
    return out


@compiled
def _score_rows(z: Grid, off: Grid, shapes: NDArray[np.int64], weights: Array, line: Grid, out: Grid) -> None:
    """Fill the scores row by row; a shape is the cells to the inner lip and to the outer, slack and reach beside.

    `line` is room for a row's crests, lips (the highest crest near), and running sums of unlikeness and of edges.
    """
    rows, widths, columns = out.shape
    crest, lips, unlike, edges = line[0], line[1], line[2], line[3]
    for i in range(rows):
        for c in range(columns):
            lips[c] = crest[c] = min(z[i, c], CLIP) - OFFSET
            unlike[c + 1] = unlike[c] + off[i, c]
            edges[c + 1] = edges[c] + max(crest[c], NOUGHT)
        slack = 0
        for k in range(widths):
            here, shape = out[i, k], shapes[k]
            while slack < shape[2]:
                slack += 1
                _widen(lips, crest, slack, columns)
            _score_width(here, lips, unlike, edges, shape, weights[k])
            for c in range(columns):
                here[c] = UNSEEN if z[i, c] <= NOUGHT else min(here[c], MOST)


@compiled
def _widen(lips: Grid, crest: Grid, slack: int, columns: int) -> None:
    """The highest crest within one cell more on either side."""
    ahead, behind, rest = crest[slack:], lips[slack:], columns - slack
    for c in range(rest):
        lips[c] = max(lips[c], ahead[c])
    for c in range(rest):
        behind[c] = max(behind[c], crest[c])


@compiled
def _score_width(
    here: Grid, lips: Grid, unlike: Grid, edges: Grid, shape: NDArray[np.int64], weight: float
) -> None:  # fmt: skip
    """Scores of one row and width: the lips wherever both lie in the strip, the rest wherever all of it does.

    Of `unlike` and `edges` entry c is the sum before cell c.
    """
    a, b, slack, near = shape[0], shape[1], shape[2], shape[3]
    middle, inner, outer = here[a + 1 : len(here) - b - 1], lips[1:], lips[a + b + 1 :]
    for c in range(len(middle)):
        middle[c] = min(inner[c], outer[c]) + HALF * (inner[c] + outer[c])
    at = a + slack + near + 2
    total, far = here[at : len(here) - at], near + 1
    left, right = at - a - slack - near, at + b + slack
    _add_inside(total, unlike[at + 1 - a :], unlike[at + b :], np.float32(a + b - 1), weight)
    _take_beside(total, unlike[left:], unlike[left + far :], unlike[right:], unlike[right + far :], np.float32(far))
    _add_between(total, INSIDE, edges[at + slack + 1 - a :], edges[at + b - slack :])
    _add_between(total, -OUTSIDE, edges[left:], edges[left + near :])
    _add_between(total, -OUTSIDE, edges[right + 1 :], edges[right + 1 + near :])


@compiled
def _add_inside(total: Grid, low: Grid, high: Grid, count: np.float32, weight: float) -> None:
    """How unlike the face the mean between the lips is."""
    for c in range(len(total)):
        unlike = min((high[c] - low[c]) / count, HIGHEST) - USUAL
        total[c] = np.float32(total[c] + weight * unlike)


@compiled
def _take_beside(total: Grid, low: Grid, high: Grid, low2: Grid, high2: Grid, count: np.float32) -> None:
    """How unlike the face it is just outside, on the side where it is more so."""
    for c in range(len(total)):
        unlike = max((high[c] - low[c]) / count, (high2[c] - low2[c]) / count)
        total[c] -= BESIDE * max(unlike - USUAL, NOUGHT)


@compiled
def _add_between(total: Grid, weight: np.float32, low: Grid, high: Grid) -> None:
    """The edges between two places, weighed."""
    for c in range(len(total)):
        total[c] += weight * (high[c] - low[c])
