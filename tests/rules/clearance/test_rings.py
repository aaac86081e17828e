"""Ring pairs judged: renew at twice, guard bands near the limit, questions where only a person can tell."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.clearance.kit import judged, pair
from wearvision.rules.clearance.hold import hold
from wearvision.rules.clearance.rings import RingClearance, both_together
from wearvision.rules.decision import GUARD_95, Limit
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import RingPair, Thermal

RANK = ("within", "undecided", "beyond")
HOT = Thermal(setting_temp_c=20, process_temp_c=170)


def test_renew_at_twice_the_table() -> None:
    # API 610 row for 165 mm (from memory) 0.46; renewing at twice: Civil Engineering Handbook, Centrifugal pumps
    found = judged(pair())
    assert found.new_diametral_mm == 0.46
    assert found.renew_at_diametral_mm == pytest.approx(0.92)


def test_galling_rings_get_the_allowance_before_doubling() -> None:
    # 0.46 + 0.125 = 0.585, twice 1.17 (API 610 clause, from memory)
    found = judged(pair(galling=True))
    assert found.renew_at_diametral_mm == pytest.approx(1.17)


def test_heat_above_260_c_gets_it_too() -> None:
    hot = Thermal(setting_temp_c=20, process_temp_c=300)
    assert judged(pair(), hot).new_diametral_mm == pytest.approx(0.585)


def test_near_twice_the_uncertainty_decides() -> None:
    # bore 165.71, ring 164.80: 0.91, 1.978 times 0.46, 0.01 mm short of twice
    found = judged(pair(165.71, 164.80, u_mm=0.010))
    assert found.mean_diametral.value_mm == pytest.approx(0.91)
    assert found.mean_diametral.value_mm / 0.46 == pytest.approx(1.978, abs=0.001)
    assert found.word == "undecided"
    assert judged(pair(165.71, 164.80, u_mm=0.003)).word == "within"
    assert "finer gauge" in found.advice


@pytest.mark.parametrize(
    ("y", "word"),
    [(0.87064, "within"), (0.87066, "undecided"), (0.87, "within"), (0.90, "undecided"), (0.96934, "undecided"),
     (0.96936, "beyond")],
)  # fmt: skip
def test_guard_band_of_iso_14253(y: float, word: str) -> None:
    # ISO 14253-1 (from memory) with g = 1.645 u, u 0.03, limit 0.92: accept to 0.87065, reject from 0.96935
    decision = hold(Gauged(value_mm=y, u_mm=0.03), Limit(upper_mm=0.92, inclusive=False), GUARD_95)
    assert decision is not None
    assert decision.word == word


@pytest.mark.parametrize(("y", "p"), [(0.87, 0.952), (0.90, 0.7475)])
def test_chance_to_conform(y: float, p: float) -> None:
    # JCGM 106: Phi((T - y)/u)
    decision = hold(Gauged(value_mm=y, u_mm=0.03), Limit(upper_mm=0.92), GUARD_95)
    assert decision is not None
    assert decision.p_conform == pytest.approx(p, abs=0.0005)


def test_the_design_value_rules_over_the_table() -> None:
    found = judged(pair(design_clearance_diametral_mm=0.60))
    assert found.renew_at_diametral_mm == pytest.approx(1.20)
    assert found.new is not None and "design" in found.new.source
    assert found.word == "within"


def test_water_works_pumps_are_asked_for_their_design_value() -> None:
    # typical 0.0015 x diameter (published, stored paper on pump clearances): 0.195, below the process row of 0.43 mm
    found = judged(pair(130.30, 130.0, service="waterworks"))
    assert found.new is None
    assert found.word == "undecided" and found.open
    assert "which design clearance, diametral?" in found.questions[0]
    assert "0.20 mm" in found.questions[0] or "0.19 mm" in found.questions[0]


def test_the_older_edition_ends_in_a_question() -> None:
    found = judged(pair(edition="older"))
    assert found.new is None
    assert "design clearance" in found.questions[0]


@pytest.mark.parametrize(("design", "how"), [(0.23, "half"), (0.92, "twice")])
def test_a_design_value_that_looks_radial_or_doubled_is_asked_about(design: float, how: str) -> None:
    found = judged(pair(165.4, 164.8, design_clearance_diametral_mm=design))
    assert "really diametral" in found.questions[0] and how in found.questions[0]
    assert found.open
    checked = judged(pair(165.4, 164.8, design_clearance_diametral_mm=design, design_checked=True))
    assert not any("really diametral" in q for q in checked.questions)


def test_readings_that_look_like_one_side_are_asked_about() -> None:
    found = judged(pair(164.80 + 0.23, 164.80))
    assert "are all readings diameters" in found.questions[0]
    assert not judged(pair(164.80 + 0.46, 164.80)).questions


def test_a_worn_pair_at_twice_is_no_slip() -> None:
    assert not judged(pair(164.80 + 0.92, 164.80)).questions


def test_a_new_pair_at_its_new_clearance_may_run() -> None:
    assert judged(pair(164.80 + 0.46, 164.80)).word == "within"


def test_a_proven_shortfall_is_beyond() -> None:
    found = judged(pair(164.80 + 0.36, 164.80))
    assert found.word == "beyond"
    assert "Tighter than new" in found.advice


def test_hot_rings_may_touch() -> None:
    # 150 K on 164.8 mm: (11.4 - 17.2)e-6 x 164.8 x 150 = -0.143 mm
    close = pair(164.80 + 0.14, 164.80, bore_material="grey iron", ring_material="stainless 304",
                 design_clearance_diametral_mm=0.14, design_checked=True)  # fmt: skip
    found = judged(close, HOT)
    assert found.hot_min_diametral is not None
    assert found.hot_min_diametral.value_mm == pytest.approx(0.14 - 0.14338, abs=1e-4)
    assert found.touch is not None and found.touch.word == "undecided"
    assert "touch" in found.advice


def test_warming_up_counts_when_it_is_worse() -> None:
    of = {"bore_material": "grey iron", "ring_material": "stainless 316"}
    steady = judged(pair(**of), HOT).hot_min_diametral
    warm_up = Thermal(setting_temp_c=20, process_temp_c=170, warm_up_case_temp_c=80)
    warming = judged(pair(**of), warm_up).hot_min_diametral
    assert steady is not None and warming is not None
    assert warming.value_mm < steady.value_mm


def two(first: RingPair, second: RingPair) -> list[RingClearance]:
    return [judged(first), judged(second)]


def test_both_rings_are_judged_together() -> None:
    good, worn = pair(164.80 + 0.50, 164.80), pair(164.80 + 1.10, 164.80)
    near = pair(164.80 + 0.92, 164.80)
    assert "renew both" in both_together(two(good, worn))
    assert "both wait" in both_together(two(good, near))
    assert "may run on together" in both_together(two(good, good))
    assert "0.600" in both_together(two(good, worn))
    assert both_together([judged(good)]) == ""


@given(st.floats(0.2, 2.0), st.floats(0.0, 1.0), st.floats(0.0005, 0.02))
def test_a_wider_pair_is_never_nearer_to_running_on(clearance: float, more: float, u: float) -> None:
    narrow, wide = (judged(pair(164.8 + c, 164.8, u_mm=u)) for c in (clearance, clearance + more))
    assert narrow.renew is not None and wide.renew is not None
    assert RANK.index(wide.renew.word) >= RANK.index(narrow.renew.word)


@given(st.floats(0.3, 1.5), st.floats(0.001, 0.02), st.floats(0.0, 0.05))
def test_a_coarser_gauge_never_decides_more(clearance: float, u: float, more: float) -> None:
    fine, coarse = (judged(pair(164.8 + clearance, 164.8, u_mm=v)).renew for v in (u, u + more))
    assert fine is not None and coarse is not None
    assert fine.word == "undecided" or coarse.word in (fine.word, "undecided")
    if fine.word == "undecided":
        assert coarse.word == "undecided"
