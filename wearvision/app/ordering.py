"""What to do next with a part, told from open extents alone; sealed estimates have no say in it.

A mark narrower than a depth limit is seldom deeper than it, one more than twice as wide often is (common
practice, no source). That orders the bench; it decides nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from wearvision.finding import Finding
from wearvision.pages.board import NextStep
from wearvision.quantity import Measured
from wearvision.rules.rubric import Criterion
from wearvision.rules.sheet import PrefilledSheet

WIDE, NARROW = 2.0, 1.0


def next_step(sheet: PrefilledSheet, surveys: Iterable[Mapping[str, Any]]) -> tuple[NextStep, str]:
    """The board's group of a part, and one sentence why."""
    surveys = list(surveys)
    if not surveys:
        return "gauge first", "It came without photos: gauge and eye alone."
    if not any(s["usable"] for s in surveys):
        return "retake", "No photo of this part can carry a measurement yet."
    if blind := [s["photo"]["file"] for s in surveys if s["view"] == "wear-face" and "face_area" not in s["summary"]]:
        return "gauge first", f"No wear face was recognised in {', '.join(blind)}: nothing was looked for there."
    worst: tuple[NextStep, str] = ("likely within", "No mark is wider than a limit on depth.")
    for criterion in sheet.criteria:
        for _, finding in sheet.placed(criterion):
            step, why = _one(criterion, finding)
            if step == "likely beyond":
                return step, why
            worst = (step, why) if step == "gauge first" else worst
    if worst[0] == "likely within" and not sheet.findings:
        worst = ("likely within", "No mark was found on the faces in view.")
    return worst


def _one(criterion: Criterion, finding: Finding) -> tuple[NextStep, str]:
    limit = criterion.limit.limit.upper_mm if criterion.limit else None
    width = finding.quantities.get("width") or finding.quantities.get("diameter")
    name = f"{finding.kind.capitalize()} {finding.id}"
    if limit is None or not isinstance(width, Measured) or criterion.quantity != "depth":
        return "gauge first", f"The photo cannot tell how {name} stands to its limit."
    if width.value - width.u95 > WIDE * limit:
        return "likely beyond", f"{name} is more than twice as wide as the depth limit of {limit:.2f} mm."
    if width.value + width.u95 < NARROW * limit and "faint" not in finding.flags:
        return "likely within", f"{name} is narrower than the depth limit of {limit:.2f} mm."
    if "faint" in finding.flags:
        return "gauge first", f"{name} is faint: look at the part, then gauge."
    return "gauge first", f"{name} is about as wide as the depth limit of {limit:.2f} mm."
