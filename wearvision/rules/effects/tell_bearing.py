"""Life of the thrust bearing told, from the thrust that the back vanes no longer take off."""

from __future__ import annotations

from wearvision.errors import BadInput
from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects import bearing
from wearvision.rules.effects.facts import PumpFacts
from wearvision.rules.effects.span import positive
from wearvision.rules.effects.telling import PART, Fact, Figure, tell, told_before
from wearvision.rules.pump import Bearing

ROUTE = "(P old/P new)^p, p 3 ball, 10/3 roller (ISO 281, from memory)"
PAIR = "; P of a 40-degree pair back to back, Fr + 0.55 Fa or 0.57 Fr + 0.93 Fa (ISO 281, from memory)"
ANY = "; the axial part of P may be anything from none to all of it (derived)"
ADDS = "the lost relief adds to the axial load as new"


def bearing_effects(
    known: PumpFacts, of: Bearing, relief_lost: Effect | Blocked | None
) -> tuple[Effect | Blocked, ...]:
    """Factor on the life, and hours as new and now; nothing where no change of thrust is worked out."""
    if relief_lost is None:
        return ()
    lost = told_before("axial thrust added by worn back vanes and axial back gap", relief_lost)
    if of.kind == "angular-contact pair":
        return _pair(known, lost)
    rolling: bearing.Rolling = "roller" if of.kind == "roller" else "ball"

    def figure(part: float, axial: float, more: float) -> float:
        return bearing.life_ratio(1.0, 1 + part * (_now(axial, more) / axial - 1), rolling)

    told = [
        tell(_figure("bearing_life_factor", "Bearing life, now over new", "1", ROUTE + ANY, ADDS),
             (known.axial_load, lost), figure, spreads=(PART,))
    ]  # fmt: skip

    def hours(part: float, rating: float, speed: float, load: float, axial: float, more: float) -> float:
        new = bearing.life_h(bearing.life_mrev(rating, load, rolling), speed)
        return new * figure(part, axial, more)

    facts = (known.rating, known.speed, known.equivalent_load, known.axial_load, lost)
    now = _figure("bearing_life_now", "Bearing life L10, now", "h", f"L10 = (C/P)^p million revolutions; {ROUTE}{ANY}",
                  f"{ADDS}; {bearing.ASKED_LIFE}")  # fmt: skip
    return (*told, tell(now, facts, hours, spreads=(PART,))) if known.rating.span is not None else tuple(told)


def _pair(known: PumpFacts, lost: Fact) -> tuple[Effect | Blocked, ...]:
    facts = (known.radial_load, known.axial_load, lost)

    def factor(radial: float, axial: float, more: float) -> float:
        now = bearing.pair_load_n(1000 * radial, 1000 * _now(axial, more))
        return bearing.life_ratio(bearing.pair_load_n(1000 * radial, 1000 * axial), now, "ball")

    def hours(rating: float, speed: float, radial: float, axial: float, more: float) -> float:
        load = bearing.pair_load_n(1000 * radial, 1000 * _now(axial, more))
        return bearing.life_h(bearing.life_mrev(1000 * rating, load, "ball"), speed)

    what = _figure("bearing_life_now", "Bearing life L10, now", "h",
                   "L10 = (C/P)^3 million revolutions (ISO 281, from memory)" + PAIR,
                   f"{ADDS}; {bearing.ASKED_LIFE}")  # fmt: skip
    return (
        tell(_figure("bearing_life_factor", "Bearing life, now over new", "1", ROUTE + PAIR, ADDS), facts, factor),
        tell(what, (known.rating, known.speed, *facts), hours),
    )  # fmt: skip


def _now(axial_kn: float, more_n: float) -> float:
    """Axial load now, kN, while it keeps its sense."""
    now_kn = positive("axial bearing load as new", axial_kn) + more_n / 1000
    if now_kn < 0:
        raise BadInput("the axial bearing load would turn round", got=now_kn, do="check that load and its sense")
    return now_kn


def _figure(name: str, title: str, unit: str, route: str, assumption: str) -> Figure:
    return Figure(name=name, title=title, unit=unit, route=route, assumption=assumption)
