"""A pump as the shop states it: part tags, gaps, ring readings, materials, temperatures, duty.

Plain records without judgement; the file they come from is read by `wearvision.app.pump`. Whatever was not
stated is `None`, so that a figure which needs it can name it. Every field of a clearance or gap says
`_diametral_` (across, both sides), `_radial_` (one side) or `_axial_`; lengths in mm, speed in rev/min, flow in
m3/h, head in m of the liquid, pressure in kPa gauge, force in kN, mass in kg, temperature in deg C.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from wearvision.rules.decision import GUARD_95
from wearvision.rules.gauged import Gauged

RunningSide = Literal["casing", "cover"]
RingService = Literal["process", "waterworks"]
Edition = Literal["10th-11th", "older"]
IN = 25.4
FRONT_TARGET_AXIAL_MM = 0.008 * IN
FRONT_RANGE_AXIAL_MM = (0.006 * IN, 0.010 * IN)
FRONT_UP_TO_C = (200 - 32) / 1.8
TOTAL_RANGE_AXIAL_MM = (0.060 * IN, 0.085 * IN)
"""Common practice, no source: front 0.008 in at or below 200 F, total 0.060 to 0.085 in. The maker's manual rules."""


@dataclass(frozen=True, kw_only=True)
class Parts:
    """Tags of the ledger's parts whose confirmed readings count; empty where none."""

    casing: str = ""
    impeller: str = ""
    cover: str = ""


@dataclass(frozen=True, kw_only=True)
class Duty:
    """What the pump does.

    Attributes
    ----------
    efficiency : float or None
        Of the pump as new at this duty, 0 to 1.
    motor_efficiency : float or None
        0 to 1.
    hours_per_year, tariff_per_kwh : float or None
    currency : str
        Of the tariff, as written.
    density_kg_m3 : float or None
    suction_pressure_kpa, rim_pressure_kpa : float or None
        Gauge; at the suction, and at the rim of the impeller.
    vapour_pressure_kpa : float or None
        Of the liquid at its temperature in the box; absolute, alone among the pressures.
    viscosity_mm2_s : float or None
        Kinematic; 1 for water at 20 deg C.
    """

    speed_rev_min: float | None = None
    flow_m3_h: float | None = None
    head_m: float | None = None
    efficiency: float | None = None
    motor_efficiency: float | None = None
    hours_per_year: float | None = None
    tariff_per_kwh: float | None = None
    currency: str = ""
    density_kg_m3: float | None = None
    suction_pressure_kpa: float | None = None
    rim_pressure_kpa: float | None = None
    vapour_pressure_kpa: float | None = None
    viscosity_mm2_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class AxialFacts:
    """Axial gaps of a semi-open end-suction pump, at standing metal: where feeler and dial touch.

    `front` is the running gap at the vanes' open side, `back` the one behind the shroud.

    Attributes
    ----------
    front_gap_axial, back_gap_axial, total_gap_axial : Gauged or None
        As found or set now; total is the travel from touch to touch.
    adjuster_left_axial_mm : float or None
        Travel the adjuster has left towards the front face.
    front_new_axial_mm, back_new_axial_mm : float or None
        Gaps of the pump as new or last set, for the cost of what opened since.
    front_target_axial_mm, front_low_axial_mm, front_high_axial_mm : float
        Cold setting and its range for liquids up to `front_up_to_c`.
    front_up_to_c : float
        Above it the cold setting is raised.
    total_low_axial_mm, total_high_axial_mm : float
    back_low_axial_mm, back_high_axial_mm : float
        What the total leaves at the front target, unless stated.
    casing_worn_share, impeller_worn_share, cover_worn_share : float or None
        Share of a face that is worn, 0 to 1, as a person judges it; rules over the marks of its sheet.
    running_side : {"casing", "cover"}
        Where the front gap lies; `cover` for a reverse-vane impeller.
    """

    front_gap_axial: Gauged | None = None
    back_gap_axial: Gauged | None = None
    total_gap_axial: Gauged | None = None
    adjuster_left_axial_mm: float | None = None
    front_new_axial_mm: float | None = None
    back_new_axial_mm: float | None = None
    front_target_axial_mm: float = FRONT_TARGET_AXIAL_MM
    front_low_axial_mm: float = FRONT_RANGE_AXIAL_MM[0]
    front_high_axial_mm: float = FRONT_RANGE_AXIAL_MM[1]
    front_up_to_c: float = FRONT_UP_TO_C
    total_low_axial_mm: float = TOTAL_RANGE_AXIAL_MM[0]
    total_high_axial_mm: float = TOTAL_RANGE_AXIAL_MM[1]
    back_low_axial_mm: float = TOTAL_RANGE_AXIAL_MM[0] - FRONT_TARGET_AXIAL_MM
    back_high_axial_mm: float = TOTAL_RANGE_AXIAL_MM[1] - FRONT_TARGET_AXIAL_MM
    casing_worn_share: float | None = None
    impeller_worn_share: float | None = None
    cover_worn_share: float | None = None
    running_side: RunningSide = "casing"


@dataclass(frozen=True, kw_only=True)
class Diameter:
    """One micrometer reading of a ring: which end or plane (`place`), which direction, how much."""

    place: str
    angle_deg: float
    gauged: Gauged


@dataclass(frozen=True, kw_only=True)
class RingPair:
    """A casing ring and the impeller ring that runs in it.

    Attributes
    ----------
    part : str
        Tag of the pair in the ledger; its confirmed readings stand in where none are stated here.
    bore, ring : tuple of Diameter
        Inside of the casing ring, outside of the impeller ring; two or more places and directions.
    design_clearance_diametral_mm : float or None
        The maker's least clearance of a new pair.
    design_checked : bool
        A person has looked at the design value and says it is diametral.
    land_length_axial_mm : float or None
        Length of the running fit.
    galling : bool
        Materials prone to galling.
    renew_factor : float
        Renew when the clearance reaches this many times the new one.
    edition : {"10th-11th", "older"}
        Of the table to use without a design value.
    bore_material, ring_material : str
        Names in the materials table, or empty.
    """

    name: str
    part: str = ""
    bore: tuple[Diameter, ...] = ()
    ring: tuple[Diameter, ...] = ()
    design_clearance_diametral_mm: float | None = None
    design_checked: bool = False
    land_length_axial_mm: float | None = None
    galling: bool = False
    service: RingService = "process"
    renew_factor: float = 2.0
    edition: Edition = "10th-11th"
    bore_material: str = ""
    ring_material: str = ""


@dataclass(frozen=True, kw_only=True)
class BackVanes:
    """Pump-out vanes behind the shroud.

    Attributes
    ----------
    height_new_axial_mm : float or None
        From shroud to vane top, new.
    height_loss_axial : Gauged or None
        As stated; the deepest confirmed reading of the impeller's sheet rules over it.
    tip_radius_mm, sleeve_radius_mm : float or None
        Outer end of the vanes; sleeve or hub in the box.
    """

    height_new_axial_mm: float | None = None
    height_loss_axial: Gauged | None = None
    tip_radius_mm: float | None = None
    sleeve_radius_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Bearing:
    """Thrust bearing: dynamic rating, loads as new, and its kind.

    Attributes
    ----------
    equivalent_load_kn : float or None
        As new, by its maker's factors; worked out here for an angular-contact pair only.
    """

    kind: Literal["ball", "roller", "angular-contact pair"] = "ball"
    rating_kn: float | None = None
    radial_load_kn: float | None = None
    axial_load_kn: float | None = None
    equivalent_load_kn: float | None = None


@dataclass(frozen=True, kw_only=True)
class Impeller:
    """The impeller by its drawing.

    Attributes
    ----------
    diameter_mm, eye_diameter_mm, sleeve_diameter_mm, shaft_diameter_mm : float or None
    inlet_width_mm, outlet_width_mm : float or None
        Vane widths.
    suctions : {1, 2}
        Two for a double-suction impeller.
    mass_kg : float or None
    balance_grade_mm_s : float
        G of ISO 21940-11, e times omega; 6.3 for pump impellers.
    lost_mass_g, lost_radius_mm : float or None
        Metal lost or added at one place, for its unbalance.
    reworked : bool
        Welded, filled or machined.
    """

    diameter_mm: float | None = None
    eye_diameter_mm: float | None = None
    sleeve_diameter_mm: float | None = None
    shaft_diameter_mm: float | None = None
    inlet_width_mm: float | None = None
    outlet_width_mm: float | None = None
    suctions: Literal[1, 2] = 1
    mass_kg: float | None = None
    balance_grade_mm_s: float = 6.3
    lost_mass_g: float | None = None
    lost_radius_mm: float | None = None
    reworked: bool = False


@dataclass(frozen=True, kw_only=True)
class Thermal:
    """Materials, lengths from the thrust bearing's axial datum to the front gap, and temperatures.

    Attributes
    ----------
    case_material, rotor_material : str
        Names in the materials table.
    case_length_axial_mm, rotor_length_axial_mm : float or None
    setting_temp_c, process_temp_c : float or None
        When the gap is set; the liquid's.
    case_temp_c, rotor_temp_c : float or None
        Mean metal temperatures over those lengths when running; the liquid's unless stated.
    warm_up_case_temp_c : float or None
        Of the case when the rotor is already hot.
    """

    case_material: str = ""
    rotor_material: str = ""
    case_length_axial_mm: float | None = None
    rotor_length_axial_mm: float | None = None
    setting_temp_c: float | None = None
    process_temp_c: float | None = None
    case_temp_c: float | None = None
    rotor_temp_c: float | None = None
    warm_up_case_temp_c: float | None = None


@dataclass(frozen=True, kw_only=True)
class Pump:
    """One pump; a record that was not stated is `None`, rings an empty tuple.

    Attributes
    ----------
    read_by, read_at : str
        Who took the readings stated in the file, and when (ISO date and time).
    guard_factor : float
        Guard band / u of every decision on this pump (ISO 14253-1).
    """

    tag: str
    name: str = ""
    read_by: str = ""
    read_at: str = ""
    parts: Parts = field(default_factory=Parts)
    axial: AxialFacts | None = None
    rings: tuple[RingPair, ...] = ()
    thermal: Thermal | None = None
    duty: Duty | None = None
    impeller: Impeller | None = None
    back_vanes: BackVanes | None = None
    bearing: Bearing | None = None
    guard_factor: float = GUARD_95

    @property
    def tags(self) -> tuple[str, ...]:
        """Tags of the parts it names, without the empty ones."""
        parts = (self.parts.casing, self.parts.impeller, self.parts.cover)
        return tuple(filter(None, (*parts, *(ring.part for ring in self.rings))))
