"""The same part in a second crate: from photos to the history, by the use cases themselves."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests import app_kit as app
from tests import frames_kit, page_kit
from wearvision.app.history import part_history
from wearvision.app.inspection import enter_csv
from wearvision.app.judging import judge
from wearvision.app.marking import lay_again
from wearvision.app.ordering import next_step
from wearvision.app.reporting import report_view
from wearvision.app.sheets import sheet_html
from wearvision.app.shop import Shop, now
from wearvision.errors import NeedsPerson
from wearvision.measure.mark import Mark
from wearvision.pages.report import report_html
from wearvision.rules.rate import WearRate
from wearvision.rules.sheet import seconds_wanted

TAG = "P-1"
PIT = Mark.from_json({
    "action": "add", "kind": "pit", "by": "B. Fitter",
    "polygon_px": [[500.0, 500.0], [520.0, 500.0], [520.0, 520.0], [500.0, 520.0]],
})  # fmt: skip


def crate(home: Path, name: str, hours: int) -> Path:
    """A crate of one part, with its hours."""
    folder = home / name
    frames_kit.make_crate(folder, 1)
    text = (folder / "crate.toml").read_text(encoding="utf-8").replace('"Trial crate"', f'"{name}"')
    text = text.replace(f'[parts."{TAG}"]', f'[parts."{TAG}"]\nrunning_hours = {hours}\nduty = "sand, 2950 rpm"')
    (folder / "crate.toml").write_text(text, encoding="utf-8")
    return folder


def read_all(shop: Shop, home: Path, typed: str) -> None:
    """Every reading the same; a point that asks for a second blind reading gets it."""
    record = shop.ledger.load(TAG)
    assert record.sheet is not None
    (home / "r.csv").write_text("\n".join(app.rows(record.sheet, typed)), encoding="utf-8")
    enter_csv(shop, TAG, home / "r.csv", app.gauges(home), now(), by="A. Fitter")
    for point in seconds_wanted(record.sheet, shop.ledger.load(TAG).log):
        line = f"point,reading,gauge,zero_checked,second\n{point},{typed},DG-07,yes,yes\n"
        (home / "r.csv").write_text(line, encoding="utf-8")
        enter_csv(shop, TAG, home / "r.csv", app.gauges(home), now(), by="A. Fitter")


def test_from_one_crate_to_the_next(tmp_path: Path) -> None:
    with app.bench(tmp_path) as shop:
        first = crate(tmp_path, "Week 12", 4000)
        assert app.take_in(shop, first).aside == []
        read_all(shop, tmp_path, "0.30 mm")
        judge(shop, TAG, "C. Lead", now())
        second = crate(tmp_path, "Week 40", 8000)
        intake = app.take_in(shop, second)
        assert intake.notes == [(TAG, "came in again, last with Week 12: a new inspection")]
        assert intake.aside == []
        record = shop.ledger.load(TAG)
        assert (record.log.entries, len(record.photos)) == ((), 1)
        lay_again(shop, TAG, now(), photo="face.jpg", marks=[PIT])  # both crates have a photo of that name
        with pytest.raises(NeedsPerson, match="still to do"):
            judge(shop, TAG, "C. Lead", now())
        read_all(shop, tmp_path, "0.70 mm")
        judge(shop, TAG, "C. Lead", now())
        line = part_history(shop, TAG).lines[0]
        assert [s.figure.value_mm for s in line.stands] == pytest.approx([0.30, 0.70])
        assert isinstance(line.rate, WearRate)
        assert line.rate.rate * 1000 == pytest.approx(0.10)
        html = report_html(report_view(shop, TAG, now()))
        assert "Wear rate 0.100" in page_kit.words_of(html)
        assert "8000 h since new" in page_kit.words_of(html)
        assert '<svg class="plot"' in html
        again = app.take_in(shop, first)
        assert [name for name, _ in again.aside] == [TAG]
        assert "came in again with crate Week 40 since" in again.aside[0][1]
        assert list(shop.ledger.verify()) == []


def without_photos(home: Path, name: str, *, stated: bool = True) -> Path:
    """A crate that names a casing and holds no photo of it."""
    folder = home / name
    folder.mkdir()
    line = "without_photos = true\n" if stated else ""
    (folder / "crate.toml").write_text(
        f'[crate]\nname = "{name}"\n[parts."C-77"]\nkind = "casing"\nrunning_hours = 9000\n{line}', encoding="utf-8"
    )
    return folder


def test_a_casing_that_stays_in_the_piping_is_inspected_without_a_photo(tmp_path: Path) -> None:
    with app.bench(tmp_path) as shop:
        for name in ("Week 12", "Week 40"):
            intake = app.take_in(shop, without_photos(tmp_path, name))
            assert intake.aside == []
            record = shop.ledger.load("C-77")
            assert record.sheet is not None and record.crate == name
            (tmp_path / "r.csv").write_text("\n".join(app.rows(record.sheet, "0.30 mm")), encoding="utf-8")
            enter_csv(shop, "C-77", tmp_path / "r.csv", app.gauges(tmp_path), now(), by="A. Fitter")
            judge(shop, "C-77", "C. Lead", now())
        assert [i.arrival.crate for i in shop.ledger.load("C-77").inspections] == ["Week 12", "Week 40"]
        assert next_step(record.sheet, []) == ("gauge first", "It came without photos: gauge and eye alone.")


def test_the_sheet_of_a_ring_pair_says_which_diameter_goes_into_which_box(tmp_path: Path) -> None:
    folder = without_photos(tmp_path, "Week 12")
    text = (folder / "crate.toml").read_text(encoding="utf-8").replace('kind = "casing"', 'kind = "ring-pair"')
    (folder / "crate.toml").write_text(text, encoding="utf-8")
    with app.bench(tmp_path) as shop:
        app.take_in(shop, folder)
        page = sheet_html(shop.ledger.load("C-77"), [], app.now(), command="read")
    for words in ("inside of the bore: front end, 90 deg", "outside of the ring: rear end, 0 deg"):
        assert page.count(words) == 1


def test_a_named_part_that_no_photo_shows_begins_nothing_and_is_noted(tmp_path: Path) -> None:
    folder = crate(tmp_path, "Week 12", 4000)
    text = (folder / "crate.toml").read_text(encoding="utf-8")
    (folder / "crate.toml").write_text(text + '\n[parts."C-77"]\nkind = "casing"\n', encoding="utf-8")
    with app.bench(tmp_path) as shop:
        intake = app.take_in(shop, folder)
        assert shop.ledger.tags() == (TAG,)
        ((tag, note),) = intake.notes
        assert tag == "C-77" and "without_photos = true" in note
