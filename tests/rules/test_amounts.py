"""Amounts in shop notation, against exact definitions and with round trips."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.errors import BadInput
from wearvision.rules.amounts import AMOUNT_KINDS, FACTORS, AmountKind, parse_amount, parse_tariff


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("200 F", "temperature", 93.3333), ("93 C", "temperature", 93), ("-40 F", "temperature", -40),
        ("212°F", "temperature", 100), ("20 deg C", "temperature", 20), ("100 m3/h", "flow", 100),
        ("100 m³/h", "flow", 100), ("440 gpm", "flow", 99.9349),  # 1 US gallon = 3.785411784 l, exact
        ("10 l/s", "flow", 36), ("164 ft", "head", 49.9872), ("50 m", "head", 50), ("2950 rpm", "speed", 2950),
        ("2950 rev/min", "speed", 2950), ("8 bar", "pressure", 800), ("100 psi", "pressure", 689.4757),
        ("-20 kPa", "pressure", -20), ("6 kN", "force", 6), ("100 lbf", "force", 0.4448222),
        ("26 lb", "mass", 11.79340),
        ("2 g", "mass", 0.002), ("1.2 kg/l", "density", 1200), ("72 %", "share", 0.72), ("72,5 %", "share", 0.725),
        ("8000 h/year", "hours", 8000), ("8000 h", "hours", 8000), ("90 deg", "angle", 90), ("90°", "angle", 90),
        ("1 cSt", "viscosity", 1),
    ],
)  # fmt: skip
def test_what_the_shop_writes(text: str, kind: AmountKind, value: float) -> None:
    assert parse_amount(text, kind) == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize("kind", AMOUNT_KINDS)
@pytest.mark.parametrize("text", ["100", "", "abc", "1,600 rpm", "100 furlong", "1e3 m", "nan m", "--5 C"])
def test_what_could_mean_two_things_is_refused(kind: AmountKind, text: str) -> None:
    with pytest.raises(BadInput, match="write"):
        parse_amount(text, kind)


@pytest.mark.parametrize("kind", [k for k in AMOUNT_KINDS if k not in ("temperature", "pressure")])
def test_only_temperature_and_pressure_have_a_sign(kind: AmountKind) -> None:
    with pytest.raises(BadInput, match="negative"):
        parse_amount(f"-1 {next(iter(FACTORS[kind]))}", kind)


@pytest.mark.parametrize("text", ["-300 C", "-460 F", "1200 C"])
def test_a_temperature_no_pump_has(text: str) -> None:
    with pytest.raises(BadInput, match="not a temperature"):
        parse_amount(text, "temperature")


@given(st.sampled_from([k for k in AMOUNT_KINDS if k != "temperature"]), st.data(), st.integers(1, 10**7))
def test_a_unit_and_back(kind: AmountKind, data: st.DataObject, thousandths: int) -> None:
    unit = data.draw(st.sampled_from(sorted(FACTORS[kind])))
    amount = thousandths / 1000
    assert parse_amount(f"{amount:.3f} {unit}", kind) / FACTORS[kind][unit] == pytest.approx(amount, rel=1e-9)


@given(st.integers(-200, 900))
def test_celsius_and_fahrenheit_agree(celsius: int) -> None:
    fahrenheit = parse_amount(f"{celsius * 1.8 + 32:.1f} F", "temperature")
    assert fahrenheit == pytest.approx(parse_amount(f"{celsius} C", "temperature"), abs=1e-9)


def test_a_tariff_keeps_its_currency() -> None:
    assert parse_tariff("0.14 EUR/kWh") == (0.14, "EUR")
    assert parse_tariff("0,14 €/kWh") == (0.14, "€")
    for text in ("0.14", "EUR 0.14", "0.14 EUR/MWh"):
        with pytest.raises(BadInput, match="EUR/kWh"):
            parse_tariff(text)
