"""What every page shares."""

from __future__ import annotations

from wearvision.pages.page import shares
from wearvision.quantity import Measured, Unmeasured


def test_the_parts_of_an_uncertainty_are_told_largest_first() -> None:
    told = shares(Measured.of(3.0, "mm", edge=0.05, print=0.02, lens=0.0001))
    assert told == (("edge", "± 0.098 mm"), ("print", "± 0.039 mm"))


def test_no_parts_for_what_is_not_measured_or_exact() -> None:
    assert shares(Unmeasured(reason="no scale")) == ()
    assert shares(Measured(value=3.0, u=0.0, unit="count")) == ()
