"""A drawn line of light: its truth agrees with the geometry that is rendered, and the scorer with the truth."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest

from wearvision.scenes.beam import lit_points
from wearvision.scenes.lens import inside, project
from wearvision.scenes.light_stage import LightTruth, draw_stage, draw_stepped
from wearvision.scenes.record import truth_record
from wearvision.scenes.score_light import Tally, add_photo, summary
from wearvision.scenes.shadow_stage import ShadowTruth
from wearvision.scenes.shadow_stage import draw_stage as draw_shadow
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


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_block_under_the_line_lies_on_sound_metal_and_shifts_the_light_against_its_way(seed: int) -> None:
    stage = draw_stepped(seed, 400)
    truth = stage.truth
    assert isinstance(truth, LightTruth) and truth.block is not None
    block, beam = truth.block, truth.beam
    body = next(b for b in stage.bodies if b.name == "step")
    assert body.mesh.points[:, 2].max() == pytest.approx(block.height_mm)
    assert abs(block.height_mm - block.stated_mm) < 0.05
    middle = np.array([block.x_mm, block.y_mm, 0.0])
    lit = middle - block.height_mm / np.sin(np.radians(beam.elevation_deg)) * beam.down
    assert lit[2] == pytest.approx(block.height_mm)
    assert np.hypot(*(lit - middle)[:2]) == pytest.approx(block.height_mm / np.tan(np.radians(beam.elevation_deg)))
    assert cv2.pointPolygonTest(block.corners().astype(np.float32).reshape(-1, 1, 2), tuple(lit[:2]), False) > 0
    half = np.linspace(-block.long_mm / 2, block.long_mm / 2, 30)
    under = middle + half[:, None] * beam.along
    assert np.abs(face_height(truth.scene.part, under[:, 0], under[:, 1])).max() < 0.02
    assert set(truth.stated()) <= set(NOMINALS) and "light_step_mm" in truth.stated()


@pytest.mark.parametrize("seed", [2, 3, 6])
def test_the_straightedge_s_far_edge_lies_in_the_plane_of_light(seed: int) -> None:
    stage = draw_shadow(seed, 400)
    truth = stage.truth
    assert isinstance(truth, ShadowTruth) and truth.bar is not None
    bar, beam = truth.bar, truth.beam
    normal = np.cross(beam.along, beam.down)
    box = next(b for b in stage.bodies if b.name == "straightedge").mesh.points
    off = (box - beam.source) @ normal
    edge = box[np.abs(off) < 1e-6]
    assert len({tuple(p) for p in edge.round(6)}) == 2
    assert np.allclose(edge[:, 2], bar.height_mm)
    assert (np.sign(off[np.abs(off) > 1e-6]) == np.sign(off[np.abs(off) > 1e-6][0])).all()
    assert truth.stated()["light_kind"] == "shadow"


def test_a_bar_hides_what_lies_behind_it() -> None:
    truth = draw_shadow(3, 400).truth
    assert isinstance(truth, ShadowTruth) and truth.bar is not None
    bar = truth.bar
    low, high = bar.box
    below = bar.beam.middle + np.array([0.0, (low[1] + high[1]) / 2, -0.5]) @ bar.axes
    beside = bar.beam.middle + np.array([0.0, high[1] + 1.0, 0.0]) @ bar.axes
    eye = below + np.array([0.0, 0.0, 400.0])
    assert bar.hides(np.stack([below, beside]), eye).tolist() == [True, False]
