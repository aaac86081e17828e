"""The scorer of rub bands, told the truth and told wrong."""

from __future__ import annotations

from typing import Any

import pytest

from wearvision.scenes.score_rub import Tally, add_photo, summary, table

TRUTH: dict[str, Any] = {
    "photo": "x.jpg",
    "findings": [{"kind": "rub", "truth": {"radius": 50.0, "width": 4.0, "area": 1256.64}}],
}


def told(inner: float, outer: float) -> dict[str, Any]:
    sizes = {
        "radius_inner": inner,
        "radius_outer": outer,
        "width": outer - inner,
        "area": 3.14159 * (outer**2 - inner**2),
    }
    return {"kind": "rub", "quantities": {k: {"value": v, "u95": 0.3} for k, v in sizes.items()}}


def result(*findings: dict[str, Any]) -> dict[str, Any]:
    return {"usable": True, "findings": list(findings), "not_assessed": []}


def test_bands_are_found_missed_or_false() -> None:
    tally = Tally()
    for findings in ([told(48.1, 52.0)], [told(30.0, 34.0)], [told(48.0, 52.0), told(48.2, 52.1)], []):
        add_photo(tally, TRUTH, result(*findings))
    add_photo(tally, {**TRUTH, "findings": []}, result(told(48.0, 52.0)))
    figures = summary(tally)
    assert (figures["found"], figures["missed"], figures["false"]) == (2, 2, 3)
    assert figures["quantities"]["radius_inner"]["error_p90"] == pytest.approx(0.09)
    assert figures["quantities"]["width"]["coverage_95"] == 1.0
    assert "0.60 per photo" in table(figures)
