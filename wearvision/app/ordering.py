"""What to do next with a part, told from open extents alone; sealed estimates have no say in it.

A mark narrower than a depth limit is seldom deeper than it, one more than twice as wide often is (common
practice, no source). Where a rubric asks for a feature to be sound, what the photo shows of it orders it. That orders
the bench; it decides nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from wearvision.finding import Finding, Kind
from wearvision.pages.board import NextStep
from wearvision.quantity import Measured, Unmeasured
from wearvision.rules.rubric import Criterion
from wearvision.rules.sheet import PrefilledSheet

WIDE, NARROW = 2.0, 1.0
"""Widths of a mark over its depth limit: above the first it is likely beyond, below the second likely within."""
TELLING: Mapping[Kind, tuple[str, str]] = {
    "notch": ("", "bites into what should be whole"),
    "gasket-land": ("breach", "has nothing left to seal at one place"),
    "vane": ("suspected", "is bent, short or missing against its siblings"),
}
"""Kinds that show on a photo whether a feature is sound: the flag by which they show that it is not (none where being
found is enough), and what that means. Of the others only a hand or a penetrant tells."""


def next_step(sheet: PrefilledSheet, surveys: Iterable[Mapping[str, Any]]) -> tuple[NextStep, str]:
    """The board's group of a part, and one sentence why: the finding that says most."""
    surveys = list(surveys)
    if not surveys:
        return "gauge first", "It came without photos: gauge and eye alone."
    if not any(s["usable"] for s in surveys):
        return "retake", "No photo of this part can carry a measurement yet."
    told = [_one(criterion, finding) for criterion in sheet.criteria for _, finding in sheet.placed(criterion)]
    if blind := [s["photo"]["file"] for s in surveys if s["view"] == "wear-face" and "face_area" not in s["summary"]]:
        told.append(("gauge first", f"No wear face was recognised in {', '.join(blind)}: nothing was sought there."))
    for step in ("likely beyond", "gauge first"):
        if of_step := [(s, why) for s, why in told if s == step]:
            return of_step[0]
    if not sheet.findings:
        return "likely within", "No mark was found on the faces in view."
    return "likely within", "No mark is wider than a limit on depth, nor does one show where none may be."


def _one(criterion: Criterion, finding: Finding) -> tuple[NextStep, str]:
    """The group one finding alone would put its part in, and why."""
    name = f"{finding.kind.replace('-', ' ').capitalize()} {finding.id}"
    if "faint" in finding.flags:
        return "gauge first", f"{name} is faint: look at the part, then gauge."
    if criterion.quantity == "condition" and finding.kind in TELLING:
        return _condition(finding, name)
    limit = criterion.limit.limit.upper_mm if criterion.limit else None
    width = finding.quantities.get("width") or finding.quantities.get("diameter")
    if criterion.limit is None or limit is None or not isinstance(width, Measured) or criterion.quantity != "depth":
        return "gauge first", f"The photo cannot tell how {name} stands to its limit."
    if width.value - width.u95 > WIDE * limit:
        return "likely beyond", f"{name} is more than twice as wide as the depth limit of {criterion.limit.typed}."
    if width.value + width.u95 < NARROW * limit:
        return "likely within", ""
    return "gauge first", f"{name} is about as wide as the depth limit of {criterion.limit.typed}."


def _condition(finding: Finding, name: str) -> tuple[NextStep, str]:
    """What a photo shows of a feature that has to be sound."""
    flag, words = TELLING[finding.kind]
    if flag in ("", *finding.flags):
        return "likely beyond", f"{name} {words}."
    for quantity in finding.quantities.values():
        if isinstance(quantity, Unmeasured):
            return "gauge first", f"{name}: {quantity.reason}."
    return "likely within", ""
