"""Scoring: perfect results score perfectly, and each kind of fault is counted where it belongs."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np
import pytest

from wearvision.scenes.chance import draw_scene
from wearvision.scenes.face_stage import face_stage
from wearvision.scenes.record import truth_record
from wearvision.scenes.score import QUANTITIES, Tally, add_photo, counts, overlap, pair_up, stated_of, summary, table
from wearvision.scenes.stage import FACE


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    """Record of a scene with at least two grooves that count, drawn on an unhidden face."""
    for seed in range(300, 400):
        scene = draw_scene(seed)
        mask = np.full((scene.camera.height_px, scene.camera.width_px), FACE, dtype=np.uint8)
        record = truth_record(face_stage(scene), mask, "a.jpg")
        wide = [f for f in record["findings"] if f["kind"] == "groove" and counts(f)]
        if len(wide) >= 2 and all(f["truth"]["arc_in_view"] > 100 for f in wide):
            record["size"] = (scene.camera.height_px, scene.camera.width_px)
            return record
    raise AssertionError("no such scene in range")


def perfect(truth: dict[str, Any]) -> dict[str, Any]:
    """A result that says exactly the truth, with intervals of 0.1."""
    height, width = truth["size"]
    grooves = [f for f in truth["findings"] if f["kind"] == "groove"]
    found = [
        {
            "kind": "groove",
            "outline_px": f["polygon_px"],
            "quantities": {q: {"value": f["truth"][q], "u95": 0.1} for q in QUANTITIES},
        }
        for f in grooves
    ]
    return {"usable": True, "photo": {"height_px": height, "width_px": width}, "findings": found}


def scored(truth: dict[str, Any], result: dict[str, Any]) -> dict[str, Any]:
    tally = Tally()
    add_photo(tally, truth, result)
    return summary(tally)


def test_the_truth_scores_perfectly(truth: dict[str, Any]) -> None:
    figures = scored(truth, perfect(truth))
    assert (figures["f1"], figures["missed"], figures["false"]) == (1.0, 0, 0)
    assert figures["quantities"]["width"]["coverage_95"] == 1.0
    assert figures["quantities"]["width"]["error_p90"] == 0.0
    assert "F1 1.000" in table(figures)


def test_a_missed_and_a_false_groove_are_counted(truth: dict[str, Any]) -> None:
    result = perfect(truth)
    lost = next(i for i, f in enumerate(truth["findings"]) if f["kind"] == "groove" and counts(f))
    result["findings"].pop(lost)
    result["findings"].append({"kind": "groove", "outline_px": [[5, 5], [60, 5], [60, 30]], "quantities": {}})
    figures = scored(truth, result)
    assert (figures["missed"], figures["false"]) == (1, 1)
    assert figures["f1"] < 1


def test_errors_outside_their_interval_lower_the_coverage(truth: dict[str, Any]) -> None:
    result = perfect(truth)
    for finding in result["findings"]:
        finding["quantities"]["width"]["value"] += 0.25
    figures = scored(truth, result)["quantities"]["width"]
    assert figures["coverage_95"] == 0.0
    assert figures["error_median"] == pytest.approx(0.25)
    assert figures["bias_median"] == pytest.approx(0.25)


def test_a_refused_photo_counts_apart(truth: dict[str, Any]) -> None:
    result = {**perfect(truth), "usable": False, "retake": [{"code": "blur", "say": "hold still"}]}
    figures = scored(truth, result)
    assert (figures["refused"], figures["missed"], figures["found"]) == (1, 0, 0)


@pytest.mark.parametrize(
    ("name", "value", "missed"), [("true_depth", 0.01, 3), ("width", 0.7, 0), ("arc_in_view", 0.0, 0)]
)
def test_a_shallow_groove_counts_and_a_narrow_or_unseen_one_counts_neither_way(
    truth: dict[str, Any], name: str, value: float, missed: int
) -> None:
    other = copy.deepcopy(truth)
    for finding in other["findings"]:
        finding["truth"][name] = value
    assert scored(other, {**perfect(other), "findings": []})["missed"] == missed
    assert scored(other, perfect(other))["false"] == 0


def test_pairs_are_best_first_and_used_once() -> None:
    def strip(start: int, stop: int) -> Any:
        mask = np.zeros((4, 100), dtype=bool)
        mask[:, start:stop] = True
        return mask

    assert overlap(strip(0, 50), strip(25, 75)) == pytest.approx(25 / 75)
    assert pair_up([strip(0, 50), strip(5, 50)], [strip(4, 50)]) == {1: 0}
    assert pair_up([strip(0, 10)], [strip(8, 50)]) == {}


def test_sizes_are_stated_under_their_own_names_and_others_left_out(truth: dict[str, Any]) -> None:
    other = copy.deepcopy(truth)
    other["stated"]["stated"] = {"gasket_inner_diameter_mm": 76, "vane_count": 5, "gasket_thickness_mm": 2.0}
    assert stated_of(other).nominal == {"land_inner_diameter_mm": 76.0, "vane_count": 5.0}
