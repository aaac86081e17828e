"""Axial thrust of a closed single-suction impeller told; a range, because the liquid beside it turns as it likes."""

from __future__ import annotations

from collections.abc import Sequence

from wearvision.rules.clearance.rings import RingClearance
from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects import thrust
from wearvision.rules.effects.facts import PumpFacts
from wearvision.rules.effects.telling import Figure, gauged, tell

MM = 1e-3


def thrust_effects(known: PumpFacts, rings: Sequence[RingClearance]) -> tuple[Effect | Blocked, ...]:
    """The thrust, where the form holds: one ring, one suction."""
    if known.suctions != 1 or len(rings) != 1:
        return ()
    shaft = known.shaft_diameter.span
    end = "; less suction pressure on the shaft's end" if shaft else ""
    what = Figure(
        name="axial_thrust", title="Axial thrust toward the suction", unit="N",
        route="pressures over the ring's area, liquid beside the shrouds at 0.5 of shaft speed and 0.1 either way (our"
        f" own allowance), less momentum of the inflow (derived){end}",
        assumption="closed impeller, no balance holes, no back ring; "
        + ("overhung shaft" if shaft else "suction pressure on a shaft's end left out"),
    )  # fmt: skip

    def figure(
        side: float, rim_kpa: float, suction_kpa: float, speed: float, density: float, flow: float,
        ring: float, sleeve: float, rim: float, eye: float, shaft_mm: float = 0.0,
    ) -> float:  # fmt: skip
        pressure = thrust.pressure_thrust_n(
            ring_radius_m=ring / 2 * MM, sleeve_radius_m=sleeve / 2 * MM, rim_radius_m=rim / 2 * MM,
            rim_over_suction_pa=1000 * (rim_kpa - suction_kpa), speed_rpm=speed, density_kg_m3=density,
            side_factor=side,
        )  # fmt: skip
        momentum = thrust.momentum_thrust_n(density_kg_m3=density, flow_m3_s=flow / 3600, eye_diameter_m=eye * MM)
        outward = thrust.shaft_thrust_n(shaft_mm / 2 * MM, 1000 * suction_kpa) if shaft_mm else 0.0
        return pressure - momentum - outward

    facts = (
        known.rim_pressure, known.suction_pressure, known.speed, known.density, known.flow,
        gauged("ring diameter", rings[0].fit.ring_diameter), known.sleeve_diameter, known.rim_diameter,
        known.eye_diameter, *((known.shaft_diameter,) if shaft else ()),
    )  # fmt: skip
    return (tell(what, facts, figure, spreads=(thrust.SIDE_FACTOR,)),)
