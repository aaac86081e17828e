"""Where a face may have pits: spots darker than what lies round them, on a coarse map of it."""

from __future__ import annotations

import cv2
import numpy as np

from wearvision.measure.finders.face_map import TONE, Bytes, FaceMap, set_cells
from wearvision.measure.plane import Array

RADII_MM = (0.42, 0.6, 0.85, 1.2, 1.7, 2.4, 3.4)
"""Radii of spots looked for."""
COARSE = 3.5
"""Radius in samples above which a map of half the size will do."""
FIRST_DARK, FIRST_ROUGH = 0.11, 5.0
"""Least darkness of a spot (log grey), and in the mean of what the face itself shows at that size."""
ROUND_TURNS, ROUND_FAR, ROUND_SHARE = 16, 1.75, 0.7
"""On a circle so many radii out, at so many places, this share must be lighter than the middle."""
MOST = 320


def dark_spots(flat: FaceMap) -> Array:
    """Column, row and radius (N, 3), samples, of spots darker than their surroundings all round, darkest first."""
    small, face, shrink = flat.even(), flat.face, 1
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
    return _first_of_each(np.vstack(found), flat.tone.shape[0])


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
    lit = _lit_round(tone, columns, rows, radius, 0.5 * dark)
    spots = np.column_stack([columns, rows, np.full(len(rows), radius), dark])
    return np.asarray(spots[lit >= ROUND_SHARE], dtype=np.float64)


def _lit_round(tone: Bytes, columns: Bytes, rows: Bytes, radius: float, least: Array) -> Array:
    """Share of a circle round each place that is lighter than its middle by as much as asked."""
    turn = np.arange(ROUND_TURNS) * 2 * np.pi / ROUND_TURNS
    tall, wide = tone.shape
    x = np.clip(np.rint(columns[:, None] + ROUND_FAR * radius * np.cos(turn)).astype(int), 0, wide - 1)
    y = np.clip(np.rint(rows[:, None] + ROUND_FAR * radius * np.sin(turn)).astype(int), 0, tall - 1)
    inside = max(1, round(0.4 * radius))
    middle = np.mean([
        tone[np.clip(rows + dy, 0, tall - 1), np.clip(columns + dx, 0, wide - 1)].astype(np.float64)
        for dx, dy in ((0, 0), (inside, 0), (-inside, 0), (0, inside), (0, -inside))
    ], axis=0)  # fmt: skip
    return np.asarray((tone[y, x] > (middle + least)[:, None]).mean(axis=1))


def _first_of_each(spots: Array, side: int) -> Array:
    """Spots (column, row, radius, darkness), darkest first, without those in the middle of a darker one: (N, 3)."""
    taken = np.zeros((side, side), np.uint8)
    out = []
    for x, y, radius, _ in spots[np.argsort(-spots[:, 3])].tolist():
        at = (min(side - 1, round(x)), min(side - 1, round(y)))
        if taken[at[1], at[0]]:
            continue
        out.append((x, y, radius))
        cv2.circle(taken, at, max(1, round(0.7 * radius)), 1, -1)
        if len(out) == MOST:
            break
    return np.array(out).reshape(-1, 3)
