"""Shapes on a map of blocks and the ways through them, against scipy's labels and geodesic lengths."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearvision.measure.edges import Grid
from wearvision.measure.finders.land_tone import sample
from wearvision.measure.finders.shapes import Shapes, ways
from wearvision.measure.unwrap import Strip

EIGHT = np.ones((3, 3), dtype=int)
WORTH = np.arange(256) / 10.0


@settings(max_examples=40)
@given(st.integers(0, 2**32 - 1), st.integers(4, 40), st.integers(4, 40), st.floats(0.05, 0.7))
def test_shapes_are_what_scipy_labels(seed: int, high: int, wide: int, share: float) -> None:
    from scipy import ndimage

    rng = np.random.default_rng(seed)
    depth = rng.integers(1, 255, (high, wide)).astype(np.uint8)
    level = int(255 * (1 - share))
    label, count = ndimage.label(depth > level, EIGHT)
    shapes = Shapes.of(depth, level, WORTH)
    assert len(shapes.area) == count
    assert (shapes.label == label).all()
    every = np.arange(1, count + 1)
    assert np.allclose(shapes.gain, ndimage.sum_labels(WORTH[depth], label, every)) if count else True
    for k, (rows, columns) in enumerate(ndimage.find_objects(label)):
        assert tuple(shapes.low[k]) == (columns.start, rows.start)
        assert tuple(shapes.high[k]) == (columns.stop - 1, rows.stop - 1)
        assert shapes.area[k] == (label == k + 1).sum()


@settings(max_examples=40)
@given(st.integers(0, 2**32 - 1))
def test_a_way_goes_from_end_to_end_in_steps_of_one_on_its_shape(seed: int) -> None:
    """No shorter way joins its ends, and nothing lies farther from its last: by scikit-image's least-cost path."""
    from skimage.graph import MCP

    rng = np.random.default_rng(seed)
    grown = np.zeros((24, 24), np.uint8)
    at = np.array([12, 12])
    for _ in range(90):
        grown[tuple(at)] = 1
        at = np.clip(at + rng.integers(-1, 2, 2), 0, 23)
    way = ways(grown, 100.0)[-1].astype(int)
    assert (np.abs(np.diff(way, axis=0)).max(axis=1) == 1).all()
    assert grown[way[:, 1], way[:, 0]].all()
    steps = MCP(np.where(grown > 0, 1.0, np.inf), fully_connected=True).find_costs([way[-1, ::-1]])[0] - 1
    assert steps[tuple(way[0, ::-1])] == len(way) - 1 == steps[grown > 0].max()


@settings(max_examples=20)
@given(st.integers(0, 2**32 - 1))
def test_places_of_a_strip_are_straight_between_columns(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values: Grid = rng.normal(0, 1, (6, 30)).astype(np.float32)
    strip = Strip(values=values, valid=np.ones(values.shape, bool), centre_mm=np.zeros(2), first_deg=0.0, step_deg=60.0,
                  start_mm=20.0, step_mm=0.25, px_mm=0.2)  # fmt: skip
    radius, rows = rng.uniform(19.0, 27.2, (4, 9)), rng.integers(0, 6, 4)
    got = sample(values, strip, radius, rows)
    columns = strip.mm(np.arange(30.0))
    for k, row in enumerate(rows):
        assert got[k] == pytest.approx(np.interp(radius[k], columns, values[row]), abs=5e-3)
