"""The common test pump of the checks, as plain figures and as stated pumps of two kinds; invented shop data."""

from __future__ import annotations

from dataclasses import replace

from wearvision.rules.clearance.axial import AxialStack, axial_stack
from wearvision.rules.clearance.rings import RingClearance, ring_clearance
from wearvision.rules.clearance.wear import Wear
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import AxialFacts, BackVanes, Bearing, Diameter, Duty, Impeller, Pump, RingPair

SPEED_RPM = 2950.0
RIM_M, RING_M = 0.250, 0.130
FLOW_M3_S, HEAD_M = 100 / 3600, 50.0
WATER_KG_M3 = 1000.0

DUTY = Duty(
    speed_rev_min=SPEED_RPM, flow_m3_h=100, head_m=HEAD_M, efficiency=0.70, motor_efficiency=0.92,
    hours_per_year=8000, tariff_per_kwh=0.15, currency="EUR", density_kg_m3=WATER_KG_M3, suction_pressure_kpa=100,
    vapour_pressure_kpa=2.3,
)  # fmt: skip
WHEEL = Impeller(
    diameter_mm=250, eye_diameter_mm=100, sleeve_diameter_mm=60, inlet_width_mm=30, outlet_width_mm=20, mass_kg=12,
    lost_mass_g=2, lost_radius_mm=100,
)  # fmt: skip
VANES = BackVanes(
    height_new_axial_mm=8, tip_radius_mm=125, sleeve_radius_mm=30,
    height_loss_axial=Gauged(value_mm=0, u_mm=0),
)  # fmt: skip
PAIR = Bearing(kind="angular-contact pair", rating_kn=63.7, radial_load_kn=1, axial_load_kn=6)


def gauge(value_mm: float, u_mm: float = 0.0) -> Gauged:
    """A length from a gauge."""
    return Gauged(value_mm=value_mm, u_mm=u_mm, how="micrometer")


def ring(
    c_diametral_mm: float, *, name: str = "front ring", new_mm: float | None = 0.43, land_mm: float | None = 20,
    u_mm: float = 0.0, diameter_mm: float = 130.0,
) -> RingClearance:  # fmt: skip
    """A round pair of 130 mm rings."""
    both = (0.0, 90.0)
    pair = RingPair(
        name=name, design_clearance_diametral_mm=new_mm, land_length_axial_mm=land_mm,
        service="process" if new_mm else "waterworks",
        bore=tuple(Diameter(place="in", angle_deg=a, gauged=gauge(diameter_mm + c_diametral_mm, u_mm)) for a in both),
        ring=tuple(Diameter(place="in", angle_deg=a, gauged=gauge(diameter_mm)) for a in both),
    )  # fmt: skip
    return ring_clearance(pair, guard_factor=1.645)


def stack(
    front_mm: float | None = 0.90, back_mm: float | None = 1.0, *, front_new_mm: float | None = 0.40,
    back_new_mm: float | None = 1.0, wear: Wear | None = None, u_mm: float = 0.0,
) -> AxialStack:  # fmt: skip
    """An axial stack as found; without both gaps no setting is proposed."""
    facts = AxialFacts(
        front_gap_axial=None if front_mm is None else gauge(front_mm, u_mm),
        back_gap_axial=None if back_mm is None else gauge(back_mm, u_mm),
        front_new_axial_mm=front_new_mm, back_new_axial_mm=back_new_mm,
    )  # fmt: skip
    return axial_stack(facts, wear, guard_factor=1.645)


PRESSED = replace(DUTY, rim_pressure_kpa=800)
CLOSED = Pump(tag="P-101", duty=DUTY, impeller=WHEEL, bearing=PAIR)
SPLIT = Pump(tag="P-102", duty=DUTY, impeller=Impeller(diameter_mm=250, suctions=2, mass_kg=12))
SEMI_OPEN = Pump(tag="P-103", duty=PRESSED, impeller=WHEEL, back_vanes=VANES, bearing=PAIR, axial=AxialFacts())
