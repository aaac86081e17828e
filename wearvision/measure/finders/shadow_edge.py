"""Middle of a shadow's soft edge in each column: where half of the lamp is seen, whatever the metal's own tone.

A lamp of some width casts an edge that rises over some width too. Seen as light (not as the camera's tone), it rises
as an error function between the level in the shadow and the level beside it, both the metal's own there; the middle is
where it has risen by half. Levels and middle are fitted to each column by least squares, the softness to all of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.finders.light_centre import profiles
from wearvision.measure.plane import Array

Flags = NDArray[np.bool_]
Places = NDArray[np.int64]
TONE = 2.2
"""Exponent from a photo's tone to light (IEC 61966-2-1, near enough: an even error of the middle drops out)."""
TURNS, REACH, LEAST_HALF = 8, 2.2, 4
"""Turns of the fit; samples that it looks at to either side, in standard deviations of the edge, and at least."""
SETTLED = 1e-9
"""Light, and samples, by which the fit may still move when it ends."""
SOFT = 0.7, 40.0
"""Standard deviations an edge may have, samples."""
STRONG, LEAST_SHARE = 4.0, 0.12
"""A sure edge rises by so many times what is left over, and over the shadow's level by this share of the usual rise (in
a groove by more: less of the room's light gets there)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Edge:
    """Edge in each column: row of its middle, level in the shadow, rise, and what the fit leaves over, all (N,);
    standard deviation of the edge, samples."""

    row: Array
    dark: Array
    rise: Array
    left: Array
    soft: float

    def sure(self) -> Flags:
        """Where the edge is plain to see, and not far weaker than usual."""
        plain = (self.rise > STRONG * self.left) & (self.dark > 0)
        if not plain.any():
            return plain
        share = self.rise / np.maximum(self.dark, 1e-6)
        usual = float(np.median(share[plain]))
        return np.asarray(plain & (share > LEAST_SHARE * usual))


def as_light(values: Grid) -> Grid:
    """Tone 0 to 255 as light 0 to 1."""
    return np.asarray((np.clip(values, 0, 255) / 255.0) ** TONE, dtype=np.float32)


def softness(light: Grid, row: Places, columns: Places, most: int) -> float:
    """Standard deviation of the edge, samples: where the middle one of all profiles has risen by 16 and 84 %."""
    laid = np.median(profiles(light, row.astype(np.float64), columns, most, 1), axis=0).astype(np.float64)
    step = np.gradient(np.convolve(np.pad(laid, 1, mode="edge"), np.ones(3) / 3, mode="valid"))
    top = most // 2 + int(np.argmax(step[most // 2 : -(most // 2) or None]))
    low = high = top
    while low > 0 and step[low - 1] > 0.1 * step[top]:
        low -= 1
    while high < len(step) - 1 and step[high + 1] > 0.1 * step[top]:
        high += 1
    weight = np.clip(step[low : high + 1], 0, None)
    at = np.arange(low, high + 1)
    middle = np.average(at, weights=weight)
    return float(np.clip(np.sqrt(np.average((at - middle) ** 2, weights=weight)), *SOFT))


def edges(light: Grid, row: Places, columns: Places, soft: float, beside: int) -> Edge:
    """Middle of the edge near each row.

    Parameters
    ----------
    light : (H, W), see `as_light`; it rises along the rows
    row, columns : (N,) where the edge is about
    soft : standard deviation of the edge, samples
    beside : samples to either side along the edge that are averaged in
    """
    half = max(LEAST_HALF, round(REACH * soft + 2))
    place: Array = row.astype(np.float64)
    seen = profiles(light, place, columns, half, beside).astype(np.float64)
    middle, dark, rise, left = _fits(seen, soft)
    kept = np.abs(middle) < half - 1
    return Edge(row=place + middle, dark=dark, rise=np.where(kept, rise, 0.0), left=left + 1e-4, soft=soft)


@compiled
def _fits(seen: Array, soft: float) -> tuple[Array, Array, Array, Array]:
    """Middle, level in the shadow, rise and what is left over, (N,) each, of each profile (N, K)."""
    count, half = len(seen), seen.shape[1] // 2
    middle, left = np.zeros(count), np.empty(count)
    dark, rise = seen[:, 0].copy(), seen[:, -1] - seen[:, 0]
    for i in range(count):
        for _ in range(TURNS):
            steps = _step(seen[i], middle[i], dark[i], rise[i], soft)
            dark[i] += steps[0]
            rise[i] += steps[1]
            middle[i] = min(max(middle[i] + min(max(steps[2], -soft), soft), -half), half)
            if max(abs(steps[0]), abs(steps[1]), abs(steps[2])) < SETTLED:
                break
        rest = np.empty(seen.shape[1])
        for k in range(len(rest)):
            rest[k] = seen[i, k] - dark[i] - rise[i] * _risen(k - half - middle[i], soft)
        left[i] = rest.std()
    return middle, dark, rise, left


@compiled
def _step(seen: Array, middle: float, dark: float, rise: float, soft: float) -> tuple[float, float, float]:
    """Gauss and Newton's step of level, rise and middle, for one profile."""
    half = len(seen) // 2
    aa = bb = cc = ab = ac = bc = a = b = c = 0.0
    for k in range(len(seen)):
        risen = _risen(k - half - middle, soft)
        bell = -rise * 1.702 / soft * risen * (1 - risen)
        rest = seen[k] - dark - rise * risen
        aa, bb, cc = aa + 1, bb + risen * risen, cc + bell * bell
        ab, ac, bc = ab + risen, ac + bell, bc + risen * bell
        a, b, c = a + rest, b + risen * rest, c + bell * rest
    return _solved(aa + 1e-9, bb + 1e-9, cc + 1e-9, ab, ac, bc, a, b, c)


@compiled
def _solved(
    aa: float, bb: float, cc: float, ab: float, ac: float, bc: float, a: float, b: float, c: float
) -> tuple[float, float, float]:
    """Solution of three symmetric equations, by elimination."""
    b_a, c_a = ab / aa, ac / aa
    bb, bc, b = bb - b_a * ab, bc - b_a * ac, b - b_a * a
    cc, c = cc - c_a * ac - bc * bc / bb, c - c_a * a - bc / bb * b
    z = c / cc
    y = (b - bc * z) / bb
    return (a - ab * y - ac * z) / aa, y, z


@compiled
def _risen(at: float, soft: float) -> float:
    """Share of the lamp that is seen; by the logistic that is nearest to the error function."""
    return 1 / (1 + math.exp(min(max(-1.702 * at / soft, -40.0), 40.0)))
