"""Faults drawn on purpose are caught or carried, and good photos raise no alarm."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from wearvision.measure.board import card
from wearvision.measure.scale import find_boards
from wearvision.scenes.card_photo import CARD_MM, Laid, Light, draw
from wearvision.scenes.faults import FAULTS, draw_case, judge, table
from wearvision.scenes.rules import View

CARRIED = ("print at 97 %, bar measured", "card 25 mm high, stated")


@pytest.mark.parametrize("fault", FAULTS)
def test_every_fault_is_caught_or_carried(fault: str) -> None:
    outcomes = [judge(seed, fault) for seed in (1, 2)]
    assert all(o.well for o in outcomes), table(outcomes)
    if fault == "none" or fault in CARRIED:
        assert all(o.carried and not o.alarms for o in outcomes), table(outcomes)
    elif fault != "card out of frame":  # what is seen of it may do
        assert all(o.alarms for o in outcomes), table(outcomes)


def test_rings_of_the_stated_sizes_are_not_made_up() -> None:
    """A card 25 mm higher than stated makes the face 10 % smaller: there is next to no edge where it should be."""
    assert judge(9, "card 25 mm high, not stated").alarms == ("no face of the stated sizes",)


def test_a_photo_is_the_same_again_and_of_the_fault_it_names() -> None:
    once, again = draw_case(3, "none"), draw_case(3, "none")
    np.testing.assert_array_equal(once.gray, again.gray)
    assert draw_case(3, "tilt 60 deg").view.rotation[2, 2] == pytest.approx(0.5)


@pytest.mark.parametrize("bow_mm", [0.0, 4.0])
def test_the_card_lies_where_it_was_laid(bow_mm: float) -> None:
    """Corners found against the camera's own way from millimetres to pixels, on a card high and bent."""
    rng = np.random.default_rng(5)
    turn = np.asarray(cv2.Rodrigues(np.array([0.2, -0.1, 0.3]))[0], dtype=np.float64)
    view = View(size_px=(1200, 900), focal_px=1000.0, k1=-0.02, rotation=turn, shift=np.array([-20.0, 5.0, 180.0]))
    laid = Laid(at_mm=(25.0, -4.0), turn_deg=15.0, scale=1.01, height_mm=6.0, bow_mm=bow_mm)
    gray = draw(rng, view, (10.0, 20.0), laid, Light(blur_px=0.7, noise=1.0, quality=96))
    (seen,) = find_boards(gray, [card(0)])
    inner = seen.corners_mm[: seen.inner_count] - np.array(seen.spec.size_mm) / 2
    cos, sin = np.cos(np.radians(15.0)), np.sin(np.radians(15.0))
    flat = laid.scale * inner @ np.array([[cos, sin], [-sin, cos]]) + laid.at_mm
    rise = laid.height_mm + bow_mm * (1 - (2 * inner[:, 0] / CARD_MM[0]) ** 2)
    camera = np.column_stack([flat, -rise]) @ view.rotation.T + view.shift
    uv = camera[:, :2] / camera[:, 2:]
    true = view.focal_px * uv * (1 + view.k1 * np.sum(uv**2, axis=1, keepdims=True)) + view.centre
    assert np.abs(seen.corners_px[: seen.inner_count] - true).max() < 0.15
