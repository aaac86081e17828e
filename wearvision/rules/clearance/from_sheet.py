"""What a confirmed sheet says of a face or a ring pair, as gauged lengths: the only door from readings to clearances.

Of a face the deepest standing reading counts, and mark by mark how much of the face is worn how deep; of a ring pair
every diameter. Uncertainties are those of gauge and seating.
"""

from __future__ import annotations

from collections.abc import Iterator

from wearvision.finding import Finding
from wearvision.quantity import K95, Measured
from wearvision.rules.clearance.wear import Patch
from wearvision.rules.complete import reading_u
from wearvision.rules.gauged import Gauged
from wearvision.rules.points import GaugePoint, Role
from wearvision.rules.pump import Diameter
from wearvision.rules.rubric import Criterion, QuantityName
from wearvision.rules.sheet import ConfirmedSheet

Read = tuple[GaugePoint, Gauged]
REST = "all that has no share of its own"


def deepest(sheet: ConfirmedSheet, quantity: QuantityName) -> Gauged | None:
    """Deepest standing reading of every criterion of that quantity; `None` where none is asked."""
    every = (length for c in _asking(sheet, quantity) for _, length in _read(sheet, c))
    return max(every, key=lambda g: g.value_mm, default=None)


def patches(sheet: ConfirmedSheet) -> tuple[Patch, ...]:
    """Where the face is worn and how deep.

    A mark has the share of the face that was measured on its photo. Readings beside every mark, and marks without a
    share, count for all that is left of the face: wear that has no outline may be anywhere.
    """
    return tuple(patch for c in _asking(sheet, "depth") for patch in _patches(sheet, c))


def diameters(sheet: ConfirmedSheet, role: Role) -> tuple[Diameter, ...]:
    """Diameters of a ring pair, `outer` those of the bore and `inner` those of the ring.

    Each carries the place and direction its rubric gives it; without them, its number in the row as its place.
    """
    asking = (c for c in sheet.prefilled.criteria if c.quantity == "clearance")
    found = [read for c in asking for read in _read(sheet, c) if read[0].role == role]
    return tuple(
        Diameter(place=point.place or f"place {n}", angle_deg=point.angle_deg, gauged=length)
        for n, (point, length) in enumerate(found, start=1)
    )  # fmt: skip


def _asking(sheet: ConfirmedSheet, quantity: QuantityName) -> Iterator[Criterion]:
    return (c for c in sheet.prefilled.criteria if c.quantity == quantity)


def _read(sheet: ConfirmedSheet, criterion: Criterion) -> Iterator[Read]:
    """Standing readings of a criterion with their points."""
    for point in sheet.prefilled.points_of(criterion.id):
        for reading in sheet.log.standing(point.number):
            how = f"{sheet.prefilled.tag}, point {point.number}"
            yield point, Gauged(value_mm=reading.value_mm, u_mm=reading_u(reading, criterion.readings), how=how)


def _patches(sheet: ConfirmedSheet, criterion: Criterion) -> Iterator[Patch]:
    marks = {(sha, finding.id): finding for sha, finding in sheet.prefilled.placed(criterion)}
    at_mark: dict[tuple[str, str], Gauged] = {}
    beside: list[Gauged] = []
    for point, length in _read(sheet, criterion):
        key = (point.photo_sha, point.finding)
        if key not in marks or _share(marks[key]) is None:
            beside.append(length)
        else:
            at_mark[key] = max(at_mark.get(key, length), length, key=lambda g: g.value_mm)
    left = 1.0
    for key, length in at_mark.items():
        share = _share(marks[key])
        assert share is not None
        left -= max(0.0, share.value - K95 * share.u)
        what = f"{marks[key].kind} {marks[key].id}"
        yield Patch(what=what, share=share.value, share_u=share.u, depth_axial=length)
    if beside:
        worst = max(beside, key=lambda g: g.value_mm)
        yield Patch(what=REST, share=max(0.0, left), depth_axial=worst, known=False)


def _share(finding: Finding) -> Measured | None:
    """Share of the face, when all of the mark was in view."""
    share = finding.quantities.get("share")
    return share if isinstance(share, Measured) and "cut-by-frame" not in finding.flags else None
