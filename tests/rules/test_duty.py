"""Two duties in words: what counts as the same, and what does not."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.rules.duty import same_duty


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("", ""), ("river water, 2950 rpm", "River Water;2950 RPM"),
        ("river water, 2950 rpm", "2950 1/min river water"),
        ("2950 rpm, 440 gpm", "100 m3/h 2950 rev/min"), ("100 m³/h", "100 m3/h"), ("sand 2,5 %", "Sand, 2.5 %"),
        ("water 50 °C", "122 F water"), ("8 bar", "800 kPa"), ("2950 rpm", "2960 rpm"), ("164 ft", "50 m"),
        ("pump in bay 2", "Pump in Bay 2"),
    ],
)  # fmt: skip
def test_case_order_spacing_and_units_do_not_count(one: str, other: str) -> None:
    assert same_duty(one, other) and same_duty(other, one)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("river water", ""), ("river water", "sea water"), ("2950 rpm", "3550 rpm"), ("2950 rpm", "2950 m3/h"),
        ("2950 rpm", "2950 rpm, 100 m3/h"), ("pump in bay 2", "pump in bay 3"), ("sand 2 %", "sand 4 %"),
        ("2950", "2950 rpm"),
    ],
)  # fmt: skip
def test_another_word_or_amount_is_another_duty(one: str, other: str) -> None:
    assert not same_duty(one, other) and not same_duty(other, one)


@given(st.text(max_size=40))
def test_any_text_is_the_same_as_itself_however_spaced(text: str) -> None:
    assert same_duty(text, f"  {text} ")


@given(st.floats(100, 4000), st.sampled_from(["rpm", "rev/min", "1/min", "r/min"]))
def test_a_speed_is_the_same_in_any_unit(speed: float, unit: str) -> None:
    assert same_duty(f"{speed:.0f} rpm water", f"water, {speed:.0f} {unit}")
