"""What every page shares."""

from __future__ import annotations

from wearvision.pages.page import FindingRow, moment, plain, shares
from wearvision.quantity import Measured, Unmeasured


def test_the_parts_of_an_uncertainty_are_told_largest_first() -> None:
    told = shares(Measured.of(3.0, "mm", edge=0.05, print=0.02, lens=0.0001))
    assert told == (("edge", "± 0.098 mm"), ("print", "± 0.039 mm"))


def test_no_parts_for_what_is_not_measured_or_exact() -> None:
    assert shares(Unmeasured(reason="no scale")) == ()
    assert shares(Measured(value=3.0, u=0.0, unit="count")) == ()


def test_a_moment_is_told_to_the_minute_with_its_zone() -> None:
    assert moment("2026-03-02T14:05:43+00:00") == "2026-03-02 14:05 UTC"
    assert moment("2026-03-02T14:05:43+05:30") == "2026-03-02 14:05 +05:30"
    assert moment("2026-03-02T14:05") == "2026-03-02 14:05"
    assert moment("after the last reading") == "after the last reading"


def test_names_of_the_code_lose_their_joints_and_units_stand_apart() -> None:
    assert plain("card_height_mm") == "card height, mm"
    assert plain("box-cover") == "box cover"


def test_figures_of_a_finding_are_told_or_said_not_to_be() -> None:
    shift = Measured(value=-0.1, u=0.2, unit="mm")
    row = FindingRow(
        id="V2", kind="vane", photo="back", figures=(("tip_shift", shift), ("arc", Unmeasured(reason="cut off")))
    )
    assert row.told == (("tip shift", "-0.1 ± 0.4 mm"),)
    assert row.untold == (("arc", "cut off"),)
    assert row.place == "V2 on back"
