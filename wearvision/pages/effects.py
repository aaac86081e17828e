"""How effects of reuse are shown: rows of text that the report and the terminal share.

A range is rounded outward, never inward, so that what is printed holds whatever the figures hold.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects.direction import Direction

COLUMNS = ("Effect", ">From", ">To", "Unit")
NOTE = "Ranges, never one figure: each with its route, what it was worked out from, and what must hold."


def bounds(effect: Effect) -> tuple[str, str]:
    """Both bounds as text: three digits that count of the wider one, rounded outward, no power of ten."""
    widest = max(abs(effect.low), abs(effect.high))
    if widest == 0:
        return "0", "0"
    step = Decimal(1).scaleb(max(-9, math.floor(math.log10(widest)) - 2))
    low = Decimal(repr(effect.low)).quantize(step, ROUND_FLOOR)
    high = Decimal(repr(effect.high)).quantize(step, ROUND_CEILING)
    return f"{low + 0:f}", f"{high + 0:f}"


def unit(effect: Effect) -> str:
    """The unit as printed; a pure number has none."""
    return "" if effect.unit == "1" else effect.unit.replace("m3/h", "m³/h")


def how(effect: Effect) -> str:
    """Route, inputs and assumption, one line."""
    route = effect.route[:1].upper() + effect.route[1:]
    return f"{route}. From {', '.join(effect.inputs)}. Holds if: {effect.assumption}."


def effect_rows(effects: Iterable[Effect | Blocked], directions: Iterable[Direction] = ()) -> list[tuple[str, ...]]:
    """A row for each effect and direction under `COLUMNS`; the first cell has how it came after a line break."""
    rows: list[tuple[str, ...]] = [
        (f"{e.title}\n{how(e)}", *bounds(e), unit(e)) for e in effects if isinstance(e, Effect)
    ]
    return rows + [(f"{d.title}: {d.word}\n{d.because}", "", "", "") for d in directions]


def blocked_rows(effects: Iterable[Effect | Blocked]) -> list[tuple[str, str]]:
    """What to state, and the figures that wait for it; each fact once, the one that most figures wait for first."""
    waiting: dict[str, list[str]] = {}
    for blocked in effects:
        if isinstance(blocked, Blocked):
            for missing in blocked.missing:
                waiting.setdefault(missing, []).append(blocked.title)
    facts = sorted(waiting, key=lambda missing: -len(waiting[missing]))
    return [(missing, "; ".join(waiting[missing])) for missing in facts]
