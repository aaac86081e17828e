from __future__ import annotations

import itertools

import pytest

from wearvision.rules.crack import CrackSuspected
from wearvision.rules.effects.follow_ups import follow_ups
from wearvision.rules.pump import Impeller
from wearvision.rules.reading import SightCheck

SINGLE, REWORKED, WIDE = Impeller(), Impeller(reworked=True), Impeller(suctions=2)
TEST = SightCheck(criterion="cracks", check="penetrant", answer="no linear indication", how="ISO 3452-1",
                  by="B. Fitter", at="2026-03-02T09:30:00", record="PT-26-014")  # fmt: skip
OPEN, DONE = CrackSuspected(tag="I-1", test=None), CrackSuspected(tag="C-1", test=TEST)
EVERY = list(itertools.product((SINGLE, REWORKED, WIDE), ((), (OPEN,), (DONE, OPEN)), (False, True)))


@pytest.mark.parametrize(("impeller", "cracks", "semi_open"), EVERY)
def test_balance_and_straightness_always_and_every_line_has_its_source(
    impeller: Impeller, cracks: tuple[CrackSuspected, ...], semi_open: bool
) -> None:
    lines = follow_ups(impeller, cracks=cracks, semi_open=semi_open)
    assert any("balance" in line for line in lines) and any("straightness" in line for line in lines)
    assert all(any(mark in line for mark in ("from memory", "derived", "no source")) for line in lines)


def test_a_suspected_crack_comes_first_and_holds_the_part() -> None:
    lines = follow_ups(REWORKED, cracks=[DONE, OPEN])
    assert lines[0].startswith("hold I-1: penetrant test")
    assert lines[1].startswith("C-1: crack suspected and tested, no linear indication, report PT-26-014, B. Fitter")
    assert any("penetrant" in line for line in follow_ups(REWORKED))
    assert not any("penetrant" in line for line in follow_ups(SINGLE))


def test_a_double_suction_impeller_has_two_planes() -> None:
    assert any("two planes" in line for line in follow_ups(WIDE))
    assert any("one plane" in line for line in follow_ups(SINGLE))


def test_front_and_back_gap_go_together() -> None:
    assert any("axial back gap" in line for line in follow_ups(SINGLE, semi_open=True))
    assert not any("gap" in line for line in follow_ups(SINGLE))
