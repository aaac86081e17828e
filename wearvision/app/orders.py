"""Orders and rework: what follows from the confirmed verdicts, part by part, and what is still open."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from wearvision import __version__
from wearvision.app.files import write_whole
from wearvision.app.judging import changed_since
from wearvision.app.sheets import when
from wearvision.app.shop import Shop
from wearvision.errors import BadInput
from wearvision.pages.orders import OrderAction, OrderRow, OrdersModel, orders_csv, orders_page
from wearvision.rules.history import Inspection
from wearvision.rules.outcome import Word
from wearvision.rules.sheet import missing
from wearvision.rules.verdict import Verdict
from wearvision.store.ledger import PartRecord

FOLLOWS: dict[Word, OrderAction] = {
    "do not reuse": "order", "rework first": "rework", "undecided": "settle", "reuse with loss noted": "reuse",
    "reuse": "reuse",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Written:
    """The list and its files."""

    model: OrdersModel
    csv: Path
    html: Path

    def to_json(self) -> dict[str, Any]:
        """Everything, schema `wearvision.orders/1`."""
        return {
            "schema": "wearvision.orders/1", "crate": self.model.crate, "chain_head": self.model.chain_head,
            "csv": str(self.csv), "html": str(self.html), "rows": [r.to_json() for r in self.model.sorted_rows()],
        }  # fmt: skip


def write_orders(shop: Shop, out: Path, at: datetime, *, crate: str = "") -> Written:
    """Write `orders.csv` and `orders.html` into `out`.

    Raises
    ------
    BadInput
        No such crate.
    BrokenRecord
        When the ledger does not hold together: nothing is ordered from it.
    """
    model = orders(shop, at, crate=crate)
    made = Written(model=model, csv=out / "orders.csv", html=out / "orders.html")
    write_whole(made.csv, orders_csv(model))
    write_whole(made.html, orders_page(model))
    return made


def orders(shop: Shop, at: datetime, *, crate: str = "") -> OrdersModel:
    """The list of one crate, or of the latest inspection of every part."""
    shop.ledger.require_sound()
    records = [shop.ledger.load(tag) for tag in shop.ledger.tags()]
    picked = list(_picked(records, crate))
    if crate and not picked:
        known = sorted({i.arrival.crate for r in records for i in r.inspections})
        raise BadInput("no part came in with this crate", got=crate, do=f"crates: {', '.join(known[:8]) or 'none yet'}")
    return OrdersModel(
        crate=crate, made_at=when(at), version=__version__, chain_head=shop.ledger.chain.head(),
        rows=tuple(_row(shop, record, inspection) for record, inspection in picked),
    )  # fmt: skip


def _picked(records: list[PartRecord], crate: str) -> Iterator[tuple[PartRecord, Inspection]]:
    for record in records:
        if not crate:
            yield record, record.inspections[-1]
        else:
            yield from ((record, i) for i in record.inspections if i.arrival.crate == crate)


def _row(shop: Shop, record: PartRecord, inspection: Inspection) -> OrderRow:
    arrival, sheet = inspection.arrival, inspection.sheet
    latest = arrival.crate == record.crate
    if sheet is None:
        return OrderRow(
            action="open", tag=record.tag, part_kind=record.kind, crate=arrival.crate, needed_by=arrival.needed_by,
            missing=_missing(record) if latest else (f"left open: it came in again with crate {record.crate}",),
        )  # fmt: skip
    verdict = Verdict(sheet)
    return OrderRow(
        action=FOLLOWS[verdict.word], tag=record.tag, part_kind=record.kind, crate=arrival.crate, word=verdict.word,
        why=_why(verdict), needed_by=arrival.needed_by, confirmed_by=sheet.confirmed_by,
        confirmed_at=sheet.confirmed_at, notes=changed_since(record, shop.rubric) if latest else (),
    )  # fmt: skip


def _missing(record: PartRecord) -> tuple[str, ...]:
    if record.sheet is None:
        return ("a sheet: triage its photos",)
    return missing(record.sheet, record.log) or ("confirmation by a named person",)


def _why(verdict: Verdict) -> tuple[str, ...]:
    """Reasons of the criteria that say what the verdict says; for a part to be reused, what that costs."""
    if FOLLOWS[verdict.word] == "reuse":
        return verdict.losses or ("Every criterion is within.",)
    return tuple(r for o in verdict.outcomes if o.word == verdict.word for r in o.reasons) or verdict.reasons
