"""The order and rework list, as a page and as CSV. A page of its own: the triage board never says a verdict."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import Literal, get_args

from wearvision.pages.page import cell, render

OrderAction = Literal["order", "rework", "settle", "open", "reuse"]
ACTIONS: tuple[OrderAction, ...] = get_args(OrderAction)
SAY_ACTION: dict[OrderAction, str] = {
    "order": "Not to be reused: order a new part.",
    "rework": "Rework first, then gauge again.",
    "settle": "Too near a limit for the gauge used: a person settles it before anything is ordered.",
    "open": "No verdict yet, so nothing is ordered. What is missing stands beside.",
    "reuse": "To be reused: nothing to order.",
}
CSV_COLUMNS = (
    "action", "tag", "part_kind", "crate", "verdict", "why", "needed_by", "confirmed_by", "confirmed_at", "missing",
    "note",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class OrderRow:
    """One part on the list.

    Attributes
    ----------
    action : OrderAction
    tag, part_kind, crate : str
    word : str
        The verdict's word; empty while there is none.
    why : tuple of str
        Reasons of the criteria that led to it.
    needed_by : str
        ISO date as stated; empty when nobody stated one.
    confirmed_by, confirmed_at : str
    missing : tuple of str
        What a verdict still waits for; empty when there is one.
    notes : tuple of str
        What has changed since the sheet was confirmed.
    """

    action: OrderAction
    tag: str
    part_kind: str
    crate: str
    word: str = ""
    why: tuple[str, ...] = ()
    needed_by: str = ""
    confirmed_by: str = ""
    confirmed_at: str = ""
    missing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, object]:
        """Field by field."""
        return {k: list(v) if isinstance(v, tuple) else v for k, v in vars(self).items()}


@dataclass(frozen=True, kw_only=True)
class OrdersModel:
    """The whole list.

    Attributes
    ----------
    crate : str
        Name of the crate; empty for all parts of the ledger.
    made_at, version, chain_head : str
    rows : tuple of OrderRow
    """

    crate: str
    made_at: str
    version: str
    chain_head: str
    rows: tuple[OrderRow, ...]

    def groups(self) -> list[tuple[OrderAction, str, list[OrderRow]]]:
        """Each action that has parts: its name, its sentence, its parts, those needed soonest first."""
        return [(a, SAY_ACTION[a], rows) for a in ACTIONS if (rows := [r for r in self.sorted_rows() if r.action == a])]

    def sorted_rows(self) -> list[OrderRow]:
        """By action, then by the day needed (none stated last), then by tag."""
        return sorted(self.rows, key=lambda r: (ACTIONS.index(r.action), r.needed_by or "~", r.tag))


def orders_page(model: OrdersModel) -> str:
    """The list as one self-contained HTML page, for screens and A4."""
    return render("orders.html.j2", orders=model, groups=model.groups())


def orders_csv(model: OrdersModel) -> str:
    """The list as CSV (RFC 4180), one row per part, several sentences in a cell parted by `; `."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(CSV_COLUMNS)
    for r in model.sorted_rows():
        words = (r.action, r.tag, r.part_kind, r.crate, r.word, "; ".join(r.why), r.needed_by, r.confirmed_by,
                 r.confirmed_at, "; ".join(r.missing), "; ".join(r.notes))  # fmt: skip
        table.writerow([cell(word) for word in words])
    return out.getvalue()
