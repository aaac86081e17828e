"""Lines through points: how far along each lies, how long a line is, and the same line at even steps."""

from __future__ import annotations

import math

import numpy as np

from wearvision.measure.compiled import compiled
from wearvision.measure.plane import Array


@compiled
def run_of(line: Array) -> Array:
    """Distance along a polyline (N, 2) of each of its points (N,)."""
    run = np.zeros(len(line))
    for k in range(1, len(line)):
        run[k] = run[k - 1] + math.hypot(line[k, 0] - line[k - 1, 0], line[k, 1] - line[k - 1, 1])
    return run


def length_of(line: Array) -> float:
    """Along a polyline (N, 2)."""
    return float(run_of(line)[-1]) if len(line) else 0.0


def at_run(line: Array, run: Array) -> Array:
    """Points (M, 2) of a polyline (N, 2) at distances along it (M,)."""
    return _between(line, run_of(line), run)


def evenly(line: Array, step: float) -> Array:
    """A polyline (N, 2) at even steps from its first point."""
    far = run_of(line)
    return _between(line, far, np.arange(0, far[-1] + 1e-9, step))


def _between(line: Array, far: Array, run: Array) -> Array:
    """Points (M, 2) at distances (M,) along a polyline whose own points lie so far along it (N,)."""
    return np.column_stack([np.interp(run, far, line[:, k]) for k in (0, 1)])
