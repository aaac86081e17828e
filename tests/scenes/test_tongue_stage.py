"""Truth of a drawn lip agrees with its geometry."""

from __future__ import annotations

import numpy as np
import pytest

from wearvision.scenes.stage import OTHER, WASHOUT
from wearvision.scenes.tongue_stage import Bay, Lip, LipTruth, draw_lip, wall_bodies
from wearvision.stated import NOMINALS


def one_bay(**more: object) -> Lip:
    bay = Bay(middle_mm=3.0, half_mm=9.0, depth_mm=2.5, power=1.0, ragged=0.0)
    kinds: dict[str, object] = {
        "length_mm": 50.0, "bays": (bay,), "wavy_mm": 0.0, "edge_mm": 0.5, "height_mm": 30.0, "deep_mm": 12.0,
        "plate_mm": (-60.0, -50.0, 60.0, 70.0), "pocket": None, "floor": "none", "told": True, "seed": 3,
    }  # fmt: skip
    return Lip(**{**kinds, **more})  # type: ignore[arg-type]  # fields by name


def test_figures_are_those_of_a_squared_sine() -> None:
    """Integrals of d sin^2 and its square: half d, and 3/4 half d^2."""
    figures = LipTruth(one_bay())._figures()
    assert figures["max_deviation"] == pytest.approx(2.5, abs=1e-3)
    assert figures["area"] == pytest.approx(9.0 * 2.5, rel=1e-3)
    assert figures["rms_deviation"] == pytest.approx(2.5 * np.sqrt(0.75 * 9.0 / 50.0), rel=1e-3)


def test_the_mesh_ends_where_the_truth_says() -> None:
    lip = one_bay()
    edge = next(body.mesh for body in wall_bodies(lip, (None, None)) if body.name == "lip")  # type: ignore[arg-type]  # looks are not used
    low = edge.points[edge.points[:, 2] < -lip.deep_mm + 1e-6]
    assert -low[:, 1] == pytest.approx(lip.deviation(low[:, 0]), abs=1e-9)
    top = edge.points[edge.points[:, 2] == 0]
    assert -top[:, 1] == pytest.approx(lip.deviation(top[:, 0]) + lip.edge_mm, abs=1e-9)


def test_washed_is_what_shows_between_line_and_lip() -> None:
    hit = np.zeros((1, 3, 3), dtype=np.float32)
    hit[0, :, 0] = [3.0, 3.0, -20.0]
    hit[0, :, 1] = [-1.0, 1.0, -1.0]
    hit[0, :, 2] = -10.0
    codes = LipTruth(one_bay()).paint(np.full((1, 3), OTHER, dtype=np.uint8), hit)
    assert codes.tolist() == [[WASHOUT, OTHER, OTHER]]


@pytest.mark.parametrize("seed", range(12))
def test_drawn_lips_keep_a_sound_part_and_bounds(seed: int) -> None:
    lip = draw_lip(np.random.default_rng(seed), seed)
    away = lip.line[1]
    assert 25 <= lip.length_mm <= 90 and away.max() < 8.0
    assert np.mean(away < 0.12) > 0.25
    assert set(LipTruth(lip).stated()) <= set(NOMINALS)
