"""Confirmed depth readings of a pump's parts, from the ledger and from nowhere else.

Only a sheet that a person has confirmed counts; an estimate from a photo never does. Of each face the deepest
standing reading is taken, with the uncertainty of its gauge and seating.
"""

from __future__ import annotations

from wearvision.app.shop import Shop
from wearvision.errors import BadInput
from wearvision.rules.clearance.wear import Wear
from wearvision.rules.complete import reading_u
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import Pump
from wearvision.rules.rubric import QuantityName
from wearvision.rules.sheet import ConfirmedSheet

KINDS = {"casing": ("casing", "side-plate"), "impeller": ("impeller",), "cover": ("box-cover", "side-plate")}
"""Role in the pump -> part kinds that can take it."""


def confirmed_wear(shop: Shop | None, pump: Pump) -> tuple[Wear, tuple[str, ...]]:
    """Wear of the named parts, and a question for each that has no confirmed sheet.

    Raises
    ------
    BadInput
        When a tag is of the wrong kind, or the ledger does not know it.
    """
    sheets: dict[str, ConfirmedSheet] = {}
    questions = []
    for role, tag in vars(pump.parts).items():
        if not tag:
            continue
        sheet = None if shop is None else _sheet(shop, role, tag)
        if sheet is None:
            questions.append(f"how deep is {tag} worn? Its sheet is not confirmed, so its wear is not counted")
        else:
            sheets[role] = sheet
    stated = pump.back_vanes.height_loss_axial if pump.back_vanes else None
    return Wear(
        casing_axial=_deepest(sheets.get("casing"), "depth"), impeller_axial=_deepest(sheets.get("impeller"), "depth"),
        cover_axial=_deepest(sheets.get("cover"), "depth"),
        back_vanes_axial=_deepest(sheets.get("impeller"), "height_loss") or stated,
    ), tuple(questions)  # fmt: skip


def _sheet(shop: Shop, role: str, tag: str) -> ConfirmedSheet | None:
    record = shop.ledger.load(tag)
    if record.kind not in KINDS[role]:
        raise BadInput(f"{tag} is in the ledger as {record.kind}, the pump file names it as {role}",
                       do="correct the tag in the pump file")  # fmt: skip
    return record.confirmed


def _deepest(sheet: ConfirmedSheet | None, quantity: QuantityName) -> Gauged | None:
    """Deepest standing reading of every criterion of that quantity."""
    if sheet is None:
        return None
    prefilled = sheet.prefilled
    found = [
        Gauged(value_mm=r.value_mm, u_mm=reading_u(r, c.readings), how=f"{prefilled.tag}, point {p.number}")
        for c in prefilled.criteria if c.quantity == quantity
        for p in prefilled.points_of(c.id) for r in sheet.log.standing(p.number)
    ]  # fmt: skip
    return max(found, key=lambda g: g.value_mm, default=None)
