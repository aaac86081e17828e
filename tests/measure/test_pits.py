"""Pits outlined by a person, against closed forms and the ASTM G46 rating chart (figures from memory)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from skimage.draw import polygon2mask
from skimage.measure import regionprops

from tests.measure.face_kit import drawn_plane
from wearvision.measure.finders.pits import (
    DENSITY_PER_M2,
    OPENING_MM2,
    found_share,
    measure_field,
    measure_pit,
    nearest_class,
)
from wearvision.quantity import Measured


def outline(radius_px: float, at: tuple[float, float] = (400.0, 300.0)) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    far = radius_px * (1 + 0.3 * np.cos(2 * angle))
    return np.column_stack([at[0] + radius_px * np.cos(angle), at[1] + far * np.sin(angle)])


def test_a_drawn_circle_has_its_diameter() -> None:
    plane = drawn_plane(mm_per_px=0.1)
    angle = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    circle = np.column_stack([400 + 15 * np.cos(angle), 300 + 15 * np.sin(angle)])
    found = measure_pit(circle, plane)
    diameter, area = found["diameter"], found["area"]
    assert isinstance(diameter, Measured)
    assert isinstance(area, Measured)
    assert diameter.value == pytest.approx(3.0, rel=1e-3)
    assert area.value == pytest.approx(math.pi * 1.5**2, rel=1e-3)
    assert 0 < diameter.u < 0.2
    assert diameter.budget["outline"] > 0


def test_area_agrees_with_scikit_image() -> None:
    """Oracle: skimage regionprops on the filled outline, drawn large so that whole pixels do not matter."""
    plane = drawn_plane(mm_per_px=0.1, known=True)
    ring = outline(90.0)
    region = regionprops(polygon2mask((690, 900), ring[:, ::-1]).astype(int))[0]
    found = measure_pit(ring, plane)
    assert isinstance(found["area"], Measured)
    assert isinstance(found["diameter"], Measured)
    assert found["area"].value == pytest.approx(region.area * 0.01, rel=0.01)
    assert found["diameter"].value == pytest.approx(region.equivalent_diameter_area * 0.1, rel=0.01)


def test_chart_values_are_their_own_class() -> None:
    for chart in (DENSITY_PER_M2, OPENING_MM2):
        assert [nearest_class(v, chart) for v in chart] == [1, 2, 3, 4, 5]


def test_check_9a_of_the_facts() -> None:
    """36 pits on 20 x 30 mm: 6.0e4 per m2, class A-3 (log distance 0.079 against 0.222 to A-4)."""
    field = measure_field(36, 20.0, 600.0)
    density = field["pit_density"]
    assert isinstance(density, Measured)
    assert density.value == pytest.approx(6.0e4)
    assert abs(math.log10(6.0e4 / 5e4)) == pytest.approx(0.079, abs=5e-4)
    assert isinstance(field["pit_density_class"], Measured)
    assert field["pit_density_class"].value == 3


def test_no_pits_no_class() -> None:
    field = measure_field(0, 0.0, 600.0)
    assert "pit_density_class" not in field
    assert isinstance(field["pit_count"], Measured)
    assert field["pit_count"].value == 0


def test_each_pit_found_stands_for_those_as_wide_that_are_missed() -> None:
    """Pits drawn at random, those of a width found as often as is held: their number comes out within its interval."""
    rng = np.random.default_rng(5)
    held, median = 0, []
    for _ in range(40):
        there = np.clip(np.exp(rng.normal(np.log(1.4), 0.4, 80)), 0.9, 5.0)
        seen = there[rng.random(80) < found_share(there)]
        likely = measure_field(len(seen), 0.0, 1e4, seen.tolist())["pit_density_likely"]
        assert isinstance(likely, Measured)
        held += abs(likely.value - 8000) < likely.u95
        median.append(likely.value)
    assert np.median(median) == pytest.approx(8000, rel=0.06) and held >= 37


def test_a_pit_marked_by_a_person_stands_for_itself() -> None:
    likely = measure_field(30, 20.0, 1e4)["pit_density_likely"]
    assert isinstance(likely, Measured) and likely.value == pytest.approx(3000) and likely.u == 0


@pytest.mark.parametrize(("count", "classes"), [(40, "1 to 2"), (15, "")])
def test_a_density_near_two_classes_names_both(count: int, classes: str) -> None:
    told = measure_field(count, 20.0, 1e4, [2.0] * count)["pit_density_class"]
    assert isinstance(told, Measured)
    assert told.how.endswith(f"holds classes {classes}") if classes else "interval" not in told.how
