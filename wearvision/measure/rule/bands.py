"""Where a band of regular marks may lie: lines along which the picture's gradient runs, seen on coarse cells.

Along a row of marks all gradients point along the row. Each cell whose gradients agree votes for the lines
through it in about that direction; lines that gather more votes than their neighbours beside them are candidates.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Gray = NDArray[np.uint8]
Array = NDArray[np.float64]

WORK_PX = 2500
"""Longest side of the searched copy: finest marks of 5 px on a 12 megapixel photo are still told apart."""
CELL_PX = 8
MOST_CELLS = 14000
TURN_DEG = 3.0
"""Step of the directions voted for."""
SKEW_STEPS = 6
"""Marks stand within 6 steps of square to their rule in the photo, at tilts up to 35 degrees."""
MOST_ALIKE, ALIKE = 4, 0.1
"""Candidates taken of one direction (within so many rad): a field of parallel lines is not all there is."""
FIELD = 9
"""Cells across of a surrounding that, when all of it is lined alike, makes a cell part of a field and of no row."""
COHERENCE = 0.45
"""Least agreement of a cell's gradients, 0 to 1."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Line:
    """A candidate: a straight line with the marks' direction along it.

    Attributes
    ----------
    centre_px, along : (2,) arrays
        A point of it and its unit direction; across is `along` turned by +90 degrees (x to y).
    skew : (offset, slope)
        A mark through the point t (px from the centre) runs along `across + (offset + slope t) along`.
    votes : float
        Of the cells along it, one for each cell of the photo's long side.
    """

    centre_px: Array
    along: Array
    skew: tuple[float, float]
    votes: float

    @property
    def across(self) -> Array:
        """Unit vector square to the line."""
        return np.array([-self.along[1], self.along[0]])


@dataclass(frozen=True, kw_only=True, eq=False)
class _Cells:
    """Cells whose gradients agree: place (N, 2) px, direction (N,) rad mod pi, weight (N,)."""

    place: Array
    turn: Array
    weight: Array
    step_px: float


def find_lines(gray: Gray, most: int = 12) -> Iterator[Line]:
    """Candidate lines, most votes first, px of the photo, as they are asked for."""
    cells = _cells(gray)
    if len(cells.weight) < 8:
        return
    middle = (np.array(gray.shape[::-1], dtype=np.float64) - 1) / 2
    lines: list[Line] = []
    for turn, far, votes in _peaks(cells, middle, float(np.hypot(*gray.shape)) / 2, 3 * most):
        line = _refined(cells, middle, turn, far, votes * cells.step_px / max(gray.shape))
        if line is None or sum(abs(float(line.along @ o.across)) < ALIKE for o in lines) >= MOST_ALIKE:
            continue
        if all(_apart(line, other, cells.step_px) for other in lines):
            lines.append(line)
            yield line
        if len(lines) == most:
            return


def _cells(gray: Gray) -> _Cells:
    factor = max(1, -(-max(gray.shape) // WORK_PX))
    image = gray
    if factor > 1:
        image = np.asarray(cv2.resize(gray, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA))
    rows, columns = (n // CELL_PX for n in image.shape)
    dx, dy = cv2.spatialGradient(np.ascontiguousarray(image[: rows * CELL_PX, : columns * CELL_PX]))
    xx, yy, xy = (
        cv2.resize(cv2.multiply(a, b, dtype=cv2.CV_32F), (columns, rows), interpolation=cv2.INTER_AREA)
        for a, b in ((dx, dx), (dy, dy), (dx, dy))
    )
    energy = xx + yy + 1e-3
    agree = np.hypot(xx - yy, 2 * xy) / energy
    strength = np.sqrt(energy)
    top = float(np.quantile(strength, 0.97))
    weight = np.clip(agree - COHERENCE, 0, None) * np.minimum(strength, top) / top
    cos, sin = (weight * v / energy / np.maximum(agree, 1e-6) for v in (xx - yy, 2 * xy))
    field = np.hypot(cv2.blur(cos, (FIELD, FIELD)), cv2.blur(sin, (FIELD, FIELD)))
    weight = np.maximum(weight - 0.9 * field, 0.1 * weight)
    least = np.partition(weight.ravel(), -MOST_CELLS)[-MOST_CELLS] if weight.size > MOST_CELLS else 0.0
    y, x = np.nonzero(weight > max(float(least), 0.02))
    step = CELL_PX * factor
    return _Cells(
        place=(np.column_stack([x, y]) + 0.5) * step - 0.5, turn=0.5 * np.arctan2(2 * xy, xx - yy)[y, x],
        weight=weight[y, x].astype(np.float64), step_px=float(step),
    )  # fmt: skip


def _peaks(cells: _Cells, middle: Array, reach: float, most: int) -> list[tuple[float, float, float]]:
    """Direction (rad), distance from the middle (px) and votes of lines that stand out among parallel ones."""
    turns = round(180 / TURN_DEG)
    wide = int(2 * reach / cells.step_px) + 3
    first = np.rint(np.degrees(cells.turn) / TURN_DEG).astype(int)
    votes = np.zeros((turns, wide))
    off = cells.place - middle
    for skew in range(-SKEW_STEPS, SKEW_STEPS + 1):
        turn = (first + skew) % turns
        angle = np.radians(turn * TURN_DEG)
        far = off[:, 1] * np.cos(angle) - off[:, 0] * np.sin(angle)
        cell = np.rint((far + reach) / cells.step_px).astype(int) + 1
        votes += np.bincount(turn * wide + cell, cells.weight, turns * wide).reshape(votes.shape)
    image = votes.astype(np.float32)
    stand = cv2.blur(image, (3, 1)) - cv2.blur(image, (15, 1))
    found = []
    for _ in range(most):
        _, top, _, (column, k) = cv2.minMaxLoc(stand)
        if top <= 0.3:
            break
        found.append((float(np.radians(k * TURN_DEG)), (column - 1) * cells.step_px - reach, float(top)))
        for near in range(k - 2, k + 3):
            at = column if 0 <= near < turns else wide - 1 - column
            stand[near % turns, max(0, at - 2) : at + 3] = 0
    return found


def _refined(cells: _Cells, middle: Array, turn: float, far: float, votes: float) -> Line | None:
    """The line through the cells near a peak, and how their marks are skewed."""
    along = np.array([np.cos(turn), np.sin(turn)])
    centre = middle + far * np.array([-along[1], along[0]])
    for reach in (2.0, 1.5, 1.2):
        across = (cells.place - centre) @ np.array([-along[1], along[0]])
        near = np.flatnonzero(np.abs(across) < reach * cells.step_px)
        lean = (cells.turn[near] - np.arctan2(along[1], along[0]) + np.pi / 2) % np.pi - np.pi / 2
        steep = np.abs(lean) < np.radians((SKEW_STEPS + 1) * TURN_DEG)
        mine, lean = near[steep], lean[steep]
        if len(mine) < 6:
            return None
        weight, place = cells.weight[mine], cells.place[mine] - centre
        mean = weight @ place / weight.sum()
        apart = place - mean
        direction = np.linalg.eigh((apart * weight[:, None]).T @ apart)[1][:, 1]
        centre = centre + mean
        along = direction if direction @ along > 0 else -direction
    t = (cells.place[mine] - centre) @ along
    return Line(centre_px=centre, along=along, skew=_skew(t, np.tan(lean), weight), votes=votes)


def _skew(t: Array, lean: Array, weight: Array) -> tuple[float, float]:
    """Offset and slope of the marks' skew, robustly; gradients lean opposite to the marks they stand square on."""
    base = np.column_stack([np.ones(len(t)), t])
    spread = np.diag([1e-6, 1e-2 * float(weight @ t**2) / max(1, len(t))])
    robust = weight.copy()
    fit: Array = np.zeros(2)
    for _ in range(5):
        part = base * robust[:, None]
        fit = np.asarray(np.linalg.solve(part.T @ base + spread, part.T @ lean), dtype=np.float64)
        robust = weight / (1 + ((lean - base @ fit) / 0.08) ** 2)
    return -float(fit[0]), -float(fit[1])


def _apart(line: Line, other: Line, step_px: float) -> bool:
    """Whether two lines are not the same."""
    off = line.centre_px - other.centre_px
    turned = abs(float(line.along @ other.across)) > 0.06
    return turned or abs(float(off @ other.across)) > 1.5 * step_px
