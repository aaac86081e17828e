"""Every consequence of reuse that pump, stack and rings allow; what they do not allow names what is missing."""

from __future__ import annotations

from collections.abc import Sequence

from wearvision.rules.clearance.axial import AxialStack
from wearvision.rules.clearance.rings import RingClearance
from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects.direction import Direction, sealing_directions, thrust_direction
from wearvision.rules.effects.facts import pump_facts
from wearvision.rules.effects.span import Span
from wearvision.rules.effects.tell_back import CHANGE, LOST, back_effects
from wearvision.rules.effects.tell_balance import balance_effects
from wearvision.rules.effects.tell_bearing import bearing_effects
from wearvision.rules.effects.tell_cost import cost_effects
from wearvision.rules.effects.tell_front import LOSS as FRONT_LOSS
from wearvision.rules.effects.tell_front import front_effects
from wearvision.rules.effects.tell_rings import LOSS as RING_LOSS
from wearvision.rules.effects.tell_rings import ring_effects
from wearvision.rules.effects.tell_thrust import thrust_effects
from wearvision.rules.pump import BackVanes, Bearing, Impeller, Pump

Told = Effect | Blocked


def all_effects(pump: Pump, stack: AxialStack | None = None, rings: Sequence[RingClearance] = ()) -> tuple[Told, ...]:
    """What reuse costs, in the order of the page: rings, front, back, thrust, bearing, cost, balance.

    Parameters
    ----------
    pump : Pump
    stack : AxialStack, optional
        Of a semi-open pump; its proposed setting is taken, else its gaps as found.
    rings : sequence of RingClearance
        Of a pump with wear rings.

    Returns
    -------
    tuple of Effect or Blocked
        Names are unique. Kinds of figure that this kind of pump has not are left out.
    """
    known = pump_facts(pump)
    vanes = pump.back_vanes or BackVanes()
    ring, front = ring_effects(known, rings), front_effects(known, stack)
    back = back_effects(known, stack, vanes.height_loss_axial)
    told = (
        *ring, *front, *back, *thrust_effects(known, rings),
        *bearing_effects(known, pump.bearing or Bearing(), named(back, LOST)),
    )  # fmt: skip
    losses = [loss for loss in (named(ring, RING_LOSS), _front_loss(front)) if loss is not None]
    return (*told, *cost_effects(known, losses), *balance_effects(known, pump.impeller or Impeller()))


def all_directions(pump: Pump, rings: Sequence[RingClearance], effects: Sequence[Told]) -> tuple[Direction, ...]:
    """What can be told by direction only: seal and packing, and the balance of two suctions.

    Parameters
    ----------
    pump : Pump
    rings : sequence of RingClearance
    effects : sequence of Effect or Blocked
        Those of `all_effects` for the same pump.
    """
    found: list[Direction] = []
    change = named(effects, CHANGE)
    if change is not None:
        found += sealing_directions(Span(change.low, change.high) if isinstance(change, Effect) else None)
    if pump_facts(pump).suctions == 2 and len(rings) == 2:
        found.append(thrust_direction(rings[0].mean_diametral.minus(rings[1].mean_diametral)))
    return tuple(found)


def named(effects: Sequence[Told], name: str) -> Told | None:
    """The effect of that name, or `None`."""
    return next((e for e in effects if e.name == name), None)


def _front_loss(front: Sequence[Told]) -> Told | None:
    after = named(front, FRONT_LOSS)
    return named(front, f"{FRONT_LOSS}_as_found") if after is None else after
