"""Shading of two walls is told from what is dark as a whole: drawn strips with the law of a matt wall."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.test_ridges import LAP, drawn_strip
from tests.measure.test_walls import wall
from wearvision.measure.edges import log_gray
from wearvision.measure.lips import Track
from wearvision.measure.plane import Array
from wearvision.measure.relief import is_relief
from wearvision.measure.unwrap import Strip

LOW_MM, HIGH_MM = 44.0, 46.0
LAMP = np.cos(np.radians(np.arange(LAP) * 360 / LAP - 100))
"""How far each row faces the lamp."""


def told(inner: Array, outer: Array, *, arc_deg: float = 300.0, hidden: slice = slice(0)) -> bool:
    """Whether grey added to the inner and outer half of a mark, a number for each row, is taken for relief."""
    strip = drawn_strip(rust=0)
    values, valid = strip.values.copy(), strip.valid.copy()
    low, middle, high = (round((mm - strip.start_mm) / strip.step_mm) for mm in (LOW_MM, 45.0, HIGH_MM))
    values[:, low:middle] += inner[:, None].astype(np.float32)
    values[:, middle:high] += outer[:, None].astype(np.float32)
    valid[hidden] = False
    strip = replace(strip, values=values, valid=valid)
    return is_relief(mark(arc_deg), strip, log_gray(strip.values))


def mark(arc_deg: float) -> Track:
    return replace(wall(LOW_MM, 10.0, arc_deg), outer_mm=np.full(len(wall(LOW_MM, 10.0, arc_deg).deg), HIGH_MM))


@pytest.mark.parametrize("grey", [4.0, 15.0])
def test_walls_that_face_each_other_are_relief(grey: float) -> None:
    """A matt wall's brightness goes with its slope toward the lamp: what one gains the other loses."""
    assert told(-grey * LAMP, grey * LAMP)


def test_a_dark_wall_that_changes_sides_is_relief() -> None:
    assert told(-12 * np.maximum(LAMP, 0), -12 * np.maximum(-LAMP, 0))


@pytest.mark.parametrize(
    ("inner", "outer", "why"),
    [
        (0 * LAMP, 0 * LAMP, "a sound face"),
        (-15 + 0 * LAMP, -15 + 0 * LAMP, "a stain"),
        (-15 + 0 * LAMP, 0 * LAMP, "a dark line with face beside it"),
        (15 * LAMP, 0 * LAMP, "the one wall of a step"),
    ],
)
def test_others_are_none(inner: Array, outer: Array, why: str) -> None:
    assert not told(inner, outer), why


def test_a_seam_between_light_and_dark_face_is_none() -> None:
    strip = drawn_strip(rust=0)
    values = strip.values.copy()
    values[:, round((45.0 - strip.start_mm) / strip.step_mm) :] += 20
    assert not is_relief(mark(300.0), replace(strip, values=values), log_gray(values))


def test_too_short_or_hidden_it_is_not_told() -> None:
    assert not told(-15 * LAMP, 15 * LAMP, arc_deg=15.0)
    assert not told(-15 * LAMP, 15 * LAMP, hidden=slice(None))


def test_half_of_it_may_be_hidden() -> None:
    assert told(-15 * LAMP, 15 * LAMP, hidden=slice(100, 300))


def test_a_strip_with_no_face_beside_does_not_tell() -> None:
    strip = drawn_strip(rust=0)
    column = slice(round(12 / strip.step_mm), round(18 / strip.step_mm))
    narrow: Strip = replace(
        strip, values=strip.values[:, column], valid=strip.valid[:, column], start_mm=float(strip.mm(np.array(143)))
    )
    assert not is_relief(mark(300.0), narrow, log_gray(narrow.values))
