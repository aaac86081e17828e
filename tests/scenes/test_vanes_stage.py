"""Drawn impellers: truth agrees with geometry; the scorer's rules."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from wearvision.scenes.lens import inside, project
from wearvision.scenes.score_vanes import Tally, add_photo, match, summary, table
from wearvision.scenes.vane_shape import (
    Blade,
    Vane,
    bend_angle_deg,
    outline,
    shift_mm,
    sound_line,
    vane_line,
    vane_mesh,
)
from wearvision.scenes.vanes_stage import VaneTruth, draw_back, draw_front

BLADE = Blade(
    root_mm=25.0, tip_mm=70.0, wrap_deg=35.0, sweep=0.2, root_t_mm=6.0, tip_t_mm=5.0, height_mm=8.0, edge_mm=0.2
)


def test_the_same_number_gives_the_same_scene() -> None:
    assert draw_back(3, 400).truth == draw_back(3, 400).truth
    assert draw_front(3, 400).view == "vane-front"


def test_a_bent_tip_is_displaced_by_its_shift_to_the_left() -> None:
    bent = Vane(index=0, turn_deg=10.0, tip_shift_mm=4.0, from_share=0.5)
    line, left, _ = sound_line(BLADE, 10.0)
    moved, _ = vane_line(BLADE, bent)
    assert np.allclose(moved[-1] - line[-1], 4.0 * left[-1], atol=0.02)
    assert np.allclose(moved[:100], line[:100], atol=1e-6)
    way = line[-1] - line[-2]
    off = moved[-1] - line[-1]
    assert way[0] * off[1] - way[1] * off[0] > 0  # y runs up here: to the left going outwards


def test_the_bend_angle_is_the_slope_of_the_shift_on_a_straight_vane() -> None:
    straight = Blade(**{**BLADE.__dict__, "wrap_deg": 0.0})
    vane = Vane(index=0, turn_deg=0.0, tip_shift_mm=-3.0, from_share=0.4)
    expected = -math.degrees(math.atan(2 * 3.0 / (0.6 * 45.0)))
    assert bend_angle_deg(straight, vane) == pytest.approx(expected, abs=0.2)
    assert shift_mm(vane, np.array([0.3, 1.0])) == pytest.approx([0.0, -3.0])


def test_a_short_vane_ends_that_much_earlier() -> None:
    whole, _ = vane_line(BLADE, Vane(index=0, turn_deg=0.0))
    short, _ = vane_line(BLADE, Vane(index=0, turn_deg=0.0, shortening_mm=5.0))
    lengths = [np.hypot(*np.diff(x, axis=0).T).sum() for x in (whole, short)]
    assert lengths[0] - lengths[1] == pytest.approx(5.0, abs=0.01)


def test_the_mesh_has_the_outline_at_its_top() -> None:
    vane = Vane(index=0, turn_deg=0.0)
    mesh = vane_mesh(BLADE, vane)
    assert mesh.points[:, 2].max() == 0.0
    rim = outline(BLADE, vane, BLADE.edge_mm)
    top = mesh.points[mesh.points[:, 2] == 0.0][:, :2]
    assert {tuple(p) for p in np.round(rim, 6)} == {tuple(p) for p in np.round(top, 6)}


@pytest.mark.parametrize("seed", range(4))
def test_vanes_stand_evenly_round_and_inside_the_disc(seed: int) -> None:
    stage = draw_front(seed, 400)
    truth = stage.truth
    assert isinstance(truth, VaneTruth)
    impeller = truth.impeller
    turns = np.array([v.turn_deg for v in impeller.vanes])
    assert np.allclose(np.diff(turns), 360.0 / len(turns))
    assert impeller.blade.tip_mm < impeller.disc_mm
    seen = inside(stage.camera, project(stage.camera, np.array([[*truth.at_mm(stage.camera), 0.0]])))
    assert seen.all()


def photo(*vanes: dict[str, Any]) -> dict[str, Any]:
    return {"photo": "a.jpg", "summary": {"vane_count": len(vanes)}, "findings": list(vanes)}


def vane(index: int, shift: float) -> dict[str, Any]:
    line = [[100.0 * index, 0.0], [100.0 * index, 50.0]]
    truth = {"tip_shift": shift, "bend_angle": 0.0, "shortening": 0.0}
    return {"kind": "vane", "index": index, "truth": truth, "outline_px": line, "tip_in_view": True}


def found(index: int, shift: float) -> dict[str, Any]:
    line = [[100.0 * index + 5, 1.0], [100.0 * index + 5, 52.0], [100.0 * index - 5, 52.0]]
    quantities = {name: {"value": 0.0, "u95": 0.1} for name in ("bend_angle", "shortening")}
    return {"id": f"V{index}", "kind": "vane", "outline_px": line,
            "quantities": {"tip_shift": {"value": shift, "u95": 0.2}, **quantities}}  # fmt: skip


def result(*finds: dict[str, Any]) -> dict[str, Any]:
    return {"usable": True, "summary": {"vane_count": {"value": float(len(finds))}}, "findings": list(finds)}


def test_bent_vanes_are_found_missed_or_false() -> None:
    tally = Tally()
    truth = photo(vane(0, 2.0), vane(1, -1.5), vane(2, 0.0), vane(3, 0.0))
    add_photo(tally, truth, result(found(2, 0.1), found(3, -1.2), found(0, 2.1), found(1, 1.4)))
    figures = summary(tally)
    assert (figures["bent"], figures["bent_found"], figures["false_per_impeller"]) == (2, 1, 1.0)
    assert figures["for_nothing_per_impeller"] == 1.0  # on a straight one
    assert figures["number_right"] == 1.0
    assert figures["quantities"]["tip_shift"]["count"] == 4
    assert "cover" in table(figures)


def test_a_vane_within_the_guard_band_is_told_though_less_is_measured() -> None:
    tally = Tally()
    truth = photo(vane(0, 1.1), vane(1, 0.8), vane(2, 0.0), vane(3, -1.2))
    add_photo(tally, truth, result(found(0, 0.95), found(1, 0.95), found(2, 0.5), found(3, -0.7)))
    figures = summary(tally)
    assert (figures["bent"], figures["bent_found"], figures["bent_by_value"]) == (2, 1, 0)
    assert (figures["false_per_impeller"], figures["false_by_value"]) == (1.0, 0.0)
    assert figures["for_nothing_per_impeller"] == 0.0  # it is bent by 0.8 mm
    assert sum("not told" in note for note in figures["notes"]) == 1


def test_a_bent_vane_whose_shift_is_not_given_is_missed() -> None:
    tally, untold = Tally(), found(0, 0.0)
    untold["quantities"]["tip_shift"] = {"unmeasured": "too unclear", "hint": "look"}
    add_photo(tally, photo(vane(0, 3.0), vane(1, 0.0)), result(untold, found(1, 0.0)))
    figures = summary(tally)
    assert (figures["bent"], figures["bent_found"]) == (1, 0)
    assert figures["quantities"]["tip_shift"]["not_measured"] == 1


def test_far_finds_match_nothing() -> None:
    assert match([vane(0, 0.0), vane(1, 0.0)], [found(7, 0.0)]) == {}
