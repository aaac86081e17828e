"""Marks known by their shading alone, on drawn strips: a matt wall's brightness goes with its slope toward the lamp."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.test_relief import HIGH_MM, LAMP, LOW_MM
from tests.measure.test_ridges import LAP, drawn_strip
from wearvision.measure.edges import log_gray
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.shaded import find_shaded
from wearvision.measure.unwrap import Strip

GREY = 4.0
"""Of a wall that faces the lamp: less than the face's own lines."""


def told(inner: Array, outer: Array, *, taken: bool = False, rows: slice = slice(None)) -> tuple[Strip, list[Ribbon]]:
    """Ribbons of a face with grey added to the inner and outer half of a mark, a number for each row."""
    strip = drawn_strip(rust=0)
    values, free = strip.values.copy(), strip.valid.copy()
    low, middle, high = (round((mm - strip.start_mm) / strip.step_mm) for mm in (LOW_MM, 45.0, HIGH_MM))
    values[rows, low:middle] += inner[rows, None].astype(np.float32)
    values[rows, middle:high] += outer[rows, None].astype(np.float32)
    free[:, low:high] &= not taken
    strip = replace(strip, values=values)
    return strip, find_shaded(strip, log_gray(values), free, max_width_mm=6.0, most=4)


def test_walls_that_face_each_other_are_found_where_they_are() -> None:
    strip, ribbons = told(-GREY * LAMP, GREY * LAMP)
    best = ribbons[0]
    inner, outer = (strip.mm(np.median(edge)) for edge in (best.inner, best.outer))
    assert (inner + outer) / 2 == pytest.approx(45.0, abs=0.3)
    assert outer - inner == pytest.approx(HIGH_MM - LOW_MM, rel=0.35)
    assert best.full


def test_an_arc_ends_where_its_shading_does() -> None:
    """The lamp is at row 150 of 540: 150 degrees about it, and the sectors at the ends."""
    strip, ribbons = told(-GREY * LAMP, GREY * LAMP, rows=slice(38, 262))
    deg = strip.deg(ribbons[0].rows[[0, -1]].astype(np.float64))
    assert not ribbons[0].full
    assert deg == pytest.approx([38 * 360 / LAP, 262 * 360 / LAP], abs=16)


@pytest.mark.parametrize(
    ("inner", "outer", "why"),
    [
        (0 * LAMP, 0 * LAMP, "a sound face"),
        (-15 + 0 * LAMP, -15 + 0 * LAMP, "a band that is dark as a whole"),
        (15 * np.sin(np.arange(LAP)), -15 * np.sin(np.arange(LAP)), "what changes from row to row"),
    ],
)
def test_nothing_is_found(inner: Array, outer: Array, why: str) -> None:
    strip, ribbons = told(inner, outer)
    found = [strip.mm(np.median(one.inner + one.outer) / 2) for one in ribbons]
    assert not [mm for mm in found if abs(mm - 45.0) < 0.3], why


def test_short_arcs_are_left_to_their_lips() -> None:
    assert not told(-GREY * LAMP, GREY * LAMP, rows=slice(120, 180))[1]


def test_what_is_taken_is_not_found_again() -> None:
    strip, ribbons = told(-GREY * LAMP, GREY * LAMP, taken=True)
    middles = [strip.mm(np.median(one.inner + one.outer) / 2) for one in ribbons]
    assert not [mm for mm in middles if LOW_MM < mm < HIGH_MM]


def test_a_strip_shorter_than_any_such_mark_has_none() -> None:
    strip = drawn_strip(rust=0)
    few = replace(strip, values=strip.values[:100], valid=strip.valid[:100])
    assert find_shaded(few, log_gray(few.values), few.valid, max_width_mm=6.0, most=4) == []
