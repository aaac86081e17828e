"""Where a disc is sought: from how near a camera, and from where the search begins anew when it is unsure."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from wearvision.measure.chart import Chart
from wearvision.measure.vanes.foot import Where
from wearvision.measure.vanes.hub import Disc, find_discs
from wearvision.measure.vanes.settle import FAR_MM, _freed

STEP_MM, SIZE, RADIUS_MM = 0.5, 440, 66.0
CENTRE_MM = np.array([120.0, 105.0])


def _rim(seems_mm: float, seed: int) -> Chart:
    """A disc that seems so large, without hub or bore, under eight thick swept vanes; grain all over."""
    rng = np.random.default_rng(seed)
    values = np.full((SIZE, SIZE), 3.9, dtype=np.float32)
    at = tuple(float(v) for v in CENTRE_MM / STEP_MM)
    cv2.circle(values, (round(at[0]), round(at[1])), round(seems_mm / STEP_MM), 4.22, -1)
    u = np.linspace(0, 1, 40)
    for k in range(8):
        angle, radius = 2 * np.pi * k / 8 + 1.1 * u, (20 + 0.97 * (RADIUS_MM - 20) * u) / STEP_MM
        line = np.column_stack([at[0] + radius * np.cos(angle), at[1] + radius * np.sin(angle)])
        cv2.polylines(values, [np.round(line).astype(np.int32)], isClosed=False, color=4.7, thickness=13)
    values = cv2.GaussianBlur(values, (0, 0), 0.8) + rng.normal(0, 0.03, values.shape).astype(np.float32)
    valid = np.ones((SIZE, SIZE), dtype=bool)
    return Chart(values=np.asarray(values, dtype=np.float32), valid=valid, origin_mm=np.zeros(2), step_mm=STEP_MM)


@pytest.mark.parametrize(("camera_mm", "below_mm"), [(185.0, 22.0), (185.0, 6.0), (500.0, 18.0)])
def test_a_rim_far_below_the_tops_is_found_from_nearby(camera_mm: float, below_mm: float) -> None:
    seems = RADIUS_MM * camera_mm / (camera_mm + below_mm)
    for seed in range(4):
        disc = find_discs(_rim(seems, seed), 2 * RADIUS_MM, camera_mm)[0]
        assert np.hypot(*(disc.centre_mm - CENTRE_MM)) < 2.0
        assert disc.rim_mm == pytest.approx(seems, abs=1.0)


def test_an_unsure_search_begins_anew_from_the_circles_and_from_an_axis_far_off() -> None:
    disc = Disc(centre_mm=CENTRE_MM, rim_mm=60.0, score=1.0)
    assert _freed(disc) == []

    def begun(off_mm: float) -> list[Disc]:
        axis = Where(middle_mm=CENTRE_MM + np.array([off_mm, 0.0]), spread_mm2=np.eye(2))
        return _freed(Disc(centre_mm=CENTRE_MM, rim_mm=60.0, score=1.0, axis=axis))

    [near] = begun(0.5 * FAR_MM)
    assert near.axis is None
    assert near.centre_mm == pytest.approx(CENTRE_MM)
    free, far = begun(2 * FAR_MM)
    assert free.axis is None
    assert far.axis is None
    assert free.centre_mm == pytest.approx(CENTRE_MM)
    assert far.centre_mm == pytest.approx(CENTRE_MM + np.array([2 * FAR_MM, 0.0]))
