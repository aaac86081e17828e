"""Drawn pits and cracks: the mesh agrees with the truth, and the scorer counts as its rules say."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np
import pytest

from wearvision.scenes.chance import draw_scene
from wearvision.scenes.score_spots import Tally, add_photo, overlap, pair_up, summary, table
from wearvision.scenes.spot_shape import Pit, draw_crack, draw_pit
from wearvision.scenes.spots_stage import ribbon, spotted_mesh
from wearvision.scenes.truth import polygon_area


def test_the_mesh_is_as_deep_as_the_pit_and_level_beside_it() -> None:
    scene = draw_scene(8600)
    middle = (scene.part.inner_mm + scene.part.outer_mm) / 2
    pit = draw_pit(np.random.default_rng(1), middle, 0.0, 3.0)
    part = type(scene.part)(**{**vars(scene.part), "grooves": (), "holes": (), "step_mm": 0.0})
    x, y, z = spotted_mesh(part, (pit,)).points.T
    ratio = pit.ratio(x, y)
    assert z.min() == pytest.approx(-pit.depth_mm, abs=0.1 * pit.depth_mm)
    assert np.all(z[ratio > 1.001] == 0)
    assert np.all(z[ratio < 0.9] < 0)
    rim = np.abs(ratio - 1) < 1e-6
    assert rim.sum() > 40, "vertices lie on the rim"


def test_the_outline_has_the_area_of_its_formula() -> None:
    """Area of r(a) = R (1 + sum of waves): pi R^2 (1 + sum of half the squares), Parseval."""
    waves = ((0.08, 0.3), (-0.05, 1.0), (0.03, 2.0))
    pit = Pit(x_mm=1.0, y_mm=2.0, radius_mm=2.0, waves=waves, depth_mm=1.0, bowl=True, rusty=0.0)
    expected = np.pi * 4 * (1 + sum(a * a for a, _ in waves) / 2)
    assert polygon_area(pit.outline(720)) == pytest.approx(expected, rel=1e-4)


def test_a_crack_is_as_long_and_as_wide_as_its_ribbon() -> None:
    crack = draw_crack(np.random.default_rng(2), np.zeros(2), 0.4, 40.0, 0.3)
    assert crack.length_mm == pytest.approx(40.0, abs=0.3)
    mesh = ribbon(crack)
    a, b, c = (mesh.points[mesh.faces[:, k]] for k in range(3))
    turn = np.cross(b - a, c - a)[:, 2]
    assert turn.sum() / 2 == pytest.approx(np.trapezoid(crack.width_mm, dx=0.2), rel=0.03)
    assert (turn > 0).mean() > 0.99, "seen from above"


def ring(x: float, y: float, radius: float) -> list[list[float]]:
    a = np.arange(40) * 2 * np.pi / 40
    return np.column_stack([x + radius * np.cos(a), y + radius * np.sin(a)]).tolist()


def record() -> dict[str, Any]:
    pits = [{"kind": "pit", "truth": {"diameter": 2.0, "in_view": 1.0}, "outline_px": ring(100.0 + 60 * k, 100, 10)}
            for k in range(3)]  # fmt: skip
    line = np.column_stack([np.linspace(100, 400, 30), np.full(30, 300.0)]).tolist()
    crack = {"kind": "crack", "truth": {"length": 30.0, "width": 0.2, "in_view": 1.0}, "outline_px": line}
    return {"photo": "p.jpg", "mm_per_px": 0.1, "findings": [*pits, crack], "summary": {"pit_density_per_m2": 3000.0}}


def answer(truth: dict[str, Any]) -> dict[str, Any]:
    found = []
    for f in copy.deepcopy(truth["findings"]):
        names = ("diameter",) if f["kind"] == "pit" else ("length", "width")
        line = f["outline_px"] if f["kind"] == "pit" else [*f["outline_px"], *f["outline_px"][::-1]]
        figures = {n: {"value": f["truth"][n], "u95": 0.1} for n in names}
        found.append({"kind": f["kind"], "outline_px": line, "flags": ["suspected"], "quantities": figures})
    return {"usable": True, "findings": found, "summary": {"pit_density_class": {"value": 1.0}}}


def scored(truth: dict[str, Any], result: dict[str, Any]) -> dict[str, Any]:
    tally = Tally()
    add_photo(tally, truth, result)
    return summary(tally)


def test_the_truth_itself_scores_in_full() -> None:
    figures = scored(record(), answer(record()))
    assert figures["pit_f1"] == figures["crack_recall"] == figures["class_right"] == 1.0
    assert figures["pits_false"] == figures["cracks_false"] == 0
    assert "recall 1.000" in table(figures)


def test_what_is_missed_beside_or_twice_counts_against() -> None:
    result = answer(record())
    pit, crack = result["findings"][0], result["findings"][3]
    pit["outline_px"] = ring(118.0, 100, 10)
    result["findings"].append(copy.deepcopy(result["findings"][1]))
    crack["outline_px"] = np.add(crack["outline_px"], [0, 20]).tolist()
    figures = scored(record(), result)
    assert (figures["pits_found"], figures["pits_false"]) == (2, 2)
    assert (figures["cracks_found"], figures["cracks_false"]) == (0, 1)


def test_half_a_crack_is_found_a_third_is_not() -> None:
    for share, found in ((0.6, 1), (0.33, 0)):
        result = answer(record())
        line = np.array(record()["findings"][3]["outline_px"])
        line = line[: int(share * len(line))]
        result["findings"][3]["outline_px"] = [*line.tolist(), *line[::-1].tolist()]
        assert scored(record(), result)["cracks_found"] == found


def test_overlap_of_two_circles_is_that_of_the_formula() -> None:
    """Lens of two unit circles a radius apart: 2 pi / 3 - sqrt(3) / 2 (plane geometry)."""
    lens = 2 * np.pi / 3 - np.sqrt(3) / 2
    one, other = np.array(ring(100, 100, 20)), np.array(ring(120, 100, 20))
    assert overlap(one, other) == pytest.approx(lens / (2 * np.pi - lens), abs=0.01)
    assert pair_up([{"outline_px": other}], [{"outline_px": one}]) == {}, "0.24 is too little"
    assert pair_up([{"outline_px": np.array(ring(112, 100, 20))}], [{"outline_px": one}]) == {0: 0}
