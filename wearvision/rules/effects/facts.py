"""The facts of a pump as inputs of its effects, each with the words and unit it is asked for by."""

from __future__ import annotations

from dataclasses import dataclass

from wearvision.rules.effects.telling import Fact, fact
from wearvision.rules.pump import BackVanes, Bearing, Duty, Impeller, Pump


@dataclass(frozen=True, kw_only=True)
class PumpFacts:
    """Facts in shop units: mm, m3/h, kPa, kN, percent; `suctions` and `currency` are always known."""

    suctions: int
    currency: str
    speed: Fact
    flow: Fact
    head: Fact
    efficiency: Fact
    motor_efficiency: Fact
    hours: Fact
    tariff: Fact
    density: Fact
    viscosity: Fact
    suction_pressure: Fact
    vapour_pressure: Fact
    rim_pressure: Fact
    rim_diameter: Fact
    eye_diameter: Fact
    sleeve_diameter: Fact
    shaft_diameter: Fact
    inlet_width: Fact
    outlet_width: Fact
    mass: Fact
    lost_mass: Fact
    lost_radius: Fact
    vane_height: Fact
    tip_radius: Fact
    sleeve_radius: Fact
    rating: Fact
    radial_load: Fact
    axial_load: Fact
    equivalent_load: Fact


def pump_facts(pump: Pump) -> PumpFacts:
    """Every fact of the pump; what was not stated keeps its words."""
    duty, wheel = pump.duty or Duty(), pump.impeller or Impeller()
    vanes, bearing = pump.back_vanes or BackVanes(), pump.bearing or Bearing()
    currency = duty.currency or "money"
    return PumpFacts(
        suctions=wheel.suctions, currency=currency,
        speed=fact("speed", duty.speed_rev_min, "rev/min", "[duty] speed"),
        flow=fact("flow", duty.flow_m3_h, "m3/h", "[duty] flow"),
        head=fact("head", duty.head_m, "m", "[duty] head"),
        efficiency=fact("pump efficiency as new", _percent(duty.efficiency), "%", "[duty] efficiency"),
        motor_efficiency=fact("motor efficiency", _percent(duty.motor_efficiency), "%",
                              "[duty] motor_efficiency"),
        hours=fact("running hours", duty.hours_per_year, "h/year", "[duty] hours"),
        tariff=fact("tariff", duty.tariff_per_kwh, f"{currency}/kWh", "[duty] tariff"),
        density=fact("density", duty.density_kg_m3, "kg/m3", "[duty] density"),
        viscosity=fact("kinematic viscosity", duty.viscosity_mm2_s, "mm2/s", "[duty] viscosity"),
        suction_pressure=fact("suction pressure", duty.suction_pressure_kpa, "kPa gauge",
                              "[duty] suction_pressure"),
        vapour_pressure=fact("vapour pressure", duty.vapour_pressure_kpa, "kPa absolute",
                             "[duty] vapour_pressure"),
        rim_pressure=fact("pressure at the rim of the impeller", duty.rim_pressure_kpa, "kPa gauge",
                          "[duty] rim_pressure"),
        rim_diameter=fact("impeller diameter", wheel.diameter_mm, "mm", "[impeller] diameter"),
        eye_diameter=fact("eye diameter", wheel.eye_diameter_mm, "mm", "[impeller] eye_diameter"),
        sleeve_diameter=fact("sleeve diameter", wheel.sleeve_diameter_mm, "mm", "[impeller] sleeve_diameter"),
        shaft_diameter=fact("shaft diameter", wheel.shaft_diameter_mm, "mm", "[impeller] shaft_diameter"),
        inlet_width=fact("vane width at the inlet", wheel.inlet_width_mm, "mm", "[impeller] inlet_width"),
        outlet_width=fact("vane width at the outlet", wheel.outlet_width_mm, "mm", "[impeller] outlet_width"),
        mass=fact("impeller mass", wheel.mass_kg, "kg", "[impeller] mass"),
        lost_mass=fact("metal lost or added at one place", wheel.lost_mass_g, "g", "[impeller] lost_mass"),
        lost_radius=fact("radius of that place", wheel.lost_radius_mm, "mm", "[impeller] lost_radius"),
        vane_height=fact("back vane height when new", vanes.height_new_axial_mm, "mm",
                         "[back_vanes] height_new_axial"),
        tip_radius=fact("tip radius of the back vanes", vanes.tip_radius_mm, "mm", "[back_vanes] tip_radius"),
        sleeve_radius=fact("sleeve radius in the box", vanes.sleeve_radius_mm, "mm",
                           "[back_vanes] sleeve_radius"),
        rating=fact("dynamic load rating of the bearing", bearing.rating_kn, "kN", "[bearing] rating"),
        radial_load=fact("radial bearing load", bearing.radial_load_kn, "kN", "[bearing] radial_load"),
        equivalent_load=fact("equivalent bearing load as new", bearing.equivalent_load_kn, "kN",
                             "[bearing] equivalent_load"),
        axial_load=fact("axial bearing load as new", bearing.axial_load_kn, "kN", "[bearing] axial_load"),
    )  # fmt: skip


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share
