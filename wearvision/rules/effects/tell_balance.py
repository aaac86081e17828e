"""Residual unbalance told: what is allowed, and what one place of lost or added metal may leave."""

from __future__ import annotations

from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects import balance
from wearvision.rules.effects.facts import PumpFacts
from wearvision.rules.effects.telling import EITHER_WAY, PART, Fact, Figure, fact, tell
from wearvision.rules.pump import Impeller

ISO = "9549.3 G m/n (ISO 21940-11, from memory)"
RIGID = "rigid rotor"


def balance_effects(known: PumpFacts, wheel: Impeller) -> tuple[Effect | Blocked, ...]:
    """Permissible residual unbalance, whole and per plane, and the unbalance after a local loss where one is stated."""
    rotor = (fact("balance grade G", wheel.balance_grade_mm_s, "mm/s"), known.mass, known.speed)
    told = _allowed_effects(rotor, known.suctions)
    if known.lost_mass.span or known.lost_radius.span:
        told += _loss_effects((*rotor, known.lost_mass, known.lost_radius))
    return tuple(told)


def _allowed_effects(rotor: tuple[Fact, ...], planes: int) -> list[Effect | Blocked]:
    whole = Figure(name="permissible_unbalance", title="Permissible residual unbalance", unit="g mm", route=ISO,
                   assumption=RIGID)  # fmt: skip
    style = Figure(name="permissible_unbalance_four_w_over_n", title="The same where an owner asks for 4 W/N",
                   unit="g mm", route="6350 m/n, about G0.66 (API style, from memory)", assumption=RIGID)  # fmt: skip
    plane = Figure(name="permissible_unbalance_per_plane", title="Permissible residual unbalance, each of two planes",
                   unit="g mm", route=f"{ISO}; half in each plane", assumption="mass centre midway")  # fmt: skip
    told = [tell(whole, rotor, _allowed, spreads=(PART,)), tell(style, rotor[1:], _four_w_over_n, spreads=(PART,))]
    return [*told, tell(plane, rotor, _in_each_plane, spreads=(PART,))] if planes == 2 else told


def _loss_effects(place: tuple[Fact, ...]) -> list[Effect | Blocked]:
    tail = f", with or against a residual of up to {ISO}"
    held = "balanced to its grade before"
    left = Figure(name="unbalance_after_loss", title="Unbalance with that metal lost or added", unit="g mm",
                  route=f"mass times radius (derived){tail}", assumption=held)  # fmt: skip
    force = Figure(name="unbalance_force_after_loss", title="Turning force of that unbalance", unit="N",
                   route=f"unbalance times omega^2 (derived){tail}", assumption=held)  # fmt: skip
    return [tell(left, place, _left, spreads=(EITHER_WAY,)), tell(force, place, _force, spreads=(EITHER_WAY,))]


def _allowed(part: float, grade: float, mass: float, speed: float) -> float:
    return part * balance.permissible_g_mm(grade, mass, speed)


def _in_each_plane(part: float, grade: float, mass: float, speed: float) -> float:
    return balance.per_plane_g_mm(_allowed(part, grade, mass, speed), 2)


def _four_w_over_n(part: float, mass: float, speed: float) -> float:
    return part * balance.four_w_over_n_g_mm(mass, speed)


def _left(residual: float, grade: float, mass: float, speed: float, lost: float, radius: float) -> float:
    return max(0.0, balance.local_loss_g_mm(lost, radius) + _allowed(residual, grade, mass, speed))


def _force(residual: float, grade: float, mass: float, speed: float, lost: float, radius: float) -> float:
    return balance.force_n(_left(residual, grade, mass, speed, lost, radius), speed)
