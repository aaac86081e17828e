"""Where the vanes of a disc stand: what is found on the small map of the plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearvision.measure.plane import Array
from wearvision.measure.vanes.align import WIDTHS_MM, Pair
from wearvision.measure.vanes.hub import Disc
from wearvision.measure.vanes.strips import Line

STEP_MM = 1.5
"""Between stations along the common line."""
FULL = 0.985
"""Outer end of the line, share of the disc's radius: beyond it a swept vane's line would follow the rim."""
LEAST_WIDTH, MOST_WIDTH = 0.6, 1.2
"""Thickness of a worn vane, shares of a new one's; and of what is cast thick, or shows its flank."""
KINK_MM = 1.0
"""What strays so far from a smooth line hardly counts for it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Layout:
    """Where the vanes stand.

    Attributes
    ----------
    centre_mm : (2,) array
        Centre of the vanes, on the plane of their tops.
    number : int
    line : Line
        Middle of vane 0, about the centre.
    width_mm : float
        Thickness, to half a millimetre.
    score : float
        How far this stands out.
    margin : float
        The score over that of the best other number.
    disc : Disc
    disc_mm : float
        Radius of the disc: half of what is stated, or as it seems.
    widths_mm : (W,) array
        Thicknesses that are tried.
    stiff : float
        What a line costs that bends more than an arc, or swings: share of what it costs to miss all its places.
    """

    centre_mm: Array
    number: int
    line: Line
    width_mm: float
    score: float
    disc: Disc
    disc_mm: float
    widths_mm: Array
    margin: float = 1.0
    stiff: float = 0.0


def widths(thickness_mm: float | None) -> Array:
    """Thicknesses to try: near what is stated, if anything is."""
    if thickness_mm is None:
        return WIDTHS_MM
    return np.arange(max(LEAST_WIDTH * thickness_mm - 0.5, 1.5), MOST_WIDTH * thickness_mm + 0.75, 0.5)


def smooth(pair: Pair, stiff: float = 0.0) -> Array:
    """A cubic through the pair's middle, weighted by how strong it is: vanes have no kinks.

    `stiff` holds it against swinging where hardly anything shows.
    """
    u = np.linspace(-1, 1, len(pair.middle_mm))
    terms, value = np.polynomial.legendre.legvander(u, 3), pair.middle_mm
    swing = np.diag([0.0, 0.0, stiff * len(u), stiff * len(u)])
    weight = np.clip(pair.gain, 0.05, 2.0)
    for _ in range(4):
        normal = (terms * weight[:, None]).T
        value = np.asarray(terms @ np.linalg.solve(normal @ terms + swing, normal @ pair.middle_mm))
        weight = np.clip(pair.gain, 0.05, 2.0) / (1 + ((pair.middle_mm - value) / KINK_MM) ** 2) ** 2
    return value
