"""Lines through points: how far along each lies, how long a line is, and the same line at even steps."""

from __future__ import annotations

import numpy as np

from wearvision.measure.plane import Array


def run_of(line: Array) -> Array:
    """Distance along a polyline (N, 2) of each of its points (N,)."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])


def length_of(line: Array) -> float:
    """Along a polyline (N, 2)."""
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def at_run(line: Array, run: Array) -> Array:
    """Points (M, 2) of a polyline (N, 2) at distances along it (M,)."""
    far = run_of(line)
    return np.column_stack([np.interp(run, far, line[:, k]) for k in (0, 1)])


def evenly(line: Array, step: float) -> Array:
    """A polyline (N, 2) at even steps from its first point."""
    return at_run(line, np.arange(0, run_of(line)[-1] + 1e-9, step))
