"""The front gap of a semi-open impeller told: from nothing up to the published bound, as found and after setting.

The gap that counts is that averaged over the face: the one at standing metal and each worn place by its share of the
face. A deep narrow groove is not a gap as deep all over.
"""

from __future__ import annotations

from dataclasses import dataclass

from wearvision.rules.clearance.axial import AxialStack
from wearvision.rules.clearance.wear import share_said
from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects import front_gap
from wearvision.rules.effects.facts import PumpFacts
from wearvision.rules.effects.span import Span
from wearvision.rules.effects.telling import PART, Fact, Figure, fact, gauged, tell
from wearvision.rules.gauged import Gauged

LOSS = "efficiency_loss_axial_front_gap"
FOUND, SET = "as found", "after setting"
ROUTE = (
    "at most 8 points per mm of axial front gap, averaged over the face (derived): up to 10 points from 1.5 to 0.25 mm"
    " (civilengineeringhandbook.tk/centrifugal-pumps-3/833.html)"
)
HOLDS = (
    "the impeller minds no more than the published ones, which differ so much that it may mind not at all"
    " (J. Turbomachinery 109(4) p. 545, J. Basic Eng. 87(4) p. 932); each worn place is on the sheet and costs by its"
    " share of the face, wherever it lies; below zero is a gain"
)
CLAIM = (
    "1 point per 0.001 in of that axial front gap (common practice, no source), five times steeper than the published"
    " bound"
)
ALL_OF_IT = 100.0


@dataclass(frozen=True, kw_only=True)
class _Gap:
    """Axial front gap before and now: at standing metal, and what wear adds to it averaged over the face."""

    before: Fact
    standing: Fact
    wear: Fact

    @property
    def facts(self) -> tuple[Fact, Fact, Fact]:
        return self.before, self.standing, self.wear

    @property
    def outside_mm(self) -> float:
        """Most of an opening that lies outside the published gaps, mm."""
        if self.before.span is None or self.standing.span is None or self.wear.span is None:
            return 0.0
        ends = (self.standing.span.low, self.standing.span.high + self.wear.span.high)
        return max(front_gap.outside_axial_mm(start, end) for start in self.before.span for end in ends)


def front_effects(known: PumpFacts, stack: AxialStack | None) -> tuple[Effect | Blocked, ...]:
    """Points lost, gap over vane width, trend, and the trade's worst claim; nothing without an axial stack."""
    if stack is None:
        return ()
    found = _gap(stack, FOUND, stack.front_gap_axial)
    after = _gap(stack, SET, stack.setting_axial)
    now = after if after.standing.span else found
    losses = [_loss(found, FOUND)]
    if now is after:
        losses.append(_loss(after, SET))
    return (*losses, _share(known, now), _trend(known, now), _worst_claim(known, now))


def _gap(stack: AxialStack, state: str, standing: Gauged | None) -> _Gap:
    words = f"axial front gap {state} at standing metal"
    return _Gap(before=_new(stack), standing=gauged(words, standing, "[axial] front_gap_axial"), wear=_wear(stack))


def _new(stack: AxialStack) -> Fact:
    stated = stack.facts.front_new_axial_mm
    if stated is not None:
        return fact("axial front gap as new or last set", stated, "mm")
    return fact("axial front gap aimed at", stack.facts.front_target_axial_mm, "mm", note="for want of the one as new")


def _wear(stack: AxialStack) -> Fact:
    """Anything from nothing to what the marks add at most; which faces count how is said with it."""
    faces = stack.wear.front_faces(stack.facts.running_side)
    said = (f"{f.name} {'not read, taken as unworn' if f.deepest_axial is None else share_said(f)}" for f in faces)
    most = max(0.0, stack.front_wear_averaged_axial.high_mm)
    return Fact(words="axial wear averaged over the face", span=Span(0.0, most), unit="mm", note=", ".join(said))


def _loss(gap: _Gap, state: str) -> Effect | Blocked:
    outside = gap.outside_mm
    beyond = f"; {outside:.2f} mm of it outside the published 0.25 to 1.5 mm not counted" if outside >= 0.005 else ""
    what = Figure(
        name=LOSS if state == SET else f"{LOSS}_as_found",
        title=f"Efficiency lost at the axial front gap, {state}", unit="points", route=ROUTE + beyond,
        assumption=HOLDS,
    )  # fmt: skip

    def figure(part: float, start: float, standing: float, wear: float) -> float:
        return part * front_gap.bound_points(start, standing + wear)

    return tell(what, gap.facts, figure, spreads=(PART,))


def _share(known: PumpFacts, gap: _Gap) -> Effect | Blocked:
    what = Figure(
        name="axial_front_gap_over_vane_width", title="Axial front gap over vane width at the outlet, new to now",
        unit="1", route="s/b2 (derived): with narrower vanes the same axial front gap hurts more",
        assumption="impellers are alike otherwise; a measure to compare by, not a loss",
    )  # fmt: skip

    def figure(part: float, start: float, standing: float, wear: float, width: float) -> float:
        return front_gap.gap_share(start + part * (standing + wear - start), width)

    return tell(what, (*gap.facts, known.outlet_width), figure, spreads=(PART,))


def _trend(known: PumpFacts, gap: _Gap) -> Effect | Blocked:
    what = Figure(
        name="efficiency_trend_axial_front_gap", title="Trend of efficiency with the axial front gap, no estimate",
        unit="% of itself", route="2 a s/(b1 + b2) with a up to 0.9 (compressor literature, from memory, weak)",
        assumption="settings of one pump are compared, not pumps",
    )  # fmt: skip

    def figure(part: float, standing: float, wear: float, inlet: float, outlet: float) -> float:
        return 100 * part * front_gap.trend_relative_loss(standing + wear, inlet, outlet)

    return tell(what, (gap.standing, gap.wear, known.inlet_width, known.outlet_width), figure, spreads=(PART,))


def _worst_claim(known: PumpFacts, gap: _Gap) -> Effect | Blocked:
    what = Figure(
        name="worst_claim_efficiency_loss_axial_front_gap",
        title="Worst claim of the trade for the axial front gap, no estimate", unit="points",
        route=f"{CLAIM}; no more than the pump has",
        assumption="the claim were true; no test stands behind it, and no cost is worked out from it",
    )  # fmt: skip
    whole = known.efficiency if known.efficiency.span else fact("pump efficiency at most", ALL_OF_IT, "%")

    def figure(part: float, start: float, standing: float, wear: float, all_of_it: float) -> float:
        return part * min(all_of_it, front_gap.worst_claim_points(start, standing + wear))

    return tell(what, (*gap.facts, whole), figure, spreads=(PART,))
