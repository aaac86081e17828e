"""A number never travels alone: value, standard uncertainty, unit and how it came, or why there is none.

`u` is a standard uncertainty (GUM, JCGM 100:2008); `u95` the half-width of the 95 % interval, 1.96 u for a
normal error. `budget` keeps the named parts of u (`corner`, `print`, `height`, `lens`, `edge`, `outline`),
whose root sum of squares is u.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from wearvision.errors import BadInput

Unit = Literal["mm", "mm2", "deg", "count", "1/m2", "1"]
K95 = 1.959963984540054


def root_sum_square(*parts: float) -> float:
    """Root of the sum of squares of independent standard uncertainties."""
    return math.sqrt(sum(p * p for p in parts))


@dataclass(frozen=True, kw_only=True)
class Measured:
    """A value with its standard uncertainty.

    Attributes
    ----------
    value : float
    u : float
        Standard uncertainty, same unit, finite and >= 0.
    unit : Unit
    how : str
        How it came, a few words for the sheet.
    budget : mapping of str to float
        Named parts of u; empty when not kept.
    """

    value: float
    u: float
    unit: Unit
    how: str = ""
    budget: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise BadInput("a measured value must be finite", got=self.value)
        if not (math.isfinite(self.u) and self.u >= 0):
            raise BadInput("a standard uncertainty must be finite and not negative", got=self.u)
        object.__setattr__(self, "budget", MappingProxyType(dict(self.budget)))

    @classmethod
    def of(cls, value: float, unit: Unit, *, how: str = "", **parts: float) -> Measured:
        """A value whose u is the root sum of squares of its named parts."""
        return cls(value=value, u=root_sum_square(*parts.values()), unit=unit, how=how, budget=parts)

    @property
    def u95(self) -> float:
        """Half-width of the 95 % interval."""
        return K95 * self.u

    def __reduce__(self) -> tuple[object, ...]:
        return (_measured, (self.value, self.u, self.unit, self.how, dict(self.budget)))

    def __bool__(self) -> bool:
        return True

    def to_json(self) -> dict[str, object]:
        """`{"value", "u95", "unit"}` plus `how` and `budget` when kept."""
        out: dict[str, object] = {"value": self.value, "u95": self.u95, "unit": self.unit}
        if self.how:
            out["how"] = self.how
        if self.budget:
            out["budget"] = dict(self.budget)
        return out


@dataclass(frozen=True, kw_only=True)
class Unmeasured:
    """Could not be measured, and why; false in a condition, so that `if q:` reads well."""

    reason: str
    hint: str = ""

    def __bool__(self) -> bool:
        return False

    def to_json(self) -> dict[str, object]:
        """`{"unmeasured", "hint"}`."""
        return {"unmeasured": self.reason, "hint": self.hint}


Quantity = Measured | Unmeasured


def quantity_from_json(data: Mapping[str, object]) -> Quantity:
    """Inverse of `to_json` of both classes."""
    if "unmeasured" in data:
        return Unmeasured(reason=str(data["unmeasured"]), hint=str(data.get("hint", "")))
    unit, budget = data["unit"], data.get("budget", {})
    if unit not in ("mm", "mm2", "deg", "count", "1/m2", "1") or not isinstance(budget, Mapping):
        raise BadInput("not a quantity", got=dict(data))
    return Measured(
        value=float(str(data["value"])), u=float(str(data["u95"])) / K95, unit=unit,
        how=str(data.get("how", "")), budget={str(k): float(v) for k, v in budget.items()},
    )  # fmt: skip


def _measured(value: float, u: float, unit: Unit, how: str, budget: dict[str, float]) -> Measured:
    return Measured(value=value, u=u, unit=unit, how=how, budget=budget)
