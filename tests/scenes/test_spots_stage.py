"""Drawn pits and cracks: the mesh agrees with the truth, and the scorer counts as its rules say."""

from __future__ import annotations

import copy
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from wearvision.scenes.chance import draw_scene
from wearvision.scenes.mesh import Mesh
from wearvision.scenes.score_spots import Tally, add_photo, overlap, pair_up, summary, table
from wearvision.scenes.spec import Part
from wearvision.scenes.spot_mesh import hollow, slit, spotted_meshes
from wearvision.scenes.spot_shape import Pit, draw_crack, draw_pit
from wearvision.scenes.truth import polygon_area


def plain(seed: int = 8600) -> Part:
    part = draw_scene(seed).part
    return replace(part, grooves=(), holes=(), step_mm=0.0)


def area_seen(mesh: Mesh | None) -> float:
    """Area of a mesh as seen from straight above, walls that hang over counted off."""
    assert mesh is not None
    a, b, c = (mesh.points[mesh.faces[:, k]] for k in range(3))
    return float(np.cross(b - a, c - a)[:, 2].sum() / 2)


@pytest.mark.parametrize("wall_deg", [50.0, 90.0, 120.0])
def test_a_pit_is_as_wide_and_as_deep_as_told(wall_deg: float) -> None:
    """Depth of a spherical cap of base radius a and contact angle w: a tan(w / 2) (plane geometry)."""
    part = plain()
    middle = (part.inner_mm + part.outer_mm) / 2
    pit = replace(draw_pit(np.random.default_rng(1), middle, 0.0, 3.0), wall_deg=wall_deg, stretch=1.0)
    wall = hollow(part, pit)
    assert -wall.points[:, 2].min() == pytest.approx(pit.radius_mm * np.tan(np.radians(wall_deg) / 2), abs=0.01)
    assert area_seen(wall) == pytest.approx(polygon_area(pit.outline(180)), rel=0.01)
    widest = pit.ratio(*wall.points[:, :2].T).max()
    assert (widest > 1.02) == (wall_deg > 90), "undercut is wider below than its mouth"


def test_face_lips_and_openings_leave_no_gap() -> None:
    """Seen from above everything that is not an opening is face or lip; the lips alone cover what was cut away."""
    part = plain()
    middle = (part.inner_mm + part.outer_mm) / 2
    pit = draw_pit(np.random.default_rng(1), middle, 0.0, 3.0)
    crack = draw_crack(np.random.default_rng(2), np.array([0.0, middle]), 0.4, 20.0, 0.3)
    spotted = spotted_meshes(part, (pit,), (crack,))
    assert spotted.holes is None
    ring = np.pi * (part.outer_mm**2 - part.inner_mm**2)
    gone = ring - area_seen(spotted.face)
    assert area_seen(spotted.pits) + area_seen(spotted.cracks) < gone
    assert area_seen(spotted.lips) > gone - area_seen(spotted.pits) - area_seen(spotted.cracks)
    assert spotted.lips is not None
    x, y = spotted.lips.points[spotted.lips.faces].mean(axis=1)[:, :2].T
    assert pit.ratio(x, y).min() > 0.99
    assert crack.distance(x, y).min() > -0.05


def test_the_outline_has_the_area_of_its_formula() -> None:
    """Area of r(a) = R (1 + sum of waves): pi R^2 (1 + sum of half the squares), Parseval."""
    waves = ((0.08, 0.3), (-0.05, 1.0), (0.03, 2.0))
    pit = Pit(x_mm=1.0, y_mm=2.0, radius_mm=2.0, waves=waves, wall_deg=90.0, stretch=1.0, rusty=0.0)
    expected = np.pi * 4 * (1 + sum(a * a for a, _ in waves) / 2)
    assert polygon_area(pit.outline(720)) == pytest.approx(expected, rel=1e-4)


def test_a_crack_is_as_long_and_as_wide_as_its_slit() -> None:
    crack = draw_crack(np.random.default_rng(2), np.array([0.0, 30.0]), 0.4, 40.0, 0.3)
    assert crack.length_mm == pytest.approx(40.0, abs=0.3)
    walls = slit(plain(), crack)
    assert area_seen(walls) == pytest.approx(np.trapezoid(crack.width_mm, dx=0.2), rel=0.03)
    assert -walls.points[:, 2].min() > 2 * crack.width_mm.max(), "deeper than wide: little light comes back"


def ring(x: float, y: float, radius: float) -> list[list[float]]:
    a = np.arange(40) * 2 * np.pi / 40
    points: list[list[float]] = np.column_stack([x + radius * np.cos(a), y + radius * np.sin(a)]).tolist()
    return points


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
