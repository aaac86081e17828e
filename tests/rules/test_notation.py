from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.errors import BadInput
from wearvision.rules.notation import MM_PER, UNITS, Length, LengthUnit, parse_length, show

# Exact inch table: 1 in = 25.4 mm by definition (international yard and pound agreement, 1959).
INCHES = {
    "1/64": "0.396875", "1/32": "0.79375", "3/64": "1.190625", "1/16": "1.5875", "5/64": "1.984375",
    "3/32": "2.38125", "7/64": "2.778125", "1/8": "3.175", "9/64": "3.571875", "5/32": "3.96875",
    "11/64": "4.365625", "3/16": "4.7625", "13/64": "5.159375", "7/32": "5.55625", "15/64": "5.953125",
    "1/4": "6.35",
}  # fmt: skip
THOUS = {
    1: "0.0254", 2: "0.0508", 3: "0.0762", 4: "0.1016", 5: "0.127", 6: "0.1524", 7: "0.1778", 8: "0.2032",
    9: "0.2286", 10: "0.254", 12: "0.3048", 15: "0.381", 18: "0.4572", 20: "0.508", 25: "0.635", 30: "0.762",
    37: "0.9398", 40: "1.016", 50: "1.27", 60: "1.524",
}  # fmt: skip


@pytest.mark.parametrize(("inch", "mm"), INCHES.items())
def test_fractions_of_an_inch_are_exact(inch: str, mm: str) -> None:
    for text in (inch, f"{inch} in", f'{inch}"', f"{inch}″", f"{mm} mm"):
        assert parse_length(text).exact_mm == Fraction(mm)
        assert parse_length(text).value_mm == float(mm)


@pytest.mark.parametrize(("thou", "mm"), THOUS.items())
def test_thousandths_are_exact(thou: int, mm: str) -> None:
    for text in (f"{thou} thou", f"{thou} mil", f"{thou}mils", f"{thou / 1000:.3f} in"):
        assert parse_length(text).exact_mm == Fraction(mm)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("1 1/8", "28.575"), ("1-1/8", "28.575"), ("1 - 1/8 in.", "28.575"), ("1⅛", "28.575"), ("1 ⅛″", "28.575"),
        ("1 1⁄8", "28.575"), ("½", "12.7"), ("⅜ in", "9.525"), (".062 in", "1.5748"), ("0.062 inch", "1.5748"),
        ("62 mil", "1.5748"), ("62 thou", "1.5748"), ("1.6 mm", "1.6"), ("1,6 mm", "1.6"), ("0,062 in", "1.5748"),
        ("5 um", "0.005"), ("5 µm", "0.005"), ("5 μm", "0.005"), ("5 microns", "0.005"), ("2''", "50.8"),
        ("1.600 mm", "1.6"), ("12 mm", "12"), ("12. mm", "12"), ("1/2 mm", "0.5"), ("1/10 mm", "0.1"),
        ("0 mm", "0"), ("1.6\u00a0MM", "1.6"), ("5000 mm", "5000"),
    ],
)  # fmt: skip
def test_what_the_shop_writes(text: str, mm: str) -> None:
    assert parse_length(text).exact_mm == Fraction(mm)


@pytest.mark.parametrize("text", [".062", "1.6", "1,6", "62", "0", "0.062"])
def test_a_number_without_a_unit_is_asked_about(text: str) -> None:
    with pytest.raises(BadInput, match="say mm or in"):
        parse_length(text)
    assert parse_length(text, default="mm").exact_mm == Fraction(text.replace(",", "."))
    assert parse_length(text, default="in").exact_mm == Fraction(text.replace(",", ".")) * Fraction("25.4")


def test_a_fraction_stays_inches_under_a_default_unit() -> None:
    assert parse_length("1/16", default="mm").exact_mm == Fraction("1.5875")


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "nan", "inf", "1e3 mm", "1,600 mm", "12,345 in", "1,234.5 mm", "1.234,5 mm", "1 600 mm", "1 mm 2",
        "-1/16", "- 0.5 mm", "+1 mm", "−1 mm", "1/0", "1/10", "1/3", "9/8", "1 9/8", "11/8 in", "8/8", "1//8",
        "1/8/2", "1.5/8", "0x10 mm", "1_0 mm", "1 cm", "1 ft", "5'", "1 m", "5001 mm", "200 in", "¹ mm", "١ mm",
        "1/16 in mm", "mm", "in", '"', "one mm", "1\n2 mm", "9" * 60 + " mm", "⅓", "1½½",
    ],
)  # fmt: skip
def test_what_could_be_two_things_or_none_is_refused(text: str) -> None:
    with pytest.raises(BadInput) as caught:
        parse_length(text)
    assert "\n" not in caught.value.line()


def test_a_sign_only_where_asked_for() -> None:
    assert parse_length("-1/16", signed=True).exact_mm == Fraction("-1.5875")
    assert parse_length("−0,2 mm", signed=True).value_mm == -0.2
    assert parse_length("+0.2 mm", signed=True).value_mm == 0.2
    assert parse_length("-1 1/8 in", signed=True).understood == "-1 1/8 in"


def test_the_echo_says_what_was_understood() -> None:
    assert parse_length("1/16").echo == "1/16 in = 1.588 mm"
    assert parse_length(".062 in").echo == "0.062 in = 1.575 mm"
    assert parse_length("62 thou").echo == "62 mil = 1.575 mm"
    assert parse_length("1,6 mm").echo == "1.6 mm = 0.0630 in"


def test_the_step_of_the_notation() -> None:
    assert parse_length("1.60 mm").resolution_mm == 0.01
    assert parse_length("1.6 mm").resolution_mm == 0.1
    assert parse_length("2 mm").resolution_mm == 1.0
    assert parse_length("0.062 in").resolution_mm == 0.0254
    # In lowest terms: 1/8 may have been read as 8/64.
    assert parse_length("1/8").resolution_mm == 0.396875
    assert parse_length("1/128").resolution_mm == 0.396875 / 2


def test_halves_are_shown_rounded_up_as_in_a_table() -> None:
    assert show(Fraction("1.5875"), 3) == "1.588"
    assert show(Fraction("0.396875"), 5) == "0.39688"


units = st.sampled_from(UNITS)


@given(st.integers(0, 10**6), st.integers(0, 6), units)
def test_decimals_come_back_exact(digits: int, places: int, unit: LengthUnit) -> None:
    value = Fraction(digits, 10**places)
    if value * MM_PER[unit] > 5000:
        return
    text = f"{digits // 10**places}.{digits % 10**places:0{places}d}" if places else str(digits)
    length = parse_length(f"{text} {unit}")
    assert length.exact_mm == value * MM_PER[unit]
    assert again(length) == length.exact_mm
    if places != 3:
        assert parse_length(f"{text.replace('.', ',')} {unit}").exact_mm == length.exact_mm


@given(st.integers(0, 100), st.sampled_from([2, 4, 8, 16, 32, 64, 128]), st.data(), st.sampled_from([" ", "-"]))
def test_mixed_fractions_come_back_exact(whole: int, bottom: int, data: st.DataObject, joint: str) -> None:
    top = data.draw(st.integers(1, bottom - 1))
    text = f"{whole}{joint}{top}/{bottom}" if whole else f"{top}/{bottom}"
    length = parse_length(text)
    assert length.exact_mm == (whole + Fraction(top, bottom)) * Fraction("25.4")
    assert again(length) == length.exact_mm


@given(st.text(max_size=12))
def test_any_text_is_a_length_or_one_polite_line(text: str) -> None:
    length: Length | BadInput
    try:
        length = parse_length(text, default="mm", signed=True)
    except BadInput as error:
        length = error
    assert "\n" not in (length.line() if isinstance(length, BadInput) else length.understood)
    assert isinstance(length, BadInput) or abs(length.exact_mm) <= 5000


def again(length: Length) -> Fraction:
    return parse_length(length.understood).exact_mm
