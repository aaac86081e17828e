"""The axial stack of a semi-open end-suction pump: front gap, back gap, total, and what to set.

The impeller stands between two faces. Moving it towards the front face opens the back gap by the same amount:
front + back = total, whatever the setting. All gaps are axial and taken at standing metal, where feeler and dial
touch; wear from confirmed readings is added as depth over the deepest place (see `wear`).

Ranges (front 0.006 to 0.010 in, target 0.008 in up to 200 F; total 0.060 to 0.085 in; back what is left of the
total) are common practice, no source, editable in the pump file. The maker's manual rules over them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from wearvision.errors import BadInput
from wearvision.rules.clearance.cold import Heat, heat_of
from wearvision.rules.clearance.hold import OPEN, hold
from wearvision.rules.clearance.wear import Wear
from wearvision.rules.clearance.window import Window, shifted, window
from wearvision.rules.decision import Decision, DecisionWord, Limit
from wearvision.rules.gauged import NOTHING, Gauged
from wearvision.rules.pump import AxialFacts, Thermal


@dataclass(frozen=True, kw_only=True)
class AxialStack:
    """Everything worked out for the stack; axial throughout.

    Attributes
    ----------
    facts : AxialFacts
    wear : Wear
    front_gap_axial, back_gap_axial, total_gap_axial : Gauged or None
        As found; the third follows from any two.
    total : Decision or None
        Total against its range.
    heat : Heat
    standing, worn : Window or None
        Cold settings that keep both gaps in range at standing metal, and over the deepest wear too.
    setting_axial_mm : float or None
        Cold front setting proposed: inside `worn`, else inside `standing`.
    move_axial, back_after_axial : Gauged or None
        How far the impeller moves towards the front face, and the back gap that leaves.
    adjuster : Decision or None
        The move against the adjuster's travel.
    hot_front_axial, hot_back_axial : Gauged or None
        At the proposed setting, in the worst stated state.
    hot_found_axial : Gauged or None
        Front gap as found, when hot.
    front_touch, back_touch, found_touch : Decision or None
        Whether these three stay open.
    missing, questions : tuple of str
        Facts that would give more; what a person has to settle.
    """

    facts: AxialFacts
    wear: Wear
    front_gap_axial: Gauged | None
    back_gap_axial: Gauged | None
    total_gap_axial: Gauged | None
    total: Decision | None
    heat: Heat
    standing: Window | None
    worn: Window | None
    setting_axial_mm: float | None
    move_axial: Gauged | None
    back_after_axial: Gauged | None
    adjuster: Decision | None
    hot_front_axial: Gauged | None
    hot_back_axial: Gauged | None
    hot_found_axial: Gauged | None
    front_touch: Decision | None
    back_touch: Decision | None
    found_touch: Decision | None
    missing: tuple[str, ...]
    questions: tuple[str, ...]

    @property
    def front_wear_axial(self) -> Gauged:
        """What wear adds to the front gap at most."""
        return self.wear.front(self.facts.running_side)

    @property
    def back_wear_axial(self) -> Gauged:
        """What wear adds to the back gap at most."""
        return self.wear.back(self.facts.running_side)

    @property
    def front_after_axial_mm(self) -> tuple[float, float] | None:
        """Front gap after setting: at standing metal, and over the deepest wear at most (95 %)."""
        if self.setting_axial_mm is None:
            return None
        return self.setting_axial_mm, self.setting_axial_mm + self.front_wear_axial.high_mm

    @property
    def back_after_axial_mm(self) -> tuple[float, float] | None:
        """Back gap after setting: at standing metal at least, and over the deepest wear at most (95 %)."""
        if self.back_after_axial is None:
            return None
        return max(0.0, self.back_after_axial.low_mm), self.back_after_axial.plus(self.back_wear_axial).high_mm

    @property
    def word(self) -> DecisionWord:
        """`beyond` when the total is off, no setting exists or a gap closes; `undecided` while anything is open."""
        if "beyond" in self._words:
            return "beyond"
        return "undecided" if self.open else "within"

    @property
    def open(self) -> bool:
        """Whether a person is needed: something is undecided or asked, whatever else is decided."""
        return "undecided" in self._words or self.standing is None or bool(self.questions)

    @property
    def _words(self) -> set[str]:
        decided = (self.total, self.adjuster, self.front_touch, self.back_touch)
        windows = (self.standing, self.worn)
        return {d.word for d in decided if d is not None} | {w.word for w in windows if w is not None}


def axial_stack(
    facts: AxialFacts, wear: Wear | None = None, thermal: Thermal | None = None, *, guard_factor: float
) -> AxialStack:
    """Work the stack out.

    Raises
    ------
    BadInput
        When a stated gap is larger than the total.
    """
    wear = wear or Wear()
    front, back, total = _closed(facts)
    heat = heat_of(facts, thermal)
    found = None if total is None else window(facts, total, NOTHING, NOTHING, guard_factor)
    front_wear, back_wear = wear.front(facts.running_side), wear.back(facts.running_side)
    worn = None if total is None else window(facts, total, front_wear, back_wear, guard_factor)
    raised = heat.raise_axial
    standing = None if found is None or raised is None else shifted(found, raised)
    worn = None if worn is None or raised is None else shifted(worn, raised)
    setting = next((w.setting_axial_mm for w in (worn, standing) if w and w.setting_axial_mm is not None), None)
    at = None if setting is None else Gauged(value_mm=setting, u_mm=0.0, how="proposed setting")
    move = None if front is None or at is None else front.minus(at, "towards the front face")
    back_after = None if total is None or at is None else total.minus(at, "total less setting")
    hot_front = _plus(at, heat.worst_axial)
    hot_back = _minus(back_after, heat.widest_axial)
    hot_found = _plus(front, heat.worst_axial)
    left = facts.adjuster_left_axial_mm
    return AxialStack(
        facts=facts, wear=wear, front_gap_axial=front, back_gap_axial=back, total_gap_axial=total, heat=heat,
        total=hold(total, Limit(lower_mm=facts.total_low_axial_mm, upper_mm=facts.total_high_axial_mm), guard_factor),
        standing=standing, worn=worn, setting_axial_mm=setting, move_axial=move, back_after_axial=back_after,
        adjuster=None if left is None else hold(move, Limit(upper_mm=left), guard_factor),
        hot_front_axial=hot_front, hot_back_axial=hot_back, hot_found_axial=hot_found,
        front_touch=hold(hot_front, OPEN, guard_factor), back_touch=hold(hot_back, OPEN, guard_factor),
        found_touch=hold(hot_found, OPEN, guard_factor), missing=tuple(_missing(facts, total, front, heat)),
        questions=tuple(_questions(facts, heat, guard_factor)),
    )  # fmt: skip


def _closed(facts: AxialFacts) -> tuple[Gauged | None, Gauged | None, Gauged | None]:
    """Front, back, total, the missing one from the other two."""
    front, back, total = facts.front_gap_axial, facts.back_gap_axial, facts.total_gap_axial
    if total is None and front is not None and back is not None:
        total = front.plus(back, "front plus back")
    for name, gap in (("front", front), ("back", back)):
        if gap is not None and total is not None and gap.value_mm > total.value_mm:
            raise BadInput(f"is the axial {name} gap larger than the axial total? (mm)",
                           got=(gap.value_mm, total.value_mm), do="check units and which reading is which")  # fmt: skip
    if total is not None and back is None and front is not None:
        back = total.minus(front, "total less front")
    if total is not None and front is None and back is not None:
        front = total.minus(back, "total less back")
    return front, back, total


def _questions(facts: AxialFacts, heat: Heat, guard_factor: float) -> Iterator[str]:
    if heat.question:
        yield heat.question
    front, back, total = facts.front_gap_axial, facts.back_gap_axial, facts.total_gap_axial
    if front is None or back is None or total is None:
        return
    off = front.plus(back).minus(total)
    if abs(off.value_mm) > guard_factor * off.u_mm:
        yield (
            f"which axial gap was misread? Front {front.value_mm:.3f} plus back {back.value_mm:.3f} mm is"
            f" {abs(off.value_mm):.3f} mm {'over' if off.value_mm > 0 else 'under'} the total {total.value_mm:.3f} mm;"
            f" the gauges allow {guard_factor * off.u_mm:.3f} mm"
        )


def _missing(facts: AxialFacts, total: Gauged | None, front: Gauged | None, heat: Heat) -> Iterator[str]:
    if total is None:
        yield "total travel (axial), or both gaps: without it no setting can be proposed"
    if front is None:
        yield "front gap (axial): without it the move is not known"
    if front is not None and facts.adjuster_left_axial_mm is None:
        yield "travel left in the adjuster (axial): without it the move cannot be checked"
    if heat.missing and not heat.question:
        yield f"{', '.join(heat.missing)}: without them the hot gaps are not known"


def _plus(a: Gauged | None, b: Gauged | None) -> Gauged | None:
    return None if a is None or b is None else a.plus(b, "cold gap plus growth")


def _minus(a: Gauged | None, b: Gauged | None) -> Gauged | None:
    return None if a is None or b is None else a.minus(b, "back gap less growth")
