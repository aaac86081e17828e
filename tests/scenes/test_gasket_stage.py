"""Truth of a drawn gasket land agrees with its geometry; sheets are mostly of another tone than their ground."""

from __future__ import annotations

import math

import numpy as np
import pytest

from wearvision.scenes.gasket_shape import Bite, Land, bite_truth, edges_at, land_mesh, least_width
from wearvision.scenes.gasket_stage import APART, APART_SHARE, SOUND_SHARE, Crack, _color, _slit, draw_land


def bitten(edge: str, loss_mm: float = 4.0) -> Land:
    """A land of 12 mm with a bite of half a parabola's flank."""
    bite = Bite(edge=edge, middle_deg=40.0, arc_deg=20.0, loss_mm=loss_mm, steep=1.0, ragged=0.0, phase=0.0)
    return Land(inner_mm=38.0, outer_mm=50.0, thick_mm=2.0, bites=(bite,))


@pytest.mark.parametrize("edge", ["inner", "outer"])
def test_a_parabola_has_two_thirds_of_its_box(edge: str) -> None:
    land = bitten(edge)
    truth = bite_truth(land, land.bites[0])
    assert truth["loss"] == pytest.approx(4.0, abs=1e-3)
    assert truth["remaining_width"] == pytest.approx(8.0, abs=1e-3)
    start, way = (38.0, 1.0) if edge == "inner" else (50.0, -1.0)
    box = math.radians(20.0)
    area = box * (start * 4.0 * 2 / 3 + way * 16.0 * 8 / 15 / 2)
    assert truth["area"] == pytest.approx(area, rel=1e-3)
    assert least_width(land) == pytest.approx((8.0, 40.0), abs=0.05)


def test_the_mesh_ends_where_the_truth_says() -> None:
    land = bitten("outer")
    points = land_mesh(land).points
    top = points[np.abs(points[:, 2]) < 1e-9]
    angle, radius = np.arctan2(top[:, 1], top[:, 0]), np.hypot(top[:, 0], top[:, 1])
    inner, outer = edges_at(land, angle)
    assert np.all(radius > inner - 1e-6)
    assert np.all(radius < outer + 1e-6)


def test_a_bite_right_through_leaves_nothing() -> None:
    assert least_width(bitten("inner", 12.6))[0] == pytest.approx(0.0, abs=0.02)


def test_lands_are_sound_as_often_as_said_and_bites_stay_on_them() -> None:
    lands = [draw_land(np.random.default_rng(seed)) for seed in range(300)]
    assert np.mean([not land.bites for land in lands]) == pytest.approx(SOUND_SHARE, abs=0.08)
    for land in lands:
        assert all(0.4 < bite.loss_mm <= 1.06 * land.width_mm for bite in land.bites)


def test_a_sheet_is_mostly_of_another_tone_than_its_ground() -> None:
    rng = np.random.default_rng(3)
    tones = [float(_color(rng, 0.2).mean()) for _ in range(300)]
    assert np.mean(np.abs(np.log(np.array(tones) / 0.2)) > APART) >= APART_SHARE - 0.05


def test_a_crack_is_dark_where_its_truth_says() -> None:
    crack = Crack(line_mm=np.array([[10.0, 5.0], [20.0, 5.0]]), width_mm=0.5)
    color = _slit(np.full((600, 600, 3), 0.4, dtype=np.float32), (crack,), 30.0)
    rows, columns = np.nonzero(color[..., 0] < 0.2)
    assert (columns.min() / 10 - 30, columns.max() / 10 - 30) == pytest.approx((10.0, 20.0), abs=0.4)
    assert 30 - rows.mean() / 10 == pytest.approx(5.0, abs=0.1)
