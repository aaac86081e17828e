"""The history of a part from its ledger: what appears, what never does, in words, table, JSON and report."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests import history_kit as kit
from tests import page_kit, sheet_kit
from tests.app_kit import tear_out
from wearvision.app.history import correct_arrival, history_views, part_history
from wearvision.app.history_words import print_history
from wearvision.app.reporting import report_view
from wearvision.errors import BadInput, BrokenRecord, NeedsPerson, UsageError
from wearvision.pages.history import bounds_words, count_words, step_of
from wearvision.pages.report import report_html
from wearvision.pages.report_pdf import report_pdf
from wearvision.quantity import Measured
from wearvision.rules.decision import Limit
from wearvision.rules.rate import Inspected, TimeLeft, WearRate, wear_rate
from wearvision.rules.sheet import prefill

TAG = kit.TAG


def test_three_inspections_in_words_and_json() -> None:
    """Equal doubts, so the slope is (1.66 - 0.70) / 8000 h = 0.120 mm per 1000 h; by hand."""
    with kit.shop() as shop:
        kit.three(shop.ledger)
        found = part_history(shop, TAG)
    face = found.views[0]
    assert face.said[0].startswith("Wear rate 0.120 ± ")
    assert "from 3 inspections" in face.said[0]
    assert re.search(r"12\s600\sh \(95\s%: 1[12]\s\d00 to 1[34]\s\d00\sh\)", face.said[1])
    assert "Under like duty: river water, 2950 rpm." in face.notes
    data = found.to_json()
    assert json.loads(json.dumps(data, allow_nan=False))["schema"] == "wearvision.history/1"
    assert data["lines"][0]["rate"]["value"] == pytest.approx(0.12)
    assert [i["running_hours"] for i in data["lines"][0]["inspections"]] == [4000, 8000, 12000]


def test_the_two_inspections_of_the_readme() -> None:
    """0.70 mm at 0 h, 1.20 mm at 4000 h: 0.125 mm per 1000 h; by hand."""
    with kit.shop() as shop:
        kit.inspect(shop.ledger, "A", "2025-03-03", "0.70 mm", running_hours=0)
        kit.inspect(shop.ledger, "B", "2026-03-02", "1.20 mm", running_hours=4000)
        line = part_history(shop, TAG).to_json()["lines"][0]
    assert line["rate"]["value"] == pytest.approx(0.125)
    assert line["time_left"]["value"] == pytest.approx((3.175 - 1.20) / 0.125 * 1000)


def test_only_committed_and_confirmed_readings_appear_never_an_estimate() -> None:
    """A sealed and an open estimate of 9.87 mm on the photo: in no form of the history."""
    with kit.shop() as shop:
        book = shop.ledger
        for crate, day, depth in (("A", "2025-03-03", "0.70 mm"), ("B", "2026-03-02", "1.20 mm")):
            book.receive(TAG, "casing", crate, kit.noon(day))
            seen = sheet_kit.finding()
            depth_seen = Measured(value=9.87, u=9.0, unit="mm")
            seen = replace(seen, sealed={"depth": depth_seen}, quantities={"width": depth_seen, "depth": depth_seen})
            sheet = prefill(sheet_kit.rubric(), TAG, [(sheet_kit.SHA, seen)], photos={sheet_kit.SHA: "wear-face"})
            book.begin(sheet, kit.noon(day))
            book.commit_all(TAG, kit.entries(sheet, day, depth), kit.noon(day))
            if crate == "A":
                book.confirm(TAG, "C. Lead", kit.noon(day))
        found = part_history(shop, TAG)
        said = json.dumps(found.to_json()) + repr(found.views)
    assert "9.87" not in said
    assert "1.2" not in said.replace("2950", "")
    assert len(found.lines[0].stands) == 1
    assert "Not confirmed, so not counted: B." in found.notes


def test_a_casing_that_stays_in_the_piping_keeps_its_own_line() -> None:
    with kit.shop() as shop:
        book = shop.ledger
        kit.inspect(book, "A", "2024-03-04", "0.10 mm", tag="C-1", running_hours=4000)
        kit.inspect(book, "A", "2024-03-04", "0.10 mm", tag="I-1", running_hours=4000)
        kit.inspect(book, "B", "2025-03-03", "0.40 mm", tag="I-1", running_hours=8000)
        kit.inspect(book, "C", "2026-03-02", "0.70 mm", tag="I-1", running_hours=12000)
        kit.inspect(book, "C", "2026-03-02", "0.50 mm", tag="C-1", running_hours=12000)
        casing, impeller = (part_history(shop, tag).lines[0] for tag in ("C-1", "I-1"))
    assert [s.arrival.crate for s in casing.stands] == ["A", "C"]
    assert [s.arrival.crate for s in impeller.stands] == ["A", "B", "C"]


def test_no_rate_and_no_report_of_one_comes_from_a_ledger_that_does_not_hold_together() -> None:
    """The report's own inspection is still open; what it tells of earlier ones must hold as well."""
    with kit.shop() as found:
        kit.three(found.ledger)
        kit.laid(found.ledger, "Spring 26", "2026-03-02", "C-9")
        kit.laid(found.ledger, "Spring 27", "2027-03-02")
        tear_out(found.store.folder, "C-9")
        with pytest.raises(BrokenRecord, match="does not hold together"):
            part_history(found, TAG)
        with pytest.raises(BrokenRecord, match="does not hold together"):
            report_view(found, TAG, kit.noon("2027-03-02"))


def test_nothing_confirmed_yet_needs_a_person() -> None:
    with kit.shop() as shop:
        kit.laid(shop.ledger, "A", "2026-03-02")
        with pytest.raises(NeedsPerson, match="no inspection of C-1042 is confirmed"):
            part_history(shop, TAG)
        with pytest.raises(BadInput, match="no such part"):
            part_history(shop, "C-9")


def test_another_speed_shortens_what_is_left_by_a_range() -> None:
    with kit.shop() as shop:
        kit.three(shop.ledger)
        plain = part_history(shop, TAG).views[0]
        faster = part_history(shop, TAG, now_rpm=2950, next_rpm=3550).views[0]
        with pytest.raises(UsageError, match="next-rpm"):
            part_history(shop, TAG, now_rpm=2950)
        with pytest.raises(BadInput, match="above 0 rpm"):
            part_history(shop, TAG, now_rpm=-1, next_rpm=5)
    assert faster.said[: len(plain.said)] == plain.said
    assert "1.59 to 1.74 times" in faster.said[-1]


def test_a_correction_through_the_command_moves_the_rate() -> None:
    with kit.shop() as shop:
        kit.inspect(shop.ledger, "A", "2025-03-03", "0.70 mm", running_hours=7000)
        kit.inspect(shop.ledger, "B", "2026-03-02", "1.20 mm", running_hours=8000)
        fields: dict[str, Any] = {"inspected_on": "", "duty": "", "by": "C. Lead", "reason": "misread the log"}
        with pytest.raises(UsageError, match="--correct"):
            correct_arrival(shop, TAG, "", 4000, at=kit.noon("2026-03-03"), **fields)
        correct_arrival(shop, TAG, "A", 4000, at=kit.noon("2026-03-03"), **fields)
        assert part_history(shop, TAG).to_json()["lines"][0]["rate"]["value"] == pytest.approx(0.125)


def test_a_report_shows_history_from_the_second_inspection_on() -> None:
    with kit.shop() as shop:
        kit.inspect(shop.ledger, "A", "2025-03-03", "0.70 mm", running_hours=4000)
        assert history_views(shop.ledger.load(TAG)) == ()
        kit.inspect(shop.ledger, "B", "2026-03-02", "1.20 mm", running_hours=8000)
        views = history_views(shop.ledger.load(TAG))
    report = page_kit.report(tables=tuple(v.table for v in views))
    html = report_html(report)
    words = page_kit.words_of(html)
    assert "History: Wear face: depth of grooves" in words
    assert html.count('<svg class="plot"') == len(views)
    assert "Wear rate 0.125" in words
    assert "Confirmed readings only" in words
    assert report_pdf(report) == report_pdf(report)


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_terminal_shows_table_plot_and_sentences(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    with kit.shop() as shop:
        kit.three(shop.ledger)
        print_history(part_history(shop, TAG))
    out = capsys.readouterr().out
    for words in ("Spring 24", "12\u00a0000", "●", "Wear rate 0.120", "optimistic"):
        assert words in out
    assert "[" not in out


@pytest.mark.parametrize(
    ("low", "high", "says"),
    [
        (5271.2, 8263.0, "5\u00a0200 to 8\u00a0300"),
        (-120.0, 900.0, "0 to 900"),
        (11.213, 12.037, "11.21 to 12.04"),
        (0.0, 999_999.0, "0 to 1\u00a0000\u00a0000"),
    ],
)
def test_bounds_are_rounded_outward(low: float, high: float, says: str) -> None:
    assert bounds_words(low, high) == says


def test_rounding_outward_never_narrows() -> None:
    rng = np.random.default_rng(3)
    for low, span in zip(rng.uniform(0, 1e5, 300), 10 ** rng.uniform(-1, 5, 300), strict=True):
        down, up = (float(t.replace("\u00a0", "")) for t in bounds_words(low, low + span).split(" to "))
        assert down <= low + 1e-9
        assert up >= low + span - 1e-9
        assert up - down <= 1.25 * span
        assert float(count_words(low, step_of(low, low + span)).replace("\u00a0", "")) == pytest.approx(low, abs=span)


def test_the_readme_states_what_the_sums_give() -> None:
    text = (Path(__file__).parent.parent.parent / "README.md").read_text(encoding="utf-8")
    figures = [Inspected(time=0, value_mm=0.70, u_mm=0.03), Inspected(time=4000, value_mm=1.20, u_mm=0.03)]
    rate = wear_rate(figures, Limit(upper_mm=2.0))
    assert isinstance(rate, WearRate)
    assert isinstance(rate.left, TimeLeft)
    assert f"0.50 / 4000 = {rate.rate * 1000:.3f} mm per 1000 h" in text
    assert f"0.80 / 0.125 = {rate.left.value:.0f} h" in text
    assert f"= {rate.left.u:.0f} h" in text
