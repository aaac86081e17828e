from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.effects import kit
from wearvision.rules.clearance.axial import AxialStack
from wearvision.rules.clearance.wear import Wear
from wearvision.rules.effect import Blocked, Effect
from wearvision.rules.effects import behind
from wearvision.rules.effects.facts import pump_facts
from wearvision.rules.effects.tell_back import back_effects
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import Pump

NONE = Gauged(value_mm=0, u_mm=0)


def told(
    stack: AxialStack | None, loss: Gauged | None = NONE, pump: Pump = kit.SEMI_OPEN
) -> dict[str, Effect | Blocked]:
    return {e.name: e for e in back_effects(pump_facts(pump), stack, loss)}


def range_of(effect: Effect | Blocked) -> tuple[float, float]:
    assert isinstance(effect, Effect), effect
    return effect.low, effect.high


def test_gap_opened_by_two_millimetres() -> None:
    """k by Stepanoff, from memory [M]: box 173.3 and 275.9 kPa, 102.7 kPa more, 2375 N less relief; by hand."""
    found = told(kit.stack(None, 3.0))
    assert range_of(found["box_pressure_new"])[0] == pytest.approx(173.3, abs=0.1)
    assert range_of(found["box_pressure_now"])[0] == pytest.approx(275.9, abs=0.1)
    assert range_of(found["box_pressure_change"])[0] == pytest.approx(102.7, abs=0.1)
    assert range_of(found["thrust_relief_lost"])[0] == pytest.approx(2375, abs=1)
    assert range_of(found["thrust_relief_now"])[1] == pytest.approx(8059, abs=1)
    assert range_of(found["back_vane_rotation_factor"])[1] == pytest.approx(0.8636, abs=1e-4)


def test_vanes_worn_by_two_millimetres_all_over() -> None:
    """t 6, S 9: k 0.8333, box 312.1 kPa, relief 7223 N; by hand."""
    found = told(kit.stack(None, 1.0), kit.gauge(2.0))
    assert range_of(found["box_pressure_now"])[0] == pytest.approx(312.1, abs=0.1)
    assert range_of(found["thrust_relief_now"])[1] == pytest.approx(7223, abs=1)


def test_a_deepest_reading_only_bounds_the_wear() -> None:
    found = told(kit.stack(None, 1.0, wear=Wear(back_vanes_axial=kit.gauge(2.0))), None)
    low, high = range_of(found["box_pressure_change"])
    assert low == 0 and high >= 312.1 - 173.3


def test_a_worn_face_behind_opens_the_space() -> None:
    found = told(kit.stack(None, 1.0, wear=Wear(cover_axial=kit.gauge(2.0))))
    assert range_of(found["box_pressure_change"])[1] >= 102.6


def test_moving_forward_opens_the_back_and_raises_the_box() -> None:
    """Front 0.9 set to 0.2032 of a total of 1.9: the back gap goes from 1.0 to 1.6968."""
    low, _ = range_of(told(kit.stack())["box_pressure_change"])
    assert low == pytest.approx(702.63 * (((8 + 9) / 18) ** 2 - ((8 + 9.6968) / (2 * 9.6968)) ** 2), abs=0.01)


def test_a_box_near_vapour_pressure_is_called_out() -> None:
    hot = replace(kit.SEMI_OPEN, duty=replace(kit.PRESSED, vapour_pressure_kpa=320.0))
    for pump, called in ((kit.SEMI_OPEN, False), (hot, True)):
        effect = told(kit.stack(None, 1.0), pump=pump)["box_pressure_over_vapour"]
        assert isinstance(effect, Effect)
        assert effect.assumption.startswith("CAUTION") is called


@pytest.mark.parametrize(("gap_mm", "word"), [(1.0, "inside"), (9.0, "OUTSIDE")])
def test_validity_is_said(gap_mm: float, word: str) -> None:
    effect = told(kit.stack(None, gap_mm))["box_pressure_now"]
    assert isinstance(effect, Effect) and word in effect.assumption


@given(st.floats(0, 6), st.floats(0.0, 4), st.floats(0, 4), st.floats(0, 4))
def test_more_wear_or_gap_never_lowers_the_box(gap: float, more: float, loss: float, worse: float) -> None:
    a, b = told(kit.stack(None, gap), kit.gauge(loss)), told(kit.stack(None, gap + more), kit.gauge(loss + worse))
    for name in ("box_pressure_now", "box_pressure_change", "thrust_relief_lost"):
        (low, high), (low2, high2) = range_of(a[name]), range_of(b[name])
        assert low <= low2 + 1e-9 and high <= high2 + 1e-9


part = st.floats(0, 1)


@given(part, part, part, st.floats(0.2, 3), st.floats(0, 3), st.floats(0, 3))
def test_nothing_inside_the_bounds_falls_outside_the_range(
    doubt: float, where: float, other: float, gap: float, loss: float, face: float
) -> None:
    worn = Wear(back_vanes_axial=kit.gauge(loss), cover_axial=kit.gauge(face))
    found = told(kit.stack(None, gap, wear=worn), None)
    now = (8.0, gap, where * face, other * loss)
    turning = (kit.WATER_KG_M3, kit.SPEED_RPM, 125.0, 30.0)
    inside = {
        "box_pressure_now": behind.box_now_kpa(doubt, 800.0, *turning, *now),
        "box_pressure_change": behind.change_kpa(doubt, *turning, 8.0, 1.0, *now[1:]),
        "thrust_relief_lost": behind.relief_lost_n(doubt, *turning, 8.0, 1.0, *now[1:]),
    }
    for name, value in inside.items():
        low, high = range_of(found[name])
        assert low - 1e-6 <= value <= high + 1e-6, name


def test_confirmed_readings_of_the_vanes_rule_over_the_stated_loss() -> None:
    stated = kit.gauge(0.4)
    for read, high in ((stated, 0.4), (kit.gauge(1.5), 1.5)):
        found = told(kit.stack(None, 1.0, wear=Wear(back_vanes_axial=read)), stated)["thrust_relief_lost"]
        assert isinstance(found, Effect)
        (loss,) = (i.amount for i in found.inputs if i.words == "axial loss of back vane height")
        assert loss.removesuffix(" mm").split()[-1] == f"{high:g}"


def test_what_is_missing_is_named() -> None:
    found = told(kit.stack(None, 1.0, back_new_mm=None))
    change = found["box_pressure_change"]
    assert isinstance(change, Blocked) and change.missing == (
        "[axial] back_new_axial: axial back gap as new or last set (mm)",
    )
    assert isinstance(found["box_pressure_now"], Effect)
    assert told(None, pump=kit.SPLIT) == {}
