"""Which unit a scale has: by its own marks, by a second scale on the same rule, or as stated; else none.

Nothing is guessed: a metric pattern speaks for itself once its two longest classes were each seen twice; an inch
pattern needs numbers at its inches besides, or a scale beside it that is certain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wearvision.measure.rule.hierarchy import Pattern
from wearvision.measure.rule.units import BINARY, GRADUATIONS, METRIC
from wearvision.quantity import Unmeasured
from wearvision.stated import RuleUnit

RATIO_SHARE = 0.06
"""Between the periods of two scales of one rule, tilt taken out; ratios of graduations are 25 % apart or more."""
FINEST_SLIM = 2.5
"""1/64 in is the finest there is: with all its classes seen no number is needed, if its marks are this slim."""
STATE = "state it: mm, half-mm, in8, in16, in32 or in64"


CONTRADICT = Unmeasured(reason="the two scales of the rule contradict each other", hint=STATE)


@dataclass(frozen=True, kw_only=True)
class Clue:
    """What is known of one scale: pattern, shortest mark in periods, numbers at each or each second longest mark."""

    pattern: Pattern
    slim: float
    numbered: int


def own_units(clue: Clue) -> tuple[tuple[RuleUnit, ...], bool]:
    """Units the marks allow, and whether the one is certain by the marks alone."""
    splits, slim = clue.pattern.splits, clue.slim
    fits = tuple(u for u, g in GRADUATIONS.items() if g.slim[0] <= slim <= g.slim[1])
    known = clue.pattern.seen >= 2
    for unit in METRIC:
        whole = GRADUATIONS[unit].splits
        if unit in fits and splits in (whole, whole[:-1]):
            return (unit,), splits == whole and known
    if len(splits) < 2 or set(splits) != {2}:
        return (), False
    allowed = tuple(u for u in BINARY if len(GRADUATIONS[u].splits) >= len(splits) and u in fits)
    inch = splits if clue.numbered < 2 else (*splits, 2)
    exact = tuple(u for u in allowed if GRADUATIONS[u].splits == inch)
    finest = exact == BINARY[-1:] and clue.pattern.closed and slim > FINEST_SLIM
    if exact and known and (clue.numbered or finest):
        return exact, True
    return allowed, False


def settle(
    clues: Sequence[Clue], ratios: Sequence[float], stated: RuleUnit | None
) -> tuple[int, RuleUnit] | Unmeasured:
    """Which scale is read and as what.

    Parameters
    ----------
    clues : of each scale of one rule, best first; one or two
    ratios : period of each scale over that of the first
    stated : unit that a person stated
    """
    told = [own_units(clue) for clue in clues]
    sure = {k: units[0] for k, (units, certain) in enumerate(told) if certain}
    fitting = _fitting([_claims(clue, units, sure) for clue, (units, _) in zip(clues, told, strict=True)], ratios)
    if len(clues) > 1 and sure and all(units for units, _ in told) and not fitting:
        return CONTRADICT
    if stated is not None:
        return _as_stated(told, sure, fitting, stated)
    if sure:
        first = min(sure)
        if len(clues) > 1 and fitting and all(pair[first] != sure[first] for pair in fitting):
            return CONTRADICT
        return first, sure[first]
    reason = "the lengths of its marks do not tell which graduation the rule has"
    return Unmeasured(reason=reason, hint=STATE)


def _claims(clue: Clue, units: tuple[RuleUnit, ...], sure: dict[int, RuleUnit]) -> tuple[RuleUnit, ...]:
    """Units a scale may have beside a certain metric one: any inch scale, if that is what it looks like."""
    halved = len(clue.pattern.splits) > 1 and set(clue.pattern.splits) == {2}
    return BINARY if halved and any(unit in METRIC for unit in sure.values()) else units


def _fitting(claims: Sequence[tuple[RuleUnit, ...]], ratios: Sequence[float]) -> list[tuple[RuleUnit, ...]]:
    """Pairs of units whose periods have the ratio seen."""
    if len(claims) < 2:
        return []
    return [
        (a, b)
        for a in claims[0]
        for b in claims[1]
        if abs(GRADUATIONS[b].period_mm / GRADUATIONS[a].period_mm / ratios[1] - 1) < RATIO_SHARE
    ]


def _as_stated(
    told: Sequence[tuple[tuple[RuleUnit, ...], bool]], sure: dict[int, RuleUnit], fitting: list[tuple[RuleUnit, ...]],
    stated: RuleUnit,
) -> tuple[int, RuleUnit] | Unmeasured:  # fmt: skip
    """The scale that a statement speaks of; what its marks exclude is a contradiction."""
    for k, unit in sure.items():
        if unit == stated:
            return k, unit
    for k, (units, _) in enumerate(told):
        if stated in units and k not in sure:
            return k, stated
    if sure and not any(units for k, (units, _) in enumerate(told) if k not in sure):
        seen = " and ".join(sorted(set(sure.values())))
        return Unmeasured(reason=f"the rule was stated as {stated}, but its marks show {seen}", hint="correct it")
    return Unmeasured(reason=f"no scale of the rule looks like {stated}", hint="show more of the rule, sharp")
