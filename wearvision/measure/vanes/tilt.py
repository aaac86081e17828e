"""What a plane that is not quite known makes of vanes: a wrong tilt draws a disc out, and its vanes aside in turns.

A wrong centre, and whatever all vanes have in common, is taken out of their places before they are compared. What the
scale, the tilt and the lens leave beside that moves each vane against its siblings: with a disc drawn out by one in a
thousand a vane's tip lies 0.05 to 0.1 mm aside, to the left here and to the right a quarter of a turn on. A bent vane
has no say in where the centre is, so that what the others take out may be the wrong amount for it: it may lie aside by
two or three times as much.
"""

from __future__ import annotations

import numpy as np

from wearvision.measure.plane import Array, Plane
from wearvision.measure.vanes.siblings import CENTRE_SD_MM, HUBER_MM
from wearvision.measure.vanes.strips import Line

PLACES = (0.25, 0.5, 0.75, 1.0)
"""Where the vanes are looked at, shares of their length; the last is the tip."""


def tips_aside(
    plane: Plane, line: Line, centre_mm: Array, tip_mm: float, shift_mm: Array, spread_mm2: Array
) -> dict[str, Array]:
    """Standard uncertainty of the place of each vane's tip against its siblings, mm (N,), by source.

    Parameters
    ----------
    plane : Plane
        Of the vanes' tops; the places in the photo are held fast.
    line : Line
        Common line of the vanes.
    centre_mm : (2,) array
    tip_mm : where the vanes end, along the line
    shift_mm : (N, S) array
        Shift of each vane along the line: how little it tells of centre and line; nan where it tells nothing.
    spread_mm2 : (2, 2) array
        Covariance of what is known of the centre beside the vanes, above 0.
    """
    rows = [int(np.argmin(np.abs(line.along_mm - share * tip_mm))) for share in PLACES]
    points, left = (each[:, rows] for each in line.turned(len(shift_mm)))
    px = plane.to_px((centre_mm + points).reshape(-1, 2))
    shared = np.hstack([left.reshape(-1, 2), np.tile(np.eye(len(rows)), (len(shift_mm), 1))])
    weight = np.nan_to_num(1 / (1 + (shift_mm[:, rows] / HUBER_MM) ** 2) ** 2)
    own = np.eye(len(shared)) - shared @ _told_by(shared, weight.ravel(), spread_mm2)

    def aside(mm: Array) -> Array:
        off = mm.reshape(-1, *points.shape) - points
        off = off - off.mean(axis=(1, 2), keepdims=True)  # the disc moves as a whole, rim and all
        return np.asarray(((off * left).sum(axis=3).reshape(len(mm), -1) @ own.T)[:, len(rows) - 1 :: len(rows)])

    return plane.propagate_points(px, aside)[1]


def _told_by(shared: Array, weight: Array, spread_mm2: Array) -> Array:
    """What makes centre and line (K, M) of all places (M,): least squares with weights, and what is known besides."""
    known = np.zeros((2, shared.shape[1]))
    known[:, :2] = CENTRE_SD_MM * np.linalg.cholesky(np.linalg.inv(spread_mm2)).T
    root = np.sqrt(weight)
    return np.asarray(np.linalg.pinv(np.vstack([shared * root[:, None], known]))[:, : len(shared)] * root)
