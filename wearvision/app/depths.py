"""Confirmed readings of a pump's parts, from the ledger and from nowhere else.

Only a sheet that a person has confirmed counts; an estimate from a photo never does. Of each face the deepest
standing reading is taken, with the uncertainty of its gauge and seating; of a ring pair all its diameters.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from wearvision.app.shop import Shop
from wearvision.errors import BadInput
from wearvision.rules.clearance.wear import Wear
from wearvision.rules.complete import reading_u
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import Diameter, Pump, RingPair
from wearvision.rules.reading import GaugeReading
from wearvision.rules.rubric import Criterion, QuantityName
from wearvision.rules.sheet import ConfirmedSheet, sights_wanted

KINDS = {"casing": ("casing", "side-plate"), "impeller": ("impeller",), "cover": ("box-cover", "side-plate"),
         "rings": ("ring-pair",)}  # fmt: skip
"""Role in the pump -> part kinds that can take it."""
UNREAD = "how worn is {tag}? Its sheet is not confirmed, so its readings do not count"


@dataclass(frozen=True, kw_only=True)
class Known:
    """What the confirmed sheets of a pump's parts say.

    Attributes
    ----------
    wear : Wear
    rings : tuple of RingPair
        Those with readings, stated or confirmed.
    crack_suspected : bool
        Whether a test of a suspected crack was called for on any of them.
    questions : tuple of str
        One for each named part without a confirmed sheet.
    """

    wear: Wear
    rings: tuple[RingPair, ...]
    crack_suspected: bool
    questions: tuple[str, ...]


def known_of(shop: Shop | None, pump: Pump) -> Known:
    """Look the named parts up.

    Raises
    ------
    BadInput
        When a tag is of the wrong kind, or the ledger does not know it.
    """
    casing, impeller, cover = (_confirmed(shop, role, tag) for role, tag in vars(pump.parts).items())
    pairs = {pair.name: _confirmed(shop, "rings", pair.part) for pair in pump.rings}
    sheets = [(pump.parts.casing, casing), (pump.parts.impeller, impeller), (pump.parts.cover, cover)]
    sheets += [(pair.part, pairs[pair.name]) for pair in pump.rings if not pair.bore]
    stated = pump.back_vanes.height_loss_axial if pump.back_vanes else None
    wear = Wear(
        casing_axial=_deepest(casing, "depth"), impeller_axial=_deepest(impeller, "depth"),
        cover_axial=_deepest(cover, "depth"), back_vanes_axial=_deepest(impeller, "height_loss") or stated,
    )  # fmt: skip
    rings = tuple(pair if pair.bore else _read_pair(pair, pairs[pair.name]) for pair in pump.rings)
    return Known(
        wear=wear, rings=tuple(pair for pair in rings if pair.bore),
        crack_suspected=any(sheet is not None and _suspected(sheet) for _, sheet in sheets),
        questions=tuple(UNREAD.format(tag=tag) for tag, sheet in sheets if tag and sheet is None),
    )  # fmt: skip


def _read_pair(pair: RingPair, sheet: ConfirmedSheet | None) -> RingPair:
    """The pair with the diameters of its sheet; each outer and inner reading there belong to one place."""
    if sheet is None:
        return pair
    found: dict[str, list[Diameter]] = {"outer": [], "inner": []}
    for criterion in sheet.prefilled.criteria:
        for point in sheet.prefilled.points_of(criterion.id):
            for reading in sheet.log.standing(point.number) if point.role else ():
                place = f"place {len(found[point.role]) + 1}"
                gauged = _gauged(sheet, point.number, reading, criterion)
                found[point.role].append(Diameter(place=place, angle_deg=0.0, gauged=gauged))
    return replace(pair, bore=tuple(found["outer"]), ring=tuple(found["inner"]))


def _gauged(sheet: ConfirmedSheet, point: int, reading: GaugeReading, criterion: Criterion) -> Gauged:
    u = reading_u(reading, criterion.readings)
    return Gauged(value_mm=reading.value_mm, u_mm=u, how=f"{sheet.prefilled.tag}, point {point}")


def _suspected(sheet: ConfirmedSheet) -> bool:
    prefilled = sheet.prefilled
    return any(s.when == "suspected" for c in prefilled.criteria for s in sights_wanted(prefilled, sheet.log, c))


def _confirmed(shop: Shop | None, role: str, tag: str) -> ConfirmedSheet | None:
    if shop is None or not tag:
        return None
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
        _gauged(sheet, p.number, r, c)
        for c in prefilled.criteria if c.quantity == quantity
        for p in prefilled.points_of(c.id) for r in sheet.log.standing(p.number)
    ]  # fmt: skip
    return max(found, key=lambda g: g.value_mm, default=None)
