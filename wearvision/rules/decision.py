"""A reading against a limit, with its uncertainty: within, beyond, or not to be told apart.

Rule: ISO 14253-1 with guard bands as in JCGM 106:2012. The figure m is taken as normal with standard
uncertainty u; with g = guard factor x u, an upper limit T gives `within` when m + g <= T, `beyond` when
m - g > T, else `undecided`. Factor 1.645 (95 % one-sided) is from memory of ISO 14253-1:2017, which rounds it
to 1.65; 2 is the older U = 2u. An exclusive limit ("under 1/8") turns <= into < and > into >=.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

from wearvision.errors import BadInput

DecisionWord = Literal["within", "beyond", "undecided"]
GUARD_95 = 1.645

GAUGE_U_MM: Mapping[str, float] = {
    "vernier depth gauge": math.hypot(0.02 / math.sqrt(12), 0.03 / math.sqrt(3)),
    "digital depth gauge": math.hypot(0.01 / math.sqrt(12), 0.02 / math.sqrt(3)),
    "dial depth gauge": math.hypot(0.01 / math.sqrt(12), 0.015 / math.sqrt(3)),
    "depth micrometer": math.hypot(0.001 / math.sqrt(12), 0.003 / math.sqrt(3)),
}
"""Standard uncertainty of good gauges of each class, mm, coarse to fine; errors from memory."""


_MORE = "more readings with the same gauge do not shrink its own error"


@dataclass(frozen=True, kw_only=True)
class Limit:
    """What conforms: up to `upper_mm`, down to `lower_mm`, or both.

    Attributes
    ----------
    upper_mm, lower_mm : float or None
        Finite; at least one given; lower below upper.
    inclusive : bool
        Whether the limit itself conforms.
    """

    upper_mm: float | None = None
    lower_mm: float | None = None
    inclusive: bool = True

    def __post_init__(self) -> None:
        given = [v for v in (self.lower_mm, self.upper_mm) if v is not None]
        if not given or not all(math.isfinite(v) for v in given):
            raise BadInput("a limit needs a finite upper or lower value", got=(self.lower_mm, self.upper_mm))
        if len(given) == 2 and given[0] >= given[1]:
            raise BadInput("the lower limit must lie below the upper", got=tuple(given))

    @property
    def text(self) -> str:
        """The limit in words, mm."""
        low, up = _mm(self.lower_mm), _mm(self.upper_mm)
        if self.lower_mm is None:
            return f"{up} or less" if self.inclusive else f"under {up}"
        if self.upper_mm is None:
            return f"{low} or more" if self.inclusive else f"over {low}"
        return f"{low} to {up}{'' if self.inclusive else ', ends excluded'}"


@dataclass(frozen=True, kw_only=True)
class Decision:
    """The answer and its arithmetic.

    Attributes
    ----------
    word : DecisionWord
    arithmetic : str
        The sum, one line, for the report.
    p_conform : float
        Chance that the true size conforms, given m and u alone; 0 to 1.
    what_would_settle : str
        For `undecided`: the gauge that would settle it, or that none can; else empty.
    """

    word: DecisionWord
    arithmetic: str
    p_conform: float
    what_would_settle: str = ""


def decide(
    value_mm: float, u_mm: float, limit: Limit, guard_factor: float = GUARD_95, *, seat_u_mm: float = 0.0
) -> Decision:
    """Hold one figure against a limit.

    Parameters
    ----------
    value_mm, u_mm : float
        Figure and standard uncertainty, mm; finite, u >= 0.
    limit : Limit
    guard_factor : float
        g / u; 0 is no guard band.
    seat_u_mm : float
        Part of u that no other gauge would change (seating on the worn face); for `what_would_settle`.

    Raises
    ------
    BadInput
        For a value or uncertainty that is not finite, or a negative uncertainty or factor.
    """
    if not (math.isfinite(value_mm) and math.isfinite(u_mm) and math.isfinite(guard_factor)):
        raise BadInput("a decision needs finite figures", got=(value_mm, u_mm, guard_factor))
    if u_mm < 0 or guard_factor < 0:
        raise BadInput("uncertainty and guard factor cannot be negative", got=(u_mm, guard_factor))
    guard = guard_factor * u_mm
    words = [_upper(s * value_mm, guard, s * t, limit.inclusive) for s, t in _sides(limit)]
    word: DecisionWord = "within"
    if "beyond" in words:
        word = "beyond"
    elif "undecided" in words:
        word = "undecided"
    return Decision(
        word=word, p_conform=_p_conform(value_mm, u_mm, limit),
        arithmetic=f"{_mm(value_mm)}, u {u_mm:.4f} mm, guard {guard_factor:g} u = {guard:.4f} mm;"
                   f" limit {limit.text}: {word}",
        what_would_settle=_settle(value_mm, limit, guard_factor, seat_u_mm) if word == "undecided" else "",
    )  # fmt: skip


def _sides(limit: Limit) -> list[tuple[float, float]]:
    """Each limit as (sign, value): a lower limit is an upper one looked at from below."""
    sides = ((1.0, limit.upper_mm), (-1.0, limit.lower_mm))
    return [(sign, value) for sign, value in sides if value is not None]


def _upper(m: float, guard: float, limit: float, inclusive: bool) -> DecisionWord:
    if m + guard < limit or (inclusive and m + guard == limit):
        return "within"
    if m - guard > limit or (not inclusive and m - guard == limit):
        return "beyond"
    return "undecided"


def _p_conform(m: float, u: float, limit: Limit) -> float:
    if u == 0:
        return float(all(_upper(s * m, 0.0, s * t, limit.inclusive) == "within" for s, t in _sides(limit)))
    normal = NormalDist(m, u)
    above = 0.0 if limit.upper_mm is None else 1.0 - normal.cdf(limit.upper_mm)
    below = 0.0 if limit.lower_mm is None else normal.cdf(limit.lower_mm)
    return max(0.0, 1.0 - above - below)


def _settle(m: float, limit: Limit, guard_factor: float, seat_u: float) -> str:
    """Which gauge would settle it, should the figure stay where it is."""
    nearest = min(abs(t - m) for _, t in _sides(limit))
    for name, u in GAUGE_U_MM.items():
        if guard_factor * math.hypot(u, seat_u) < nearest:
            return f"a {name} (u {u:.3f} mm or better) settles it if the figure stays; {_MORE}"
    finest = math.hypot(min(GAUGE_U_MM.values()), seat_u)
    return (
        f"too near the limit: {nearest:.4f} mm away, where the finest gauge of the list still has"
        f" u {finest:.4f} mm with its seating; no gauge settles it, a person decides by the maker's manual"
    )


def _mm(value: float | None) -> str:
    return "" if value is None else f"{value:.4f}".rstrip("0").rstrip(".") + " mm"
