"""Where a label may lie: a coarse map of what must stay visible, and the cheapest free place for a box."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
CELL = 4
TAKEN = 60.0
CANDIDATES = 1200
CROSSING = 8.0


class Places:
    """Cost of covering each cell of 4 x 4 display pixels.

    Parameters
    ----------
    size : (height, width)
        Of the display picture, px.
    """

    def __init__(self, size: tuple[int, int]) -> None:
        self._size = size
        self._cost = np.zeros((-(-size[0] // CELL), -(-size[1] // CELL)), dtype=np.float32)
        self._leaders = np.zeros(self._cost.shape, dtype=bool)

    def face(self, rings: Sequence[Points]) -> None:
        """Discourage the metal between the outermost ring and the next."""
        if not rings:
            return
        metal = self._filled(rings[0])
        for ring in rings[1:]:
            metal[self._filled(ring) > 0] = 0
        self._cost += 1.5 * metal

    def avoid(self, outline: Points, *, cost: float) -> None:
        """Discourage an outline, its inside half as much, and a rim of a few pixels round it."""
        inside = self._filled(outline)
        rim = cv2.dilate(inside, np.ones((5, 5), np.uint8))
        self._cost += (0.5 * cost) * inside + (0.5 * cost) * rim

    def keep_clear(self, at: Points, radius: float) -> None:
        """Nothing may cover this spot."""
        spot = np.zeros(self._cost.shape, dtype=np.uint8)
        centre = (round(float(at[0]) / CELL), round(float(at[1]) / CELL))
        cv2.circle(spot, centre, max(1, round(radius / CELL)), 1, -1)
        self._cost += TAKEN * spot

    def led(self, start: Points, end: Points) -> None:
        """A leader runs here: later boxes and leaders keep off it."""
        line = np.zeros(self._cost.shape, dtype=np.uint8)
        here, there = ((round(float(p[0]) / CELL), round(float(p[1]) / CELL)) for p in (start, end))
        cv2.line(line, here, there, 1, 2)
        self._cost += 16.0 * line
        self._leaders |= line > 0

    def corner(self, box: tuple[float, float]) -> Points:
        """Centre (x, y) of a box (width, height) in the cheapest corner, which is then taken; bottom right first."""
        height, width = self._size
        edge_x, edge_y = box[0] / 2 + 2 * CELL, box[1] / 2 + 2 * CELL
        corners = [(x, y) for y in (height - edge_y, edge_y) for x in (width - edge_x, edge_x)]
        slices = [self._cells(x, y, box) for x, y in corners]
        best = int(np.argmin([float(self._cost[s].mean()) for s in slices]))
        self._cost[slices[best]] += TAKEN
        return np.array(corners[best], dtype=np.float64)

    def _cells(self, x: float, y: float, box: tuple[float, float]) -> tuple[slice, slice]:
        low = [max(0, int((c - side / 2) / CELL)) for c, side in zip((x, y), box, strict=True)]
        high = [int((c + side / 2) / CELL) + 1 for c, side in zip((x, y), box, strict=True)]
        return slice(low[1], max(high[1], low[1] + 1)), slice(low[0], max(high[0], low[0] + 1))

    def take(self, box: tuple[float, float], targets: Sequence[Points] | Points, *, nearest: float) -> Points:
        """Centre (x, y) of the best place for a box (width, height), which is then taken.

        Cheap to cover, near one of the `targets` but not nearer than `nearest` px, with a leader that crosses
        little, wholly inside the picture.
        """
        rows, cols = self._cost.shape
        goals = np.asarray(targets, dtype=np.float64).reshape(-1, 2)
        wide, high = (min(max(1, round(side / CELL) + 1), limit) for side, limit in zip(box, (cols, rows), strict=True))
        mean = cv2.blur(self._cost, (wide, high), borderType=cv2.BORDER_REPLICATE)
        worst = cv2.dilate(self._cost, np.ones((high, wide), np.uint8))
        away = self._distance(goals)
        scale = float(np.hypot(*self._size))
        total = 2.0 * mean + 0.5 * worst + 50.0 * away / scale + np.where(away < nearest, 30.0 + (nearest - away), 0.0)
        half_w, half_h = wide // 2 + 1, high // 2 + 1
        inside = np.full(total.shape, 1e6)
        inside[half_h : rows - half_h, half_w : cols - half_w] = 0.0
        total += inside
        few = min(CANDIDATES, total.size) - 1
        best = np.argpartition(total, few, axis=None)[: few + 1]
        places = np.stack(np.unravel_index(best, total.shape), axis=1)
        row, col = places[int(np.argmin(total.ravel()[best] + self._crossing(places, goals)))]
        top, left = max(0, int(row) - half_h), max(0, int(col) - half_w)
        self._cost[top : int(row) + half_h + 1, left : int(col) + half_w + 1] += TAKEN
        return np.array([col * CELL + CELL / 2, row * CELL + CELL / 2], dtype=np.float64)

    def _crossing(self, places: NDArray[np.int64], goals: Points) -> NDArray[np.float64]:
        """Cost of the straight way from each place (row, col) to its nearest goal, ends left out.

        The mean of what it covers, and more where it crosses an earlier leader.
        """
        ends = goals[:: 1 + len(goals) // 64, ::-1] / CELL
        away = np.sum((places[:, None, :] - ends[None, :, :]) ** 2, axis=2)
        ends = ends[np.argmin(away, axis=1)]
        t = np.linspace(0.1, 0.8, 16)[None, :, None]
        way = np.round(places[:, None, :] * (1 - t) + ends[:, None, :] * t).astype(np.int64)
        limit = np.array(self._cost.shape) - 1
        way = np.clip(way, 0, limit)
        cells = way[..., 0], way[..., 1]
        crosses = self._leaders[cells].any(axis=1)
        return np.asarray(self._cost[cells].mean(axis=1) + CROSSING * crosses, dtype=np.float64)

    def _distance(self, goals: Points) -> NDArray[np.float64]:
        """Distance of each cell from the nearest goal, px."""
        blank = np.ones(self._cost.shape, dtype=np.uint8)
        cells = np.clip(np.round(goals[:, ::-1] / CELL), 0, np.array(blank.shape) - 1).astype(np.int64)
        blank[cells[:, 0], cells[:, 1]] = 0
        return np.asarray(cv2.distanceTransform(blank, cv2.DIST_L2, 5), dtype=np.float64) * CELL

    def _filled(self, outline: Points) -> NDArray[np.uint8]:
        mask = np.zeros(self._cost.shape, dtype=np.uint8)
        corners = np.round(np.asarray(outline) / CELL).astype(np.int32).reshape(-1, 1, 2)
        cv2.fillPoly(mask, [corners], 1)
        return mask
