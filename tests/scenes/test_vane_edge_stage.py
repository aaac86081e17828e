"""Drawn vanes in profile: the truth agrees with the geometry that is rendered."""

from __future__ import annotations

import math

import numpy as np
import pytest

from wearvision.scenes.lens import inside, project, tilt_deg
from wearvision.scenes.record import truth_record
from wearvision.scenes.score_vane_edge import Tally, add_photo, summary
from wearvision.scenes.stage import VANE
from wearvision.scenes.vane_edge_stage import draw_stage
from wearvision.scenes.vane_profile import Section, extruded, rounded


def test_an_arc_touches_both_edges_and_has_its_radius() -> None:
    section = Section(height_mm=9.0, thickness_mm=6.0, radius_mm=(1.5, 0.8), draft_deg=(3.0, 1.0), slope_deg=2.0)
    corners = section.corners()
    for side, radius in enumerate(section.radius_mm):
        arc = section.arc(side)
        turn = np.diff(np.unwrap(np.arctan2(*np.diff(arc, axis=0).T[::-1])))
        length = np.hypot(*np.diff(arc, axis=0).T)[1:]
        assert np.median(length / np.abs(turn)) == pytest.approx(radius, rel=1e-3)
        for end, one, two in ((arc[0], side, side + 1), (arc[-1], side + 1, side + 2)):
            edge = corners[two] - corners[one]
            away = (end - corners[one])[0] * edge[1] - (end - corners[one])[1] * edge[0]
            assert abs(away) / np.hypot(*edge) < 1e-9


def test_thickness_holds_at_half_height_and_height_in_the_middle() -> None:
    section = Section(height_mm=9.0, thickness_mm=6.0, radius_mm=(0.5, 0.5), draft_deg=(3.0, 1.0), slope_deg=2.0)
    foot_left, top_left, top_right, foot_right = section.corners()
    left = np.interp(4.5, [0, top_left[1]], [foot_left[0], top_left[0]])
    right = np.interp(4.5, [0, top_right[1]], [foot_right[0], top_right[0]])
    assert right - left == pytest.approx(6.0)
    assert np.interp(0.0, [top_left[0], top_right[0]], [top_left[1], top_right[1]]) == pytest.approx(9.0)


def test_a_sharp_corner_is_a_point() -> None:
    assert rounded(np.array([0.0, 0.0]), np.array([0.0, 1.0]), np.array([1.0, 1.0]), 0.0).tolist() == [[0.0, 1.0]]


def test_the_front_of_a_mesh_has_the_area_of_its_outline() -> None:
    outline = Section(height_mm=9.0, thickness_mm=6.0, radius_mm=(1.5, 0.8), rough_mm=0.05).outline()
    mesh = extruded(outline, (0.0, 3.6), np.array([[0.0, 0, 0], [1.0, 0, 9.0]]))
    a, b, c = (mesh.points[mesh.faces[: len(outline), k], :2] for k in range(3))
    fan = 0.5 * np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]).sum()
    x, y = outline.T
    assert fan == pytest.approx(0.5 * abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)), rel=1e-3)


@pytest.mark.parametrize("seed", [1, 2, 3, 17])
def test_a_stage_tells_what_it_draws(seed: int) -> None:
    stage = draw_stage(seed, 600)
    camera, vane = stage.camera, stage.truth.vane  # type: ignore[attr-defined]  # the stage's own truth
    record = truth_record(stage, np.zeros((450, 600), np.uint8), "x.jpg")
    left, right, section = record["findings"]
    assert (left["side"], right["side"]) == ("left", "right")
    assert left["truth"]["edge_radius"] == pytest.approx(vane.section.radius_mm[0], abs=1e-4)
    assert section["truth"]["height"] + section["truth"]["height_loss"] == pytest.approx(vane.new_height_mm, abs=2e-4)
    body = next(b for b in stage.bodies if b.name == "vane")
    assert body.code == VANE
    front = body.mesh.points[1 : 1 + len(vane.section.outline())]
    assert np.abs(front[:, 2]).max() == 0
    assert np.abs(project(camera, front) - np.array(section["outline_px"])).max() < 0.06
    assert inside(camera, np.array(section["outline_px"])).all()
    assert tilt_deg(camera) <= 17 and math.isclose(camera.tilt_deg, tilt_deg(camera))


def test_the_floor_is_below_part_and_camera() -> None:
    for seed in range(6):
        stage = draw_stage(seed, 600)
        floor = stage.benches[1].pose[1, 3]
        assert floor < stage.camera.position_mm[1] - 30 and floor <= -20


def test_a_scorer_that_is_told_the_truth_finds_no_error() -> None:
    stage = draw_stage(2, 600)
    truth = truth_record(stage, np.zeros((450, 600), np.uint8), "x.jpg")
    findings = []
    for found in truth["findings"]:
        told = {name: {"value": v + 0.01, "u95": 0.02} for name, v in found["truth"].items()}
        findings.append({**{k: found[k] for k in ("kind", "side", "outline_px") if k in found}, "quantities": told})
    size = {"width_px": 600, "height_px": 450}
    tally = Tally()
    add_photo(tally, truth, {"usable": True, "photo": size, "findings": findings, "not_assessed": []})
    add_photo(tally, truth, {"usable": True, "photo": size, "findings": [], "not_assessed": []})
    figures = summary(tally)
    assert (figures["found"], figures["missed"], figures["false"]) == (1, 1, 0)
    assert figures["quantities"]["height"]["error_median"] == pytest.approx(0.01)
    assert figures["quantities"]["height"]["coverage_95"] == 1.0
