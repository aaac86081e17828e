"""The front gap of a semi-open impeller told: from nothing up to the published bound, as found and after setting."""

from __future__ import annotations

from wearvision.rules.clearance.axial import AxialStack
from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects import front_gap
from wearvision.rules.effects.facts import PumpFacts
from wearvision.rules.effects.span import Span, exactly
from wearvision.rules.effects.telling import PART, Fact, Figure, fact, tell

LOSS = "efficiency_loss_axial_front_gap"
FOUND, SET = "as found", "after setting"
ROUTE = (
    "at most 8 points per mm: up to 10 points from 1.5 to 0.25 mm (civilengineeringhandbook.tk/centrifugal-pumps-3/"
    "833.html)"
)
GEOMETRY = (
    "the impeller minds no more than the published ones; tests differ by geometry, so it may mind not at all"
    " (J. Turbomachinery 109(4) p. 545, J. Basic Eng. 87(4) p. 932); below zero is a gain"
)
OUTSIDE = "; carried on beyond the published 0.25 to 1.5 mm"


def front_effects(known: PumpFacts, stack: AxialStack | None) -> tuple[Effect | Blocked, ...]:
    """Points lost, gap over vane width, trend, and the trade's worst claim; nothing without an axial stack."""
    if stack is None:
        return ()
    before, found, after = _new(stack), _found(stack), _after(stack)
    now = after if after.span else found
    losses = [_loss(before, found, FOUND)]
    if after.span:
        losses.append(_loss(before, after, SET))
    return (*losses, _share(known, before, now), _trend(known, now), _worst_claim(before, now))


def _new(stack: AxialStack) -> Fact:
    stated = stack.facts.front_new_axial_mm
    if stated is not None:
        return fact("axial front gap as new or last set", stated, "mm")
    return fact("axial front gap aimed at, for want of the one as new", stack.facts.front_target_axial_mm, "mm")


def _found(stack: AxialStack) -> Fact:
    gap = stack.front_gap_axial
    words = f"axial front gap as found, standing metal to deepest wear{_unread(stack)}"
    if gap is None:
        return Fact(words=words, span=None, unit="mm")
    deepest = gap.plus(stack.front_wear_axial)
    return Fact(words=words, span=Span(max(0.0, gap.low_mm), max(0.0, deepest.high_mm)), unit="mm")


def _after(stack: AxialStack) -> Fact:
    after = stack.front_after_axial_mm
    words = f"axial front gap after setting, standing metal to deepest wear{_unread(stack)}"
    return Fact(words=words, span=Span(*after) if after else None, unit="mm")


def _unread(stack: AxialStack) -> str:
    face = stack.wear.casing_axial if stack.facts.running_side == "casing" else stack.wear.cover_axial
    faces = ((stack.facts.running_side, face), ("impeller", stack.wear.impeller_axial))
    names = " and ".join(name for name, depth in faces if depth is None)
    return f" ({names} not read, taken as unworn)" if names else ""


def _loss(before: Fact, now: Fact, state: str) -> Effect | Blocked:
    ends = [*(before.span or exactly(0.0)), *(now.span or exactly(0.0))]
    inside = front_gap.inside_published(min(ends), max(ends))
    name = LOSS if state == SET else f"{LOSS}_as_found"
    what = Figure(
        name=name, title=f"Efficiency lost at the axial front gap, {state}", unit="points", route=ROUTE,
        assumption=GEOMETRY + ("" if inside else OUTSIDE),
    )  # fmt: skip

    def figure(part: float, start: float, end: float) -> float:
        return part * front_gap.bound_points(start, end)

    return tell(what, (before, now), figure, spreads=(PART,))


def _share(known: PumpFacts, before: Fact, now: Fact) -> Effect | Blocked:
    what = Figure(
        name="axial_front_gap_over_vane_width", title="Axial front gap over vane width at the outlet, s/b2, new to now",
        unit="1",
        route="ratio (derived): of two pumps with one axial front gap the one with narrower vanes is hurt more",
        assumption="impellers are alike otherwise; a measure to compare by, not a loss",
    )  # fmt: skip

    def figure(part: float, start: float, end: float, width: float) -> float:
        return front_gap.gap_share(start + part * (end - start), width)

    return tell(what, (before, now, known.outlet_width), figure, spreads=(PART,))


def _trend(known: PumpFacts, now: Fact) -> Effect | Blocked:
    what = Figure(
        name="efficiency_trend_axial_front_gap", title="Trend of efficiency with the axial front gap, not an estimate",
        unit="% of itself", route="2 a s/(b1 + b2) with a up to 0.9 (compressor literature, from memory, weak)",
        assumption="settings of one pump are compared, not pumps",
    )  # fmt: skip

    def figure(part: float, gap: float, inlet: float, outlet: float) -> float:
        return 100 * part * front_gap.trend_relative_loss(gap, inlet, outlet)

    return tell(what, (now, known.inlet_width, known.outlet_width), figure, spreads=(PART,))


def _worst_claim(before: Fact, now: Fact) -> Effect | Blocked:
    what = Figure(
        name="worst_claim_efficiency_loss_axial_front_gap",
        title="Worst claim of the trade for the axial front gap, not an estimate", unit="points",
        route="1 point per 0.001 in (common practice, no source), five times steeper than the published bound",
        assumption="the claim were true; no test stands behind it, and no cost is worked out from it",
    )  # fmt: skip

    def figure(part: float, start: float, end: float) -> float:
        return part * front_gap.worst_claim_points(start, end)

    return tell(what, (before, now), figure, spreads=(PART,))
