"""The way into a bite: from an edge's circle and back to it, another tone on the circle's side, the land's beyond."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import peak_offset
from wearvision.measure.finders.gasket import Land
from wearvision.measure.finders.land_tone import sample
from wearvision.measure.finders.way import best_way
from wearvision.measure.lips import running_median
from wearvision.measure.plane import Array

JUMP_COST = 0.25
"""Cost in mm of moving one mm aside from row to row."""
LAND_WEIGHT = 1.6
"""What land on the wrong side of the way costs, against other tones won."""
EDGE_MM, MOST_STEP = 0.25, 1.0
"""Worth of the land's usual step, mm, and most counted: a shadow's far side is often the stronger."""
ONE_SIDE = 0.8
"""From this mean sign on, what lies beside an arc is darker all along: something bright then is no part of a bite. The
contrary may be: a shadow."""
NEAR = 2
"""The edge is the steepest place within so many columns of the way, which runs where a blurred edge begins."""
SKIP_MM, SHADOW_MM = 1.0, 2.8
"""A shadow's line begins so near behind the way, and ends within this."""
CRACK_MM, FURTHER_MM, BROAD_MM, BROAD_SHARE = 2.0, 1.0, 5.0, 0.8
"""What is narrower than the first and goes in further by the second is a crack, when the bite is so broad at this share
of the depth that it has without it."""


def follow(land: Land, rows: NDArray[np.int64], edge: int, usual: float) -> Array:
    """How far the edge lies inside its circle in each row of an arc, from the circle and back to it."""
    step = land.strip.step_mm
    width = float(abs(land.sound_mm[1] - land.sound_mm[0]).mean())
    depth = np.arange(0.0, width + 0.5 * step, step)
    way = (1.0, -1.0)[edge]
    radius = land.sound_mm[edge][rows][:, None] + way * depth[None, :]
    unlike = sample(land.tones.unlike, land.strip, radius, rows)
    sharp = np.abs(sample(land.rise, land.strip, radius, rows)) / usual
    steep = np.minimum(sharp, MOST_STEP)
    won = np.where(unlike < 0, LAND_WEIGHT * unlike, unlike)
    tone = sample(land.tones.soft, land.strip, radius, rows) - land.tones.own[rows][:, None]
    if _on_dark(land, rows, edge):
        won[(unlike > 0) & (tone > 0)] = 0.0
    worth = np.cumsum(won, axis=1) * step + EDGE_MM * steep
    worth[:, 0] += 0.02
    worth[[0, -1], 1:] = -1e6
    path = _past_shadow(best_way(worth, JUMP_COST * step), (unlike > 0) & (tone < 0), step)
    index = np.clip(path[:, None] + np.arange(-NEAR, NEAR + 1), 1, worth.shape[1] - 2)
    every = np.arange(len(rows))
    best = index[every, np.argmax(sharp[every[:, None], index], axis=1)]
    offset = peak_offset(*(sharp[every, best + k] for k in (-1, 0, 1)))
    fine = (best + offset) * step
    loss = np.where(path <= 1, 0.0, np.where(path >= worth.shape[1] - 2, width, fine))
    return _without_crack(running_median(np.maximum(loss, 0.0), 3), land.row_mm)


def _without_crack(loss_mm: Array, row_mm: float) -> Array:
    """A broad bite's way without what goes further in as narrow as a crack."""
    wide = 2 * round(CRACK_MM / 2 / row_mm) + 1
    column = loss_mm.astype(np.float32).reshape(-1, 1)
    flat = cv2.morphologyEx(column, cv2.MORPH_OPEN, np.ones((wide, 1), np.uint8)).ravel()
    if float((flat > BROAD_SHARE * flat.max()).sum()) * row_mm < BROAD_MM:
        return loss_mm
    return np.where(loss_mm - flat > FURTHER_MM, flat, loss_mm)


def _past_shadow(path: NDArray[np.int64], dark: NDArray[np.bool_], step_mm: float) -> NDArray[np.int64]:
    """The way moved on to the far end of a dark line just behind it, where the land's shadow lies between."""
    moved = _shadow_ends(path, dark, max(2, round(SKIP_MM / step_mm)), round(SHADOW_MM / step_mm)) - path
    return path + np.rint(running_median(moved.astype(np.float64), 9)).astype(np.int64)


@compiled
def _shadow_ends(path: NDArray[np.int64], dark: NDArray[np.bool_], skip: int, most: int) -> NDArray[np.int64]:
    """Where what is dark ends in each row that begins within `skip` columns of the way, if it does within `most`."""
    out, wide = path.copy(), dark.shape[1]
    for row in range(len(path)):
        start = path[row]
        while start < min(path[row] + skip, wide) and not dark[row, start]:
            start += 1
        if path[row] < 2 or start >= min(path[row] + skip, wide):
            continue
        for column in range(start, min(path[row] + most, wide)):
            if not dark[row, column]:
                out[row] = column
                break
    return out


def _on_dark(land: Land, rows: NDArray[np.int64], edge: int) -> bool:
    """Whether what lies beside an arc is darker than the land all along."""
    way = (-1.0, 1.0)[edge]
    radius = land.sound_mm[edge][rows][:, None] + way * np.linspace(0.3, 1.5, 5)
    tone = sample(land.tones.soft, land.strip, radius, rows) - land.tones.own[rows][:, None]
    return float(np.sign(tone).mean()) < -ONE_SIDE
