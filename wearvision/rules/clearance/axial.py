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
from wearvision.rules.clearance.wear import Wear, averaged, deepest
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
    heat : Heat
    front_gap_axial, back_gap_axial, total_gap_axial : Gauged or None
        As found; the third follows from any two.
    standing, worn : Window or None
        Cold settings that keep both gaps in range at standing metal, and over the deepest wear too.
    guard_factor : float
    """

    facts: AxialFacts
    wear: Wear
    heat: Heat
    front_gap_axial: Gauged | None
    back_gap_axial: Gauged | None
    total_gap_axial: Gauged | None
    standing: Window | None
    worn: Window | None
    guard_factor: float

    @property
    def total(self) -> Decision | None:
        """Total against its range."""
        budget = Limit(lower_mm=self.facts.total_low_axial_mm, upper_mm=self.facts.total_high_axial_mm)
        return hold(self.total_gap_axial, budget, self.guard_factor)

    @property
    def setting_axial_mm(self) -> float | None:
        """Cold front setting proposed: inside `worn`, else inside `standing`."""
        settings = (w.setting_axial_mm for w in (self.worn, self.standing) if w is not None)
        return next((s for s in settings if s is not None), None)

    @property
    def setting_axial(self) -> Gauged | None:
        """The same as a length that will be set exactly."""
        setting = self.setting_axial_mm
        return None if setting is None else Gauged(value_mm=setting, u_mm=0.0, how="proposed setting")

    @property
    def move_axial(self) -> Gauged | None:
        """How far the impeller moves towards the front face."""
        return _minus(self.front_gap_axial, self.setting_axial, "towards the front face")

    @property
    def back_after_axial(self) -> Gauged | None:
        """The back gap that the setting leaves."""
        return _minus(self.total_gap_axial, self.setting_axial, "total less setting")

    @property
    def adjuster(self) -> Decision | None:
        """The move against the adjuster's travel."""
        left = self.facts.adjuster_left_axial_mm
        return None if left is None else hold(self.move_axial, Limit(upper_mm=left), self.guard_factor)

    @property
    def hot_front_axial(self) -> Gauged | None:
        """Front gap at the proposed setting, in the worst stated state."""
        return _plus(self.setting_axial, self.heat.worst_axial)

    @property
    def hot_back_axial(self) -> Gauged | None:
        """Back gap at the proposed setting, in the state that closes it most."""
        return _minus(self.back_after_axial, self.heat.widest_axial, "back gap less growth")

    @property
    def hot_found_axial(self) -> Gauged | None:
        """Front gap as found, when hot."""
        return _plus(self.front_gap_axial, self.heat.worst_axial)

    @property
    def front_touch(self) -> Decision | None:
        """Whether the front gap stays open when hot."""
        return hold(self.hot_front_axial, OPEN, self.guard_factor)

    @property
    def back_touch(self) -> Decision | None:
        """Whether the back gap stays open when hot."""
        return hold(self.hot_back_axial, OPEN, self.guard_factor)

    @property
    def found_touch(self) -> Decision | None:
        """Whether the front gap as found stays open when hot."""
        return hold(self.hot_found_axial, OPEN, self.guard_factor)

    @property
    def questions(self) -> tuple[str, ...]:
        """What a person has to settle."""
        asked = (self.heat.question, _misread(self.facts, self.guard_factor))
        return tuple(filter(None, asked))

    @property
    def missing(self) -> tuple[str, ...]:
        """Facts that would give more."""
        return tuple(_missing(self))

    @property
    def front_wear_axial(self) -> Gauged:
        """What wear adds to the front gap at most, over the deepest places."""
        return deepest(self.wear.front_faces(self.facts.running_side))

    @property
    def front_wear_averaged_axial(self) -> Gauged:
        """What wear adds at most to the front gap averaged over the face."""
        return averaged(self.wear.front_faces(self.facts.running_side))

    @property
    def back_wear_axial(self) -> Gauged:
        """What wear adds to the back gap at most, over the deepest places."""
        return deepest(self.wear.back_faces(self.facts.running_side))

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

    def settings(front_wear: Gauged, back_wear: Gauged) -> Window | None:
        if total is None or heat.raise_axial is None:
            return None
        return shifted(window(facts, total, front_wear, back_wear, guard_factor), heat.raise_axial)

    side = facts.running_side
    worn = settings(deepest(wear.front_faces(side)), deepest(wear.back_faces(side)))
    return AxialStack(
        facts=facts, wear=wear, heat=heat, front_gap_axial=front, back_gap_axial=back, total_gap_axial=total,
        standing=settings(NOTHING, NOTHING), worn=worn, guard_factor=guard_factor,
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


def _misread(facts: AxialFacts, guard_factor: float) -> str:
    """A question when all three gaps are stated and do not add up; else empty."""
    front, back, total = facts.front_gap_axial, facts.back_gap_axial, facts.total_gap_axial
    if front is None or back is None or total is None:
        return ""
    off = front.plus(back).minus(total)
    if abs(off.value_mm) <= guard_factor * off.u_mm:
        return ""
    return (
        f"which axial gap was misread? Front {front.value_mm:.3f} plus back {back.value_mm:.3f} mm is"
        f" {abs(off.value_mm):.3f} mm {'over' if off.value_mm > 0 else 'under'} the total {total.value_mm:.3f} mm;"
        f" the gauges allow {guard_factor * off.u_mm:.3f} mm"
    )


def _missing(stack: AxialStack) -> Iterator[str]:
    heat = stack.heat
    if stack.total_gap_axial is None:
        yield "total travel (axial), or both gaps: without it no setting can be proposed"
    if stack.front_gap_axial is None:
        yield "front gap (axial): without it the move is not known"
    elif stack.facts.adjuster_left_axial_mm is None:
        yield "travel left in the adjuster (axial): without it the move cannot be checked"
    if heat.missing and not heat.question:
        yield f"{', '.join(heat.missing)}: without them the hot gaps are not known"


def _plus(a: Gauged | None, b: Gauged | None) -> Gauged | None:
    return None if a is None or b is None else a.plus(b, "cold gap plus growth")


def _minus(a: Gauged | None, b: Gauged | None, how: str) -> Gauged | None:
    return None if a is None or b is None else a.minus(b, how)
