"""Graduations a rule may carry, and which of its marks are longer.

`in16` means sixteenths of an inch. 1 in = 25.4 mm exactly.
"""

from __future__ import annotations

from dataclasses import dataclass

from wearvision.stated import RULE_UNITS, RuleUnit

INCH_MM = 25.4


@dataclass(frozen=True, kw_only=True)
class Graduation:
    """One graduation.

    Attributes
    ----------
    unit : RuleUnit
    period_mm : distance of neighbouring marks
    splits : how the longer marks follow: every so manieth mark of the class below is longer
    slim : (least, most) length of the shortest marks in periods, as photographed up to 35 degrees of tilt;
        workshop rules lie well inside, decimal inches outside. Common practice, no source.
    """

    unit: RuleUnit
    period_mm: float
    splits: tuple[int, ...]
    slim: tuple[float, float]

    @property
    def cycle(self) -> int:
        """Marks after which the pattern repeats."""
        count = 1
        for split in self.splits:
            count *= split
        return count


GRADUATIONS: dict[RuleUnit, Graduation] = {
    g.unit: g
    for g in (
        Graduation(unit="mm", period_mm=1.0, splits=(5, 2), slim=(1.7, 4.8)),
        Graduation(unit="half-mm", period_mm=0.5, splits=(2, 5, 2), slim=(2.3, 7.5)),
        Graduation(unit="in8", period_mm=INCH_MM / 8, splits=(2, 2, 2), slim=(0.5, 1.6)),
        Graduation(unit="in16", period_mm=INCH_MM / 16, splits=(2,) * 4, slim=(0.7, 2.3)),
        Graduation(unit="in32", period_mm=INCH_MM / 32, splits=(2,) * 5, slim=(1.1, 3.6)),
        Graduation(unit="in64", period_mm=INCH_MM / 64, splits=(2,) * 6, slim=(1.7, 5.8)),
    )
}
assert set(GRADUATIONS) == set(RULE_UNITS)
METRIC: tuple[RuleUnit, ...] = ("mm", "half-mm")
BINARY: tuple[RuleUnit, ...] = ("in8", "in16", "in32", "in64")
