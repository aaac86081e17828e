"""Ring pairs, stacks and gauged lengths of an invented shop."""

from __future__ import annotations

from typing import Any

from wearvision.rules.clearance.axial import AxialStack, axial_stack
from wearvision.rules.clearance.rings import RingClearance, ring_clearance
from wearvision.rules.clearance.wear import Wear
from wearvision.rules.decision import GUARD_95
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import AxialFacts, Diameter, RingPair, Thermal

PLACES = (("front", 0.0), ("front", 90.0), ("rear", 0.0), ("rear", 90.0))


def gauged(value_mm: float, u_mm: float = 0.005) -> Gauged:
    return Gauged(value_mm=value_mm, u_mm=u_mm, how="by a gauge")


def diameters(*sizes_mm: float, u_mm: float = 0.005) -> tuple[Diameter, ...]:
    """Readings at the places of `PLACES`, in order."""
    places = PLACES[: len(sizes_mm)]
    return tuple(
        Diameter(place=p, angle_deg=a, gauged=gauged(size, u_mm))
        for (p, a), size in zip(places, sizes_mm, strict=True)
    )


def pair(bore_mm: float = 165.71, ring_mm: float = 164.80, *, u_mm: float = 0.005, **more: Any) -> RingPair:
    """A round pair without taper."""
    return RingPair(
        name="front ring", bore=diameters(*[bore_mm] * 4, u_mm=u_mm), ring=diameters(*[ring_mm] * 4, u_mm=u_mm), **more
    )


def judged(pair: RingPair, thermal: Thermal | None = None) -> RingClearance:
    return ring_clearance(pair, thermal, guard_factor=GUARD_95)


def stack(wear: Wear | None = None, thermal: Thermal | None = None, **facts: Any) -> AxialStack:
    """A stack with front 0.525 and total 1.850 mm unless stated otherwise."""
    known = {"front_gap_axial": gauged(0.525, 0.015), "total_gap_axial": gauged(1.85, 0.012)} | facts
    return axial_stack(AxialFacts(**known), wear, thermal, guard_factor=GUARD_95)
