"""What a plane that is not quite known makes of vanes: a wrong tilt draws a disc out, and its vanes aside in turns.

A wrong centre, and whatever all vanes have in common, is taken out of their places before they are compared. What the
scale, the tilt and the lens leave beside that moves each vane against its siblings: with a disc drawn out by one in a
thousand a vane's tip lies 0.05 to 0.1 mm aside, to the left here and to the right a quarter of a turn on.
"""

from __future__ import annotations

import numpy as np

from wearvision.measure.plane import Array, Plane
from wearvision.measure.vanes.strips import Line

PLACES = (0.25, 0.5, 0.75, 1.0)
"""Where the vanes are looked at, shares of their length; the last is the tip."""


def tips_aside(plane: Plane, line: Line, centre_mm: Array, number: int, tip_mm: float) -> dict[str, Array]:
    """Standard uncertainty of the place of each vane's tip against its siblings, mm (N,), by source.

    Parameters
    ----------
    plane : Plane
        Of the vanes' tops; the places in the photo are held fast.
    line : Line
        Common line of the vanes.
    centre_mm : (2,) array
    number : int
    tip_mm : where the vanes end, along the line
    """
    rows = [int(np.argmin(np.abs(line.along_mm - share * tip_mm))) for share in PLACES]
    points, left = (each[:, rows] for each in line.turned(number))
    px = plane.to_px((centre_mm + points).reshape(-1, 2))
    shared = np.hstack([left.reshape(-1, 2), np.tile(np.eye(len(rows)), (number, 1))])
    own = np.eye(len(shared)) - shared @ np.linalg.pinv(shared)

    def aside(mm: Array) -> Array:
        off = mm.reshape(-1, *points.shape) - points
        return np.asarray(((off * left).sum(axis=3).reshape(len(mm), -1) @ own)[:, len(rows) - 1 :: len(rows)])

    return plane.propagate_points(px, aside)[1]
