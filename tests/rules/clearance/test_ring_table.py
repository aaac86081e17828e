"""The running-clearance table against its inch form, its edges and its older edition."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.errors import BadInput, NeedsPerson
from wearvision.rules.clearance.ring_table import table_clearance, wants_allowance

STARTS_MM = (
    10, 50, 65, 80, 90, 100, 115, 125, 150, 175, 200, 225, 250, 275, 300, 325, 350, 375, 400, 425, 450, 475, 500, 525,
    550, 575, 600, 625,
)  # fmt: skip


def at(diameter_mm: float) -> float:
    return table_clearance(diameter_mm).clearance_diametral_mm


def test_a_row_and_its_double() -> None:
    # ISO 13709 / API 610, 10th-11th edition, from memory: 150 to 174.99 mm
    assert at(165) == 0.46
    assert 2 * at(165) == pytest.approx(0.92)


def test_galling_adds_an_eighth_of_a_millimetre() -> None:
    # API 610 running-clearance clause, from memory: + 0.125 mm
    found = table_clearance(165, allowance=True)
    assert found.clearance_diametral_mm == pytest.approx(0.585)
    assert 2 * found.clearance_diametral_mm == pytest.approx(1.17)
    assert "0.125 mm" in found.source


def test_above_the_last_row_it_grows_by_a_micrometre_per_millimetre() -> None:
    # same table, footnote, from memory; the inch form gives 0.039 in at 27.559 in
    assert at(700) == pytest.approx(0.990, abs=0.002)
    assert at(700) == pytest.approx(0.039 * 25.4, abs=0.002)


@pytest.mark.parametrize(
    ("diameter", "clearance"), [(49.99, 0.25), (50.00, 0.28), (124.99, 0.41), (125.00, 0.43), (649.99, 0.94)]
)
def test_edges(diameter: float, clearance: float) -> None:
    # same table
    assert at(diameter) == pytest.approx(clearance)


@pytest.mark.parametrize(("row", "start"), list(enumerate(STARTS_MM)))
def test_each_row_is_the_rounded_inch_row(row: int, start: float) -> None:
    # the inch form runs from 0.010 in, one thousandth per row; printed metric rows are rounded from it
    assert at(start) == pytest.approx((0.010 + 0.001 * row) * 25.4, abs=0.0061)


@pytest.mark.parametrize(
    ("inches", "thou"),
    [(1.9, 10), (2.0, 11), (2.499, 11), (2.5, 12), (3.0, 14), (3.499, 14), (3.5, 16), (4.999, 16), (5.0, 17),
     (5.99, 17)],
)  # fmt: skip
def test_the_older_edition(inches: float, thou: int) -> None:
    # Practical Machinery Management for Process Plants, Major Process Equipment Maintenance and Repair, table 1-3
    found = table_clearance(inches * 25.4, "older")
    assert found.clearance_diametral_mm == pytest.approx(thou * 0.0254)
    assert "older edition" in found.source


def test_the_older_edition_ends() -> None:
    with pytest.raises(NeedsPerson, match="design clearance"):
        table_clearance(160, "older")


def test_the_edition_and_its_standing_are_named() -> None:
    assert "10th-11th edition, from memory" in table_clearance(130).source


@pytest.mark.parametrize(
    ("galling", "hot", "wanted"),
    [(False, None, False), (False, 260.0, False), (False, 261.0, True), (True, None, True)],
)
def test_when_the_allowance_is_wanted(galling: bool, hot: float | None, wanted: bool) -> None:
    # same clause: galling, or any material above 260 C
    assert wants_allowance(galling, hot) is wanted


@given(st.floats(1, 2000), st.floats(0, 500))
def test_a_larger_ring_never_has_a_smaller_clearance(diameter: float, more: float) -> None:
    assert at(diameter + more) >= at(diameter)


@pytest.mark.parametrize("diameter", [0.0, -5.0, float("nan")])
def test_a_ring_has_a_size(diameter: float) -> None:
    with pytest.raises(BadInput):
        table_clearance(diameter)
