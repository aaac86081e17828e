"""How far a row of points is from a straight line: by least squares, and by the narrowest zone that holds it.

Words of ISO 12780 and ISO 1101 (from memory): LSLI is the range of the distances from the least-squares line, MZ the
least separation of two parallel lines that hold all points; MZ is never above LSLI. Separations are taken along y:
for slopes below 0.01 they differ from those square to the line by less than 5e-5 of themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.errors import BadInput
from wearvision.measure.compiled import compiled
from wearvision.measure.plane import Array


@dataclass(frozen=True, kw_only=True)
class Zone:
    """A zone between two parallel lines: its height along y, the slope, and the lower line's y at x = 0."""

    height: float
    slope: float
    foot: float


def least_squares_zone(x: Array, y: Array) -> Zone:
    """LSLI: the zone about the least-squares line; `x`, `y` are (N,), N >= 2.

    Raises
    ------
    BadInput
        For fewer than two places along x, or a value that is not finite.
    """
    x, y = _checked(x, y)
    off = x - x.mean()
    slope = float(off @ (y - y.mean()) / (off @ off))
    rest = y - slope * x
    return Zone(height=float(np.ptp(rest)), slope=slope, foot=float(rest.min()))


def minimum_zone(x: Array, y: Array) -> Zone:
    """MZ: the narrowest zone that holds all points; `x`, `y` are (N,), N >= 2.

    The zone's height as a function of the slope is convex and made of straight pieces that meet at the slopes of the
    convex hull's sides, so the least one stands at one of those: exact, no search.

    Raises
    ------
    BadInput
        For fewer than two places along x, or a value that is not finite.
    """
    x, y = _checked(x, y)
    lower, upper = _chain(x, y), _chain(x, -y) * [1, -1]
    slopes = np.concatenate([_slopes(lower), _slopes(upper)])
    top = (upper[:, 1][None, :] - slopes[:, None] * upper[:, 0]).max(axis=1)
    foot = (lower[:, 1][None, :] - slopes[:, None] * lower[:, 0]).min(axis=1)
    best = int(np.argmin(top - foot))
    return Zone(height=float(max(0.0, top[best] - foot[best])), slope=float(slopes[best]), foot=float(foot[best]))


def outermost(x: Array, y: Array) -> NDArray[np.int64]:
    """Indices of the places that carry the minimum zone: the corners of their convex hull, ends included."""
    x, y = _checked(x, y)
    corners = np.vstack([_chain(x, y), _chain(x, -y) * [1, -1]])
    found = (x[:, None] == corners[:, 0]) & (y[:, None] == corners[:, 1])
    return np.asarray(np.flatnonzero(found.any(axis=1)), dtype=np.int64)


def _chain(x: Array, y: Array) -> Array:
    """Lower convex chain of the points, left to right."""
    order = np.lexsort((y, x))
    return _lower(x[order], y[order])


@compiled
def _lower(x: Array, y: Array) -> Array:
    """Lower convex chain of points that are in order (Andrew's monotone chain)."""
    chain = np.empty((len(x), 2))
    count = 0
    for k in range(len(x)):
        if count and x[k] == chain[count - 1, 0]:
            continue
        while count > 1:
            (ax, ay), (bx, by) = chain[count - 2], chain[count - 1]
            if (bx - ax) * (y[k] - ay) - (by - ay) * (x[k] - ax) > 0:
                break
            count -= 1
        chain[count] = x[k], y[k]
        count += 1
    return chain[:count].copy()


def _slopes(chain: Array) -> Array:
    return np.asarray(np.diff(chain[:, 1]) / np.diff(chain[:, 0]))


def _checked(x: Array, y: Array) -> tuple[Array, Array]:
    x, y = (np.asarray(v, dtype=np.float64).ravel() for v in (x, y))
    if len(x) != len(y) or not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise BadInput("straightness needs finite points", got=(len(x), len(y)), do="leave out what is missing")
    if len(x) < 2 or np.ptp(x) <= 0:
        raise BadInput("straightness needs two places along the line", got=len(x), do="give more points")
    return x, y
