"""Whether a tool drew a line: scratches run true, lathe lines along their circle; cracks wander with the grain."""

from __future__ import annotations

import numpy as np

from wearvision.measure.compiled import compiled
from wearvision.measure.plane import Array
from wearvision.measure.polyline import evenly, length_of, run_of

AROUND, AROUND_MM = 0.18, 0.065
"""What gains less than this share of its length in radius, half of it this near to one smooth way, runs along its
circle: a lathe line, a groove."""
TRUE_MM, STRAY_MM = 0.04, 0.09
"""Half and four fifths of what a tool drew lie so near one parabola."""
SWAY_MM, NOISE_MM, SWAY_OVER_MM = 0.02, 0.13, 5.0
"""And half of it so near its own mean over so much, however often the tool turned; the second over its contrast is
what noise moves it. On the drawn faces this was set on, scratches sway by half of that, cracks by twice."""
STRAIGHT = 0.6
"""What ends nearer to where it began than this share of its length went round a hole or turned back on itself."""
STEP_MM, LEAST_STEPS = 0.2, 5
TURNS = 8


def tool_mark(line_mm: Array, centre_mm: Array, contrast: float) -> bool:
    """Whether a line (N, 2) of a contrast, in spreads of the metal's grain, is a tool's, or runs round something.

    ``centre_mm``: of the circles of turning, (2,).
    """
    length = length_of(line_mm)
    if float(np.hypot(*(line_mm[-1] - line_mm[0]))) < STRAIGHT * length:
        return True
    radius = np.hypot(*(line_mm - centre_mm).T)
    if np.ptp(radius) < AROUND * length and off_parabola(np.column_stack([run_of(line_mm), radius]), 0.5) < AROUND_MM:
        return True
    own = _own_axes(line_mm)
    true = off_parabola(own, 0.5) < TRUE_MM or off_parabola(own, 0.8) < STRAY_MM
    return true or sway(line_mm) < SWAY_MM + NOISE_MM / contrast


def stray(line_mm: Array) -> float:
    """Within what distance of one parabola four fifths of a line (N, 2) lie, mm."""
    return off_parabola(_own_axes(line_mm), 0.8)


def _own_axes(line_mm: Array) -> Array:
    off = line_mm - line_mm.mean(axis=0)
    return np.asarray(off @ np.linalg.svd(off, full_matrices=False)[2].T, dtype=np.float64)


def off_parabola(at: Array, share: float) -> float:
    """Within what distance of a parabola this share of points (N, 2) lies, in their own main axes.

    The parabola is that of the most of them: a path may leave a scratch where it crosses rust or another scratch.
    """
    place = share * (len(at) - 1)
    rest = np.partition(_off_parabola(np.ascontiguousarray(at)), (int(place), min(int(place) + 1, len(at) - 1)))
    low, high = rest[int(place)], rest[min(int(place) + 1, len(at) - 1)]
    return float(low + (place - int(place)) * (high - low))


@compiled
def _off_parabola(at: Array) -> Array:
    """Distances of points (N, 2) from the parabola of the most of them, by least sums of distances."""
    wide = max(1e-9, np.abs(at[:, 0]).max())
    weight, rest = np.ones(len(at)), np.empty(len(at))
    for _ in range(TURNS):
        sums, right = np.zeros(5), np.zeros(3)  # of the powers of x, and of y times them
        for k in range(len(at)):
            x = at[k, 0] / wide
            held = weight[k] ** 2
            for power in range(5):
                sums[power] += held
                if power < 3:
                    right[power] += held * at[k, 1]
                held *= x
        level, lean, bend = _solved(sums, right)
        for k in range(len(at)):
            x = at[k, 0] / wide
            rest[k] = abs(at[k, 1] - (level + x * (lean + x * bend)))
            weight[k] = 1 / max(rest[k], 0.5 * TRUE_MM)
    return rest


@compiled
def _solved(sums: Array, right: Array) -> tuple[float, float, float]:
    """Level, lean and bend of the parabola whose normal equations hold these sums."""
    lean_by, bend_by = sums[1] / sums[0], sums[2] / sums[0]
    one, two, three = sums[2] - lean_by * sums[1], sums[3] - lean_by * sums[2], sums[4] - bend_by * sums[2]
    left, rest = right[1] - lean_by * right[0], right[2] - bend_by * right[0]
    bend = (rest - two / one * left) / (three - two / one * two)
    lean = (left - two * bend) / one
    return (right[0] - sums[1] * lean - sums[2] * bend) / sums[0], lean, bend


def sway(line_mm: Array) -> float:
    """Usual distance of a line from its own running mean, mm; 0 where it is too short to tell."""
    even = evenly(line_mm, STEP_MM)
    half = min(round(SWAY_OVER_MM / 2 / STEP_MM), (len(even) - LEAST_STEPS) // 2)
    if half < LEAST_STEPS:
        return 0.0
    kernel = np.full(2 * half + 1, 1 / (2 * half + 1))
    mean = np.column_stack([np.convolve(even[:, k], kernel, mode="valid") for k in (0, 1)])
    return float(np.median(np.hypot(*(even[half:-half] - mean).T)))
