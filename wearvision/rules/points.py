"""Where to put the gauge: numbered points of a sheet, in walking order.

Order: criteria as in the rubric; within a criterion photo by photo, each photo walked from its top left to
the nearest point not yet visited; a further place along a mark follows that mark; places the rubric asks for
anyway come last.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from wearvision.finding import Finding
from wearvision.rules.rubric import Criterion, DiameterPlace, Plan

Role = Literal["", "outer", "inner"]
ROLES: dict[Role, str] = {"outer": "inside of the bore", "inner": "outside of the ring"}
"""Diameters of a clearance: which is taken from which, in shop words."""
Placed = tuple[str, Finding]
"""sha256 of a photo and a finding on it."""


@dataclass(frozen=True, kw_only=True)
class GaugePoint:
    """One numbered place to put the gauge.

    Attributes
    ----------
    number : int
        From 1 over the whole sheet.
    criterion : str
        Id in the rubric.
    finding, photo_sha : str
        The finding it belongs to and its photo; empty for a place the rubric asks for anyway.
    px : tuple of float or None
        Place on that photo (x, y).
    where, datum : str
        Sentences: where to measure, what the gauge stands on.
    role : Role
        For a clearance from two diameters: which of them; else empty.
    place, angle_deg : str and float
        End of the ring and direction across it, where the rubric gives them; else empty and 0.
    """

    number: int
    criterion: str
    finding: str
    photo_sha: str
    px: tuple[float, float] | None
    where: str
    datum: str
    role: Role = ""
    place: str = ""
    angle_deg: float = 0.0

    def to_json(self) -> dict[str, object]:
        """Field by field; `px` is `[x, y]` or null."""
        px = None if self.px is None else [round(v, 2) for v in self.px]
        return {**vars(self), "px": px}


@dataclass(frozen=True)
class _Place:
    finding: str
    photo_sha: str
    px: tuple[float, float] | None
    where: str
    role: Role = ""
    at: DiameterPlace | None = None


def lay_points(criteria: Sequence[tuple[Criterion, Sequence[Placed]]]) -> tuple[GaugePoint, ...]:
    """Points for gauged criteria, each with the findings placed under it; a condition gets none."""
    points: list[GaugePoint] = []
    for criterion, placed in criteria:
        plan = criterion.readings
        for place in [] if plan is None else _places(plan, placed):
            point = GaugePoint(
                number=len(points) + 1, criterion=criterion.id, datum="" if plan is None else plan.datum,
                finding=place.finding, photo_sha=place.photo_sha, px=place.px, where=place.where,
                role=place.role, place=place.at.place if place.at else "",
                angle_deg=place.at.angle_deg if place.at else 0.0,
            )  # fmt: skip
            points.append(point)
    return tuple(points)


def not_gauged(criterion: Criterion, placed: Sequence[Placed]) -> tuple[Placed, ...]:
    """Findings that get no point of their own, because the rubric gauges only the largest."""
    plan = criterion.readings
    if plan is None or plan.at_each_finding == 0:
        return ()
    chosen = _largest(plan, placed)
    return tuple(p for p in placed if not any(p is c for c in chosen))


def _largest(plan: Plan, placed: Sequence[Placed]) -> list[Placed]:
    keep = sorted(range(len(placed)), key=lambda i: (-_area(placed[i][1]), i))[: plan.most_findings]
    return [placed[i] for i in sorted(keep)]


def _places(plan: Plan, placed: Sequence[Placed]) -> list[_Place]:
    if plan.figure == "difference":
        return _diameters(plan)
    guided = plan.at_each_finding > 0
    chosen = _largest(plan, placed) if guided else []
    places = _walk([place for item in chosen for place in _on_finding(plan, item)])
    if guided and len(chosen) < len(placed):
        places.append(_Place("", "", None, "the deepest of the marks that have no number of their own"))
    return places + [_Place("", "", None, plan.where)] * max(0, plan.at_least - len(places))


def _diameters(plan: Plan) -> list[_Place]:
    """Both diameters at each place the rubric names, else as often as it asks."""
    if not plan.places:
        return [_Place("", "", None, f"{role} diameter: {plan.where}", role)
                for _ in range(plan.at_least) for role in ROLES]  # fmt: skip
    return [_Place("", "", None, f"{words}: {at.words}", role, at)
            for at in plan.places for role, words in ROLES.items()]  # fmt: skip


def _on_finding(plan: Plan, item: Placed) -> list[_Place]:
    sha, finding = item
    spots: list[tuple[float, float] | None] = [(float(x), float(y)) for x, y in finding.places_px]
    spots = (spots or [_middle(finding)])[: plan.at_each_finding]
    spots += [None] * (plan.at_each_finding - len(spots))
    name = f"{finding.kind.replace('-', ' ')} {finding.id}"
    texts = [name + ("" if s else ", another place along it") for s in spots]
    return [_Place(finding.id, sha, spot, text) for spot, text in zip(spots, texts, strict=True)]


def _middle(finding: Finding) -> tuple[float, float]:
    """The outline point nearest the middle of the outline; the middle itself may lie off a curved mark."""
    outline = finding.outline_px
    x, y = outline[np.argmin(np.hypot(*(outline - outline.mean(axis=0)).T))]
    return float(x), float(y)


def _area(finding: Finding) -> float:
    x, y = finding.outline_px.T
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def _walk(places: list[_Place]) -> list[_Place]:
    photos = list(dict.fromkeys(p.photo_sha for p in places))
    order: list[_Place] = []
    for photo in photos:
        left = [p for p in places if p.photo_sha == photo and p.px is not None]
        here = (0.0, 0.0)
        while left:
            nearest = min(left, key=lambda p: _distance(here, p.px))
            left.remove(nearest)
            order.append(nearest)
            here = nearest.px or here
    for extra in (p for p in places if p.px is None):
        own = [i for i, p in enumerate(order) if (p.photo_sha, p.finding) == (extra.photo_sha, extra.finding)]
        order.insert(own[-1] + 1, extra)
    return order


def _distance(a: tuple[float, float], b: tuple[float, float] | None) -> float:
    return 0.0 if b is None else float(np.hypot(a[0] - b[0], a[1] - b[1]))
