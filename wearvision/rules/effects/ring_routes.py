"""The two routes to the leakage of a pump's wear rings: their words, their facts, and their sum over the rings."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from wearvision.rules.clearance.rings import RingClearance
from wearvision.rules.effects import average_leakage, friction
from wearvision.rules.effects.facts import PumpFacts
from wearvision.rules.effects.leakage import rim_speed_m_s, ring_head_from_static_m, ring_head_m, ring_leakage_m3_s
from wearvision.rules.effects.span import G_M_S2
from wearvision.rules.effects.telling import Fact, fact, gauged

Leak = Callable[..., float]
"""Leakage of all rings, m3/h, from the route's two unknown shares and the values of its facts."""
MM = 1e-3


@dataclass(frozen=True, kw_only=True)
class Route:
    """One way to the leakage.

    Attributes
    ----------
    key, words : str
        End of a name, `gap_flow`; end of a title, `by gap flow`.
    route, assumption : str
        As in `Effect`.
    facts_new, facts_worn : tuple of Fact
        Those `new` and `worn` take, in this order; only the worn clearances among them have a spread.
    new, worn : callable
        The sum before and after wear: first a share -1 to 1 (spread of friction or average), then a share 0 to 1
        (between the two forms of head or of growth), then the facts.
    beside : tuple of Fact
        What else it is worked out with.
    """

    key: str
    words: str
    route: str
    assumption: str
    facts_new: tuple[Fact, ...]
    facts_worn: tuple[Fact, ...]
    new: Leak
    worn: Leak
    beside: tuple[Fact, ...] = ()


def gap_flow(known: PumpFacts, rings: Sequence[RingClearance]) -> Route:
    """Gap-flow form, ring by ring; friction from the viscosity and head from the pressures where they are stated."""
    static_m = _static_head_m(known)
    viscosity_m2_s = known.viscosity.span.low * 1e-6 if known.viscosity.span else None
    rubbing, across = "0.02 to 0.04 (common practice, no source)", "0.75 (u2^2 - u1^2)/2g (Stepanoff, from memory)"
    if viscosity_m2_s is not None:
        rubbing = "Yamada 1962, from memory, a third either way (our own allowance)"
    if static_m is not None:
        across += " and static head at the rim less what turns at half speed (derived), both kept"
    pump, leak = (known.speed, known.rim_diameter), _gap_sum(viscosity_m2_s, static_m)
    return Route(
        key="gap_flow", words="by gap flow",
        route="K A sqrt(2 g H), 1.5 velocity heads (form after Stepanoff, from memory); friction factor"
        f" {rubbing}; head across the ring {across}",
        assumption="rings run true, plain lands, leakage at the mean diametral clearance, everything else as new",
        facts_new=(*pump, *(f for r in rings for f in (_diameter(r), _new(r), _land(r))), *_unread(known, rings)),
        facts_worn=(*pump, *(f for r in rings for f in (_diameter(r), _worn(r), _land(r))), *_unread(known, rings)),
        new=leak, worn=leak,
        beside=(known.viscosity, *((known.rim_pressure, known.suction_pressure) if static_m is not None else ())),
    )  # fmt: skip


def average(known: PumpFacts, rings: Sequence[RingClearance]) -> Route:
    """Average of new pumps by specific speed, grown with the ratio of diametral clearances."""
    pump, leak = (known.speed, known.flow, known.head), _average_sum(known.suctions, len(rings))
    return Route(
        key="specific_speed", words="by specific speed",
        route="share of the flow by specific speed (Guelich, Centrifugal Pumps, ch. 3, from memory), a third either way"
        " (our own allowance); worn: times the ratio of diametral clearances to the power 1 to 1.5 (derived)",
        assumption="an average pump of its specific speed, each ring leaks its share of the flow of its eye, everything"
        " else as new",
        facts_new=(*pump, *_unread(known, rings)),
        facts_worn=(*pump, *(f for r in rings for f in (_new(r), _worn(r))), *_unread(known, rings)),
        new=leak, worn=leak,
    )  # fmt: skip


def _diameter(ring: RingClearance) -> Fact:
    return fact(f"ring diameter at the {ring.pair.name}", ring.fit.ring_diameter.value_mm, "mm")


def _new(ring: RingClearance) -> Fact:
    source = ring.new.source if ring.new else ""
    words = f"new diametral clearance at the {ring.pair.name}"
    return fact(words, ring.new_diametral_mm, "mm", "[[rings]] design_clearance_diametral", source)


def _worn(ring: RingClearance) -> Fact:
    return gauged(f"mean diametral clearance now at the {ring.pair.name}", ring.mean_diametral)


def _land(ring: RingClearance) -> Fact:
    words = f"axial length of the land at the {ring.pair.name}"
    return fact(words, ring.pair.land_length_axial_mm, "mm", "[[rings]] land_length_axial")


def _unread(known: PumpFacts, rings: Sequence[RingClearance]) -> tuple[Fact, ...]:
    """Each suction has its ring: one without readings blocks the sum."""
    second = fact("readings of the second wear ring pair", None, key="[[rings]]")
    return (second,) if len(rings) < known.suctions else ()


def _static_head_m(known: PumpFacts) -> float | None:
    rim, suction, density = known.rim_pressure.span, known.suction_pressure.span, known.density.span
    if rim is None or suction is None or density is None or density.low <= 0:
        return None
    return (rim.low - suction.low) * 1000 / (density.low * G_M_S2)


def _gap_sum(viscosity_m2_s: float | None, static_m: float | None) -> Leak:
    """Sum over rings, three facts each: diameter, diametral clearance, land."""

    def leak(rub: float, head_form: float, speed: float, rim_mm: float, *rings: float) -> float:
        total = 0.0
        for ring in _groups(rings, 3):
            diameter, clearance_diametral, land = (size * MM for size in ring)
            head = ring_head_m(speed, rim_mm * MM, diameter)
            if static_m is not None:
                head += head_form * (ring_head_from_static_m(static_m, speed, rim_mm * MM, diameter) - head)
            factor = friction.CENTRE
            if viscosity_m2_s is not None and clearance_diametral > 0:
                factor = friction.ring_friction(
                    clearance_diametral_m=clearance_diametral, land_m=land, head_m=head,
                    surface_speed_m_s=rim_speed_m_s(speed, diameter), viscosity_m2_s=viscosity_m2_s,
                )  # fmt: skip
            total += ring_leakage_m3_s(
                ring_diameter_m=diameter, clearance_diametral_m=clearance_diametral, land_m=land, head_m=head,
                friction=factor * (1 + friction.SPREAD * rub),
            )  # fmt: skip
        return 3600 * total

    return leak


def _average_sum(suctions: int, count: int) -> Leak:
    """Sum over rings: all new without facts of them, else two each, new and worn diametral clearance."""

    def leak(off: float, steepness: float, speed: float, flow: float, head: float, *rings: float) -> float:
        eye = flow / suctions
        share = average_leakage.leakage_share(average_leakage.specific_speed(speed, eye / 3600, head))
        grown = [average_leakage.growth(new, worn) for new, worn in _groups(rings, 2)]
        factors = sum(low + steepness * (high - low) for low, high in grown) if grown else count
        return eye * share * (1 + average_leakage.SPREAD * off) * factors

    return leak


def _groups(values: Sequence[float], size: int) -> Iterator[Sequence[float]]:
    return (values[i : i + size] for i in range(0, len(values), size))
