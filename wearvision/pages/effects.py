"""How effects of reuse are shown: rows of text that the report and the terminal share.

A range is rounded outward, never inward, so that what is printed holds whatever the figures hold. What is permitted
is rounded down: nothing printed may allow more.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import NamedTuple

from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects.direction import Direction

WORTH_REPEATING = 24
"""Steps of up to so many letters are said again rather than referred to."""


def bounds(effect: Effect) -> tuple[str, str]:
    """Both bounds as text: three digits that count of the wider one, rounded outward, no power of ten.

    The name of what is permitted starts with `permissible`; its bounds are rounded down.
    """
    widest = max(abs(effect.low), abs(effect.high))
    if widest == 0:
        return "0", "0"
    step = Decimal(1).scaleb(max(-9, math.floor(math.log10(widest)) - 2))
    up = ROUND_FLOOR if effect.name.startswith("permissible") else ROUND_CEILING
    low = Decimal(f"{effect.low:.12g}").quantize(step, ROUND_FLOOR)
    high = Decimal(f"{effect.high:.12g}").quantize(step, up)
    return f"{low:f}" if low else "0", f"{high:f}" if high else "0"


def unit(effect: Effect) -> str:
    """The unit as printed; a pure number is a ratio."""
    return "ratio" if effect.unit == "1" else effect.unit


def facts_of(effects: Iterable[Effect | Blocked]) -> list[str]:
    """What the figures were worked out from, each fact once with its amount; figures of the table itself left out."""
    told = [e for e in effects if isinstance(e, Effect)]
    titles = {e.title for e in told}
    return list(dict.fromkeys(i.text for e in told for i in e.inputs if i.words not in titles))


def how(effect: Effect, said: dict[str, int] | None = None, number: int = 0) -> str:
    """Route, inputs by name and assumption, one line.

    Parameters
    ----------
    effect : Effect
    said : dict, optional
        Titles and steps said so far, with the number they stand under; those of this effect are added under `number`.
        What was said before is referred to by its number.
    """
    known = {} if said is None else said
    names = ", ".join(f"[{known[i.words]}]" if i.words in known else i.words for i in effect.inputs)
    route, holds = (_steps(text, known, number) for text in (effect.route, effect.assumption))
    known[effect.title] = number
    return f"Route: {route}. From: {names}. Holds if: {holds}."


def _steps(text: str, said: dict[str, int], number: int) -> str:
    """The steps of a text; those said under another number by reference to it."""
    fresh: list[str] = []
    again: list[int] = []
    for step in text.split("; "):
        if len(step) > WORTH_REPEATING and said.setdefault(step, number) != number:
            again.append(said[step])
        else:
            fresh.append(step)
    as_in = [f"as [{', '.join(str(n) for n in dict.fromkeys(again))}]"] if again else []
    return "; ".join((*as_in, *fresh))


class Row(NamedTuple):
    """One line of the table, and the note of its number."""

    number: str
    title: str
    low: str
    high: str
    unit: str
    how: str


def effect_rows(effects: Iterable[Effect | Blocked], directions: Iterable[Direction] = ()) -> list[Row]:
    """A numbered row for each effect, then for each direction, whose word stands where a range has its unit."""
    said: dict[str, int] = {}
    told = [e for e in effects if isinstance(e, Effect)]
    rows = [Row(str(n), e.title, *bounds(e), unit(e), how(e, said, n)) for n, e in enumerate(told, start=1)]
    for n, d in enumerate(directions, start=len(rows) + 1):
        rows.append(Row(str(n), d.title, "", "", d.word, f"{d.because[:1].upper()}{d.because[1:]}."))
    return rows


def blocked_rows(effects: Iterable[Effect | Blocked]) -> list[tuple[str, str]]:
    """What to state, and the figures that wait for it: facts with the same figures together, most figures first."""
    waiting: dict[str, list[str]] = {}
    for blocked in effects:
        if isinstance(blocked, Blocked):
            for missing in blocked.missing:
                waiting.setdefault(missing, []).append(blocked.title)
    facts: dict[tuple[str, ...], list[str]] = {}
    for missing, figures in waiting.items():
        facts.setdefault(tuple(figures), []).append(missing)
    most_first = sorted(facts, key=len, reverse=True)
    return [(", ".join(facts[figures]), "; ".join(figures)) for figures in most_first]
