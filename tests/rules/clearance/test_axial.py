"""The axial stack by hand and by property: conservation, windows with uncertainty, cold settings, warnings."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.clearance.kit import gauged, stack
from wearvision.errors import BadInput
from wearvision.rules.clearance.axial import AxialStack
from wearvision.rules.clearance.axial_advice import axial_advice
from wearvision.rules.clearance.axial_table import axial_json, axial_lines
from wearvision.rules.clearance.wear import Wear
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import AxialFacts, Thermal

RANK = ("within", "undecided", "beyond")
HOT = Thermal(
    case_material="grey iron", rotor_material="stainless 316", case_length_axial_mm=250, rotor_length_axial_mm=250,
    setting_temp_c=20, process_temp_c=170,
)  # fmt: skip
gaps = st.floats(0.05, 1.5)


def value(figure: Gauged | None) -> float:
    assert figure is not None
    return figure.value_mm


def test_defaults_are_the_trade_figures() -> None:
    # common practice, no source: front 0.008 in at or below 200 F, total 0.060 to 0.085 in
    facts = AxialFacts()
    assert facts.front_target_axial_mm == pytest.approx(0.2032)
    assert (facts.total_low_axial_mm, facts.total_high_axial_mm) == pytest.approx((1.524, 2.159))
    assert facts.front_up_to_c == pytest.approx(93.333, abs=0.001)


def test_setting_the_front_opens_the_back_by_as_much() -> None:
    # by hand: front 0.525, total 1.850; to 0.2032: move 0.3218, back 1.325 -> 1.6468
    found = stack()
    assert found.setting_axial_mm == pytest.approx(0.2032)
    assert value(found.back_gap_axial) == pytest.approx(1.325)
    assert value(found.move_axial) == pytest.approx(0.3218)
    assert value(found.back_after_axial) == pytest.approx(1.6468)
    assert "opens the back gap by as much" in axial_advice(found)[1]


@given(gaps, gaps)
def test_front_and_back_are_the_total_before_and_after(front: float, back: float) -> None:
    found = stack(front_gap_axial=gauged(front), back_gap_axial=gauged(back), total_gap_axial=None)
    total = value(found.total_gap_axial)
    assert total == pytest.approx(front + back)
    if found.setting_axial_mm is not None:
        assert found.setting_axial_mm + value(found.back_after_axial) == pytest.approx(total)
        assert value(found.back_after_axial) == pytest.approx(back + value(found.move_axial))


@given(gaps, gaps)
def test_any_two_gaps_give_the_third(front: float, back: float) -> None:
    total = gauged(front + back)
    from_front = stack(front_gap_axial=gauged(front), total_gap_axial=total)
    from_back = stack(front_gap_axial=None, back_gap_axial=gauged(back), total_gap_axial=total)
    assert value(from_front.back_gap_axial) == pytest.approx(back)
    assert value(from_back.front_gap_axial) == pytest.approx(front)


def test_three_gaps_that_do_not_add_up_are_asked_about() -> None:
    found = stack(back_gap_axial=gauged(1.10))
    assert "which axial gap was misread" in found.questions[0]
    assert found.open
    assert not stack(back_gap_axial=gauged(1.33)).questions


def test_a_gap_larger_than_the_total_is_asked_about() -> None:
    with pytest.raises(BadInput, match="axial front gap larger than the axial total"):
        stack(front_gap_axial=gauged(1.9))


@pytest.mark.parametrize(
    ("total", "word"), [(1.40, "beyond"), (1.524, "undecided"), (1.85, "within"), (2.159, "undecided"), (2.4, "beyond")]
)
def test_the_total_is_held_against_its_budget_with_uncertainty(total: float, word: str) -> None:
    found = stack(total_gap_axial=gauged(total, 0.012))
    assert found.total is not None
    assert found.total.word == word


def worn(front_mm: float = 0.0, back_mm: float = 0.0, u_mm: float = 0.005) -> Wear:
    return Wear(impeller_axial=gauged(front_mm, u_mm), back_vanes_axial=gauged(back_mm, u_mm))


def word_of(found: AxialStack) -> str:
    assert found.worn is not None
    return found.worn.word


def test_a_little_wear_leaves_a_setting_and_moves_it() -> None:
    # by hand: room at the front is 0.254 - 0.1524 = 0.1016 mm; 0.060 of wear leaves 0.1524 to 0.194
    found = stack(worn(0.060))
    assert found.worn is not None
    assert found.worn.high_axial.value_mm == pytest.approx(0.254 - 0.060)
    assert word_of(found) == "within"
    assert found.setting_axial_mm is not None
    assert 0.1524 <= found.setting_axial_mm <= 0.194


def test_more_wear_than_the_range_is_wide_leaves_none() -> None:
    found = stack(worn(0.150))
    assert word_of(found) == "beyond"
    assert found.worn is not None
    assert found.worn.why_not == ("front faces worn by more than the front range is wide",)
    assert found.setting_axial_mm == pytest.approx(0.2032)  # at standing metal, with the loss noted
    assert "accept the loss" in axial_advice(found)[0]


def test_wear_as_wide_as_the_range_is_undecided() -> None:
    found = stack(worn(0.1016))
    assert word_of(found) == "undecided"
    assert found.open
    assert "Measure finer" in axial_advice(found)[0]


def test_back_wear_can_close_the_window_too() -> None:
    # by hand: the back range is 0.635 mm wide
    found = stack(worn(0.0, 0.70))
    assert word_of(found) == "beyond"
    assert found.worn is not None and "back faces" in found.worn.why_not[-1]


def test_no_setting_at_all_when_the_total_is_too_small() -> None:
    found = stack(front_gap_axial=gauged(0.3), total_gap_axial=gauged(1.2))
    assert found.setting_axial_mm is None
    assert "total too small" in axial_advice(found)[0]


@given(st.floats(0, 0.3), st.floats(0, 0.3), st.floats(0, 0.3), st.floats(0.001, 0.03))
def test_more_wear_never_finds_a_setting_again(front: float, back: float, more: float, u: float) -> None:
    less = word_of(stack(worn(front, back, u)))
    assert RANK.index(word_of(stack(worn(front + more, back, u)))) >= RANK.index(less)
    assert RANK.index(word_of(stack(worn(front, back + more, u)))) >= RANK.index(less)


@given(st.floats(1.3, 2.4), st.floats(0, 0.12), st.floats(0, 0.5), st.floats(0, 0.01))
def test_a_proposed_setting_keeps_both_gaps_in_range(total: float, front: float, back: float, u: float) -> None:
    found = stack(worn(front, back, u), front_gap_axial=None, total_gap_axial=gauged(total, u))
    if word_of(found) != "within":
        return
    facts, setting = found.facts, found.setting_axial_mm
    assert setting is not None
    assert facts.front_low_axial_mm - 1e-9 <= setting <= facts.front_high_axial_mm - front + 1e-9
    behind = total - setting
    assert facts.back_low_axial_mm - 1e-9 <= behind
    assert behind + back <= facts.back_high_axial_mm + 1e-9


def test_the_adjuster_must_reach() -> None:
    lines = {line.key: line.figure for line in axial_lines(stack(adjuster_left_axial_mm=1.0))}
    assert value(lines["adjuster_left_after_axial"]) == pytest.approx(1.0 - 0.3218)
    short = stack(adjuster_left_axial_mm=0.1)
    assert short.adjuster is not None and short.adjuster.word == "beyond"
    assert any("does not reach" in line for line in axial_advice(short))
    near = stack(adjuster_left_axial_mm=0.3218)
    assert near.adjuster is not None and near.adjuster.word == "undecided"


def test_the_cold_setting_is_raised_by_growth_beyond_200_f() -> None:
    # by hand: (15.9 - 11.4)e-6 x 250 x (170 - 93.333) = 0.08625 mm above the target of 0.2032
    found = stack(thermal=HOT)
    assert found.setting_axial_mm == pytest.approx(0.2032 + 0.08625, abs=1e-5)
    # and closes by 0.16875 when hot (table B.6 coefficients, 150 K)
    assert value(found.hot_front_axial) == pytest.approx(0.28945 - 0.16875, abs=1e-5)
    assert found.front_touch is not None and found.front_touch.word == "within"


def test_up_to_200_f_the_target_stands() -> None:
    warm = Thermal(**{**vars(HOT), "process_temp_c": 90.0})
    assert stack(thermal=warm).setting_axial_mm == pytest.approx(0.2032)


def test_above_200_f_without_lengths_the_maker_is_asked() -> None:
    found = stack(thermal=Thermal(process_temp_c=150))
    assert found.setting_axial_mm is None
    assert "maker's table" in found.questions[0]
    assert "case length (axial)" in found.questions[0]


def test_a_cold_setting_that_would_touch_is_warned_of() -> None:
    hot = Thermal(**{**vars(HOT), "warm_up_case_temp_c": 60.0})
    # rotor 150 K, case 40 K: 11.4e-6 x 250 x 40 - 15.9e-6 x 250 x 150 = -0.48225 mm against 0.28945
    found = stack(thermal=hot)
    assert found.front_touch is not None and found.front_touch.word == "beyond"
    assert any("WARNING" in line and "would touch" in line for line in axial_advice(found))
    assert found.word == "beyond"
    # the back gap is least in the other state: running, 0.16875 mm wider than cold, not 0.48225
    assert value(found.hot_back_axial) == pytest.approx(value(found.back_after_axial) + 0.16875)


def test_reverse_vanes_open_when_hot() -> None:
    found = stack(thermal=HOT, running_side="cover")
    assert found.setting_axial_mm == pytest.approx(0.2032)  # never lowered
    assert value(found.hot_front_axial) == pytest.approx(0.2032 + 0.16875, abs=1e-5)
    assert value(found.hot_back_axial) == pytest.approx(1.85 - 0.2032 - 0.16875, abs=1e-5)


@given(st.floats(94, 400), st.floats(0, 100))
def test_a_hotter_liquid_never_lowers_the_cold_setting(process: float, more: float) -> None:
    cool, hot = (stack(thermal=Thermal(**{**vars(HOT), "process_temp_c": t})) for t in (process, process + more))
    assert cool.setting_axial_mm is not None and hot.setting_axial_mm is not None
    assert hot.setting_axial_mm >= cool.setting_axial_mm - 1e-12


def test_what_is_missing_is_named() -> None:
    nothing = stack(front_gap_axial=None, total_gap_axial=None)
    assert nothing.setting_axial_mm is None and nothing.open
    assert any("total travel (axial)" in m for m in nothing.missing)
    assert axial_json(nothing)["setting_axial_mm"] is None
    assert any(line.figure is None for line in axial_lines(nothing))


def test_faces_not_read_are_named_in_the_table() -> None:
    lines = {line.key: line for line in axial_lines(stack(Wear(casing_axial=gauged(0.02))))}
    assert "impeller not read, taken as unworn" in lines["front_wear_axial"].note
    assert lines["back_wear_axial"].figure is None
