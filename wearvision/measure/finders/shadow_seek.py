"""Long straight edges on a coarse map that may be those of a straightedge's shadow: each with another beside it.

A straightedge and its shadow make a dark strip: its two sides run about parallel and rise opposite ways.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, log_gray
from wearvision.measure.finders.light_ground import MAP_MM, Ground, askew
from wearvision.measure.patch import Patch
from wearvision.measure.plane import Array

TURN_DEG, EACH, TRIED = 4.0, 3, 8
"""Directions tried, edges kept of each, and edges given."""
COARSE, EDGE_SIGMA, CLIP = 2, 1.2, 5.0
"""Samples of the map that are judged together; its blur, samples; largest rise, in usual ones, that counts."""
RUN_MM, LEAST, LEAST_SEEN = 25.0, 1.5, 100
"""Length over which an edge is judged, its least mean rise in usual rises of the picture, least samples seen."""
APART_MM, TURNED_DEG = 1.2, 10.0
"""Edges nearer and less turned than this are one."""
STRIP_MM = 0.6, 20.0
"""Widths of the dark strip between a straightedge's own edge and that of its shadow."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Rise:
    """An edge on the map: mean rise, a place of it and its direction on the plane; light rises to its left (x to y)."""

    score: float
    middle_mm: Array
    turn_deg: float

    def turned(self, other: Rise, period: float = 360.0) -> float:
        """Angle between two edges, degrees; with a period of 180 whichever way each rises."""
        return abs((self.turn_deg - other.turn_deg + period / 2) % period - period / 2)

    @property
    def along(self) -> Array:
        """Direction (2,)."""
        return np.array([np.cos(np.radians(self.turn_deg)), np.sin(np.radians(self.turn_deg))])

    @property
    def up(self) -> Array:
        """Direction (2,) in which light rises."""
        return np.array([-self.along[1], self.along[0]])


def seek(ground: Ground) -> list[Rise]:
    """Edges of dark strips, strongest first."""
    patch, free = ground.map()
    if free.sum() < LEAST_SEEN:
        return []
    smooth = cv2.GaussianBlur(log_gray(patch.values), (0, 0), EDGE_SIGMA)
    slopes = [cv2.Sobel(smooth, cv2.CV_32F, *order, ksize=3) for order in ((1, 0), (0, 1))]
    usual = float(np.median(np.hypot(*slopes)[free])) + 1e-4
    x, y = (_coarse(np.where(free, slope / usual, 0).astype(np.float32)) for slope in slopes)
    bearing, found = ground.across(patch, COARSE), list[Rise]()
    for turn in np.arange(0.0, 180.0, TURN_DEG):
        rad = np.radians(turn)
        rise = np.clip(y * np.float32(np.cos(rad)) - x * np.float32(np.sin(rad)), -CLIP, CLIP)
        found += _judge(askew(bearing, float(turn), rise), float(turn), patch)
    return _paired(_main_way(_apart(sorted(found, key=lambda s: -s.score))))[:TRIED]


def _coarse(slope: Grid) -> Grid:
    """Means of neighbours, one for each block."""
    return np.asarray(cv2.blur(slope, (COARSE, COARSE))[::COARSE, ::COARSE])


def _judge(rise: Grid, turn: float, patch: Patch) -> list[Rise]:
    """The best few runs of this direction, and of the opposite one, along which it falls."""
    height, width = rise.shape
    side = int(np.hypot(height, width)) + 2
    matrix = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), turn, 1.0)
    matrix[:, 2] += ((side - width) / 2, (side - height) / 2)
    run = (round(RUN_MM / MAP_MM / COARSE) | 1, 1)
    told = cv2.blur(cv2.warpAffine(rise, matrix, (side, side)), run, borderType=cv2.BORDER_CONSTANT)
    back, near = cv2.invertAffineTransform(matrix), round(2 * APART_MM / MAP_MM / COARSE)
    out: list[Rise] = []
    for way, at in ((told, turn), (-told, turn + 180.0)):
        best = way.max(axis=1)
        for _ in range(EACH):
            row = int(np.argmax(best))
            if best[row] < LEAST:
                break
            place = back @ np.array([float(np.argmax(way[row])), row, 1.0]) * COARSE
            middle = patch.to_mm(*(np.array([v]) for v in place))[0]
            out.append(Rise(score=float(best[row]), middle_mm=middle, turn_deg=at))
            best[max(0, row - near) : row + near + 1] = 0
    return out


def _apart(found: list[Rise]) -> list[Rise]:
    """Each edge once."""
    if not found:
        return []
    kept = _once(np.array([rise.middle_mm for rise in found]), np.array([rise.turn_deg for rise in found]))
    return [rise for rise, keep in zip(found, kept, strict=True) if keep]


@compiled
def _once(middle_mm: Array, turn_deg: Array) -> NDArray[np.bool_]:
    """Which of edges, strongest first, are none of those before them."""
    kept = np.ones(len(turn_deg), np.bool_)
    for i in range(len(turn_deg)):
        for k in range(i):
            turned = abs((turn_deg[i] - turn_deg[k] + 180.0) % 360.0 - 180.0)
            if kept[k] and turned < TURNED_DEG:
                rad, (x, y) = np.radians(turn_deg[k]), middle_mm[i] - middle_mm[k]
                if abs(y * np.cos(rad) - x * np.sin(rad)) < APART_MM:
                    kept[i] = False
    return kept


def _main_way(found: list[Rise]) -> list[Rise]:
    """Edges that run, one way or the other, as most of the strongest do: a straightedge has two and its shadow one."""
    if not found:
        return []
    turn, weight = np.array([rise.turn_deg for rise in found]), np.array([rise.score**3 for rise in found])
    beside = np.abs((turn - turn[:, None] + 90.0) % 180.0 - 90.0) <= TURN_DEG
    main = found[int(np.argmax(beside @ weight))]
    return [rise for rise in found if rise.turned(main, 180.0) <= TURNED_DEG]


def _paired(found: list[Rise]) -> list[Rise]:
    """Edges of dark strips: another rises the other way, about parallel, a little to their dark side."""

    def strip(rise: Rise, other: Rise) -> bool:
        opposite = 180.0 - rise.turned(other) < TURNED_DEG + TURN_DEG
        return opposite and STRIP_MM[0] < float((rise.middle_mm - other.middle_mm) @ rise.up) < STRIP_MM[1]

    return [rise for rise in found if any(strip(rise, other) for other in found)]
