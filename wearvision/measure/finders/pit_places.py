"""Where a face may have pits: spots darker than what lies round them, on a coarse map of it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.finders.face_map import TONE, Bytes, FaceMap
from wearvision.measure.plane import Array

RADII_MM = (0.42, 0.6, 0.85, 1.2, 1.7, 2.4, 3.4)
"""Radii of spots looked for."""
COARSE = 3.5
"""Radius in samples above which a map of half the size will do."""
FIRST_DARK, FIRST_ROUGH = 0.11, 5.0
"""Least darkness of a spot (log grey), and in the mean of what the face itself shows at that size."""
TURNS: Array = np.column_stack([f(np.arange(16) * 2 * np.pi / 16) for f in (np.cos, np.sin)])
ROUND_FAR, ROUND_SHARE = 1.75, 0.7
"""On a circle so many radii out, at these places, this share must be lighter than the middle."""
IN_MIDDLE = 0.7
"""Share of a spot's radius about its middle in which no other, less dark, is looked at."""
MOST = 320


def dark_spots(flat: FaceMap) -> Array:
    """Column, row and radius (N, 3), samples, of spots darker than their surroundings all round, darkest first."""
    small, face, shrink = flat.tone, flat.face, 1
    found = []
    for radius_mm in RADII_MM:
        r = radius_mm / flat.step_mm
        while r / shrink > COARSE:
            half = (small.shape[1] // 2, small.shape[0] // 2)
            small = np.asarray(cv2.resize(small, half, interpolation=cv2.INTER_AREA))
            face = np.asarray(cv2.resize(face, half, interpolation=cv2.INTER_NEAREST))
            shrink *= 2
        spots = _peaks(small, face, r / shrink)
        spots[:, :2] = (spots[:, :2] + 0.5) * shrink - 0.5
        spots[:, 2] *= shrink
        found.append(spots)
    return _first_of_each(np.vstack(found))


def _peaks(tone: Bytes, face: Bytes, radius: float) -> Array:
    """Column, row, radius and darkness (N, 4) of spots of a radius: what lies round them less what lies in them."""
    inside, about = 2 * round(0.55 * radius) + 1, 2 * round(1.7 * radius) + 1
    darker = cv2.subtract(cv2.blur(tone, (about, about)), cv2.blur(tone, (inside, inside)))
    usual = cv2.mean(cv2.bitwise_and(darker, face))[0] * face.size / max(1, cv2.countNonZero(face))
    reach = 2 * round(0.5 * radius) + 1
    top = cv2.compare(darker, cv2.dilate(darker, np.ones((reach, reach), np.uint8)), cv2.CMP_GE)
    _, deep = cv2.threshold(darker, max(FIRST_DARK / TONE, FIRST_ROUGH * usual), 255, cv2.THRESH_BINARY)
    rows, columns = set_cells(cv2.bitwise_and(cv2.bitwise_and(top, deep), face))
    dark = darker[rows, columns].astype(np.float64)
    darkest = np.argsort(-dark)[:MOST]
    rows, columns, dark = rows[darkest], columns[darkest], dark[darkest]
    lit = _lit_round(tone, columns, rows, float(radius), 0.5 * dark, TURNS)
    spots = np.column_stack([columns, rows, np.full(len(rows), radius), dark])
    return np.asarray(spots[lit >= ROUND_SHARE], dtype=np.float64)


def set_cells(mask: Bytes) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows and columns where a mask is not 0, in reading order: by words of eight cells, as few are."""
    flat = mask.ravel()
    whole = flat.size - flat.size % 8
    words = np.flatnonzero(flat[:whole].view(np.uint64) != 0)
    cells = np.append((8 * words[:, None] + np.arange(8)).ravel(), np.arange(whole, flat.size))
    rows, columns = np.divmod(cells[flat[cells] > 0], mask.shape[1])
    return rows, columns


@compiled
def _lit_round(
    tone: Bytes, columns: NDArray[np.int64], rows: NDArray[np.int64], radius: float, least: Array, turns: Array
) -> Array:
    """Share of a circle round each place that is lighter than its middle by as much as asked."""
    tall, wide = tone.shape
    inside, lit = max(1, round(0.4 * radius)), np.zeros(len(rows))
    for k in range(len(rows)):
        x, y = columns[k], rows[k]
        left, right = tone[y, max(x - inside, 0)], tone[y, min(x + inside, wide - 1)]
        above, below = tone[max(y - inside, 0), x], tone[min(y + inside, tall - 1), x]
        middle = (np.float64(tone[y, x]) + left + right + above + below) / 5
        for cos, sin in turns:
            at_x = min(max(int(np.rint(x + ROUND_FAR * radius * cos)), 0), wide - 1)
            at_y = min(max(int(np.rint(y + ROUND_FAR * radius * sin)), 0), tall - 1)
            lit[k] += tone[at_y, at_x] > middle + least[k]
    return lit / len(turns)


def _first_of_each(spots: Array) -> Array:
    """Spots (column, row, radius, darkness), darkest first, without those in the middle of a darker one: (N, 3)."""
    ordered = spots[np.argsort(-spots[:, 3])]
    return np.asarray(ordered[_apart(ordered)][:, :3])


@compiled
def _apart(spots: Array) -> NDArray[np.int64]:
    """The first `MOST` spots that do not lie in the middle of one before them."""
    kept, count = np.empty(MOST, np.int64), 0
    for k in range(len(spots)):
        free = True
        for other in kept[:count]:
            across, down = spots[k, 0] - spots[other, 0], spots[k, 1] - spots[other, 1]
            free = free and across * across + down * down > (IN_MIDDLE * spots[other, 2]) ** 2
        if free:
            kept[count] = k
            count += 1
        if count == MOST:
            break
    return kept[:count]
