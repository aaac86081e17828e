"""From one wall of a groove to the other: drawn strips."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.test_ridges import drawn_strip
from tests.measure.test_walls import WIDE_MM, wall
from wearvision.measure.evidence import evidence
from wearvision.measure.far_wall import are_lines, to_far_wall

Mark = tuple[float, float, float, float]


def stretched(*marks: Mark, grey: float = -40.0, most_mm: float = 6.0) -> list[tuple[float, float]]:
    """Radii of the lips to which a line at 44 mm, 50 to 200 degrees, is stretched, with other marks in the strip."""
    strip = drawn_strip((44.0, WIDE_MM, 50, 150), rust=0)
    other = drawn_strip(*marks, grey=grey, rust=0).values - drawn_strip(rust=0).values
    strip = replace(strip, values=strip.values + other)
    found = to_far_wall(wall(44.0 - WIDE_MM / 2, 50, 150), evidence(strip), strip, most_mm)
    return [(float(np.median(strip.mm(r.inner))), float(np.median(strip.mm(r.outer)))) for r in found]


@pytest.mark.parametrize("grey", [-40.0, 40.0])
@pytest.mark.parametrize("radius", [41.0, 47.0])
def test_it_goes_to_the_other_wall(radius: float, grey: float) -> None:
    [(inner, outer)] = stretched((radius, WIDE_MM, 50, 150), grey=grey)
    lips = sorted([44.0, radius])
    assert inner == pytest.approx(lips[0], abs=WIDE_MM)
    assert outer == pytest.approx(lips[1], abs=WIDE_MM)


def test_each_side_has_its_own() -> None:
    pairs = stretched((41.0, WIDE_MM, 50, 150), (48.0, WIDE_MM, 50, 150))
    assert [round(outer - inner) for inner, outer in pairs] == [3, 4]


@pytest.mark.parametrize(
    ("mark", "grey", "most_mm", "why"),
    [
        ((47.0, WIDE_MM, 50, 150), -40.0, 2.5, "too far"),
        ((47.0, WIDE_MM, 50, 150), -2.0, 6.0, "hardly a wall"),
        ((47.0, WIDE_MM, 50, 12), -40.0, 6.0, "beside a small part of it only"),
        ((47.0, WIDE_MM, 210, 120), -40.0, 6.0, "beyond its end"),
    ],
)
def test_where_no_wall_is_it_stays(mark: Mark, grey: float, most_mm: float, why: str) -> None:
    assert stretched(mark, grey=grey, most_mm=most_mm) == [], why


def test_its_ends_are_doubted_as_a_wall_fades() -> None:
    strip = drawn_strip((44.0, WIDE_MM, 50, 150), (47.0, WIDE_MM, 50, 150), rust=0)
    [ribbon] = to_far_wall(wall(44.0 - WIDE_MM / 2, 50, 150), evidence(strip), strip, 6.0)
    assert min(ribbon.doubt_rows) * strip.step_deg > 10


@pytest.mark.parametrize(
    ("grey", "first", "arc", "lines"),
    [
        (40.0, 0, 360, False),  # one bright and one dark: the grey falls at both lips
        (-40.0, 0, 360, True),  # two dark: it falls and rises, and one goes on
        (-40.0, 50, 220, True),
        (-40.0, 50, 150, False),  # two dark that end together
    ],
)
def test_two_dark_lines_are_walls_only_where_they_end_together(
    grey: float, first: float, arc: float, lines: bool
) -> None:
    strip = drawn_strip((44.0, WIDE_MM, 50, 150), rust=0)
    other = drawn_strip((47.0, WIDE_MM, first, arc), grey=grey, rust=0).values - drawn_strip(rust=0).values
    strip = replace(strip, values=strip.values + other)
    found = evidence(strip)
    [ribbon] = to_far_wall(wall(44.0 - WIDE_MM / 2, 50, 150), found, strip, 6.0)
    lips = ((radius - strip.start_mm) / strip.step_mm for radius in (44.0 - WIDE_MM / 2, 47.0 + WIDE_MM / 2))
    inner, outer = (np.full(len(ribbon.rows), lip) for lip in lips)
    assert are_lines(replace(ribbon, inner=inner, outer=outer), found, strip) == lines
