"""The format of the pump file: its tables and keys, and how each amount is read.

Every amount is typed with its unit as in the shop (`"0.008 in"`, `"200 F"`, `"440 gpm"`); a bare number is
refused. The field behind a key carries the unit it was turned into, as `wearvision.rules.pump` names it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from wearvision.errors import BadInput
from wearvision.rules import pump
from wearvision.rules.amounts import AmountKind, parse_amount, parse_tariff
from wearvision.rules.clearance.thermal import material
from wearvision.rules.decision import GUARD_95
from wearvision.rules.notation import parse_length
from wearvision.rules.reading import time_of

_GRADE = re.compile(r"G ?([0-9]+(?:\.[0-9]+)?)")


def _typed(read: Callable[[str], Any]) -> BeforeValidator:
    """A validator that reads shop notation; an error of ours becomes one of pydantic's."""

    def check(value: object) -> Any:
        if not isinstance(value, str):
            raise ValueError('a number without a unit; write it in quotes with its unit, like "1.6 mm"')
        try:
            return read(value)
        except BadInput as error:
            raise ValueError("; ".join(filter(None, (error.what, error.do)))) from None

    return BeforeValidator(check)


def _amount(kind: AmountKind) -> BeforeValidator:
    return _typed(lambda text: parse_amount(text, kind))


def _length(text: str) -> float:
    return parse_length(text).value_mm


def _length_text(text: str) -> str:
    parse_length(text)
    return text


def _above_zero(text: str) -> float:
    value = _length(text)
    if value <= 0:
        raise BadInput("a length above zero is expected")
    return value


def _grade(text: str) -> float:
    shape = _GRADE.fullmatch(text.strip())
    if shape is None or float(shape[1]) <= 0:
        raise BadInput("not a balance grade", do='write it like "G6.3"')
    return float(shape[1])


def _name_of_material(text: str) -> str:
    return material(text).name


def _time(text: str) -> str:
    time_of(text)
    return text


Length = Annotated[float, _typed(_length)]
Size = Annotated[float, _typed(_above_zero)]
Metal = Annotated[str, _typed(_name_of_material)]
Celsius = Annotated[float, _amount("temperature")]
Pressure = Annotated[float, _amount("pressure")]
Force = Annotated[float, _amount("force")]
Mass = Annotated[float, _amount("mass")]
Share = Annotated[float, _amount("share"), Field(gt=0, le=1)]
Angle = Annotated[float, _amount("angle"), Field(ge=0, lt=360)]
When = Annotated[str, _typed(_time)]
Words = Annotated[str, Field(min_length=1)]
Factor = Annotated[float, Field(strict=True, gt=1, le=5)]


class _Strict(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Reading(_Strict):
    """A length read with a gauge; with a feeler gauge the thickest leaf that goes."""

    reading: Annotated[str, _typed(_length_text)]
    gauge: Words


class RingReading(Reading):
    """A ring's diameter at one place (end of the ring) and direction."""

    place: Words
    angle: Angle


class Parts(_Strict):
    """Tags of the ledger's parts."""

    casing: str = ""
    impeller: str = ""
    cover: str = ""


class Duty(_Strict):
    """Duty point, hours, tariff."""

    speed_rev_min: Annotated[float, _amount("speed"), Field(gt=0)] | None = Field(None, alias="speed")
    flow_m3_h: Annotated[float, _amount("flow"), Field(gt=0)] | None = Field(None, alias="flow")
    head_m: Annotated[float, _amount("head"), Field(gt=0)] | None = Field(None, alias="head")
    efficiency: Share | None = None
    motor_efficiency: Share | None = None
    hours_per_year: Annotated[float, _amount("hours"), Field(gt=0, le=8784)] | None = Field(None, alias="hours")
    tariff: Annotated[tuple[float, str], _typed(parse_tariff)] | None = None
    density_kg_m3: Annotated[float, _amount("density"), Field(gt=0)] | None = Field(None, alias="density")
    suction_pressure_kpa: Pressure | None = Field(None, alias="suction_pressure")
    rim_pressure_kpa: Pressure | None = Field(None, alias="rim_pressure", description="at the rim of the impeller")
    vapour_pressure_kpa: Annotated[Pressure, Field(ge=0)] | None = Field(
        None, alias="vapour_pressure", description="absolute"
    )
    viscosity_mm2_s: Annotated[float, _amount("viscosity"), Field(gt=0)] | None = Field(None, alias="viscosity")


class Axial(_Strict):
    """Axial gaps; a range is a pair of lengths."""

    front_gap_axial: Reading | None = None
    back_gap_axial: Reading | None = None
    total_gap_axial: Reading | None = None
    adjuster_left_axial: Length | None = None
    front_new_axial: Length | None = None
    back_new_axial: Length | None = None
    front_target_axial: Size = pump.FRONT_TARGET_AXIAL_MM
    front_range_axial: tuple[Length, Length] = pump.FRONT_RANGE_AXIAL_MM
    total_range_axial: tuple[Size, Size] = pump.TOTAL_RANGE_AXIAL_MM
    back_range_axial: tuple[Length, Length] | None = None
    front_up_to: Celsius = pump.FRONT_UP_TO_C
    casing_worn_share: Share | None = Field(None, description="of its face; else the marks of its sheet count")
    impeller_worn_share: Share | None = None
    cover_worn_share: Share | None = None
    running_side: pump.RunningSide = "casing"

    @model_validator(mode="after")
    def _ordered(self) -> Axial:
        for name in ("front_range_axial", "total_range_axial", "back_range_axial"):
            pair = getattr(self, name)
            if pair is not None and pair[0] >= pair[1]:
                raise ValueError(f"{name}: the lower end comes first")
        if not self.front_range_axial[0] <= self.front_target_axial <= self.front_range_axial[1]:
            raise ValueError("front_target_axial lies outside front_range_axial")
        return self


class Ring(_Strict):
    """One ring pair."""

    name: Words
    part: str = Field("", description="tag in the ledger, for its confirmed readings")
    inside: tuple[RingReading, ...] = Field((), description="casing ring")
    outside: tuple[RingReading, ...] = Field((), description="impeller ring")
    design_clearance_diametral: Size | None = None
    design_checked: bool = False
    land_length_axial: Size | None = None
    galling: bool = False
    service: pump.RingService = "process"
    renew_factor: Factor = 2.0
    edition: pump.Edition = "10th-11th"
    inside_material: Metal = ""
    outside_material: Metal = ""

    @model_validator(mode="after")
    def _read(self) -> Ring:
        if not (self.inside and self.outside) and (self.inside or self.outside or not self.part):
            raise ValueError("give readings inside and outside, or the part's tag in the ledger")
        return self


class Thermal(_Strict):
    """Materials, lengths, temperatures."""

    case_material: Metal = ""
    rotor_material: Metal = ""
    case_length_axial_mm: Size | None = Field(None, alias="case_length_axial")
    rotor_length_axial_mm: Size | None = Field(None, alias="rotor_length_axial")
    setting_temp_c: Celsius | None = Field(None, alias="setting_temperature")
    process_temp_c: Celsius | None = Field(None, alias="process_temperature")
    case_temp_c: Celsius | None = Field(None, alias="case_temperature")
    rotor_temp_c: Celsius | None = Field(None, alias="rotor_temperature")
    warm_up_case_temp_c: Celsius | None = Field(None, alias="warm_up_case_temperature")


class Impeller(_Strict):
    """The impeller by its drawing."""

    diameter_mm: Size | None = Field(None, alias="diameter")
    eye_diameter_mm: Size | None = Field(None, alias="eye_diameter")
    sleeve_diameter_mm: Size | None = Field(None, alias="sleeve_diameter")
    shaft_diameter_mm: Size | None = Field(None, alias="shaft_diameter")
    inlet_width_mm: Size | None = Field(None, alias="inlet_width")
    outlet_width_mm: Size | None = Field(None, alias="outlet_width")
    suctions: Literal[1, 2] = 1
    mass_kg: Annotated[Mass, Field(gt=0)] | None = Field(None, alias="mass")
    balance_grade_mm_s: Annotated[float, _typed(_grade)] = Field(6.3, alias="balance_grade")
    lost_mass: Mass | None = None
    lost_radius_mm: Size | None = Field(None, alias="lost_radius")
    reworked: bool = False


class BackVanes(_Strict):
    """Pump-out vanes behind the shroud."""

    height_new_axial_mm: Size | None = Field(None, alias="height_new_axial")
    height_loss_axial: Reading | None = None
    tip_radius_mm: Size | None = Field(None, alias="tip_radius")
    sleeve_radius_mm: Size | None = Field(None, alias="sleeve_radius")


class Bearing(_Strict):
    """Thrust bearing."""

    kind: Literal["ball", "roller", "angular-contact pair"] = "ball"
    rating_kn: Annotated[Force, Field(gt=0)] | None = Field(None, alias="rating")
    radial_load_kn: Force | None = Field(None, alias="radial_load")
    axial_load_kn: Force | None = Field(None, alias="axial_load")
    equivalent_load_kn: Annotated[Force, Field(gt=0)] | None = Field(None, alias="equivalent_load")


class PumpFile(_Strict):
    """The whole file."""

    format: Literal["wearvision.pump/1"]
    tag: Words
    name: str = ""
    gauges: str = Field("", description="gauges file, beside this one; needed for readings")
    read_by: str = ""
    read_at: When = ""
    guard_factor: Annotated[float, Field(strict=True)] = GUARD_95
    parts: Parts = Parts()
    axial: Axial | None = None
    rings: tuple[Ring, ...] = ()
    thermal: Thermal | None = None
    duty: Duty | None = None
    impeller: Impeller | None = None
    back_vanes: BackVanes | None = None
    bearing: Bearing | None = None

    @model_validator(mode="after")
    def _names(self) -> PumpFile:
        names = [r.name for r in self.rings]
        if len(set(names)) < len(names):
            raise ValueError("two ring pairs have the same name")
        if self.guard_factor not in (GUARD_95, 2.0):
            raise ValueError("guard_factor is 1.645 (95 % one-sided) or 2.0")
        return self


def _keys(*models: type[BaseModel]) -> frozenset[str]:
    return frozenset(field.alias or name for model in models for name, field in model.model_fields.items())


KEYS = _keys(PumpFile, Parts, Axial, Ring, RingReading, Thermal, Duty, Impeller, BackVanes, Bearing)
"""Every key of the file, to suggest from."""
