"""A length from a gauge, with its standard uncertainty, and sums of such lengths.

Kept apart from `wearvision.quantity.Measured`, as a reading is kept apart from a photo's figure: clearances
take nothing else, so an estimate from a photo cannot slip into them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from wearvision.errors import BadInput
from wearvision.quantity import K95


@dataclass(frozen=True, kw_only=True)
class Gauged:
    """A length, signed, and how well it is known.

    Attributes
    ----------
    value_mm : float
        Finite.
    u_mm : float
        Standard uncertainty, finite and not negative.
    how : str
        Where it came from, a few words: `0.40 mm by FG-02`.
    """

    value_mm: float
    u_mm: float
    how: str = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value_mm) and math.isfinite(self.u_mm) and self.u_mm >= 0):
            raise BadInput("a gauged length is finite, with a finite uncertainty", got=(self.value_mm, self.u_mm))

    @property
    def u95_mm(self) -> float:
        """Half-width of the 95 % interval, mm."""
        return K95 * self.u_mm

    @property
    def low_mm(self) -> float:
        """Lower end of the 95 % interval, mm."""
        return self.value_mm - self.u95_mm

    @property
    def high_mm(self) -> float:
        """Upper end of the 95 % interval, mm."""
        return self.value_mm + self.u95_mm

    @property
    def text(self) -> str:
        """`0.425 \u00b1 0.028 mm`."""
        return f"{self.value_mm:.3f} \u00b1 {self.u95_mm:.3f} mm"

    def plus(self, other: Gauged, how: str = "") -> Gauged:
        """Sum with an independent length."""
        u = math.hypot(self.u_mm, other.u_mm)
        return Gauged(value_mm=self.value_mm + other.value_mm, u_mm=u, how=how)

    def minus(self, other: Gauged, how: str = "") -> Gauged:
        """Difference from an independent length."""
        u = math.hypot(self.u_mm, other.u_mm)
        return Gauged(value_mm=self.value_mm - other.value_mm, u_mm=u, how=how)

    def to_json(self) -> dict[str, object]:
        """`{"value", "u95", "unit", "how"}`, in the form of every other quantity."""
        return {"value": self.value_mm, "u95": self.u95_mm, "unit": "mm", "how": self.how}


NOTHING = Gauged(value_mm=0.0, u_mm=0.0, how="none")
"""No wear: adds nothing."""
