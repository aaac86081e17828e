"""Minimum running clearances of metal wear rings, diametral, by the diameter of the rotating ring.

From memory of the table in ISO 13709 / API 610, 10th and 11th edition; confirm against the standard before
quoting it. The older edition's rows are those of Practical Machinery Management for Process Plants, Major
Process Equipment Maintenance and Repair, table 1-3, and end at 6 in. Water-works pumps are built closer than
process pumps and are not judged by either.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from wearvision.errors import BadInput, NeedsPerson
from wearvision.rules.pump import IN, Edition

ALLOWANCE_DIAMETRAL_MM = 0.125
"""Added for materials prone to galling, and for every material above 260 C; API 610, from memory."""
ALLOWANCE_ABOVE_C = 260.0
WATERWORKS_SHARE = 0.0015
"""Typical new diametral clearance of water-works pumps over ring diameter; a hint, never a limit."""
_LAST_MM, _BEYOND = 649.99, 0.001
_METRIC = (
    (0, 0.25), (50, 0.28), (65, 0.30), (80, 0.33), (90, 0.36), (100, 0.38), (115, 0.41), (125, 0.43), (150, 0.46),
    (175, 0.48), (200, 0.51), (225, 0.53), (250, 0.56), (275, 0.58), (300, 0.61), (325, 0.63), (350, 0.66),
    (375, 0.69), (400, 0.71), (425, 0.74), (450, 0.76), (475, 0.79), (500, 0.81), (525, 0.84), (550, 0.86),
    (575, 0.89), (600, 0.91), (625, 0.94),
)  # fmt: skip
"""From this ring diameter on, mm: clearance, diametral, mm."""
_OLDER_IN = ((0.0, 0.010), (2.0, 0.011), (2.5, 0.012), (3.0, 0.014), (3.5, 0.016), (5.0, 0.017))
_OLDER_END_IN = 6.0
_NAMES: dict[Edition, str] = {
    "10th-11th": "API 610 / ISO 13709, 10th-11th edition, from memory",
    "older": "API 610, older edition, as printed in a maintenance handbook",
}


@dataclass(frozen=True, kw_only=True)
class NewClearance:
    """The clearance of a new pair: how much and where it stands."""

    clearance_diametral_mm: float
    source: str


def table_clearance(diameter_mm: float, edition: Edition = "10th-11th", *, allowance: bool = False) -> NewClearance:
    """Minimum running clearance of metal rings by the table.

    Parameters
    ----------
    diameter_mm : float
        Of the rotating ring; above 0.
    edition : {"10th-11th", "older"}
    allowance : bool
        Whether the materials gall or run above 260 C.

    Raises
    ------
    NeedsPerson
        Beyond the rows we have of the older edition.
    """
    if not diameter_mm > 0:
        raise BadInput("a ring diameter is above zero", got=diameter_mm)
    clearance = _metric(diameter_mm) if edition == "10th-11th" else _older(diameter_mm)
    source = f"{_NAMES[edition]}, ring {diameter_mm:.2f} mm"
    if allowance:
        source += f", with {ALLOWANCE_DIAMETRAL_MM:g} mm for galling or heat"
    return NewClearance(clearance_diametral_mm=clearance + allowance * ALLOWANCE_DIAMETRAL_MM, source=source)


def wants_allowance(galling: bool, temperature_c: float | None) -> bool:
    """Whether the table's figure is raised."""
    return galling or (temperature_c is not None and temperature_c > ALLOWANCE_ABOVE_C)


def _metric(diameter_mm: float) -> float:
    row = bisect_right(_METRIC, diameter_mm, key=lambda r: r[0]) - 1
    return _METRIC[row][1] + max(0.0, diameter_mm - _LAST_MM) * _BEYOND


def _older(diameter_mm: float) -> float:
    inches = round(diameter_mm / IN, 6)  # 3 in through mm and back must stay 3 in
    if inches >= _OLDER_END_IN:
        raise NeedsPerson(
            "the older edition's rows end at 6 in here", got=f"{inches:.3f} in", do="state the maker's design clearance"
        )
    return _OLDER_IN[bisect_right(_OLDER_IN, inches, key=lambda r: r[0]) - 1][1] * IN
