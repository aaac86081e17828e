"""The pump file: shop notation in, a checked pump out, mistakes with file and line."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import get_args

import pytest

from tests.pump_kit import AXIAL, DEMO, HEAD, ring, write
from tests.rules.effects import kit
from wearvision.app.pump import read_pump
from wearvision.app.pump_file import KEYS, PumpFile
from wearvision.errors import BadInput
from wearvision.rules.effect import Blocked
from wearvision.rules.effects.everything import all_effects
from wearvision.rules.pump import Bearing, Pump


def test_the_demo_pumps_read() -> None:
    pump = read_pump(DEMO / "pump-P-101.toml")
    assert pump.parts.casing == "C-1042" and pump.tags == ("C-1042", "I-2207")
    assert pump.duty is not None and pump.duty.flow_m3_h == pytest.approx(99.935, abs=0.001)  # 440 gpm
    assert pump.duty.head_m == pytest.approx(49.987, abs=0.001)  # 164 ft
    assert pump.duty.tariff_per_kwh == 0.14 and pump.duty.currency == "EUR"
    assert pump.thermal is not None and pump.thermal.process_temp_c == pytest.approx(120)  # 248 F
    assert pump.axial is not None and pump.axial.front_new_axial_mm == pytest.approx(0.2032)
    double = read_pump(DEMO / "pump-P-204.toml")
    assert double.impeller is not None and double.impeller.suctions == 2
    assert [r.name for r in double.rings] == ["drive end", "free end"]


def test_the_demo_files_show_every_key() -> None:
    text = "".join((DEMO / name).read_text(encoding="utf-8") for name in ("pump-P-101.toml", "pump-P-204.toml"))
    shown = set(re.findall(r"[a-z_]+(?= = )", text)) | set(re.findall(r"^\[+([a-z_]+)\]", text, re.MULTILINE))
    assert not KEYS - shown


def test_what_the_demo_files_leave_commented_out_reads_too(tmp_path: Path) -> None:
    for name in ("pump-P-101.toml", "pump-P-204.toml"):
        text = re.sub(r"(?m)^# ([a-z_]+ = )", r"\1", (DEMO / name).read_text(encoding="utf-8"))
        pump = read_pump(write(tmp_path, text))
        assert pump.guard_factor == 1.645
    assert pump.rings[0].renew_factor == 1.5 and pump.rings[0].part == "R-12"


def test_a_feeler_reading_is_the_middle_of_its_bracket(tmp_path: Path) -> None:
    # leaf 0.40 goes, 0.45 does not: 0.425, u = 0.05 / sqrt(12) = 0.0144 (GUM rectangular; practice of the trade)
    gauges = '[gauges."F"]\nkind = "feeler gauge"\nresolution = "0.05 mm"\nlargest_error = "0 mm"\ndue = "2099-01-01"\n'
    text = HEAD + '[axial]\nfront_gap_axial = { reading = "0.40 mm", gauge = "F" }\n'
    path = write(tmp_path, text)
    (tmp_path / "gauges.toml").write_text(gauges, encoding="utf-8")
    facts = read_pump(path).axial
    assert facts is not None and facts.front_gap_axial is not None
    assert facts.front_gap_axial.value_mm == pytest.approx(0.425)
    assert facts.front_gap_axial.u_mm == pytest.approx(0.0144, abs=5e-5)


def test_any_shop_unit_says_the_same(tmp_path: Path) -> None:
    sizes = []
    for typed in ("1/16", "0.0625 in", "62.5 mil", "1.5875 mm", "1587.5 um"):
        facts = read_pump(write(tmp_path, HEAD + f'[axial]\nfront_new_axial = "{typed}"\n')).axial
        assert facts is not None
        sizes.append(facts.front_new_axial_mm)
    assert sizes == [1.5875] * 5


def test_the_back_range_is_what_the_total_leaves(tmp_path: Path) -> None:
    facts = read_pump(write(tmp_path, HEAD + '[axial]\nfront_target_axial = "0.009 in"\n')).axial
    assert facts is not None
    assert facts.back_low_axial_mm == pytest.approx((0.060 - 0.009) * 25.4)
    assert facts.back_high_axial_mm == pytest.approx((0.085 - 0.009) * 25.4)


WRONG = [
    ("[duty]\nspeed = 2950\n", 7, "without a unit"),
    ('[duty]\nflow = "100"\n', 7, "without a unit"),
    ('[duty]\nflow = "100 m"\n', 7, "not a unit of flow"),
    ('[duty]\nefficiency = "172 %"\n', 7, "less than or equal to 1"),
    ('[duty]\ntariff = "0.14"\n', 7, "EUR/kWh"),
    ('[duty]\nhours = "9000 h/year"\n', 7, "8784"),
    ('[duty]\nspeeed = "2950 rpm"\n', 7, "did you mean speed"),
    ('[axial]\nadjuster_left_axial = "1.5"\n', 7, "without a unit"),
    ('[axial]\nadjuster_left_axial = "-1.5 mm"\n', 7, "sign is not expected"),
    ('[axial]\nadjuster_left_axial = 1.5\n', 7, "without a unit"),
    ('[axial]\nfront_range_axial = ["0.010 in", "0.006 in"]\n', 6, "lower end comes first"),
    ('[axial]\nfront_target_axial = "0.012 in"\n', 6, "outside front_range_axial"),
    ('[axial]\nfront_gap = { reading = "0.5 mm", gauge = "FG-02" }\n', 7, "did you mean front_gap_axial"),
    ('[axial]\n\nfront_gap_axial = { reading = "0.5 mm", gauge = "FG-99" }\n', 8, "no such gauge"),
    ('[axial]\nfront_gap_axial = { reading = "0.5", gauge = "FG-02" }\n', 7, "without a unit"),
    ('[thermal]\ncase_material = "cheese"\n', 7, "grey iron"),
    ('[thermal]\nprocess_temperature = "200"\n', 7, "93 C or 200 F"),
    ('[impeller]\nsuctions = 3\n', 7, "1 or 2"),
    ('[impeller]\nbalance_grade = "6.3"\n', 7, "G6.3"),
    ('[impeller]\ndiameter = "0 mm"\n', 7, "above zero"),
    ("guard_factor = 1.0\n", 1, "guard_factor is 1.645"),
    (ring("a", 165.7, 164.8, "renew_factor = 0.5"), 9, "greater than 1"),
    (ring("a", 165.7, 164.8) + ring("a", 165.7, 164.8), 1, "same name"),
]


@pytest.mark.parametrize(("text", "line", "why"), WRONG)
def test_a_mistake_names_file_and_line(tmp_path: Path, text: str, line: int, why: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_pump(write(tmp_path, HEAD + text))
    said = caught.value.line()
    assert said.startswith(f"pump.toml:{line}:"), said
    assert why in said
    assert "\n" not in said


def test_not_toml_names_the_line(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"pump.toml:7: not TOML"):
        read_pump(write(tmp_path, HEAD + "[axial]\nfront = = 3\n"))


def test_a_missing_file_or_format_is_said(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be read"):
        read_pump(tmp_path / "nowhere.toml")
    with pytest.raises(BadInput, match="format is missing"):
        read_pump(write(tmp_path, 'tag = "P"\n'))


def test_a_reading_needs_a_gauge_in_date(tmp_path: Path) -> None:
    late = HEAD.replace("2026-03-02", "2036-03-02") + AXIAL
    with pytest.raises(BadInput, match="out of calibration"):
        read_pump(write(tmp_path, late))
    nobody = HEAD.replace('read_by = "Demo Reader"\n', "") + AXIAL
    with pytest.raises(BadInput, match="a reader and a time"):
        read_pump(write(tmp_path, nobody))


def test_a_pump_may_be_stated_bit_by_bit(tmp_path: Path) -> None:
    pump = read_pump(write(tmp_path, 'format = "wearvision.pump/1"\ntag = "P"\n'))
    assert pump.axial is None and pump.rings == () and pump.duty is None


def test_what_blocks_a_figure_is_named_by_a_key_that_the_file_has() -> None:
    """Nothing stated, one ring, an axial stack: every missing fact says table and key."""
    tables = {name: field.annotation for name, field in PumpFile.model_fields.items()}
    pair = [kit.ring(0.5, new_mm=None, land_mm=None)]
    told = all_effects(Pump(tag="P", bearing=Bearing(rating_kn=60.0)), kit.stack(None, None), pair)
    keys = {m.split(":")[0] for e in told if isinstance(e, Blocked) for m in e.missing}
    assert {"[duty] speed", "[axial] front_gap_axial", "[[rings]] land_length_axial", "[bearing] axial_load"} <= keys
    for key in keys:
        table, name = key.replace("[", "").replace("]", "").split()
        models = [m for m in (tables[table], *get_args(tables[table])) if hasattr(m, "model_fields")]
        known = {field.alias or n for model in models for n, field in model.model_fields.items()}
        assert name in known, key


def test_the_thrust_of_a_closed_pump_says_what_it_waits_for() -> None:
    closed = replace(kit.CLOSED, duty=replace(kit.DUTY, density_kg_m3=None))
    told = next(e for e in all_effects(closed, None, [kit.ring(0.5)]) if e.name == "axial_thrust")
    assert isinstance(told, Blocked)
    assert told.missing == (
        "[duty] rim_pressure: pressure at the rim of the impeller (kPa gauge)", "[duty] density: density (kg/m3)"
    )  # fmt: skip
