"""Graduations told from lengths of marks, and told from each other."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from wearvision.measure.rule.decide import Clue, own_units, settle
from wearvision.measure.rule.hierarchy import Pattern, find_pattern, growth
from wearvision.measure.rule.units import BINARY, GRADUATIONS
from wearvision.quantity import Unmeasured
from wearvision.scenes import rule_marks
from wearvision.stated import RULE_UNITS, RuleUnit

SLIM: dict[RuleUnit, float] = {"mm": 2.9, "half-mm": 4.2, "in8": 0.85, "in16": 1.26, "in32": 2.0, "in64": 3.1}


def lengths(unit: str, n: np.ndarray, merged: bool = False) -> np.ndarray:
    """Lengths of numbered marks, px."""
    _, every, usual = rule_marks.GRADUATIONS[unit]
    usual = (*usual[:-1], usual[-2]) if merged else usual
    return np.array([15 * usual[max(k for k, e in enumerate(every) if i % e == 0)] for i in n])


def test_the_two_tables_of_graduations_agree() -> None:
    for unit, graduation in GRADUATIONS.items():
        period, every, _ = rule_marks.GRADUATIONS[unit]
        assert graduation.period_mm == period
        assert tuple(np.cumprod(graduation.splits)) == every[1:] and graduation.cycle == every[-1]


def test_sixteenths_of_an_inch_in_mm() -> None:
    """1/64, 1/32, 1/16, 1/8 in: 0.396875, 0.79375, 1.5875, 3.175 mm (1 in = 25.4 mm exactly)."""
    assert [GRADUATIONS[u].period_mm for u in BINARY] == [3.175, 1.5875, 0.79375, 0.396875]


def seen_pattern(unit: RuleUnit, first: int, slope: float, seed: int) -> Pattern:
    """The pattern of marks whose lengths scatter by 2 %, one in twenty lost."""
    rng = np.random.default_rng(seed)
    n = first + np.arange(4 * GRADUATIONS[unit].cycle + 40)
    t = 10.0 * np.arange(len(n))
    tilt = np.exp(slope * np.linspace(-1, 1, len(n)))
    long = lengths(unit, n) * tilt * np.exp(rng.normal(0, 0.02, len(n)))
    long[rng.random(len(n)) < 0.05] = np.nan
    return find_pattern(n, t, long)


@pytest.mark.parametrize("slope", [-0.4, 0.0, 0.4])
def test_how_marks_grow_along_a_rule_is_told_at_every_place(slope: float) -> None:
    n, tilt = np.arange(80), np.exp(slope * np.linspace(-1, 1, 80))
    long = lengths("in8", n) * tilt
    long[::9] = np.nan
    assert growth(10.0 * n, long) == pytest.approx(tilt, rel=0.05)
    assert growth(10.0 * n[:8], long[:8]) == pytest.approx(np.ones(8))


@pytest.mark.parametrize("unit", RULE_UNITS)
@given(first=st.integers(0, 200), slope=st.floats(-0.3, 0.3), seed=st.integers(0, 1000))
@example(first=1, slope=0.0, seed=659)
@settings(max_examples=12)
def test_each_graduation_is_seen_for_what_it_is(unit: RuleUnit, first: int, slope: float, seed: int) -> None:
    """Of the longest class only four or five marks are there: it may stay unsplit, but is then not called closed."""
    pattern, whole = seen_pattern(unit, first, slope, seed), GRADUATIONS[unit].splits
    assert pattern.splits == whole or (pattern.splits == whole[:-1] and not pattern.closed)
    assert pattern.zero % np.prod(pattern.splits) == 0


@pytest.mark.parametrize("unit", RULE_UNITS)
def test_nearly_always_all_classes_are_told(unit: RuleUnit) -> None:
    found = [seen_pattern(unit, 7 * seed, 0.02 * seed - 0.2, seed).splits for seed in range(20)]
    assert sum(splits == GRADUATIONS[unit].splits for splits in found) >= 19


@pytest.mark.parametrize("unit", ["comb", "in50"])
def test_marks_all_alike_and_fiftieths_are_no_pattern_of_ours(unit: str) -> None:
    n = np.arange(160)
    pattern = find_pattern(n, 10.0 * n, lengths(unit, n))
    units, sure = own_units(Clue(pattern=pattern, slim=3.0, numbered=1))
    assert not sure and (unit == "in50" or not units)


def test_tenths_of_an_inch_look_like_millimetres_but_for_their_proportions() -> None:
    n = np.arange(100)
    pattern = find_pattern(n, 10.0 * n, lengths("in10", n))
    assert pattern.splits == (5, 2)
    assert own_units(Clue(pattern=pattern, slim=2.6 / 2.54, numbered=1)) == ((), False)


@pytest.mark.parametrize("seed", range(8))
def test_random_lengths_are_no_pattern(seed: int) -> None:
    n = np.arange(200)
    long = np.random.default_rng(seed).uniform(30, 90, 200)
    assert len(find_pattern(n, 10.0 * n, long).splits) < 2


def clue(unit: RuleUnit, *, merged: bool = False, numbered: int = 0) -> Clue:
    n = np.arange(3 * GRADUATIONS[unit].cycle)
    return Clue(pattern=find_pattern(n, 10.0 * n, lengths(unit, n, merged)), slim=SLIM[unit], numbered=numbered)


@pytest.mark.parametrize("unit", ["mm", "half-mm"])
def test_a_metric_scale_speaks_for_itself(unit: RuleUnit) -> None:
    assert settle([clue(unit)], [1.0], None) == (0, unit)


@pytest.mark.parametrize("unit", BINARY[:-1])
def test_an_inch_scale_needs_numbers_a_partner_or_a_word(unit: RuleUnit) -> None:
    assert isinstance(settle([clue(unit)], [1.0], None), Unmeasured)
    assert settle([clue(unit, numbered=1)], [1.0], None) == (0, unit)
    assert settle([clue(unit)], [1.0], unit) == (0, unit)
    ratio = GRADUATIONS[unit].period_mm
    assert settle([clue("mm"), clue(unit)], [1.0, ratio], None) == (0, "mm")


def test_the_finest_inch_scale_needs_no_number() -> None:
    assert settle([clue("in64")], [1.0], None) == (0, "in64")
    stout = Clue(pattern=clue("in64").pattern, slim=2.0, numbered=0)
    assert isinstance(settle([stout], [1.0], None), Unmeasured)


@pytest.mark.parametrize("unit", BINARY)
def test_half_inches_as_long_as_inches_mislead_nobody(unit: RuleUnit) -> None:
    """Numbers at every second longest mark tell the inch; without them there is no answer, never half of it."""
    assert isinstance(settle([clue(unit, merged=True)], [1.0], None), Unmeasured)
    assert settle([clue(unit, merged=True, numbered=2)], [1.0], None) == (0, unit)


def test_two_scales_that_do_not_fit_are_no_answer() -> None:
    vernier = settle([clue("mm"), clue("mm")], [1.0, 0.9], None)
    assert isinstance(vernier, Unmeasured) and "contradict" in vernier.reason
    assert isinstance(settle([clue("mm"), clue("in16")], [1.0, 1.27], None), Unmeasured)


def test_a_statement_against_the_marks_is_a_contradiction() -> None:
    told = settle([clue("mm")], [1.0], "half-mm")
    assert isinstance(told, Unmeasured) and "stated as half-mm" in told.reason and "show mm" in told.reason


def test_a_statement_chooses_the_scale() -> None:
    pair = [clue("mm"), clue("in16", numbered=1)]
    assert settle(pair, [1.0, 1.5875], "in16") == (1, "in16")
    assert settle(pair, [1.0, 1.5875], "mm") == (0, "mm")


def test_a_statement_does_not_make_a_grating_a_rule() -> None:
    flat = Pattern(splits=(), steps=(), zero=0, closed=False, short_px=40.0, seen=0)
    assert isinstance(settle([Clue(pattern=flat, slim=2.9, numbered=0)], [1.0], "mm"), Unmeasured)
