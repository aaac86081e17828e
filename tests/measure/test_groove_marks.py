"""Marks from ribbons, on drawn strips."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.test_ridges import STEP_DEG, drawn_strip
from tests.measure.test_walls import wall
from wearvision.measure.evidence import evidence
from wearvision.measure.face import Face
from wearvision.measure.finders.groove_marks import Ground, _mark, _one, marks_of
from wearvision.measure.finders.worn import is_groove
from wearvision.measure.lips import Track
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.unwrap import Strip
from wearvision.quantity import Measured


def ground(strip: Strip) -> Ground:
    """A face that is all of a strip."""
    radii = [strip.start_mm, strip.start_mm + strip.step_mm * strip.values.shape[1]]
    inner, outer = (Measured(value=r, u=0.1, unit="mm") for r in radii)
    face = Face(
        centre_mm=np.zeros(2), inner_mm=inner, outer_mm=outer, flat_mm=(radii[0], radii[1]), covariance=np.eye(4),
        sure=True, seen_deg=np.column_stack([np.arange(360.0), np.ones(360)]),
    )  # fmt: skip
    return Ground(strip=strip, found=evidence(strip), face=face, max_width_mm=6.0, blur_px=0.8)


def ribbon(strip: Strip, lips_mm: tuple[float, float], first_deg: float, arc_deg: float) -> Ribbon:
    rows = round(first_deg / STEP_DEG) + np.arange(round(arc_deg / STEP_DEG))
    inner, outer = (np.full(len(rows), (lip - strip.start_mm) / strip.step_mm) for lip in lips_mm)
    return Ribbon(rows=rows, inner=inner, outer=outer, score=4.0 * len(rows) / 3, full=False)


def figures(track: Track) -> tuple[float, float]:
    """Width and arc."""
    return track.width_mm, float(track.deg[-1] - track.deg[0])


def test_pieces_of_one_groove_are_one_mark() -> None:
    strip = drawn_strip((45.0, 2.0, 50, 150), rust=0)
    pieces = [ribbon(strip, (44.0, 46.0), 50, 80), ribbon(strip, (44.0, 46.0), 100, 100)]
    [whole] = marks_of(pieces, ground(strip))
    assert figures(whole) == pytest.approx((2.0, 150.0), abs=8.0)


def test_one_wall_becomes_the_groove_it_is_a_wall_of() -> None:
    """A wall as dark as usual and one hardly to be seen, with a floor darker than the face between them."""
    base = drawn_strip((44.0, 0.5, 50, 150), rust=0)
    floor = drawn_strip((45.0, 2.4, 50, 150), grey=-32.0, rust=0).values - drawn_strip(rust=0).values
    strip = Strip(**{**vars(base), "values": base.values + floor})
    [whole] = marks_of([ribbon(strip, (43.75, 44.25), 50, 150)], ground(strip))
    assert whole.width_mm == pytest.approx(2.4, abs=0.3)


def test_lips_that_come_out_as_one_wall_give_way_to_those_a_ribbon_had() -> None:
    """The wall of a wide, flat groove is so dark and crisp that it looks like a groove."""
    base = drawn_strip((44.3, 0.6, 50, 150), grey=-60.0, rust=0)
    floor = drawn_strip((45.2, 2.4, 50, 150), grey=-14.0, rust=0).values - drawn_strip(rust=0).values
    strip = Strip(**{**vars(base), "values": base.values + floor})
    wide, alone = (ribbon(strip, (44.0, lip), 50, 150) for lip in (46.4, 44.6))

    class OneWall(Ground):
        def refine(self, ribbon: Ribbon) -> Ribbon:
            return alone

    on = OneWall(**vars(ground(strip)))
    assert (one := on.follow(alone)) is not None and is_groove(one, strip.px_mm)
    assert (track := _mark(wide, on)) is not None
    assert track.width_mm == pytest.approx(2.4, abs=0.3)


def test_a_groove_is_not_lost_in_what_does_not_stand() -> None:
    class Beside(Ground):
        def stands(self, track: Track) -> bool:
            return track.width_mm < 3.0

    strip = drawn_strip((46.0, 4.0, 50, 150), rust=0)
    low, high = (replace(wall(at, 50, 150), outer_mm=wall(at, 50, 150).inner_mm + 2.0) for at in (44.0, 46.0))
    assert _one(low, high, ground(strip)) is not None
    assert _one(low, high, Beside(**vars(ground(strip)))) is None
