"""Orders and rework: only verdicts speak, what is open says what is missing, and files are safe to open."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest

from tests import history_kit as kit
from tests import page_kit
from wearvision.app.orders import orders, write_orders
from wearvision.app.shop import Shop
from wearvision.errors import BadInput, BrokenRecord
from wearvision.pages.orders import ACTIONS, CSV_COLUMNS, OrderRow, OrdersModel, orders_csv, orders_page

AT = kit.noon("2026-03-02")
DAY = "2026-03-02"


def crate(shop: Shop) -> None:
    """One part for each action."""
    book = shop.ledger
    kit.inspect(book, "W12", DAY, "4.00 mm", tag="C-1", needed_by="2026-05-01")
    kit.inspect(book, "W12", DAY, "4.00 mm", tag="C-2", needed_by="2026-04-01")
    kit.inspect(book, "W12", DAY, tag="C-3")
    kit.inspect(book, "W12", DAY, "3.16 mm", tag="C-4")
    kit.inspect(book, "W12", DAY, tag="C-5", sights={("tongue", "smooth"): "fail"})
    sheet = kit.laid(book, "W12", DAY, tag="C-6")
    book.commit_all("C-6", kit.entries(sheet, DAY)[:1], AT)
    sheet = kit.laid(book, "W12", DAY, tag="C-7")
    book.commit_all("C-7", kit.entries(sheet, DAY), AT)
    book.receive("C-8", "casing", "W12", AT)


def by_tag(model: OrdersModel) -> dict[str, OrderRow]:
    return {r.tag: r for r in model.rows}


def test_each_verdict_leads_to_its_action_and_each_gap_is_named() -> None:
    with kit.shop() as shop:
        crate(shop)
        rows = by_tag(orders(shop, AT))
        words = {tag: shop.ledger.load(tag).verdict().word for tag in ("C-1", "C-3", "C-4", "C-5")}
    assert [rows[f"C-{n}"].action for n in range(1, 9)] == [
        "order", "order", "reuse", "settle", "rework", "open", "open", "open",
    ]  # fmt: skip
    assert {tag: rows[tag].word for tag in words} == words
    assert rows["C-1"].needed_by == "2026-05-01"
    assert "beyond" in rows["C-1"].why[0]
    assert "undecided" in rows["C-4"].why[0]
    assert "ragged or undercut" in rows["C-5"].why[0]
    assert rows["C-1"].confirmed_by == "C. Lead"
    assert rows["C-1"].confirmed_at.startswith(DAY)
    assert rows["C-6"].missing[0].startswith("reading 2")
    assert rows["C-7"].missing == ("confirmation by a named person",)
    assert rows["C-8"].missing == ("a sheet: triage its photos",)
    for tag in ("C-6", "C-7", "C-8"):
        assert (rows[tag].word, rows[tag].why, rows[tag].confirmed_by) == ("", (), "")


def test_a_crate_shows_its_own_inspection_of_a_part() -> None:
    with kit.shop() as shop:
        kit.inspect(shop.ledger, "W12", "2025-03-03", "4.00 mm")
        kit.inspect(shop.ledger, "W13", DAY, "0.20 mm")
        kit.laid(shop.ledger, "W14", DAY)
        assert [(r.crate, r.action) for r in orders(shop, AT).rows] == [("W14", "open")]
        assert [(r.crate, r.action) for r in orders(shop, AT, crate="W12").rows] == [("W12", "order")]
        assert [(r.crate, r.action) for r in orders(shop, AT, crate="W13").rows] == [("W13", "reuse")]
        with pytest.raises(BadInput, match="crates: W12, W13, W14"):
            orders(shop, AT, crate="W15")


def test_files_and_json_tell_the_same(tmp_path: Path) -> None:
    with kit.shop() as shop:
        crate(shop)
        made = write_orders(shop, tmp_path / "out", AT, crate="W12")
        data = json.loads(json.dumps(made.to_json(), allow_nan=False))
    table = list(csv.DictReader(io.StringIO(made.csv.read_text(encoding="utf-8"))))
    assert list(table[0]) == list(CSV_COLUMNS)
    assert [r["tag"] for r in table] == [r["tag"] for r in data["rows"]]
    assert [r["tag"] for r in table][:2] == ["C-2", "C-1"]  # the sooner needed first
    assert [ACTIONS.index(r["action"]) for r in table] == sorted(ACTIONS.index(r["action"]) for r in table)
    words = page_kit.words_of(made.html.read_text(encoding="utf-8"))
    for row in data["rows"]:
        assert row["tag"] in words
        for line in row["missing"][:1] or row["why"][:1]:
            assert line[1:40] in words
    assert "http" not in made.html.read_text(encoding="utf-8").replace("http://www.w3.org", "")


def test_nothing_is_ordered_from_a_ledger_that_does_not_hold_together(tmp_path: Path) -> None:
    import sqlalchemy as sa

    with kit.shop() as shop:
        crate(shop)
        with shop.store.engine.begin() as connection:
            for (name,) in connection.execute(sa.text("SELECT name FROM sqlite_master WHERE type='trigger'")).all():
                connection.execute(sa.text(f"DROP TRIGGER {name}"))
            connection.execute(sa.text("DELETE FROM events WHERE seq = 3"))
        with pytest.raises(BrokenRecord):
            write_orders(shop, tmp_path / "out", AT)
    assert not (tmp_path / "out").exists()


def test_an_empty_ledger_gives_an_empty_list() -> None:
    with kit.shop() as shop:
        model = orders(shop, AT)
    assert model.rows == ()
    assert "No part here yet" in page_kit.words_of(orders_page(model))


def row(**more: Any) -> OrderRow:
    fields: dict[str, Any] = {"action": "order", "tag": "C-1", "part_kind": "casing", "crate": "W12", **more}
    return OrderRow(**fields)


def model(*rows: OrderRow) -> OrdersModel:
    return OrdersModel(crate="W12", made_at="now", version="1", chain_head="ab", rows=rows)


def test_words_of_others_cannot_become_markup_or_formulas() -> None:
    evil = model(row(tag="=HYPERLINK(1)", why=("<script>x</script>",), confirmed_by="@cmd", notes=("+1",)))
    assert "<script>" not in orders_page(evil)
    (line,) = csv.DictReader(io.StringIO(orders_csv(evil)))
    assert (line["tag"], line["confirmed_by"], line["note"]) == ("'=HYPERLINK(1)", "'@cmd", "'+1")


def test_no_board_speaks_of_orders_or_verdicts() -> None:
    from wearvision.pages.board import board_page

    words = page_kit.words_of(board_page(page_kit.board())).lower()
    assert not any(word in words for word in ("order a new part", "do not reuse", "rework first", "orders.html"))
