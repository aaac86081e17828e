"""Axial thrust of a closed single-suction impeller with one front ring and no balance holes, toward the suction.

Exact integral of a liquid turning at a fixed share k of the shaft speed at both sides (derived; k = 1/2 is the usual
figure): F = pi (r1^2 - r_s^2) [p_rim - p_suc - k^2 (rho/2) omega^2 (R^2 - (r1^2 + r_s^2)/2)] - rho Q c_eye.
"""

from __future__ import annotations

import math

from wearvision.errors import BadInput
from wearvision.rules.effects.span import Span, positive

HALF_SPEED = 0.5
SIDE_FACTOR = Span(0.4, 0.6)
"""Share of the shaft speed beside the shrouds: 0.5 with our own allowance of 0.1 either way, no source."""


def pressure_thrust_n(
    *, ring_radius_m: float, sleeve_radius_m: float, rim_radius_m: float, rim_over_suction_pa: float,
    speed_rpm: float, density_kg_m3: float, side_factor: float = HALF_SPEED,
) -> float:  # fmt: skip
    """Pressure part, N."""
    if not 0 < sleeve_radius_m < ring_radius_m < rim_radius_m:
        raise BadInput(
            "radii must grow from sleeve over ring to rim", got=(sleeve_radius_m, ring_radius_m, rim_radius_m),
            do="check which radius is which, in m",
        )  # fmt: skip
    omega = positive("speed", speed_rpm) * math.pi / 30
    mean = rim_radius_m**2 - (ring_radius_m**2 + sleeve_radius_m**2) / 2
    drop = side_factor**2 * positive("density", density_kg_m3) / 2 * omega**2 * mean
    return math.pi * (ring_radius_m**2 - sleeve_radius_m**2) * (rim_over_suction_pa - drop)


def momentum_thrust_n(*, density_kg_m3: float, flow_m3_s: float, eye_diameter_m: float) -> float:
    """rho Q c_eye, N: what turning the inflow takes off."""
    speed = positive("flow", flow_m3_s) / (math.pi / 4 * positive("eye diameter", eye_diameter_m) ** 2)
    return positive("density", density_kg_m3) * flow_m3_s * speed


def shaft_thrust_n(shaft_radius_m: float, suction_gauge_pa: float) -> float:
    """pi r^2 (p_suc - p_atm), N: suction pressure on an overhung shaft's area, away from the suction when above 0."""
    return math.pi * positive("shaft radius", shaft_radius_m) ** 2 * suction_gauge_pa
