"""When a vane is told as bent: a limit with a guard band on the sound side.

A vane is bent when its tip stands `BENT_MM` or more from its siblings' line. The picture gives a shift and its
standard uncertainty, and from both the probability that the true shift reaches the limit, either way (a normal
distribution, JCGM 106:2012, 7). A vane passes as sound only where that probability is small: guarded acceptance, whose
limit lies inside the tolerance by a guard band (the same, 8.3.2; numbers of clauses from memory). A bent vane ends a
part's reuse, a vane that is suspected for nothing costs a look and a template laid on it. So one missed is held to cost
as much as three told for nothing, and the band ends where the probability falls to `SUSPECTED`: 0.67 u short of the
limit, nothing where u is nothing. What is better known has a narrower band, and is told for nothing less often.

The uncertainty is all of the one that is given with the shift: fit, edge, centre, the vane's end, and the plane.
"""

from __future__ import annotations

import math

BENT_MM = 1.0
"""Shift at the tip from which a vane is bent."""
SUSPECTED, FAINT = 0.25, 0.05
"""Least probability that a vane is bent for it to be told, and to be worth a look all the same."""
CLEAR = 1.645
"""A shift that is told as bent lies so many uncertainties from 0: its 90 % interval does not hold it."""


def bent_probability(shift_mm: float, u_mm: float) -> float:
    """Probability, 0 to 1, that a true shift is `BENT_MM` or more to either side.

    Parameters
    ----------
    shift_mm, u_mm : shift at the tip and its standard uncertainty, u > 0 or exactly 0
    """
    if u_mm <= 0:
        return float(abs(shift_mm) >= BENT_MM)
    return sum(0.5 * math.erfc((BENT_MM - side * shift_mm) / (u_mm * math.sqrt(2))) for side in (-1, 1))


def told_bent(shift_mm: float, u_mm: float) -> bool:
    """Whether a vane with such a shift is suspected to be bent."""
    return bent_probability(shift_mm, u_mm) >= SUSPECTED


def unclear(shift_mm: float, u_mm: float) -> bool:
    """Whether a shift is known too badly to be given: it would be told as bent, and may well be nothing."""
    return abs(shift_mm) < CLEAR * u_mm and told_bent(shift_mm, u_mm)
