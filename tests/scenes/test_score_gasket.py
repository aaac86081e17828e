"""What the scorer of gasket lands says of one photo."""

from __future__ import annotations

from typing import Any

import pytest

from wearvision.scenes.score_gasket import Tally, add_photo, summary

TRUTH: dict[str, Any] = {
    "photo": "land.jpg", "mm_per_px": 0.1, "summary": {"min_remaining_width_mm": 8.0}, "findings": [],
}  # fmt: skip


@pytest.mark.parametrize(("width", "note"), [
    ({"unmeasured": "at most 11.7 mm: its outer edge is not seen", "hint": "gauge it there"}, "at most 11.7 mm"),
    ({"value": 8.9, "u95": 0.5, "unit": "mm"}, "off by 0.90"), ({"value": 8.1, "u95": 0.5, "unit": "mm"}, ""),
])  # fmt: skip
def test_why_a_least_width_is_not_told_or_how_far_it_is_off(width: dict[str, Any], note: str) -> None:
    land = {"kind": "gasket-land", "quantities": {"remaining_width": width}}
    result = {
        "usable": True, "photo": {"height_px": 100, "width_px": 100}, "findings": [land], "not_assessed": [],
    }  # fmt: skip
    tally = Tally()
    add_photo(tally, TRUTH, result)
    assert summary(tally)["unmeasured"] == ("unmeasured" in width)
    assert note in "; ".join(tally.notes)
    assert bool(tally.notes) == bool(note)
