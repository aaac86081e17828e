"""What speaks for a groove, against plain numpy and SciPy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import uniform_filter1d

from tests.measure.test_ridges import drawn_strip
from wearvision.measure.edges import Grid, along
from wearvision.measure.evidence import COLUMNS, LEAST_CELLS, ROWS, evidence, means_of_rows
from wearvision.measure.evidence import _cut as cut
from wearvision.measure.evidence import _level as level_of
from wearvision.measure.evidence import _row_medians as row_medians
from wearvision.measure.evidence import _rows_along as rows_along
from wearvision.measure.evidence import _usual as usual_of


def noise(*shape: int, seed: int = 1) -> Grid:
    return np.random.default_rng(seed).normal(size=shape).astype(np.float32)


def test_means_of_rows_are_numpys_and_clipped_to_each_rows_limit() -> None:
    image, rows = noise(9, 30), np.array([[0, 1, 2], [7, 8, 0]])
    limit = np.abs(noise(9, seed=2))
    assert means_of_rows(image, rows) == pytest.approx(image[rows].mean(axis=1), abs=1e-6)
    held = np.clip(image, -limit[:, None], limit[:, None])
    assert means_of_rows(image, rows, limit) == pytest.approx(held[rows].mean(axis=1), abs=1e-6)


@pytest.mark.parametrize("rows", [540, 41])
def test_the_mean_along_is_the_running_mean_of_edges(rows: int) -> None:
    strip = drawn_strip()
    part = replace(strip, values=strip.values[:rows], valid=strip.valid[:rows])
    at = rows_along(part)
    plain = along(part.values, at.shape[1], closed=part.closed)
    assert means_of_rows(part.values, at) == pytest.approx(plain, abs=1e-4)


@pytest.mark.parametrize("wide", [5, 31, 95])
def test_levels_agree_with_scipy(wide: int) -> None:
    """Oracle: `uniform_filter1d`, mirrored at the ends, also where the window is wider than the image."""
    image = noise(60, 12)
    at = np.pad(np.arange(60), wide // 2 + 1, mode="symmetric")[1:]
    open_end = np.full((1, 12), np.inf, dtype=np.float32)
    plain = uniform_filter1d(image.astype(np.float64), wide, axis=0, mode="reflect")
    assert level_of(image, image, open_end, at) == pytest.approx(plain, abs=1e-6)
    near, reach = noise(60, 12, seed=3), np.abs(noise(1, 12, seed=4))
    held = np.clip(image, near - reach, near + reach).astype(np.float64)
    assert level_of(image, near, reach, at) == pytest.approx(uniform_filter1d(held, wide, axis=0), abs=1e-6)


@pytest.mark.parametrize("columns", [1, 2, 7, 166])
def test_medians_of_rows_are_numpys(columns: int) -> None:
    values = noise(5, columns)
    assert np.array_equal(row_medians(values), np.median(values, axis=1, keepdims=True))


def test_parts_hold_every_place_once() -> None:
    for count, size in ((180, 6), (47, 6), (3, 8)):
        parts = cut(count, size)
        assert sorted(parts[parts < count].tolist()) == list(range(count))
        assert len(parts) == max(1, count // size)


def test_the_usual_size_comes_from_what_is_seen() -> None:
    strip = drawn_strip()
    cells = np.full((180, 200), 0.5, dtype=np.float32)
    seen = np.ones(cells.shape, dtype=bool)
    assert usual_of(cells, seen, strip) == pytest.approx(1.4826 * 0.5 + 2e-4, abs=1e-5)
    cells[:, 100:], seen[:, 100:] = 50.0, False
    assert usual_of(cells, seen, strip)[:, :60] == pytest.approx(1.4826 * 0.5 + 2e-4, abs=1e-5)
    few = np.zeros_like(seen)
    few[0, : LEAST_CELLS - 1] = True
    assert np.isfinite(usual_of(cells, few, strip)).all()


def test_evidence_lies_on_the_cells_of_the_search_and_turns_with_the_strip() -> None:
    strip = drawn_strip((45.0, 2.0, 50, 150))
    found, by = evidence(strip), 12 * ROWS
    rows, columns = strip.values.shape
    assert found.plain.shape == found.gray.shape == (rows, columns)
    assert found.z.shape == found.off.shape == (rows // ROWS, columns // COLUMNS)
    assert len(found.usual) == rows
    assert {image.dtype for image in (found.gray, found.plain, found.z, found.off)} == {np.dtype(np.float32)}
    turned = evidence(replace(strip, values=np.roll(strip.values, by, axis=0)))
    assert turned.plain == pytest.approx(np.roll(found.plain, by, axis=0), abs=1e-6)
    assert turned.off == pytest.approx(np.roll(found.off, 12, axis=0), abs=1e-4)


def test_a_mark_shows_at_its_edges_and_is_unlike_the_face_within() -> None:
    strip = drawn_strip((45.0, 2.0, 50, 150), rust=0)
    found = evidence(strip)
    column = (45.0 - strip.start_mm) / strip.step_mm / COLUMNS
    half = 1.0 / strip.step_mm / COLUMNS
    rows = slice(40, 90)
    for edge in (column - half, column + half):
        at = round(edge)
        assert np.median(found.z[rows, at - 1 : at + 2].max(axis=1)) > 5
    within = slice(round(column - half) + 2, round(column + half) - 1)
    assert np.median(found.off[rows, within]) > 3
    assert np.median(found.off[rows, : round(column - 3 * half)]) < 1.6


def test_what_is_hidden_speaks_for_nothing() -> None:
    strip = drawn_strip((45.0, 2.0, 50, 150))
    valid = strip.valid.copy()
    valid[200:300, 100:250] = False
    found = evidence(replace(strip, valid=valid))
    hidden = (slice(200 // ROWS + 1, 300 // ROWS - 1), slice(100 // COLUMNS, 250 // COLUMNS))
    assert not found.z[hidden].any()
    assert not found.off[hidden].any()


def test_a_strip_of_part_of_a_lap_repeats_its_ends() -> None:
    strip = drawn_strip((45.0, 2.0, 50, 150))
    part = replace(strip, values=strip.values[100:302], valid=strip.valid[100:302])
    found = evidence(part)
    assert not part.closed
    assert len(found.z) == len(range(ROWS // 2, 202, ROWS))
    assert np.isfinite(found.z).all()
    first = evidence(strip).plain[110:290]
    assert np.median(np.abs(found.plain[10:190] - first)) < 1e-6
