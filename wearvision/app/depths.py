"""Confirmed depth readings of a pump's parts, from the ledger and from nowhere else.

Only a sheet that a person has confirmed counts; an estimate from a photo never does. Of each face the deepest
standing reading is taken, with the uncertainty of its gauge and seating.
"""

from __future__ import annotations

from dataclasses import dataclass

from wearvision.app.shop import Shop
from wearvision.errors import BadInput
from wearvision.rules.clearance.wear import Wear
from wearvision.rules.complete import reading_u
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import Pump
from wearvision.rules.rubric import QuantityName
from wearvision.rules.sheet import ConfirmedSheet, sights_wanted

KINDS = {"casing": ("casing", "side-plate"), "impeller": ("impeller",), "cover": ("box-cover", "side-plate")}
"""Role in the pump -> part kinds that can take it."""


@dataclass(frozen=True, kw_only=True)
class Known:
    """What the confirmed sheets of a pump's parts say.

    Attributes
    ----------
    wear : Wear
    crack_suspected : bool
        Whether a test of a suspected crack was called for on any of them.
    questions : tuple of str
        One for each named part without a confirmed sheet.
    """

    wear: Wear
    crack_suspected: bool
    questions: tuple[str, ...]


def known_of(shop: Shop | None, pump: Pump) -> Known:
    """Look the named parts up.

    Raises
    ------
    BadInput
        When a tag is of the wrong kind, or the ledger does not know it.
    """
    named = {role: tag for role, tag in vars(pump.parts).items() if tag}
    sheets = {role: None if shop is None else _sheet(shop, role, tag) for role, tag in named.items()}
    questions = tuple(
        f"how deep is {named[role]} worn? Its sheet is not confirmed, so its wear is not counted"
        for role, sheet in sheets.items() if sheet is None
    )  # fmt: skip
    stated = pump.back_vanes.height_loss_axial if pump.back_vanes else None
    casing, impeller, cover = (sheets.get(role) for role in ("casing", "impeller", "cover"))
    wear = Wear(
        casing_axial=_deepest(casing, "depth"), impeller_axial=_deepest(impeller, "depth"),
        cover_axial=_deepest(cover, "depth"), back_vanes_axial=_deepest(impeller, "height_loss") or stated,
    )  # fmt: skip
    suspected = any(sheet is not None and _suspected(sheet) for sheet in sheets.values())
    return Known(wear=wear, crack_suspected=suspected, questions=questions)


def _suspected(sheet: ConfirmedSheet) -> bool:
    prefilled = sheet.prefilled
    return any(s.when == "suspected" for c in prefilled.criteria for s in sights_wanted(prefilled, sheet.log, c))


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
