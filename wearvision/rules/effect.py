"""What wear costs, as a range: never one bare number, always with its route, inputs and assumption.

A consequence that cannot be worked out is a value too: `Blocked` names the inputs that are missing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from wearvision.errors import BadInput


class Input(NamedTuple):
    """What a figure was worked out from, and how much of it, with its unit."""

    words: str
    amount: str

    @property
    def text(self) -> str:
        """`speed 2950 rev/min`."""
        return f"{self.words} {self.amount}"


@dataclass(frozen=True, kw_only=True)
class Effect:
    """One consequence of wear, between two bounds.

    Attributes
    ----------
    name : str
        Key, lower case with its kind of clearance where one is meant: `leakage_new`, `efficiency_loss_front_gap`.
    title : str
        The same for people.
    low, high : float
        Bounds in `unit`, finite, low <= high.
    unit : str
        Printed unit: `m3/h`, `points`, `kPa`, `N`, `1`, ...
    route : str
        How it was worked out, one line, with the source and its standing (`from memory` where it is); steps are
        parted by a semicolon.
    inputs : tuple of Input
    assumption : str
        What must hold for the range to hold, one line; parts are parted by a semicolon.
    """

    name: str
    title: str
    low: float
    high: float
    unit: str
    route: str
    inputs: tuple[Input, ...]
    assumption: str

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low <= self.high):
            raise BadInput(f"{self.title}: not a range", got=(self.low, self.high))

    def to_json(self) -> dict[str, object]:
        """All fields by name."""
        return {
            "name": self.name, "title": self.title, "low": self.low, "high": self.high, "unit": self.unit,
            "route": self.route, "inputs": [i.text for i in self.inputs], "assumption": self.assumption,
        }  # fmt: skip


AGREE = "facts that agree: "
"""Leads what is missing where stated facts contradict each other; the question follows."""


@dataclass(frozen=True, kw_only=True)
class Blocked:
    """A consequence that cannot be worked out, and which inputs would let it."""

    name: str
    title: str
    missing: tuple[str, ...]

    def __bool__(self) -> bool:
        return False

    @property
    def questions(self) -> tuple[str, ...]:
        """What a person has to settle before it can be worked out."""
        return tuple(m.removeprefix(AGREE) for m in self.missing if m.startswith(AGREE))

    def to_json(self) -> dict[str, object]:
        """Name, title and what is missing."""
        return {"name": self.name, "title": self.title, "missing": list(self.missing)}
