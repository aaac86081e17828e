"""Clearances of a pump from its file and the ledger, as the command prints them and as a section of a report."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests import sheet_kit
from tests.app_kit import tear_out
from tests.cli_kit import Run, in_process
from tests.pump_kit import AT, AXIAL, DEMO, HEAD, PARTS, confirm, lay, ring, write
from wearvision.app.clearance import clearances_for, clearances_of
from wearvision.app.reporting import write_report
from wearvision.app.shop import Shop, open_shop
from wearvision.errors import BadInput, BrokenRecord, UsageError
from wearvision.rules.entry import Entry
from wearvision.rules.sheet import prefill

DEPTHS = {1: "0.02 mm", 2: "0.04 mm", 3: "0.03 mm"}


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "data", create=True) as opened:
        yield opened


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Run:
    """The command line in this process, in an empty folder: exit code, stdout, stderr."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "120")

    return in_process(monkeypatch, capsys)


def test_only_confirmed_readings_count(shop: Shop, tmp_path: Path) -> None:
    lay(shop, "C-1", "casing", typed=DEPTHS)
    lay(shop, "I-1", "impeller", typed=DEPTHS)
    confirm(shop, "C-1")
    file = write(tmp_path, HEAD + PARTS + AXIAL)
    found = clearances_for(shop, "C-1", file)
    assert found.stack is not None
    assert found.stack.wear.casing_axial is not None
    assert found.stack.wear.casing_axial.value_mm == pytest.approx(0.04)
    assert found.stack.wear.casing_axial.how == "C-1, point 2"
    assert found.stack.wear.impeller_axial is None
    assert "how worn is I-1" in found.questions[0]
    assert found.needs_person
    confirm(shop, "I-1")
    found = clearances_for(shop, "C-1", file)
    assert found.stack is not None and found.stack.wear.impeller_axial is not None
    assert found.stack.wear.back_vanes_axial is not None  # its height-loss readings
    assert not found.questions


def test_no_figure_comes_from_a_ledger_that_does_not_hold_together(shop: Shop, tmp_path: Path) -> None:
    lay(shop, "C-1", "casing", typed=DEPTHS)
    lay(shop, "C-2", "casing")
    confirm(shop, "C-1")
    tear_out(shop.store.folder, "C-2")
    with pytest.raises(BrokenRecord, match="does not hold together"):
        clearances_for(shop, "C-1", write(tmp_path, HEAD + '[parts]\ncasing = "C-1"\n' + AXIAL))


def test_the_uncertainty_of_a_depth_is_that_of_gauge_and_seating(shop: Shop, tmp_path: Path) -> None:
    lay(shop, "C-1", "casing", typed=DEPTHS)
    confirm(shop, "C-1")
    found = clearances_for(shop, "C-1", write(tmp_path, HEAD + '[parts]\ncasing = "C-1"\n' + AXIAL))
    assert found.stack is not None and found.stack.wear.casing_axial is not None
    # 0.01 step, +-0.02 gauge, +-0.03 seating, all rectangular (GUM 4.3.7)
    by_hand = (0.01**2 / 12 + (0.02**2 + 0.03**2) / 3) ** 0.5
    assert found.stack.wear.casing_axial.u_mm == pytest.approx(by_hand)


def test_a_tag_of_the_wrong_kind_is_refused(shop: Shop, tmp_path: Path) -> None:
    lay(shop, "C-1", "impeller")
    with pytest.raises(BadInput, match="C-1 is in the ledger as impeller"):
        clearances_for(shop, "C-1", write(tmp_path, HEAD + '[parts]\ncasing = "C-1"\n'))


def test_a_tag_that_the_ledger_does_not_know_is_asked_about_and_the_rest_is_told(shop: Shop, tmp_path: Path) -> None:
    lay(shop, "C-1", "casing", typed=DEPTHS)
    confirm(shop, "C-1")
    found = clearances_for(shop, "C-1", write(tmp_path, HEAD + PARTS + AXIAL))
    assert any("how worn is I-1? The ledger does not know this tag" in q for q in found.questions)
    assert found.stack is not None and found.stack.wear.casing_axial is not None


def test_a_part_of_another_pump_is_a_slip_of_the_call(shop: Shop, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="X-9 is no part of pump P-7"):
        clearances_for(shop, "X-9", write(tmp_path, HEAD + PARTS))


def test_a_suspected_crack_is_followed_up(shop: Shop, tmp_path: Path) -> None:
    lay(shop, "I-1", "impeller", suspect=True)
    confirm(shop, "I-1")
    found = clearances_for(shop, "I-1", write(tmp_path, HEAD + '[parts]\nimpeller = "I-1"\n'))
    assert found.follow_ups[0].startswith("I-1: crack suspected and tested, no linear indication, report PT-26-014")


@pytest.mark.parametrize(("outcome", "held"), [("pass", False), ("suspect", True)])
def test_a_suspect_line_holds_the_part_before_its_sheet_is_complete(
    shop: Shop, tmp_path: Path, outcome: str, held: bool
) -> None:
    shop.ledger.receive("R-1", "ring-pair", "Trial crate", AT)
    sheet = prefill(sheet_kit.rubric("ring-pair"), "R-1", [])
    assert shop.ledger.begin(sheet, AT)
    shop.ledger.commit("R-1", Entry(kind="first", what=sheet_kit.sight(sheet, "cracks", "eye", outcome)), AT)
    found = clearances_for(shop, "R-1", write(tmp_path, HEAD + ring("front", 165.4, 164.8, 'part = "R-1"')))
    assert any(line.startswith("hold R-1: penetrant test") for line in found.follow_ups) is held


def test_without_a_ledger_the_readings_are_asked_for(tmp_path: Path) -> None:
    found = clearances_of(DEMO / "pump-P-101.toml", tmp_path / "none")
    assert len(found.unread) == 2
    assert not (tmp_path / "none").exists()


def test_both_rings_of_a_double_suction_pump(tmp_path: Path) -> None:
    found = clearances_of(DEMO / "pump-P-204.toml", tmp_path / "none")
    assert [r.word for r in found.rings] == ["undecided", "within"]
    assert "both wait for it" in found.both_rings
    assert found.needs_person


def test_the_command_prints_and_says_when_a_person_is_needed(run: Run) -> None:
    code, out, err = run("clearance", str(DEMO / "pump-P-204.toml"))
    assert code == 4
    assert "Clearance, diametral, largest" in out and "undecided" in out and "renew at 0.920 mm" in out
    assert "What reuse costs" in out
    assert "a person is needed" in err
    assert "maker's manual" in err


def test_a_settled_pump_ends_with_zero(run: Run, tmp_path: Path) -> None:
    file = write(tmp_path, HEAD + AXIAL)
    code, out, _ = run("clearance", str(file))
    assert code == 0
    assert "Set the front gap to 0.203 mm (axial, cold)." in out
    assert "0.322 mm towards the front face" in out


def test_json_holds_everything_on_one_line(run: Run, tmp_path: Path) -> None:
    file = write(tmp_path, HEAD + AXIAL + ring("front", 165.40, 164.80))
    code, out, _ = run("clearance", str(file), "--json")
    assert code == 0
    assert out.count("\n") == 1
    data = json.loads(out)
    assert data["schema"] == "wearvision.clearance/1"
    assert data["needs_person"] is False
    front = data["axial"]["lines"]["front_gap_axial"]["figure"]
    assert front == {"value": pytest.approx(0.525), "u95": pytest.approx(0.03047, abs=1e-4), "unit": "mm",
                     "how": "0.50 mm by FG-02"}  # fmt: skip
    assert data["rings"][0]["renew_at_clearance_diametral_mm"] == pytest.approx(0.92)
    assert data["rings"][0]["lines"]["clearance_mean_diametral"]["figure"]["value"] == pytest.approx(0.60)
    assert all({"name", "title", "blocked"} <= set(e) for e in data["effects"])


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (ring("front", 164.80, 165.71), "larger than its bore"),
        ('[axial]\nfront_gap_axial = { reading = "2 mm", gauge = "FG-02" }\n'
         'total_gap_axial = { reading = "1.8 mm", gauge = "DI-04" }\n', "larger than the axial total"),
        ("[duty]\nspeed = 2950\n", "pump.toml:7:"),
        ("[[rings]]\nname = 'r'\ninside = []\noutside = []\n", "give readings inside and outside"),
    ],
)  # fmt: skip
def test_bad_input_is_one_line_and_exit_three(
    run: Run, tmp_path: Path, text: str, why: str
) -> None:
    code, out, err = run("clearance", str(write(tmp_path, HEAD + text)))
    assert code == 3
    assert out == ""
    assert why in err and err.count("\n") == 1


def test_a_missing_file_is_bad_input(run: Run) -> None:
    code, _, err = run("clearance", "nowhere.toml")
    assert code == 3
    assert "nowhere.toml" in err


def test_the_report_of_a_part_carries_its_pump(shop: Shop, tmp_path: Path) -> None:
    lay(shop, "C-1", "casing", typed=DEPTHS)
    lay(shop, "I-1", "impeller", typed=DEPTHS)
    confirm(shop, "C-1")
    file = write(tmp_path, HEAD + PARTS + AXIAL + "[impeller]\nmass = '12 kg'\n[duty]\nspeed = '2950 rpm'\n")
    html, pdf = write_report(shop, "C-1", tmp_path / "out", AT, pump=file)
    page = html.read_text(encoding="utf-8")
    for words in ("Pump P-7: axial stack", "Front gap, axial, as found", "what reuse costs", "Permissible residual",
                  "Question: how worn is I-1", "not worked out", hashlib.sha256(file.read_bytes()).hexdigest(),
                  "read by Demo Reader"):  # fmt: skip
        assert words in page, words
    import pymupdf

    text = "".join(p.get_text() for p in pymupdf.open(pdf))
    assert "Pump P-7: axial stack" in text and "0.525" in text
    plain, _ = write_report(shop, "C-1", tmp_path / "plain", AT)
    assert "P-7" not in plain.read_text(encoding="utf-8")


def test_the_worked_example_of_the_readme_is_what_the_program_says(tmp_path: Path) -> None:
    readme = (DEMO.parent / "README.md").read_text(encoding="utf-8")
    found = clearances_of(DEMO / "pump-P-101.toml", tmp_path / "none").stack
    assert found is not None and found.setting_axial_mm is not None
    raised = (15.9 - 11.4) * 1e-6 * 250 * (120 - 280 / 3)  # by hand; 200 F is 280/3 C
    by_hand = {
        "front gap: leaf 0.50 goes": (found.front_gap_axial, 0.50 + 0.05 / 2),
        "back gap: total travel": (found.back_gap_axial, 1.850 - 0.525),
        "raised for 120 C": (found.heat.raise_axial, raised),
        "move, which opens": (found.move_axial, 0.525 - 0.2032 - raised),
        "back gap after setting": (found.back_after_axial, 1.850 - 0.2032 - raised),
        "front gap when hot": (found.hot_front_axial, 0.2032 + raised - 4.5e-6 * 250 * 100),
    }
    for name, (figure, hand) in by_hand.items():
        assert figure is not None and figure.value_mm == pytest.approx(hand, abs=1e-9)
        row = next(line for line in readme.splitlines() if line.startswith(f"| {name}"))
        assert row.endswith(f"{hand:.3f} |"), row
    assert found.setting_axial_mm == pytest.approx(0.2032 + raised)
    ring = clearances_of(DEMO / "pump-P-204.toml", tmp_path / "none").rings[0]
    assert ring.fit.max_diametral.value_mm == pytest.approx(165.72 - 164.80)
    assert ring.renew_at_diametral_mm == pytest.approx(2 * 0.46)


def test_a_ring_pair_of_the_ledger_brings_its_confirmed_diameters(shop: Shop, tmp_path: Path) -> None:
    lay(shop, "R-1", "ring-pair")  # inner 100.000, outer 100.635 mm, two places
    file = write(tmp_path, HEAD + '[[rings]]\nname = "front"\npart = "R-1"\n')
    found = clearances_for(shop, "R-1", file)
    assert found.rings == () and "how worn is R-1" in found.questions[0]
    confirm(shop, "R-1")
    found = clearances_for(shop, "R-1", file)
    fit = found.rings[0].fit
    assert fit.mean_diametral.value_mm == pytest.approx(0.635, abs=1e-6)
    assert "R-1, point" in found.rings[0].pair.bore[0].gauged.how
    assert found.rings[0].new_diametral_mm == 0.38
    # both micrometers (0.01 step, +-0.02) with seating +-0.01, rectangular (GUM 4.3.7), of bore and ring together
    one = (0.01**2 / 12 + (0.02**2 + 0.01**2) / 3) ** 0.5
    assert fit.mean_diametral.u_mm == pytest.approx(one * 2**0.5)


def test_a_ring_pair_of_the_ledger_tells_ovality_and_taper(shop: Shop, tmp_path: Path) -> None:
    """Odd points are the bore, even ones the ring; front end 0 and 90 deg, then rear end. By hand."""
    sizes = {1: 165.72, 2: 164.80, 3: 165.68, 4: 164.81, 5: 165.64, 6: 164.82, 7: 165.62, 8: 164.81}
    lay(shop, "R-1", "ring-pair", typed={n: f"{size} mm" for n, size in sizes.items()})
    confirm(shop, "R-1")
    found = clearances_for(shop, "R-1", write(tmp_path, HEAD + '[[rings]]\nname = "front"\npart = "R-1"\n'))
    fit = found.rings[0].fit
    shape = (fit.bore_ovality_diametral, fit.ring_ovality_diametral, fit.bore_taper_diametral, fit.ring_taper_diametral)
    assert [g and round(g.value_mm, 3) for g in shape] == [0.04, 0.01, 0.07, 0.01]  # 165.70 less 165.63, 164.815 - .805
    assert fit.max_diametral.value_mm == pytest.approx(165.72 - 164.80)
    assert fit.min_diametral.value_mm == pytest.approx(165.62 - 164.82)


def test_the_report_of_a_ring_pair_carries_its_pump(shop: Shop, tmp_path: Path) -> None:
    lay(shop, "R-1", "ring-pair")
    confirm(shop, "R-1")
    file = write(tmp_path, HEAD + '[[rings]]\nname = "front"\npart = "R-1"\n')
    html, _ = write_report(shop, "R-1", tmp_path / "out", AT, pump=file)
    page = html.read_text(encoding="utf-8")
    assert "<em>inside of the bore: front end, 90 deg</em>" in page
    assert "Pump P-7: ring pair: front, ring 100.00 mm" in page
    assert "(within): May run on" not in page


def test_what_is_undecided_on_the_pump_stands_among_the_follow_ups(shop: Shop, tmp_path: Path) -> None:
    lay(shop, "R-1", "ring-pair")
    confirm(shop, "R-1")
    text = HEAD + '[[rings]]\nname = "front"\npart = "R-1"\ndesign_clearance_diametral = "0.32 mm"\n'
    html, _ = write_report(shop, "R-1", tmp_path / "out", AT, pump=write(tmp_path, text))
    head = html.read_text(encoding="utf-8").split("<h2>Criteria")[0]
    assert "(undecided): Undecided:" in head


def test_a_pump_without_gaps_or_rings_asks_for_them(run: Run, tmp_path: Path) -> None:
    code, out, _ = run("clearance", str(write(tmp_path, HEAD)))
    assert code == 4
    assert "without them there is no clearance" in " ".join(out.split())


def test_the_command_writes_the_sheet_of_the_pump(run: Run, tmp_path: Path) -> None:
    file = write(tmp_path, HEAD + AXIAL + ring("front", 165.72, 164.80))
    code, _, err = run("clearance", str(file), "--out", "pages")
    assert code == 4 and "sheet of the pump: pages/pump-P-7.html" in err
    page = (tmp_path / "pages" / "pump-P-7.html").read_text(encoding="utf-8")
    for words in ("Pump P-7: axial stack", "Pump P-7: ring pair: front", "Front gap, axial, as set",
                  "Clearance, diametral, as fitted: front", "Balance the impeller", "Undecided:",
                  "read by Demo Reader", hashlib.sha256(file.read_bytes()).hexdigest()):  # fmt: skip
        assert words in page, words


def test_facts_that_contradict_each_other_are_a_question(run: Run, tmp_path: Path) -> None:
    vanes = "[back_vanes]\nheight_new_axial = '8 mm'\ntip_radius = '20 mm'\nsleeve_radius = '30 mm'\n"
    duty = "[duty]\nspeed = '2950 rpm'\ndensity = '1000 kg/m3'\nrim_pressure = '500 kPa'\n"
    axial = AXIAL + "back_new_axial = '1.5 mm'\n"
    code, out, err = run("clearance", str(write(tmp_path, HEAD + axial + vanes + duty)))
    asked = " ".join(out.split("Questions")[1].split())
    assert code == 4 and "a person is needed" in err
    assert asked.count("the back vanes must reach further out than the sleeve") == 1


def test_readable_at_a_hundred_columns(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    for name in ("pump-P-101.toml", "pump-P-204.toml"):
        _, out, _ = run("clearance", str(DEMO / name), "--data", str(tmp_path / "none"))
        assert max(map(len, out.splitlines())) <= 100
        assert "..." not in out and "\u2026" not in out  # nothing cut off
