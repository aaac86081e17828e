"""Leakage through a wear ring, by the gap-flow form: area, speed from the head across the ring, losses in the gap.

Q_L = K A sqrt(2 g H), A = pi D C/2, K = 1/sqrt(1.5 + lambda L/C), C diametral. The 1.5 are 0.5 entry and 1.0 exit
velocity heads (engineering forum, eng-tips.com thread 71993; form after Stepanoff, Centrifugal and Axial Flow Pumps,
2nd ed., from memory). The hydraulic diameter of the annulus is twice the radial gap, which is C.
"""

from __future__ import annotations

import math

from wearvision.errors import BadInput
from wearvision.rules.effects.span import G_M_S2, not_negative, positive

LOST_HEADS = 1.5


def rim_speed_m_s(speed_rpm: float, diameter_m: float) -> float:
    """Speed of a turning rim, m/s."""
    return math.pi * positive("speed", speed_rpm) / 60 * positive("diameter", diameter_m)


def _rotation_head_m(speed_rpm: float, impeller_diameter_m: float, ring_diameter_m: float) -> float:
    if ring_diameter_m >= impeller_diameter_m:
        raise BadInput(
            "the wear ring must be smaller than the impeller", got=(ring_diameter_m, impeller_diameter_m),
            do="check which of the two diameters is which, in m",
        )  # fmt: skip
    u2, u1 = rim_speed_m_s(speed_rpm, impeller_diameter_m), rim_speed_m_s(speed_rpm, ring_diameter_m)
    return (u2**2 - u1**2) / (2 * G_M_S2)


def ring_head_m(speed_rpm: float, impeller_diameter_m: float, ring_diameter_m: float) -> float:
    """Head across the ring from the speeds alone: 0.75 (u2^2 - u1^2)/2g (Stepanoff, from memory), m."""
    return 0.75 * _rotation_head_m(speed_rpm, impeller_diameter_m, ring_diameter_m)


def ring_head_from_static_m(
    static_head_m: float, speed_rpm: float, impeller_diameter_m: float, ring_diameter_m: float
) -> float:
    """Head across the ring from the static head rise at the rim, fluid at half speed (derived), m.

    Raises
    ------
    BadInput
        When nothing is left across the ring.
    """
    rotation = _rotation_head_m(speed_rpm, impeller_diameter_m, ring_diameter_m)
    head = positive("static head at the rim", static_head_m) - rotation / 4
    if head <= 0:
        raise BadInput(
            "the static head at the rim leaves nothing across the wear ring", got=static_head_m,
            do="check speed, diameters and the pressures at rim and suction",
        )  # fmt: skip
    return head


def annulus_area_m2(ring_diameter_m: float, clearance_diametral_m: float) -> float:
    """Area of the ring gap, m2: pi D C/2."""
    return (
        math.pi
        * positive("ring diameter", ring_diameter_m)
        * not_negative("diametral clearance", clearance_diametral_m)
        / 2
    )


def flow_coefficient(friction: float, land_m: float, clearance_diametral_m: float) -> float:
    """K of the gap, 0 to 0.816; 0 for a closed gap."""
    positive("friction factor", friction)
    positive("length of the ring's land", land_m)
    if not_negative("diametral clearance", clearance_diametral_m) == 0:
        return 0.0
    return 1 / math.sqrt(LOST_HEADS + friction * land_m / clearance_diametral_m)


def ring_leakage_m3_s(
    *, ring_diameter_m: float, clearance_diametral_m: float, land_m: float, friction: float, head_m: float
) -> float:
    """Leakage of one ring, m3/s.

    Parameters
    ----------
    ring_diameter_m : float
    clearance_diametral_m : float
        Bore less ring; twice the radial gap.
    land_m : float
        Axial length of the close running land.
    friction : float
        lambda of the gap, turbulent: see `friction`.
    head_m : float
        Head across the ring, not of the pump.
    """
    speed_m_s = math.sqrt(2 * G_M_S2 * positive("head across the ring", head_m))
    area_m2 = annulus_area_m2(ring_diameter_m, clearance_diametral_m)
    return flow_coefficient(friction, land_m, clearance_diametral_m) * area_m2 * speed_m_s
