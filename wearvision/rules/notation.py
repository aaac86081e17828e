"""Lengths as the shop writes them, turned into exact millimetres; what could mean two things is refused.

Rules, in order:

1. A written unit counts: `in`, `inch`, `"`; `mil`, `thou` (0.001 in); `mm`; `um`, `micron`.
2. A fraction without a unit is inches by trade custom (common practice, no source), and only with a
   customary denominator, 2 to 128: `1/10` alone is refused.
3. A decimal or whole number without a unit is refused, unless the rubric or the bench states one unit.
4. The comma is a decimal comma; where it could be a thousands separator (`1,600`) the number is refused.
5. A fraction must be proper: `11/8` may be a slip for `1 1/8`, so it is refused.

1 in = 25.4 mm exactly (international inch, 1959), so values are kept as fractions and only shown rounded.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import Literal, get_args

from wearvision.errors import BadInput

LengthUnit = Literal["in", "mil", "mm", "um"]
UNITS: tuple[LengthUnit, ...] = get_args(LengthUnit)
MM_PER: dict[LengthUnit, Fraction] = {
    "in": Fraction(254, 10), "mil": Fraction(254, 10000), "mm": Fraction(1), "um": Fraction(1, 1000),
}  # fmt: skip
LARGEST_MM = 5000
"""No wet-end part is larger; a larger figure is a slip of unit or decimal mark."""

_SPELT: dict[str, LengthUnit] = {
    "in": "in", "inch": "in", "inches": "in", '"': "in", "mil": "mil", "mils": "mil", "thou": "mil",
    "mm": "mm", "um": "um", "micron": "um", "microns": "um",
}  # fmt: skip
_VULGAR = {
    "½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8", "⅓": "1/3",
    "⅔": "2/3", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5", "⅙": "1/6", "⅚": "5/6", "⅒": "1/10",
}  # fmt: skip
_SAME = str.maketrans(
    {"⁄": "/", "∕": "/", "″": '"', "”": '"', "“": '"', "‟": '"', "−": "-", "–": "-", "‐": "-", "‑": "-",
     "µ": "u", "μ": "u", "\u00a0": " ", "\u2009": " ", "\u202f": " ", "\t": " "}
)  # fmt: skip
_FRACTION = r"(?:(?P<whole>[0-9]+)(?: +| *- *))?(?P<top>[0-9]+) */ *(?P<bottom>[0-9]+)"
_DECIMAL = r"(?P<decimal>[0-9]*[.,][0-9]+|[0-9]+\.?)"
_SHAPE = re.compile(rf'(?P<sign>[+-]?) *(?:{_FRACTION}|{_DECIMAL}) *(?P<unit>[a-z]*|")\.?')
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_CUSTOMARY = (2, 4, 8, 16, 32, 64, 128)


@dataclass(frozen=True, kw_only=True)
class Length:
    """A length as typed and as understood.

    Attributes
    ----------
    typed : str
        The text as it came.
    unit : LengthUnit
        Unit it was understood in.
    understood : str
        The figure in plain notation with its unit, `1 1/8 in`; parses to the same value.
    exact_mm : Fraction
    resolution_mm : float
        Step of the notation: one unit in the last decimal place. A fraction is written in lowest terms, so
        its denominator tells nothing of the graduation: 1/64 of its unit is taken, or finer if typed finer.
    """

    typed: str
    unit: LengthUnit
    understood: str
    exact_mm: Fraction
    resolution_mm: float

    @property
    def value_mm(self) -> float:
        """The value, correctly rounded, so that `1/8` and `3.175 mm` are the same float."""
        return float(self.exact_mm)

    @property
    def echo(self) -> str:
        """What was understood, for the person to check: `1/16 in = 1.588 mm`."""
        if self.unit in ("in", "mil"):
            return f"{self.understood} = {show(self.exact_mm, 3)} mm"
        return f"{self.understood} = {show(self.exact_mm / MM_PER['in'], 4)} in"


def parse_length(text: str, *, default: LengthUnit | None = None, signed: bool = False) -> Length:
    """Read a length in shop notation.

    Parameters
    ----------
    text : str
        `1/16`, `1 1/8`, `1-1/8"`, `0.062 in`, `62 mil`, `1,6 mm`, `5 um`, ...
    default : LengthUnit, optional
        Unit of a decimal without one; `None` refuses it. Fractions without a unit are inches all the same.
    signed : bool
        Whether a sign is allowed.

    Returns
    -------
    Length
        Size up to `LARGEST_MM`.

    Raises
    ------
    BadInput
        When the text is no length or could be two; says which words would settle it.
    """
    plain = text.translate(_SAME)
    for sign, spelt in _VULGAR.items():
        plain = plain.replace(sign, f" {spelt}")
    plain = plain.replace("''", '"').strip().lower()
    shape = _SHAPE.fullmatch(plain) if len(plain) <= 40 else None
    if shape is None:
        raise BadInput("not a length", got=text, do="write it like 1/16, 0.062 in, 62 mil or 1.6 mm")
    if shape["sign"] and not signed:
        raise BadInput("a sign is not expected here", got=text, do="give the size without a sign")
    if shape["unit"] and shape["unit"] not in _SPELT:
        raise BadInput("unknown unit of length", got=text, do="use in, mil, thou, mm or um")
    unit = _SPELT.get(shape["unit"])
    if shape["top"]:
        size, figure, step, unit = _fraction(text, shape, unit)
    else:
        size, figure, step, unit = _decimal(text, shape, unit or default)
    exact = size * MM_PER[unit]
    if exact > LARGEST_MM:
        raise BadInput(f"longer than {LARGEST_MM} mm", got=text, do="check the unit and the decimal mark")
    minus = "-" if shape["sign"] == "-" else ""
    return Length(
        typed=text, unit=unit, understood=f"{minus}{figure} {unit}", exact_mm=-exact if minus else exact,
        resolution_mm=float(step * MM_PER[unit]),
    )  # fmt: skip


def show(value: Fraction, places: int) -> str:
    """Decimal text of an exact value, halves rounded away from zero as in a workshop table."""
    exact = Decimal(value.numerator) / Decimal(value.denominator)
    return f"{exact.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP):f}"


_Parts = tuple[Fraction, str, Fraction, LengthUnit]


def _fraction(text: str, shape: re.Match[str], unit: LengthUnit | None) -> _Parts:
    whole, top, bottom = int(shape["whole"] or 0), int(shape["top"]), int(shape["bottom"])
    if bottom == 0 or top >= bottom:
        raise BadInput("not a proper fraction", got=text, do="write 1 1/8, not 9/8")
    if unit is None and bottom not in _CUSTOMARY:
        raise BadInput("a fraction with an unusual denominator", got=text, do="say mm or in")
    figure = f"{whole} {top}/{bottom}" if shape["whole"] else f"{top}/{bottom}"
    return whole + Fraction(top, bottom), figure, Fraction(1, max(64, bottom)), unit or "in"


def _decimal(text: str, shape: re.Match[str], unit: LengthUnit | None) -> _Parts:
    if _THOUSANDS.fullmatch(shape["decimal"]):
        raise BadInput("the comma could mark thousands", got=text, do="write a point, or no comma at all")
    if unit is None:
        bare = text.strip()
        raise BadInput("a number without a unit", got=text, do=f"say mm or in: {bare} mm or {bare} in")
    digits = shape["decimal"].replace(",", ".").rstrip(".")
    head, _, tail = digits.partition(".")
    figure = f"{head or '0'}.{tail}" if tail else head
    return Fraction(figure), figure, Fraction(1, 10 ** len(tail)), unit
