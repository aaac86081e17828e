"""Residual unbalance told: what is allowed, and what one place of lost or added metal may leave."""

from __future__ import annotations

from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects import balance
from wearvision.rules.effects.facts import PumpFacts
from wearvision.rules.effects.telling import EITHER_WAY, PART, Figure, tell
from wearvision.rules.pump import Impeller


def balance_effects(known: PumpFacts, wheel: Impeller) -> tuple[Effect | Blocked, ...]:
    """Permissible residual unbalance, whole and per plane, and the unbalance after a local loss where one is stated."""
    grade, planes = wheel.balance_grade_mm_s, known.suctions
    route = f"9549.3 G m/n, G{grade:g} (ISO 21940-11, from memory)"
    whole = Figure(
        name="permissible_unbalance", title="Permissible residual unbalance", unit="g mm", route=route,
        assumption="rigid rotor",
    )  # fmt: skip
    style = Figure(
        name="permissible_unbalance_four_w_over_n", title="The same where an owner asks for 4 W/N", unit="g mm",
        route="6350 m/n, about G0.66 (API style, from memory)", assumption="rigid rotor",
    )  # fmt: skip
    plane = Figure(
        name="permissible_unbalance_per_plane", title="Permissible residual unbalance, each of two planes", unit="g mm",
        route=route + ", half in each plane", assumption="mass centre midway between the planes",
    )  # fmt: skip
    after = Figure(
        name="unbalance_after_loss", title="Unbalance with that metal lost or added", unit="g mm",
        route=f"mass times radius (derived), with or against a residual of up to {route}",
        assumption=f"balanced to G{grade:g} before",
    )  # fmt: skip

    def allowed(part: float, mass: float, speed: float) -> float:
        return part * balance.permissible_g_mm(grade, mass, speed)

    def left(residual: float, mass: float, speed: float, lost: float, radius: float) -> float:
        return max(0.0, balance.local_loss_g_mm(lost, radius) + residual * allowed(1.0, mass, speed))

    force = Figure(
        name="unbalance_force_after_loss", title="Turning force of that unbalance", unit="N",
        route=f"unbalance times omega^2 (derived), with or against a residual of up to {route}",
        assumption=f"balanced to G{grade:g} before",
    )  # fmt: skip

    def pull(residual: float, mass: float, speed: float, *place: float) -> float:
        return balance.force_n(left(residual, mass, speed, *place), speed)

    facts = (known.mass, known.speed)
    def four_w_over_n(part: float, mass: float, speed: float) -> float:
        return part * balance.four_w_over_n_g_mm(mass, speed)

    told = [tell(whole, facts, allowed, spreads=(PART,)), tell(style, facts, four_w_over_n, spreads=(PART,))]
    if planes == 2:
        told.append(tell(plane, facts, lambda *v: balance.per_plane_g_mm(allowed(*v), planes), spreads=(PART,)))
    if known.lost_mass.span or known.lost_radius.span:
        place = (*facts, known.lost_mass, known.lost_radius)
        told += [tell(what, place, figure, spreads=(EITHER_WAY,)) for what, figure in ((after, left), (force, pull))]
    return tuple(told)
