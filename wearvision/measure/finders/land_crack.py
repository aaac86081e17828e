"""Cracks across a gasket land: thin dark paths from edge to edge, suspected only."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.finding import Finding
from wearvision.measure.finders.gasket import Land
from wearvision.measure.finders.way import best_way
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import ring_points
from wearvision.quantity import Measured

BESIDE_MM = 0.9
"""A crack is darker than what lies so far on either side of it."""
DARKER, SHARE = 0.12, 0.85
"""Least darkness in log grey, and the share of the way over which a path has to show half of it."""
ASIDE_COST = 0.06
"""Cost in log grey of a step of one row aside from one column to the next."""
LEAP_DEG, WANDER = 3.0, 2.0
"""A path has no leap of so many degrees, nor goes so many times as far round as across."""
MOST = 3
CLEAR_ROWS = 16
END_MM = 0.5
"""Standard uncertainty of where a crack ends."""


def find_cracks(land: Land, plane: Plane) -> tuple[Finding, ...]:
    """Up to three paths, darkest first."""
    dark = _valleys(land)
    found: list[Finding] = []
    for _ in range(MOST):
        path = best_way(dark, ASIDE_COST)
        columns = np.arange(len(path))
        along = dark[columns, path]
        if float(np.median(along)) < DARKER or float((along > DARKER / 2).mean()) < SHARE:
            break
        if _runs_across(path, land):
            found.append(_finding(f"K{len(found) + 1}", path, land, plane))
        for shift in range(-CLEAR_ROWS, CLEAR_ROWS + 1):
            dark[columns, (path + shift) % dark.shape[1]] = -1.0
    return tuple(found)


def _runs_across(path: NDArray[np.int64], land: Land) -> bool:
    """Whether a path goes across without a leap and without wandering round the lap."""
    aside = np.abs(np.diff(path))
    aside = np.minimum(aside, len(land.deg) - aside) * land.strip.step_deg
    radius = float(np.median(land.sound_mm[0]))
    across = len(path) * land.strip.step_mm
    return float(aside.max()) < LEAP_DEG and float(np.radians(aside).sum()) * radius < WANDER * across


def _valleys(land: Land) -> Array:
    """How much darker each place is than both its neighbours along the lap, (columns of the sound land, rows)."""
    inner, outer = (float(np.median(r)) for r in land.sound_mm)
    first, last = (round((r - land.strip.start_mm) / land.strip.step_mm) for r in (inner + 0.5, outer - 0.5))
    grid = cv2.blur(land.calm, (5, 1))[:, first : last + 1]
    hidden = ~land.strip.valid[:, first : last + 1]
    away = max(2, round(np.degrees(BESIDE_MM / ((inner + outer) / 2)) / land.strip.step_deg))
    sides = np.minimum(np.roll(grid, away, axis=0), np.roll(grid, -away, axis=0))
    depth = np.where(hidden, -1.0, sides - grid)
    return np.ascontiguousarray(np.clip(depth, -1.0, 0.6).T, dtype=np.float64)


def _finding(name: str, path: NDArray[np.int64], land: Land, plane: Plane) -> Finding:
    inner = float(np.median(land.sound_mm[0])) + 0.5
    radius = inner + np.arange(len(path)) * land.strip.step_mm
    some = np.unique(np.append(np.arange(0, len(path), max(1, len(path) // 40)), len(path) - 1))
    deg = land.deg[0] + path[some] * land.strip.step_deg
    unit = ring_points(np.zeros(2), deg, 1.0)
    line_px = plane.to_px(land.ring.centre_mm + unit * radius[some][:, None])
    value, parts = plane.propagate(lambda p: np.array([np.hypot(*np.diff(p.to_mm(line_px), axis=0).T).sum()]))
    length = Measured.of(
        float(value[0]), "mm", how="along the dark path", outline=END_MM * 1.4,
        **{n: float(u[0]) for n, u in parts.items()},
    )  # fmt: skip
    return Finding(
        id=name, kind="crack", outline_px=np.vstack([line_px, line_px[::-1]]), quantities={"length": length},
        flags=("suspected",),
        places_px=line_px[[len(line_px) // 2]],
    )  # fmt: skip
