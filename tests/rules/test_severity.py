"""Severities that a person is asked to gauge are sealed on a sheet; places and extents stay open."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from wearvision.finding import Finding, Kind
from wearvision.quantity import Measured
from wearvision.rules.rubric import Rubric
from wearvision.rules.severity import SEVERITY, open_summary, seal

RUBRICS = Path(__file__).parents[2] / "rubric"
FIGURE = Measured(value=2.0, u=0.1, unit="mm")


def rubric(kind: str) -> Rubric:
    return Rubric((RUBRICS / f"{kind}.toml").read_text("utf-8"), f"{kind}.toml")


def finding(kind: Kind, *names: str) -> Finding:
    outline = np.array([[0.0, 0], [10, 0], [10, 10]])
    return Finding(id="X1", kind=kind, outline_px=outline, quantities=dict.fromkeys(names, FIGURE))


@pytest.mark.parametrize(
    ("part", "view", "kind", "open_names"),
    [
        ("casing", "tongue", "washout", ("length",)),
        ("impeller", "vane-edge", "vane-section", ("thickness",)),
        ("casing", "line-light", "depth-section", ("width",)),
    ],
)
def test_what_the_rubric_has_gauged_is_sealed(part: str, view: str, kind: Kind, open_names: tuple[str, ...]) -> None:
    seen = seal(finding(kind, *SEVERITY[kind], *open_names), rubric(part), view)
    assert set(seen.quantities) == set(open_names)
    assert set(seen.sealed) == set(SEVERITY[kind])
    assert seen.to_json()["sealed"] == sorted(SEVERITY[kind])


def test_before_the_part_is_known_every_severity_is_sealed() -> None:
    seen = seal(finding("depth-section", "depth", "width"), None, "line-light")
    assert (set(seen.quantities), set(seen.sealed)) == ({"width"}, {"depth"})
    assert set(open_summary({"width": FIGURE, "height": FIGURE}, None, "vane-edge")) == {"width"}


@pytest.mark.parametrize(
    ("part", "view", "kind"), [("casing", "wear-face", "groove"), ("impeller", "tongue", "washout")]
)
def test_what_nobody_gauges_stays_open(part: str, view: str, kind: Kind) -> None:
    found = finding(kind, "width", "max_deviation")
    assert seal(found, rubric(part), view) is found


def test_the_summary_of_the_view_tells_no_sealed_figure() -> None:
    summary = {"lip_length": FIGURE, "max_deviation": FIGURE}
    assert set(open_summary(summary, rubric("casing"), "tongue")) == {"lip_length"}
    assert open_summary(summary, rubric("casing"), "wear-face") == summary


def test_every_severity_that_a_rubric_has_gauged_is_one_that_is_sealed() -> None:
    for path in RUBRICS.glob("*.toml"):
        for criterion in rubric(path.stem).file.criteria:
            if criterion.quantity in ("condition", "clearance", "depth"):
                continue
            kinds = [k for k in criterion.findings if k in SEVERITY]
            assert any(criterion.quantity in SEVERITY[k] for k in kinds), (path.name, criterion.id)
