"""Energy and cost of a worn pump in a year: the same duty at a lower efficiency (derived)."""

from __future__ import annotations

from wearvision.errors import BadInput
from wearvision.rules.effects.span import G_M_S2, not_negative, positive
from wearvision.rules.effects.volumetric import fraction

HOURS_PER_YEAR = 8784.0
"""Hours of a leap year; more cannot be run."""


def hydraulic_kw(flow_m3_s: float, head_m: float, density_kg_m3: float) -> float:
    """Useful power rho g Q H, kW."""
    weight = positive("density", density_kg_m3) * G_M_S2
    return weight * positive("flow", flow_m3_s) * positive("head", head_m) / 1000


def drawn_kw(useful_kw: float, efficiency: float, drive_efficiency: float = 1.0) -> float:
    """Power drawn for a useful power, kW; efficiencies as fractions."""
    return useful_kw / (fraction("pump efficiency", efficiency) * fraction("drive efficiency", drive_efficiency))


def extra_kwh(
    *, useful_kw: float, efficiency_new: float, loss_points: float, hours: float, drive_efficiency: float = 1.0
) -> float:
    """Energy a year above that of the new pump, kWh; below 0 for a gain.

    Raises
    ------
    BadInput
        When the loss leaves no efficiency, or a year has fewer hours.
    """
    if not_negative("running hours a year", hours) > HOURS_PER_YEAR:
        raise BadInput("more running hours than a year has", got=hours, do="give hours a year, at most 8784")
    if loss_points >= 100 * efficiency_new:
        raise BadInput("the loss leaves no efficiency", got=loss_points, do="check readings and duty")
    worn = drawn_kw(useful_kw, efficiency_new - loss_points / 100, drive_efficiency)
    return (worn - drawn_kw(useful_kw, efficiency_new, drive_efficiency)) * hours
