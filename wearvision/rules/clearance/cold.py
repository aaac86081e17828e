"""The cold setting of the front gap for a hot liquid, and whether a gap stays open when hot.

The target is a cold setting for liquids up to `front_up_to_c` (200 F unless stated, common practice, no source):
growth up to there is already allowed for in it. Above, the setting is raised by the growth beyond that
temperature, so that the hot gap stays what it is there; it is never lowered. The steps of makers are
pump-specific: their table rules.

The total of both gaps is taken as unchanged by heat: impeller and chamber are nearly equally wide and hot.
"""

from __future__ import annotations

from dataclasses import dataclass

from wearvision.rules.clearance.thermal import MAKERS_TABLE, front_change_axial, material
from wearvision.rules.gauged import NOTHING, Gauged
from wearvision.rules.pump import AxialFacts, Thermal


@dataclass(frozen=True, kw_only=True)
class Heat:
    """What heat does to the front gap, axial.

    Attributes
    ----------
    raise_axial : Gauged or None
        By how much the cold setting is raised; `None` when it would need facts that are not stated.
    change_axial : Gauged or None
        Change of the front gap when running, steady; negative closes it.
    warm_up_axial : Gauged or None
        The same while warming up, when stated.
    missing : tuple of str
        Facts that would give the change.
    question : str
        Set when the setting cannot be given without a person.
    """

    raise_axial: Gauged | None
    change_axial: Gauged | None
    warm_up_axial: Gauged | None
    missing: tuple[str, ...]
    question: str = ""

    @property
    def worst_axial(self) -> Gauged | None:
        """The change that closes the front gap most."""
        known = [c for c in (self.change_axial, self.warm_up_axial) if c is not None]
        return min(known, key=lambda c: c.value_mm, default=None)

    @property
    def widest_axial(self) -> Gauged | None:
        """The change that opens the front gap, and so closes the back gap, most."""
        known = [c for c in (self.change_axial, self.warm_up_axial) if c is not None]
        return max(known, key=lambda c: c.value_mm, default=None)


def heat_of(facts: AxialFacts, thermal: Thermal | None) -> Heat:
    """Work out the changes from the stated facts, or say which are missing."""
    known = thermal or Thermal()
    process = known.process_temp_c
    hot = process is not None and process > facts.front_up_to_c
    missing = _missing(known)
    if missing:
        question = "" if not hot else (
            f"which cold front setting, axial, does the maker's table give for {process:g} C? It cannot be worked out"
            f" without {', '.join(missing)}"
        )  # fmt: skip
        raised = None if hot else NOTHING
        return Heat(raise_axial=raised, change_axial=None, warm_up_axial=None, missing=missing, question=question)
    assert process is not None
    case = process if known.case_temp_c is None else known.case_temp_c
    rotor = process if known.rotor_temp_c is None else known.rotor_temp_c
    change = _change(facts, known, case, rotor)
    warm = known.warm_up_case_temp_c
    return Heat(
        raise_axial=_raise(facts, known, case, rotor) if hot else NOTHING, change_axial=change,
        warm_up_axial=None if warm is None else _change(facts, known, warm, rotor), missing=(),
    )  # fmt: skip


def _missing(thermal: Thermal) -> tuple[str, ...]:
    names = {
        "case_material": "case material", "rotor_material": "rotor material",
        "case_length_axial_mm": "case length (axial)", "rotor_length_axial_mm": "rotor length (axial)",
        "setting_temp_c": "temperature at setting", "process_temp_c": "process temperature",
    }  # fmt: skip
    return tuple(words for name, words in names.items() if getattr(thermal, name) in (None, ""))


def _change(
    facts: AxialFacts, known: Thermal, case_c: float, rotor_c: float, from_c: float | None = None
) -> Gauged:
    """Change of the front gap from `from_c`, the temperature at setting unless given."""
    start = known.setting_temp_c if from_c is None else from_c
    assert start is not None
    assert known.case_length_axial_mm is not None
    assert known.rotor_length_axial_mm is not None
    return front_change_axial(
        material(known.case_material), known.case_length_axial_mm, case_c - start,
        material(known.rotor_material), known.rotor_length_axial_mm, rotor_c - start, facts.running_side,
    )  # fmt: skip


def _raise(facts: AxialFacts, known: Thermal, case_c: float, rotor_c: float) -> Gauged:
    beyond = _change(facts, known, case_c, rotor_c, from_c=facts.front_up_to_c)
    if beyond.value_mm >= 0:
        return NOTHING
    how = f"growth beyond {facts.front_up_to_c:.0f} C; {MAKERS_TABLE}"
    return Gauged(value_mm=-beyond.value_mm, u_mm=beyond.u_mm, how=how)
