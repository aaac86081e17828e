"""What a ring clearance is held against: the maker's design value, else the table, else a question to a person.

Here also the questions about a value that looks radial where diametral is meant, or the other way round.
"""

from __future__ import annotations

from wearvision.errors import NeedsPerson
from wearvision.rules.clearance.ring_table import WATERWORKS_SHARE, NewClearance, table_clearance, wants_allowance
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import RingPair, Thermal

_HALF, _TWICE = (0.42, 0.58), (1.8, 2.2)
"""Ratio to what is expected that smells of radial taken for diametral, or the other way round; our choice."""


def new_clearance(
    pair: RingPair, diameter_mm: float, thermal: Thermal | None
) -> tuple[NewClearance | None, tuple[str, ...]]:
    """The clearance of a new pair, diametral, and the questions that stand in its place where it is not known."""
    if pair.design_clearance_diametral_mm is not None:
        design = pair.design_clearance_diametral_mm
        return NewClearance(clearance_diametral_mm=design, source="maker's design value as stated"), ()
    if pair.service == "waterworks":
        usual = WATERWORKS_SHARE * diameter_mm
        return None, (
            f"{pair.name}: which design clearance, diametral? Water-works pumps are built closer than the process-pump"
            f" table; typical is about {usual:.2f} mm here, which is no limit",
        )
    hottest = None if thermal is None else _hottest(thermal)
    try:
        return table_clearance(diameter_mm, pair.edition, allowance=wants_allowance(pair.galling, hottest)), ()
    except NeedsPerson as question:
        return None, (f"{pair.name}: {question.line()}",)


def _hottest(thermal: Thermal) -> float | None:
    known = (thermal.process_temp_c, thermal.case_temp_c, thermal.rotor_temp_c)
    return max((t for t in known if t is not None), default=None)


def suspicions(
    pair: RingPair, mean_diametral: Gauged, new: NewClearance | None, diameter_mm: float
) -> tuple[str, ...]:
    """Questions about radial taken for diametral, or the other way round; each ends with what would settle it."""
    asked = []
    design = pair.design_clearance_diametral_mm
    if design is not None and not pair.design_checked:
        usual = _usual_diametral_mm(pair, diameter_mm)
        for (low, high), much, slip in ((_HALF, "half", "radial, one side"), (_TWICE, "twice", "counted twice")):
            if low <= design / usual <= high:
                asked.append(
                    f"{pair.name}: is the design clearance of {design:.3f} mm really diametral? It is about {much}"
                    f" the usual {usual:.3f} mm, as if {slip}; correct it, or set design_checked = true"
                )
    if new is not None and _HALF[0] <= mean_diametral.value_mm / new.clearance_diametral_mm <= _HALF[1]:
        asked.append(
            f"{pair.name}: are all readings diameters? The mean clearance of {mean_diametral.value_mm:.3f} mm is about"
            f" half of the new diametral {new.clearance_diametral_mm:.3f} mm, as if one side was taken; read again"
        )
    return tuple(asked)


def _usual_diametral_mm(pair: RingPair, diameter_mm: float) -> float:
    if pair.service == "waterworks":
        return WATERWORKS_SHARE * diameter_mm
    return table_clearance(diameter_mm, allowance=pair.galling).clearance_diametral_mm
