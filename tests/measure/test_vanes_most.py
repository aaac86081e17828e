"""What most vanes share counts for more than what one of them shows, and a clear edge is placed at its peak."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.face_kit import drawn_plane
from tests.measure.vanes_kit import DISC_MM, DrawnVane, draw_vanes
from wearvision.measure.chart import chart_of
from wearvision.measure.plane import Array
from wearvision.measure.vanes import bends
from wearvision.measure.vanes.settle import Settled, _Search, settle
from wearvision.measure.vanes.strips import CAP, Strips
from wearvision.measure.vanes.trace import _beyond, _levelled, _placed

ACROSS_MM = np.arange(-12.0, 12.01, 0.2)


def shared(tips_mm: tuple[float, ...], seed: int = 3) -> Array:
    """What most of some vanes of 40 stations share, each a pair of edges that leaves the line by so much at its tip."""
    rng, share = np.random.default_rng(seed), np.linspace(0.0, 1.0, 40)
    signed = rng.normal(0, 0.1, size=(len(tips_mm), 40, len(ACROSS_MM))).astype(np.float32)
    for n, tip in enumerate(tips_mm):
        shift = bends.shifts(np.array([[tip, 0.4, 1.8, 0.0]]), share)[0]
        for side in (-2.0, 2.0):
            signed[n, np.arange(40), np.rint((shift + side + 12.0) / 0.2).astype(int)] += np.sign(side)
    none = np.zeros((*signed.shape, 2))
    strips = Strips(values=signed, seen=none[..., 0] > -1, across_mm=ACROSS_MM, left=none[:, :, 0])
    pair: Array = np.tile([-2.0, 2.0], (40, 1))
    tried = bends._tried()
    both = np.stack([signed, np.zeros_like(signed)], axis=1)  # no roughness is seen
    worth = bends._Ground.of(both, strips, share, pair, 1.5).softened().tried(tried)
    return bends._of_most(tried, worth, share)


@pytest.mark.parametrize("tips_mm", [(5.0, 5.0, 0.0), (0.0, -4.0, -4.0, -4.0)])
def test_what_all_vanes_but_one_do_is_told(tips_mm: tuple[float, ...]) -> None:
    assert shared(tips_mm)[-1] == pytest.approx(np.median(tips_mm), abs=0.8)


@pytest.mark.parametrize("tips_mm", [(0.0, 0.0, 0.0), (0.0, 6.0, 0.0), (0.0, 0.0, -3.0, 0.0, 0.0, 4.0)])
def test_what_one_or_two_of_many_do_is_not(tips_mm: tuple[float, ...]) -> None:
    assert not shared(tips_mm).any()


def test_a_line_that_most_vanes_leave_moves_to_them_where_they_are_clearer_there() -> None:
    plane = drawn_plane(mm_per_px=0.06, size_px=(2200, 2000))
    image = draw_vanes(plane, (DrawnVane(shift_mm=5.0), DrawnVane(), DrawnVane()))
    found = settle(image, plane, (), 0.8, diameter_mm=2 * DISC_MM, number=3)
    assert isinstance(found, Settled)
    search = _Search(
        gray=image, plane=plane, chart=chart_of(image, plane, ()), cards_px=(), blur_px=0.8, diameter_mm=2 * DISC_MM,
        number=3, thickness_mm=None,
    )  # fmt: skip
    line, along = found.layout.line, found.traces.line.along_mm
    drawn = replace(found.layout, line=line.moved(-4.0 * (line.along_mm / along[-1]) ** 2))
    off = replace(found.traces, path_mm=np.full_like(found.traces.path_mm, 4.0), most_mm=4.0 * (along / along[-1]) ** 2)
    assert off.clearness() == 0
    assert found.traces.clearness() > 2.5
    _, traces, layout = search._of_most((0.5, off, drawn))
    assert traces.clearness() > 2.5
    away = np.hypot(*(layout.line.points_mm[-5] - line.points_mm).T)
    assert away.min() < 0.5
    seen, none = (0.5, found.traces, found.layout), np.zeros_like(off.most_mm)
    assert search._of_most(seen) is seen or found.traces.most_mm.any()
    assert search._of_most((0.5, replace(off, most_mm=none), drawn))[2] is drawn


def test_a_clear_edge_is_placed_at_its_peak() -> None:
    """Beside the place where it is expected, and far stronger than what counts for most."""
    size = np.linspace(0.0, 8 * CAP, 200, dtype=np.float32)
    level = _levelled(size)
    assert (np.diff(level) > 0).all()
    assert np.allclose(level[size <= CAP], size[size <= CAP])
    across = np.arange(-4.0, 4.01, 0.16)
    bell = 8 * CAP * np.exp(-0.5 * ((across - 0.4) / 0.35) ** 2)
    values = _levelled(np.tile(bell, (1, 60, 1)).astype(np.float32))
    none = np.zeros((1, 60, 2))
    strips = Strips(values=values, seen=np.ones(values.shape, dtype=bool), across_mm=across, left=none)
    assert np.abs(_placed(values, strips, np.zeros((1, 60)))[0][0] - 0.4).max() < 0.03


@pytest.mark.parametrize(("end_mm", "more"), [(52.0, 8), (45.0, 9), (20.0, 20)])
def test_a_line_is_drawn_out_to_the_rim(end_mm: float, more: int) -> None:
    points = np.column_stack([np.arange(10.0, end_mm + 1), np.zeros(int(end_mm) - 9)])
    longer = _beyond(points, 54.5)
    assert len(longer) == len(points) + more
    assert np.allclose(np.diff(longer, axis=0), [1.0, 0.0])
