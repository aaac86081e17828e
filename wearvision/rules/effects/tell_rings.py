"""Wear rings told: leakage by two routes side by side, what is left of the volumetric efficiency, and points lost.

The routes need not agree: table figures are wide, an average is an average. Both stand, and a range over both.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from wearvision.rules.clearance.rings import RingClearance
from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects.facts import PumpFacts
from wearvision.rules.effects.ring_routes import Leak, Route, average, gap_flow
from wearvision.rules.effects.telling import EITHER_WAY, PART, Fact, Figure, over_routes, tell
from wearvision.rules.effects.volumetric import relative_loss, volumetric_efficiency

State = Literal["new", "worn"]
SPREADS = (EITHER_WAY, PART)
LOSS = "efficiency_loss_rings"


def ring_effects(known: PumpFacts, rings: Sequence[RingClearance]) -> tuple[Effect | Blocked, ...]:
    """Leakage new and worn by both routes, volumetric efficiency and points lost; nothing without rings."""
    if not rings:
        return ()
    routes = (gap_flow(known, rings), average(known, rings))
    new, worn = ([_leakage(route, state) for route in routes] for state in ("new", "worn"))
    losses = [_loss(route, known) for route in routes]
    return (
        *new, *worn,
        over_routes(_overall("ring_leakage_worn", "Ring leakage, worn", "m3/h"), worn),
        *(over_routes(_overall(f"volumetric_efficiency_{state}", f"Volumetric efficiency, {state}", "%"),
                   [_volumetric(route, known, state) for route in routes]) for state in ("new", "worn")),
        *losses,
        over_routes(_overall(LOSS, "Efficiency lost at the wear rings", "points"), losses),
    )  # fmt: skip


def _overall(name: str, title: str, unit: str) -> Figure:
    return Figure(name=name, title=f"{title}, both routes", unit=unit, route="the range that holds both routes",
                  assumption="one of the two routes holds")  # fmt: skip


def _figure(route: Route, name: str, title: str, unit: str, tail: str = "") -> Figure:
    return Figure(
        name=f"{name}_by_{route.key}", title=f"{title}, {route.words}", unit=unit, route=route.route + tail,
        assumption=route.assumption,
    )  # fmt: skip


def _of(route: Route, state: State) -> tuple[Sequence[Fact], Leak]:
    return (route.facts_new, route.new) if state == "new" else (route.facts_worn, route.worn)


def _leakage(route: Route, state: State) -> Effect | Blocked:
    facts, leak = _of(route, state)
    what = _figure(route, f"ring_leakage_{state}", f"Ring leakage, {state}", "m3/h")
    return tell(what, facts, leak, spreads=SPREADS, beside=route.beside)


def _volumetric(route: Route, known: PumpFacts, state: State) -> Effect | Blocked:
    facts, leak = _of(route, state)

    def figure(first: float, second: float, flow: float, *rest: float) -> float:
        return 100 * volumetric_efficiency(flow, leak(first, second, *rest))

    what = _figure(route, f"volumetric_efficiency_{state}", f"Volumetric efficiency, {state}", "%")
    return tell(what, (known.flow, *facts), figure, spreads=SPREADS, beside=route.beside)


def _loss(route: Route, known: PumpFacts) -> Effect | Blocked:
    """Both sums share what they do not know, so that it cancels where it can."""
    split = len(route.facts_new)

    def figure(first: float, second: float, flow: float, efficiency: float, *facts: float) -> float:
        new, worn = route.new(first, second, *facts[:split]), route.worn(first, second, *facts[split:])
        return efficiency * relative_loss(flow, new, worn)

    what = _figure(route, LOSS, "Efficiency lost at the wear rings", "points",
                   "; efficiency goes as (Q + leakage new)/(Q + leakage worn) (derived)")  # fmt: skip
    facts = (known.flow, known.efficiency, *route.facts_new, *route.facts_worn)
    return tell(what, facts, figure, spreads=SPREADS, beside=route.beside)
