"""What the lost efficiency costs in a year told: all losses together, energy, money."""

from __future__ import annotations

from collections.abc import Sequence

from wearvision.rules.effect import Blocked, Effect, Input
from wearvision.rules.effects import energy
from wearvision.rules.effects.facts import PumpFacts
from wearvision.rules.effects.span import Span
from wearvision.rules.effects.telling import Figure, between, effect, tell, told_before

HELD = "the duty is held at the same flow and head all those hours"
TOTAL = Figure(
    name="efficiency_loss_total", title="Efficiency lost by wear, all together", unit="points",
    route="sum of the losses told here (derived)",
    assumption="losses add up, nothing else has changed; below zero is a gain",
)  # fmt: skip


def cost_effects(known: PumpFacts, losses: Sequence[Effect | Blocked]) -> tuple[Effect | Blocked, ...]:
    """Points lost in all, energy and cost a year; nothing where no loss is worked out."""
    if not losses:
        return ()
    total = _total(losses)
    lost = told_before("efficiency lost", total)
    route = "rho g Q H (1/efficiency now - 1/efficiency new) / motor efficiency x hours (derived)"
    more = Figure(name="annual_energy_extra", title="Energy above that of the new pump", unit="kWh/year", route=route,
                  assumption=HELD)  # fmt: skip
    cost = Figure(name="annual_cost_extra", title="Cost of that energy", unit=f"{known.currency}/year",
                  route=route + "; times the tariff", assumption=f"{HELD}; energy alone, at one tariff")  # fmt: skip
    facts = (known.flow, known.head, known.density, known.efficiency, known.motor_efficiency, known.hours, lost)
    return (
        total, tell(more, facts, _extra_kwh),
        tell(cost, (known.tariff, *facts), lambda tariff, *rest: tariff * _extra_kwh(*rest)),
    )  # fmt: skip


def _total(losses: Sequence[Effect | Blocked]) -> Effect | Blocked:
    """Sum of the losses; one that is blocked blocks it, since a part is not the whole."""
    known = [loss for loss in losses if isinstance(loss, Effect)]
    missing = tuple(dict.fromkeys(m for loss in losses if isinstance(loss, Blocked) for m in loss.missing))
    if missing:
        return Blocked(name=TOTAL.name, title=TOTAL.title, missing=missing)
    inputs = tuple(Input(loss.title, f"{between(Span(loss.low, loss.high))} points") for loss in known)
    return effect(TOTAL, Span(sum(loss.low for loss in known), sum(loss.high for loss in known)), inputs)


def _extra_kwh(
    flow: float, head: float, density: float, efficiency: float, motor: float, hours: float, lost: float
) -> float:
    useful = energy.hydraulic_kw(flow / 3600, head, density)
    return energy.extra_kwh(
        useful_kw=useful, efficiency_new=efficiency / 100, loss_points=lost, hours=hours, drive_efficiency=motor / 100
    )
