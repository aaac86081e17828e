"""What later photos show and the sheet does not know."""

from __future__ import annotations

from typing import Any

import pytest

from tests import sheet_kit as kit
from wearvision.finding import Finding
from wearvision.rules.late import unknown_findings
from wearvision.rules.sheet import prefill

OTHER = "cd" * 32


def survey(*findings: Finding, sha: str = kit.SHA, usable: bool = True) -> dict[str, Any]:
    told = [f.to_json() for f in findings]
    return {"photo": {"file": "C-1/a.jpg", "sha256": sha}, "usable": usable, "findings": told}


SHEET = prefill(kit.rubric(), "C-1", [(kit.SHA, kit.finding())], photos={kit.SHA: "wear-face"})


@pytest.mark.parametrize(
    ("seen", "unknown"),
    [
        (survey(kit.finding()), ()),
        (survey(kit.finding(at=101.0)), ()),  # a pixel beside, as after a finer search
        (survey(kit.finding("G7")), ()),  # its number does not matter, its place does
        (survey(), ()),  # gone: the sheet asks for more than it must
        (survey(kit.finding(at=115.0)), ("groove G1 of C-1/a.jpg",)),
        (survey(kit.finding(size=40.0)), ("groove G1 of C-1/a.jpg",)),
        (survey(kit.finding(kind="pit")), ("pit G1 of C-1/a.jpg",)),
        (survey(kit.finding(), sha=OTHER), ("groove G1 of C-1/a.jpg",)),
        (survey(kit.finding(), sha=OTHER, usable=False), ()),
        (survey(kit.finding().strike("a tool mark"), sha=OTHER), ()),
    ],
)
def test_a_finding_is_known_by_kind_and_place(seen: dict[str, Any], unknown: tuple[str, ...]) -> None:
    assert unknown_findings(SHEET, [seen]) == unknown


def test_a_struck_mark_of_the_sheet_is_known() -> None:
    sheet = prefill(kit.rubric(), "C-1", [(kit.SHA, kit.finding().strike("a tool mark"))])
    assert unknown_findings(sheet, [survey(kit.finding())]) == ()
