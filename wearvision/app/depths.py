"""Confirmed readings of a pump's parts, looked up in the ledger and nowhere else.

Only a sheet that a person has confirmed counts; an estimate from a photo never does.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from wearvision.app.shop import Shop
from wearvision.errors import BadInput
from wearvision.rules.clearance.from_sheet import deepest, diameters, patches
from wearvision.rules.clearance.wear import Patch, Wear
from wearvision.rules.crack import CrackSuspected, cracks_suspected
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import AxialFacts, Pump, RingPair
from wearvision.rules.rubric import QuantityName
from wearvision.rules.sheet import ConfirmedSheet
from wearvision.rules.verdict import Verdict
from wearvision.store.record import PartRecord

KINDS = {"casing": ("casing", "side-plate"), "impeller": ("impeller",), "cover": ("box-cover", "side-plate"),
         "rings": ("ring-pair",)}  # fmt: skip
"""Role in the pump -> part kinds that can take it."""
REUSE = ("reuse", "reuse with loss noted")
UNREAD = "how worn is {tag}? Its sheet is not confirmed, so its readings do not count"
UNKNOWN = "how worn is {tag}? The ledger does not know this tag: check it, or triage its photos"


@dataclass(frozen=True, kw_only=True)
class Known:
    """What the confirmed sheets of a pump's parts say.

    Attributes
    ----------
    wear : Wear
    rings : tuple of RingPair
        Those with readings, stated or confirmed.
    cracks : tuple of CrackSuspected
        Of every named part, also while its sheet is open.
    judged : tuple of str
        Verdict of each confirmed sheet that does not say reuse, with its tag.
    questions : tuple of str
        One for each named part without a confirmed sheet.
    """

    wear: Wear
    rings: tuple[RingPair, ...]
    cracks: tuple[CrackSuspected, ...]
    judged: tuple[str, ...]
    questions: tuple[str, ...]


def known_of(shop: Shop | None, pump: Pump) -> Known:
    """Look the named parts up.

    Raises
    ------
    BadInput
        When a tag is of the wrong kind.
    """
    casing, impeller, cover = (_confirmed(shop, role, tag) for role, tag in vars(pump.parts).items())
    pairs = [(pair, _confirmed(shop, "rings", pair.part)) for pair in pump.rings]
    sheets = [(pump.parts.casing, casing), (pump.parts.impeller, impeller), (pump.parts.cover, cover)]
    sheets += [(pair.part, sheet) for pair, sheet in pairs]
    stated_rings = {pair.part for pair in pump.rings if pair.bore}
    rings = [_read_pair(pair, sheet) for pair, sheet in pairs]
    return Known(
        wear=_wear(pump, casing, impeller, cover), rings=tuple(pair for pair in rings if pair.bore),
        cracks=tuple(_cracks(shop, pump)),
        judged=tuple(_judged(tag, sheet) for tag, sheet in sheets if sheet and Verdict(sheet).word not in REUSE),
        questions=tuple(
            (UNREAD if shop is None or tag in shop.ledger.tags() else UNKNOWN).format(tag=tag)
            for tag, sheet in sheets if tag and sheet is None and tag not in stated_rings
        ),
    )  # fmt: skip


def _wear(
    pump: Pump, casing: ConfirmedSheet | None, impeller: ConfirmedSheet | None, cover: ConfirmedSheet | None
) -> Wear:
    facts = pump.axial or AxialFacts()
    stated = pump.back_vanes.height_loss_axial if pump.back_vanes else None
    return Wear(
        casing_axial=_deepest(casing, "depth"), casing_patches=_patches(casing, facts.casing_worn_share),
        impeller_axial=_deepest(impeller, "depth"), impeller_patches=_patches(impeller, facts.impeller_worn_share),
        cover_axial=_deepest(cover, "depth"), cover_patches=_patches(cover, facts.cover_worn_share),
        back_vanes_axial=_deepest(impeller, "height_loss") or stated,
    )  # fmt: skip


def _deepest(sheet: ConfirmedSheet | None, quantity: QuantityName) -> Gauged | None:
    return None if sheet is None else deepest(sheet, quantity)


def _patches(sheet: ConfirmedSheet | None, stated_share: float | None) -> tuple[Patch, ...]:
    """The marks with their shares; a share stated by the shop rules, up to the deepest reading."""
    depth = _deepest(sheet, "depth")
    if sheet is None or depth is None or stated_share is None:
        return () if sheet is None else patches(sheet)
    return (Patch(what="as stated in the pump file", share=stated_share, depth_axial=depth),)


def _judged(tag: str, sheet: ConfirmedSheet) -> str:
    return f"{tag}: {Verdict(sheet).word}; the figures here are those of reusing it all the same"


def _read_pair(pair: RingPair, sheet: ConfirmedSheet | None) -> RingPair:
    """The pair with the diameters of its sheet, unless the pump file states its own."""
    if pair.bore or sheet is None:
        return pair
    return replace(pair, bore=diameters(sheet, "outer"), ring=diameters(sheet, "inner"))


def _cracks(shop: Shop | None, pump: Pump) -> Iterator[CrackSuspected]:
    for tag in pump.tags:
        record = _record(shop, tag)
        if record is not None and record.sheet is not None:
            yield from cracks_suspected(record.sheet, record.log)


def _confirmed(shop: Shop | None, role: str, tag: str) -> ConfirmedSheet | None:
    record = _record(shop, tag)
    if record is None:
        return None
    if record.kind not in KINDS[role]:
        raise BadInput(f"{tag} is in the ledger as {record.kind}, the pump file names it as {role}",
                       do="correct the tag in the pump file")  # fmt: skip
    return record.confirmed


def _record(shop: Shop | None, tag: str) -> PartRecord | None:
    """The part's record; `None` without a ledger, a tag, or a part of that tag."""
    return shop.ledger.load(tag) if shop is not None and tag in shop.ledger.tags() else None
