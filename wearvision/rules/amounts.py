"""Everything but lengths as the shop writes it: `2950 rpm`, `440 gpm`, `164 ft`, `200 F`, `72 %`, `0.14 EUR/kWh`.

A number without a unit is refused, and so is a comma that could mark thousands. Conversions are exact by
definition: 1 ft = 0.3048 m, 1 US gallon = 3.785411784 l, 1 lb = 0.45359237 kg, g = 9.80665 m/s2.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal, get_args

from wearvision.errors import BadInput

AmountKind = Literal[
    "temperature", "flow", "head", "speed", "pressure", "force", "mass", "density", "share", "hours", "angle",
    "viscosity",
]
AMOUNT_KINDS: tuple[AmountKind, ...] = get_args(AmountKind)
_FEET, _POUND, _G, _GALLON_M3, _INCH = 0.3048, 0.45359237, 9.80665, 3.785411784e-3, 0.0254
_PSI_KPA = _POUND * _G / _INCH**2 / 1000
FACTORS: Mapping[AmountKind, Mapping[str, float]] = MappingProxyType({
    "temperature": {"c": 1.0, "f": 1.0},
    "flow": {"m3/h": 1.0, "l/s": 3.6, "l/min": 0.06, "m3/s": 3600.0, "gpm": _GALLON_M3 * 60},
    "head": {"m": 1.0, "ft": _FEET},
    "speed": {"rpm": 1.0, "rev/min": 1.0, "r/min": 1.0, "1/min": 1.0},
    "pressure": {"kpa": 1.0, "mpa": 1000.0, "bar": 100.0, "psi": _PSI_KPA},
    "force": {"kn": 1.0, "n": 0.001, "lbf": _POUND * _G / 1000},
    "mass": {"kg": 1.0, "g": 0.001, "lb": _POUND, "oz": _POUND / 16},
    "density": {"kg/m3": 1.0, "kg/l": 1000.0, "g/cm3": 1000.0},
    "share": {"%": 0.01},
    "hours": {"h/year": 1.0, "h/a": 1.0},
    "angle": {"deg": 1.0},
    "viscosity": {"mm2/s": 1.0, "cst": 1.0},
})  # fmt: skip
"""Unit as written in lower case -> factor to deg C, m3/h, m, rev/min, kPa, kN, kg, kg/m3, 1, h/year, deg, mm2/s."""

_EXAMPLE: Mapping[AmountKind, str] = MappingProxyType({
    "temperature": "93 C or 200 F", "flow": "100 m3/h or 440 gpm", "head": "50 m or 164 ft", "speed": "2950 rpm",
    "pressure": "800 kPa, 8 bar or 116 psi", "force": "6 kN", "mass": "12 kg or 26 lb", "density": "1000 kg/m3",
    "share": "72 %", "hours": "8000 h/year", "angle": "90 deg", "viscosity": "1 mm2/s or 1 cSt",
})  # fmt: skip
_SAME = str.maketrans({"³": "3", "²": "2", "−": "-", "\u00a0": " ", "\u202f": " "})
_SHAPE = re.compile(r"([+-]?)([0-9]+(?:[.,][0-9]+)?) *(.*)")
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_TARIFF = re.compile(r"([0-9]+(?:[.,][0-9]+)?) *([^\s0-9/]{1,4}) */ *kwh", re.IGNORECASE)
ABSOLUTE_ZERO_C = -273.15


def parse_amount(text: str, kind: AmountKind) -> float:
    """Read an amount with its unit.

    Parameters
    ----------
    text : str
    kind : AmountKind
        A sign is allowed for temperatures and pressures only.

    Returns
    -------
    float
        In the unit of `FACTORS`.

    Raises
    ------
    BadInput
        Not a number with a unit of this kind; shows how to write it.
    """
    do = f'write it like "{_EXAMPLE[kind]}"'
    shape = _SHAPE.fullmatch(text.translate(_SAME).strip())
    if shape is None:
        raise BadInput(f"not a {kind}", got=text, do=do)
    sign, number, unit = shape.groups()
    if not unit:
        raise BadInput(f"a {kind} without a unit", got=text, do=do)
    plain = unit.lower().removeprefix("°").removeprefix("deg ").strip() if kind == "temperature" else unit.lower()
    plain = {"°": "deg", "barg": "bar", "psig": "psi", "h": "h/year" if kind == "hours" else "h"}.get(plain, plain)
    if plain not in FACTORS[kind]:
        raise BadInput(f"not a unit of {kind}", got=unit, do=do)
    if sign == "-" and kind not in ("temperature", "pressure"):
        raise BadInput(f"a {kind} cannot be negative", got=text, do=do)
    value = _number(number, text) * FACTORS[kind][plain] * (-1 if sign == "-" else 1)
    return _celsius(value, plain, text) if kind == "temperature" else value


def parse_tariff(text: str) -> tuple[float, str]:
    """Price of a kilowatt-hour and its currency, from `0.14 EUR/kWh`."""
    shape = _TARIFF.fullmatch(text.strip())
    if shape is None:
        raise BadInput("not a tariff", got=text, do='write it like "0.14 EUR/kWh"')
    return _number(shape[1], text), shape[2]


def _number(number: str, text: str) -> float:
    if _THOUSANDS.fullmatch(number):
        raise BadInput("the comma could mark thousands", got=text, do="write a point, or no comma at all")
    return float(number.replace(",", "."))


def _celsius(value: float, unit: str, text: str) -> float:
    celsius = (value - 32) / 1.8 if unit == "f" else value
    if not ABSOLUTE_ZERO_C < celsius < 1000:
        raise BadInput("not a temperature of a pump", got=text, do="check the unit")
    return celsius
