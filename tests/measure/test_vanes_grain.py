"""Vanes told by roughness: worn tops are smooth, and need be no brighter than the rough disc between them."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.measure.face_kit import drawn_plane
from tests.measure.vanes_kit import DISC_MM, DrawnVane, draw_vanes
from wearvision.measure.chart import chart_of, grain_of
from wearvision.measure.finders.vanes import Vanes, measure_vanes
from wearvision.measure.plane import Plane
from wearvision.measure.unwrap import Image
from wearvision.stated import Stated

STATED = Stated(view="vane-back", nominal={"disc_diameter_mm": 2 * DISC_MM, "vane_count": 5.0})
BENT_MM = 4.0


@pytest.fixture(scope="module")
def plane() -> Plane:
    return drawn_plane(mm_per_px=0.06, size_px=(2200, 2000), tilt_deg=4.0)


@pytest.fixture(scope="module")
def rough(plane: Plane) -> Image:
    """Five smooth vanes, one bent, in the mean tone of a disc of grains of half a millimetre; no shadows."""
    drawn = draw_vanes(plane, (DrawnVane(), DrawnVane(shift_mm=BENT_MM), *3 * [DrawnVane()]), rust=0, noise=0.0)
    tops, disc = drawn > 157, drawn > 100
    rng = np.random.default_rng(4)
    grains = cv2.GaussianBlur(rng.normal(size=drawn.shape), (0, 0), 4.0)
    light = np.where(disc & (drawn < 145), 130 + 28 * grains / grains.std(), np.where(tops, 130, drawn))
    light = np.where(drawn == 55, 130 + 28 * grains / grains.std(), light)
    soft = cv2.GaussianBlur(light, (0, 0), 0.8) + rng.normal(0, 2.0, drawn.shape)
    return np.clip(np.rint(soft), 0, 255).astype(np.uint8)


def test_the_map_of_roughness_is_low_on_what_is_smooth(plane: Plane, rough: Image) -> None:
    chart = chart_of(rough, plane, ())
    grain = grain_of(chart)
    assert grain.values.shape == chart.values.shape and grain.values.min() >= 0
    at = np.hypot(*(np.indices(chart.values.shape)[::-1].T * chart.step_mm + chart.origin_mm - (4.0, -1.0)).T)
    disc, bore = (at > 20) & (at < 50), at < 5
    assert np.median(grain.values[disc]) > np.median(grain.values[bore]) + 1.0


def test_smooth_vanes_on_a_rough_disc_are_counted_and_the_bent_one_told(plane: Plane, rough: Image) -> None:
    found = measure_vanes(rough, plane, STATED)
    assert isinstance(found, Vanes)
    assert found.layout.number == 5 and found.standing.all()
    shifts = np.array([shape.tip_shift_mm for shape in found.shapes])
    assert np.sort(np.abs(shifts))[-2] < 0.6
    most = int(np.argmax(np.abs(shifts)))
    assert abs(shifts[most] - BENT_MM) < max(0.6, 1.96 * found.shapes[most].tip_u_mm)
