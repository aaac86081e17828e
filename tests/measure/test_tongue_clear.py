"""Clearness of upright edges: means and percentiles against OpenCV's and numpy's, edges where they were drawn."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from wearvision.measure.finders.tongue_clear import mean_down, percentile, upright_edges


@pytest.mark.parametrize("run", [1, 3, 8, 11, 39])
def test_means_down_the_columns_are_those_of_opencv(run: int) -> None:
    values = np.random.default_rng(run).normal(size=(40, 23)).astype(np.float32)
    assert mean_down(values, run) == pytest.approx(cv2.blur(values, (1, run)), abs=1e-6)


@pytest.mark.parametrize("share", [0.0, 0.5, 37.0, 50.0, 88.0, 100.0])
@pytest.mark.parametrize("count", [1, 2, 7, 400])
def test_percentiles_are_those_of_numpy(share: float, count: int) -> None:
    values = np.random.default_rng(count).normal(size=count).astype(np.float32)
    assert percentile(values, share) == pytest.approx(float(np.percentile(values, share)), abs=1e-6)


def test_an_upright_edge_is_clear_where_it_is_seen_and_a_level_one_is_not() -> None:
    log = np.zeros((60, 80), dtype=np.float32)
    log[:, 30:] += 1.0
    log[40:] += 1.0
    seen = np.ones(log.shape, dtype=np.bool_)
    seen[:10] = False
    clear = upright_edges(log, seen, 11)
    assert (clear[10:, 29:31] == 1).all() and not clear[:10].any()
    assert not clear[10:, :20].any() and not clear[10:, 40:].any()
