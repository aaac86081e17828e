"""A verdict is told with all that a reader should know beside it, and only from a ledger that holds together."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests import app_kit as app
from tests import sheet_kit as kit
from wearvision.app.inspection import enter_csv
from wearvision.app.judging import judge
from wearvision.app.reporting import report_view
from wearvision.app.setting_aside import set_aside
from wearvision.app.shop import Shop
from wearvision.errors import BrokenRecord, NeedsPerson


def read_all(shop: Shop, folder: Path, typed: str = "0.30 mm") -> None:
    sheet = shop.ledger.load(app.TAG).sheet
    assert sheet is not None
    (folder / "r.csv").write_text("\n".join(app.rows(sheet, typed)), encoding="utf-8")
    enter_csv(shop, app.TAG, folder / "r.csv", app.gauges(folder), app.now(), by="A. Fitter")


def test_one_person_confirms_and_any_other_is_told_so(tmp_path: Path) -> None:
    with app.bench(tmp_path) as shop:
        app.lay(shop)
        with pytest.raises(NeedsPerson, match="not complete"):
            judge(shop, app.TAG, "C. Lead", app.now())
        read_all(shop, tmp_path)
        for nobody in ("", "  "):
            with pytest.raises(NeedsPerson, match="nobody has confirmed"):
                judge(shop, app.TAG, nobody, app.now())
        first = judge(shop, app.TAG, " C. Lead ", app.now())
        again = judge(shop, app.TAG, "Somebody Else", app.now())
        assert (first.fresh, again.fresh) == (True, False)
        assert first.to_json() == again.to_json()
        assert first.lines[0] == "C-1042: reuse"
        assert "confirmed by C. Lead" in again.lines[1]


def test_a_row_taken_out_of_another_part_stops_every_verdict_and_report(tmp_path: Path) -> None:
    with app.bench(tmp_path) as shop:
        app.lay(shop)
        app.lay(shop, tag="P-2")
        app.lay(shop, tag="P-3")
        read_all(shop, tmp_path)
        judge(shop, app.TAG, "C. Lead", app.now())
        app.tear_out(tmp_path / "wearvision-data", "P-2")
        with pytest.raises(BrokenRecord, match="does not hold together"):
            judge(shop, app.TAG, "C. Lead", app.now())
        with pytest.raises(BrokenRecord, match="does not hold together"):
            report_view(shop, app.TAG, app.now())


def test_a_rubric_changed_since_is_said_and_changes_nothing(tmp_path: Path) -> None:
    with app.bench(tmp_path) as shop:
        app.lay(shop)
        read_all(shop, tmp_path, "2.00 mm")
        word = judge(shop, app.TAG, "C. Lead", app.now()).verdict.word
        stricter = tmp_path / "rubric"
        stricter.mkdir()
        text = kit.rubric().text.replace('upper = "1/8"', 'upper = "0.1 mm"')
        (stricter / "casing.toml").write_text(text, encoding="utf-8")
        told = judge(Shop(store=shop.store, folder=shop.folder, rubric=stricter), app.TAG, "", app.now())
        assert told.verdict.word == word
        assert any("the shop's file has changed since" in line for line in told.lines)


def test_readings_set_aside_are_told_beside_the_verdict_and_listed_in_the_report(tmp_path: Path) -> None:
    with app.bench(tmp_path) as shop:
        sheet = app.lay(shop)
        read_all(shop, tmp_path, "4.00 mm")
        assert judge(shop, app.TAG, "C. Lead", app.now()).verdict.word == "do not reuse"
        shop.ledger.begin(sheet, app.now(), renew=True, by="C. Lead", reason="face was machined")
        read_all(shop, tmp_path)
        told = judge(shop, app.TAG, "C. Lead", app.now())
        assert told.verdict.word == "reuse"
        (note,) = told.notes
        assert "set aside in this inspection by C. Lead: face was machined" in note
        assert "do not reuse" in note
        (table,) = set_aside(shop.ledger.load(app.TAG))
        assert sum("4.000 mm" in row for row in table.rows) == len(sheet.points)
        assert all("face was machined" in row[3] for row in table.rows)
