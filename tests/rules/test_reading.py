from __future__ import annotations

import json
import math
import pickle
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests import sheet_kit as kit
from wearvision.errors import BadInput
from wearvision.quantity import Measured
from wearvision.rules.entry import Entry, Log
from wearvision.rules.reading import GaugeReading, Instrument, SightCheck, gauge_u


def test_uncertainty_of_a_depth_reading() -> None:
    """Step 0.01, limit +-0.02, zero +-0.012, form under the foot +-0.015 mm (GUM, JCGM 100; recomputed)."""
    assert gauge_u(0.01, 0.02, 0.012, 0.015) == pytest.approx(0.01627, abs=5e-6)
    assert 2 * gauge_u(0.01, 0.02, 0.012, 0.015) == pytest.approx(0.0325, abs=5e-5)


def test_a_feeler_brackets() -> None:
    """0.40 goes, 0.45 does not: 0.425, u 0.0144 mm (common practice; step / sqrt 12)."""
    leaves = kit.gauge("feeler gauge", resolution_mm=0.05, mpe_mm=0.0)
    taken = kit.reading(1, "0.40 mm", instrument=leaves)
    assert taken.value_mm == pytest.approx(0.425)
    assert taken.u_mm == pytest.approx(0.0144, abs=5e-5)


def test_the_coarser_step_counts() -> None:
    assert kit.reading(1, "1.60 mm").u_mm == gauge_u(0.01, 0.02)
    assert kit.reading(1, "1.6 mm").u_mm == gauge_u(0.1, 0.02)
    assert kit.reading(1, "1/16").u_mm == gauge_u(0.396875, 0.02)
    assert kit.reading(1, "1.605 mm").u_mm == gauge_u(0.01, 0.02)


def test_a_reading_is_no_measurement() -> None:
    assert not set(GaugeReading.__mro__[:-1]) & set(Measured.__mro__[:-1])
    with pytest.raises(BadInput, match="only a gauge reading"):
        Entry(kind="first", what=Measured(value=1.6, u=0.1, unit="mm"))  # type: ignore[arg-type]  # wrong on purpose


@pytest.mark.parametrize(
    "change",
    [{"typed": "1.6"}, {"typed": "-1 mm"}, {"point": 0}, {"reader": " "}, {"at": "yesterday"}, {"at": "2026-03-02"},
     {"instrument": None}],
)  # fmt: skip
def test_a_bad_reading_is_refused(change: dict[str, Any]) -> None:
    with pytest.raises(BadInput):
        replace(kit.reading(1), **change)


@pytest.mark.parametrize(
    "change",
    [{"kind": "ruler"}, {"serial": ""}, {"resolution_mm": 0.0}, {"resolution_mm": math.nan}, {"mpe_mm": -0.1},
     {"mpe_mm": math.inf}, {"due": "soon"}, {"last_zero": "08:00"}],
)  # fmt: skip
def test_a_bad_gauge_is_refused(change: dict[str, Any]) -> None:
    with pytest.raises(BadInput):
        replace(kit.gauge(), **change)


def test_calibration_runs_out_after_its_day() -> None:
    gauge = kit.gauge(due="2026-03-02")
    assert not gauge.overdue("2026-03-02T23:59:00")
    assert gauge.overdue("2026-03-03T00:00:00+01:00")
    assert kit.gauge(due="").overdue(kit.AT)


def test_zero_is_checked_on_the_day() -> None:
    assert not kit.gauge(last_zero="2026-03-02").zero_unchecked(kit.AT)
    assert kit.gauge(last_zero="2026-03-01T23:00:00").zero_unchecked(kit.AT)
    assert kit.gauge(last_zero="").zero_unchecked(kit.AT)
    assert not kit.gauge("feeler gauge", last_zero="").zero_unchecked(kit.AT)


def test_a_bare_decimal_needs_a_stated_unit() -> None:
    taken = replace(kit.reading(1), typed=".062", assumed="in")
    assert taken.value_mm == pytest.approx(1.5748)
    assert GaugeReading.from_json(json.loads(json.dumps(taken.to_json()))) == taken


def test_a_sight_check_names_everything() -> None:
    check = SightCheck(criterion="cracks", check="eye", answer="none seen", how="by eye", by="B", at=kit.AT)
    assert SightCheck.from_json(json.loads(json.dumps(check.to_json()))) == check
    for name in ("criterion", "check", "answer", "how", "by"):
        with pytest.raises(BadInput, match=name):
            replace(check, **{name: ""})


def test_stored_forms_come_back_or_are_refused() -> None:
    taken = kit.reading(3, "1 1/8")
    data = json.loads(json.dumps(taken.to_json()))
    assert GaugeReading.from_json(data) == taken
    assert Instrument.from_json(data["instrument"]) == taken.instrument
    assert pickle.loads(pickle.dumps(taken)).value_mm == taken.value_mm
    for bad in ({"value_mm": 1.0}, {"u_mm": 0.0}, {"typed": "2 mm"}, {"assumed": "ft"}, {"more": 1}):
        with pytest.raises(BadInput):
            GaugeReading.from_json(data | bad)
    del data["reader"]
    with pytest.raises(BadInput, match="reader"):
        GaugeReading.from_json(data)


def test_the_log_keeps_the_order_of_things() -> None:
    first, later = kit.reading(1, "1.50 mm"), kit.reading(1, "1.20 mm")
    log = Log().commit(first)
    with pytest.raises(BadInput, match="already entered"):
        log.commit(later)
    with pytest.raises(BadInput, match="reason"):
        log.amend(later, "  ")
    with pytest.raises(BadInput, match="no first entry"):
        Log().amend(later, "slip")
    with pytest.raises(BadInput, match="no first entry"):
        Log().second(later)
    assert log.amend(later, "foot stood on a burr").standing(1) == (later,)
    assert log.second(later).standing(1) == (first, later)
    assert log.second(later, "first on a burr").standing(1) == (later,)
    assert log.amend(later, "slip").second(first).standing(1) == (later, first)


moves = st.lists(
    st.tuples(st.sampled_from(["commit", "second", "amend"]), st.integers(1, 3), st.integers(1, 400)), max_size=12
)


@given(moves)
def test_no_move_ever_loses_the_first_reading(steps: list[tuple[str, int, int]]) -> None:
    log = Log()
    firsts: dict[int, GaugeReading] = {}
    for move, point, hundredths in steps:
        taken = kit.reading(point, f"{hundredths / 100:.2f} mm")
        before = log.entries
        try:
            log = log.amend(taken, "corrected") if move == "amend" else getattr(log, move)(taken)
        except BadInput:
            assert (point in firsts) == (move == "commit")
            continue
        firsts.setdefault(point, taken)
        assert log.entries[: len(before)] == before
        assert len(log.entries) == len(before) + 1
        assert all(log.first(p) == r for p, r in firsts.items())
        assert taken in log.standing(point)
        assert Log.from_json(json.loads(json.dumps(log.to_json()))) == log
        assert pickle.loads(pickle.dumps(log)) == log
