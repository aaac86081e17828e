"""Which part to gauge first, told from open extents."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tests import sheet_kit as kit
from wearvision.app.ordering import next_step
from wearvision.finding import Finding, Kind
from wearvision.quantity import Measured, Quantity, Unmeasured
from wearvision.rules.prefilled import prefill
from wearvision.stated import View

LIMIT_MM = 3.175
"""Of the casing's wear face: 1/8 in or less, common practice, no source."""


def seen(view: str = "wear-face", *, usable: bool = True, face: bool = True) -> dict[str, Any]:
    return {"usable": usable, "view": view, "photo": {"file": "a.jpg"}, "summary": {"face_area": 1} if face else {}}


def step(*findings: Finding, kind: str = "casing", view: View = "wear-face", **photo: bool) -> tuple[str, str]:
    placed = [(kit.SHA, finding) for finding in findings]
    return next_step(prefill(kit.rubric(kind), "T-1", placed, photos={kit.SHA: view}), [seen(view, **photo)])


def groove(width_mm: float, name: str = "G1", **more: Any) -> Finding:
    wide: dict[str, Quantity] = {"width": Measured(value=width_mm, u=0.05, unit="mm")}
    return replace(kit.finding(name, **more), quantities=wide)


def test_width_against_the_depth_limit_groups_a_groove() -> None:
    assert step(groove(0.6 * LIMIT_MM))[0] == "likely within"
    assert step(groove(1.5 * LIMIT_MM))[0] == "gauge first"
    assert step(groove(2.5 * LIMIT_MM))[0] == "likely beyond"


def test_the_finding_that_says_most_speaks_for_the_part() -> None:
    assert step(groove(1.0), groove(9.0, "G2"), groove(4.0, "G3")) == (
        "likely beyond", "Groove G2 is more than twice as wide as the depth limit of 1/8 in."
    )  # fmt: skip


def test_faint_is_looked_at_before_it_is_believed() -> None:
    assert step(groove(9.0, flags=("faint",)))[0] == "gauge first"


def test_a_photo_without_its_face_clears_no_part_and_excuses_none() -> None:
    assert step(groove(1.0), face=False)[0] == "gauge first"
    assert step(groove(9.0), face=False)[0] == "likely beyond"


def test_nothing_found_is_likely_within_and_nothing_usable_is_a_retake() -> None:
    assert step() == ("likely within", "No mark was found on the faces in view.")
    assert step(usable=False)[0] == "retake"


@pytest.mark.parametrize(
    ("part", "view", "kind", "flags", "expected"),
    [
        ("casing", "gasket-land", "notch", (), "likely beyond"),
        ("casing", "gasket-land", "notch", ("faint",), "gauge first"),
        ("casing", "gasket-land", "gasket-land", (), "likely within"),
        ("casing", "gasket-land", "gasket-land", ("breach",), "likely beyond"),
        ("impeller", "vane-front", "vane", (), "likely within"),
        ("impeller", "vane-front", "vane", ("suspected",), "likely beyond"),
        ("impeller", "vane-edge", "vane-edge", (), "gauge first"),
        ("casing", "wear-face", "crack", ("suspected",), "gauge first"),
    ],
)
def test_what_has_to_be_sound(part: str, view: View, kind: Kind, flags: tuple[str, ...], expected: str) -> None:
    assert step(kit.finding("X1", kind, flags=flags), kind=part, view=view)[0] == expected


def test_what_could_not_be_told_of_a_land_says_why() -> None:
    unknown: dict[str, Quantity] = {"remaining_width": Unmeasured(reason="bitten or stained", hint="look")}
    land = replace(kit.finding("L1", "gasket-land"), quantities=unknown)
    assert step(land, view="gasket-land") == ("gauge first", "Gasket land L1: bitten or stained.")
