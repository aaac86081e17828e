"""Where a face may have pits: spots darker than what lies round them, on a coarse map of it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.finders.face_map import TONE, Bytes, FaceMap
from wearvision.measure.plane import Array

Sums = NDArray[np.int32]
RADII_MM = (0.42, 0.6, 0.85, 1.2, 1.7, 2.4, 3.4)
"""Radii of spots looked for."""
COARSE = 2.9
"""Radius in samples above which a map of half the size will do."""
FIRST_DARK, FIRST_ROUGH = 0.11, 5.0
"""Least darkness of a spot (log grey), and in the mean of what the face itself shows at that size."""
TURNS: Array = np.column_stack([f(np.arange(16) * 2 * np.pi / 16) for f in (np.cos, np.sin)])
ROUND_FAR, ROUND_SHARE = 1.75, 0.7
"""On a circle so many radii out, at these places, this share must be lighter than the middle."""
IN_MIDDLE = 0.7
"""Share of a spot's radius about its middle in which no other, less dark, is looked at."""
MOST = 500
PAD, HALF = 6, np.float32(0.5)
"""Samples that the largest square of a spot reaches out."""


def dark_spots(flat: FaceMap) -> Array:
    """Column, row and radius (N, 3), samples, of spots darker than their surroundings all round, darkest first."""
    small, face, shrink = flat.tone, flat.face, 1
    total, found = _sums(small), []
    for radius_mm in RADII_MM:
        r = radius_mm / flat.step_mm
        while r / shrink > COARSE:
            half = (small.shape[1] // 2, small.shape[0] // 2)
            small = np.asarray(cv2.resize(small, half, interpolation=cv2.INTER_AREA))
            face = np.asarray(cv2.resize(face, half, interpolation=cv2.INTER_NEAREST))
            total = _sums(small)
            shrink *= 2
        spots = _peaks(small, total, face, r / shrink)
        spots[:, :2] = (spots[:, :2] + 0.5) * shrink - 0.5
        spots[:, 2] *= shrink
        found.append(spots)
    return _first_of_each(np.vstack(found))


def _sums(tone: Bytes) -> Sums:
    """Sums of all before each row and column of a map that goes on mirrored for `PAD` samples all round."""
    return np.asarray(cv2.integral(cv2.copyMakeBorder(tone, PAD, PAD, PAD, PAD, cv2.BORDER_REFLECT_101)))


def _peaks(tone: Bytes, total: Sums, face: Bytes, radius: float) -> Array:
    """Column, row, radius and darkness (N, 4) of spots of a radius: what lies round them less what lies in them."""
    darker = _darker(total, tone.shape, round(0.55 * radius), round(1.7 * radius))
    shown = cv2.bitwise_and(darker, face)
    usual = cv2.mean(shown)[0] * face.size / max(1, cv2.countNonZero(face))
    _, deep = cv2.threshold(shown, max(FIRST_DARK / TONE, FIRST_ROUGH * usual), 255, cv2.THRESH_BINARY, dst=shown)
    rows, columns = set_cells(deep)
    top = _tops(darker, rows, columns, round(0.5 * radius))
    rows, columns = rows[top], columns[top]
    dark = darker[rows, columns].astype(np.float64)
    darkest = np.argsort(-dark)[:MOST]
    rows, columns, dark = rows[darkest], columns[darkest], dark[darkest]
    lit = _lit_round(tone, columns, rows, float(radius), 0.5 * dark, TURNS)
    spots = np.column_stack([columns, rows, np.full(len(rows), radius), dark])
    return np.asarray(spots[lit >= ROUND_SHARE], dtype=np.float64)


@compiled
def _darker(total: Sums, shape: tuple[int, int], inside: int, about: int) -> Bytes:
    """How much darker the square that reaches so far out is than one that reaches farther, in whole means of bytes."""
    darker = np.empty(shape, np.uint8)
    share, share_about = np.float32(1 / (2 * inside + 1) ** 2), np.float32(1 / (2 * about + 1) ** 2)
    for row in range(shape[0]):
        a, b, c, d = _corners(total, row, shape[1], inside)
        e, f, g, h = _corners(total, row, shape[1], about)
        out = darker[row]
        for k in range(shape[1]):
            middle = np.float32(np.int32(np.int32(d[k] - c[k]) - np.int32(b[k] - a[k])))
            around = np.float32(np.int32(np.int32(h[k] - g[k]) - np.int32(f[k] - e[k])))
            less = np.int32(around * share_about + HALF) - np.int32(middle * share + HALF)
            out[k] = max(np.int32(less), np.int32(0))
    return darker


@compiled
def _corners(total: Sums, row: int, wide: int, reach: int) -> tuple[Sums, Sums, Sums, Sums]:
    """Sums at the corners of squares about a row's places: above, left and right; below, left and right."""
    left, right = slice(PAD - reach, PAD - reach + wide), slice(PAD + reach + 1, PAD + reach + 1 + wide)
    above, below = total[row + PAD - reach], total[row + PAD + reach + 1]
    return above[left], above[right], below[left], below[right]


@compiled
def _tops(
    values: Bytes, rows: NDArray[np.int64], columns: NDArray[np.int64], reach: int
) -> NDArray[np.bool_]:
    """Which places are as high as all about them that lie so near, both ways."""
    top = np.empty(len(rows), np.bool_)
    for k in range(len(rows)):
        top[k] = not _is_beaten(values, rows[k], columns[k], reach)
    return top


@compiled
def _is_beaten(values: Bytes, row: int, column: int, reach: int) -> bool:
    """Whether any place so near, both ways, is higher."""
    tall, wide = values.shape
    for y in range(max(0, row - reach), min(tall, row + reach + 1)):
        for x in range(max(0, column - reach), min(wide, column + reach + 1)):
            if values[y, x] > values[row, column]:
                return True
    return False


def set_cells(mask: Bytes) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows and columns where a mask is not 0, in reading order: by words of eight cells, as few are."""
    flat, rows = mask.ravel(), np.empty(cv2.countNonZero(mask), np.int64)
    columns = np.empty_like(rows)
    _note_set(flat, flat[: flat.size - flat.size % 8].view(np.uint64), mask.shape[1], rows, columns)
    return rows, columns


@compiled
def _note_set(
    cells: Bytes, words: NDArray[np.uint64], wide: int, rows: NDArray[np.int64], columns: NDArray[np.int64]
) -> None:
    """Fill in rows and columns of cells that are not 0, known by words of eight and the few after those."""
    count, row, first = 0, 0, 0
    for word in range(len(words) + 1):
        if word < len(words) and words[word] == 0:
            continue
        for k in range(8 * word, min(8 * word + 8, len(cells))):
            if cells[k]:
                while k >= first + wide:
                    row, first = row + 1, first + wide
                rows[count], columns[count] = row, k - first
                count += 1


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
