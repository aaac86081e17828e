"""A drawn line of light: its truth agrees with the geometry that is rendered, and the scorer with the truth."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from wearvision.scenes.lens import inside, project
from wearvision.scenes.light_stage import LightTruth, draw_stage, lit_points
from wearvision.scenes.record import truth_record
from wearvision.scenes.score_light import Tally, add_photo, summary
from wearvision.scenes.shape import face_height
from wearvision.stated import NOMINALS

SEEDS = (2, 3, 5, 8)


@pytest.mark.parametrize("seed", SEEDS)
def test_lit_points_lie_in_the_plane_of_light_and_on_the_face(seed: int) -> None:
    truth = draw_stage(seed, 400).truth
    assert isinstance(truth, LightTruth)
    part, beam = truth.scene.part, truth.beam
    _, lit = lit_points(part, beam)
    normal = np.cross(beam.along, beam.down)
    assert np.abs((lit - beam.source) @ normal).max() < 1e-9
    gap = lit[:, 2] - face_height(part, lit[:, 0], lit[:, 1])
    assert np.quantile(np.abs(gap), 0.9) < 0.03
    assert np.degrees(np.arcsin(abs(normal @ [0, 0, 1]))) == pytest.approx(90 - beam.elevation_deg)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_stage_tells_what_it_draws(seed: int) -> None:
    stage = draw_stage(seed, 400)
    truth = stage.truth
    assert isinstance(truth, LightTruth)
    record = truth_record(stage, np.zeros((stage.camera.height_px, 400), np.uint8), "x.jpg")
    profile = record["summary"]["section"]
    sections = [f for f in record["findings"] if f["kind"] == "depth-section"]
    deepest = max((f["truth"]["depth"] for f in sections), default=0.0)
    allowed = 0.01 + max(0.0, -truth.scene.part.step_mm)
    assert deepest == pytest.approx(max(0.0, *profile["depth_mm"]), abs=allowed)
    assert set(record["stated"]["stated"]) <= set(NOMINALS)
    assert abs(record["stated"]["stated"]["light_elevation_deg"] - truth.beam.elevation_deg) < 0.9
    _, lit = lit_points(truth.scene.part, truth.beam)
    assert inside(stage.camera, project(stage.camera, lit)).mean() > 0.95


def test_some_faces_are_sound_and_some_grooves_are_met() -> None:
    met = [len([f for f in _record(seed)["findings"] if f["kind"] == "depth-section"]) for seed in range(12)]
    assert 0 in met and max(met) >= 2


def _record(seed: int) -> dict[str, Any]:
    stage = draw_stage(seed, 400)
    return truth_record(stage, np.zeros((stage.camera.height_px, 400), np.uint8), "x.jpg")


def test_a_scorer_that_is_told_the_truth_finds_no_error_and_counts_what_is_not_there() -> None:
    lit = [[100.0 + k, 50.0] for k in range(40)]
    section = {"kind": "depth-section", "truth": {"depth": 1.2, "width": 4.0, "in_view": 1.0}, "outline_px": lit}
    truth = {"photo": "x.jpg", "mm_per_px": 0.1, "findings": [section]}
    told = {"id": "D1", "kind": "depth-section", "places_px": [[120.0, 50.0]],
            "quantities": {"depth": {"value": 1.25, "u95": 0.04}, "width": {"value": 4.0, "u95": 0.1}}}  # fmt: skip
    away = {**told, "places_px": [[300.0, 50.0]]}
    tally = Tally()
    for findings in ([told], [away], [told, told], []):
        add_photo(tally, truth, {"usable": True, "findings": findings, "not_assessed": []})
    add_photo(tally, {**truth, "findings": []}, {"usable": True, "findings": [told], "not_assessed": []})
    figures = summary(tally)
    assert (figures["found"], figures["missed"], figures["false"]) == (2, 2, 3)
    assert (figures["sound"], figures["false_sound"]) == (1, 1)
    depth = figures["quantities"]["depth"]
    assert depth["error_median"] == pytest.approx(0.05) and depth["coverage_95"] == 0.0
    assert depth["error_p90_all"] == np.inf
