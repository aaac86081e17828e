"""Clearance and shape from micrometer readings, by hand and by property."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.clearance.kit import diameters, gauged, pair
from wearvision.errors import BadInput
from wearvision.rules.clearance.ring_fit import ring_fit
from wearvision.rules.pump import Diameter, RingPair


def shaped(bore: tuple[float, ...], ring: tuple[float, ...]) -> RingPair:
    return RingPair(name="front ring", bore=diameters(*bore), ring=diameters(*ring))


def test_by_hand() -> None:
    # front: bore 100.50 and 100.46, ring 100.00 and 100.02; rear: 100.44 and 100.40, 100.01 and 100.01
    fit = ring_fit(shaped((100.50, 100.46, 100.44, 100.40), (100.00, 100.02, 100.01, 100.01)))
    assert fit.min_diametral.value_mm == pytest.approx(0.39)  # rear 100.40 - 100.01
    assert fit.max_diametral.value_mm == pytest.approx(0.50)  # front 100.50 - 100.00
    assert fit.mean_diametral.value_mm == pytest.approx(0.44)  # 100.45 - 100.01
    assert fit.bore_ovality_diametral is not None and fit.bore_ovality_diametral.value_mm == pytest.approx(0.04)
    assert fit.ring_ovality_diametral is not None and fit.ring_ovality_diametral.value_mm == pytest.approx(0.02)
    assert fit.bore_taper_diametral is not None and fit.bore_taper_diametral.value_mm == pytest.approx(0.06)
    assert fit.ring_taper_diametral is not None and fit.ring_taper_diametral.value_mm == pytest.approx(0.0)
    # both micrometers count, GUM root sum of squares
    assert fit.mean_diametral.u_mm == pytest.approx(0.005 * 2**0.5)


def test_one_direction_shows_no_ovality_and_one_place_no_taper() -> None:
    one_direction = RingPair(
        name="r", ring=diameters(100.0, 100.0),
        bore=(Diameter(place="front", angle_deg=0, gauged=gauged(100.5)),
              Diameter(place="rear", angle_deg=0, gauged=gauged(100.4))),
    )  # fmt: skip
    fit = ring_fit(one_direction)
    assert fit.bore_ovality_diametral is None
    assert fit.bore_taper_diametral is not None
    assert fit.ring_taper_diametral is None
    assert fit.min_diametral.value_mm == pytest.approx(0.4)  # places differ: every bore meets every ring


def test_a_stepped_pair_is_held_together_step_by_step() -> None:
    fit = ring_fit(shaped((200.5, 200.5, 210.6, 210.6), (200.0, 200.0, 210.0, 210.0)))
    assert (fit.min_diametral.value_mm, fit.max_diametral.value_mm) == pytest.approx((0.5, 0.6))


@pytest.mark.parametrize("ring", [165.71, 170.0])
def test_a_ring_that_would_not_go_in_is_asked_about(ring: float) -> None:
    with pytest.raises(BadInput, match="larger than its bore"):
        ring_fit(pair(165.71, ring))


def test_one_reading_is_not_enough() -> None:
    with pytest.raises(BadInput, match="two or more places or angles"):
        ring_fit(shaped((100.5,), (100.0, 100.0)))
    twice_the_same = (Diameter(place="front", angle_deg=0, gauged=gauged(100.5)),) * 2
    with pytest.raises(BadInput, match="two or more places or angles"):
        ring_fit(RingPair(name="r", bore=twice_the_same, ring=diameters(100.0, 100.0)))


sizes = st.floats(0, 0.2)


@given(st.tuples(sizes, sizes, sizes, sizes), st.tuples(sizes, sizes, sizes, sizes))
def test_the_mean_lies_between_smallest_and_largest(bore: tuple[float, ...], ring: tuple[float, ...]) -> None:
    fit = ring_fit(shaped(tuple(100.5 + b for b in bore), tuple(100.0 + r for r in ring)))
    low, mean, high = (c.value_mm for c in (fit.min_diametral, fit.mean_diametral, fit.max_diametral))
    assert low - 1e-9 <= mean <= high + 1e-9


@given(st.floats(30, 900), st.floats(0.05, 3))
def test_a_round_pair_has_one_clearance(diameter: float, clearance: float) -> None:
    fit = ring_fit(pair(diameter + clearance, diameter))
    for found in (fit.min_diametral, fit.mean_diametral, fit.max_diametral):
        assert found.value_mm == pytest.approx(clearance, abs=1e-9)
    assert fit.bore_ovality_diametral is not None and fit.bore_ovality_diametral.value_mm == 0
