"""The search for ribbons, on drawn strips."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.filters import sato
from skimage.measure import label, regionprops

from wearvision.measure.evidence import evidence
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.ridges import find_ribbons
from wearvision.measure.unwrap import Strip

LAP, COLUMNS = 540, 400
STEP_DEG, STEP_MM = 360 / LAP, 0.084


def drawn_strip(*marks: tuple[float, float, float, float], grey: float = -40.0, seed: int = 1, rust: int = 25) -> Strip:
    """A strip with dark bands of (radius, width, first degree, degrees), taken round the lap."""
    rng = np.random.default_rng(seed)
    values = rng.normal(140, 3, (LAP, COLUMNS))
    values += 3 * np.sin(np.arange(COLUMNS) * STEP_MM * 2 * np.pi / 0.8)
    radius = 30 + STEP_MM * np.arange(COLUMNS)
    row, column = np.mgrid[0:LAP, 0:COLUMNS]
    for _ in range(rust):
        away_row = (row - rng.integers(0, LAP)) / rng.integers(2, 12)
        away_column = (column - rng.integers(0, COLUMNS)) / rng.integers(10, 45)
        ragged = 1 + 0.4 * np.sin(row / 3 + column / 11) * np.cos(column / 7 - row / 5)
        values[np.hypot(away_row, away_column) < ragged] -= 35
    for at, width, first_deg, arc_deg in marks:
        inside = np.clip((width / 2 + STEP_MM / 2 - np.abs(radius - at)) / STEP_MM, 0, 1)
        first = round(first_deg / STEP_DEG)
        values[np.arange(first, first + round(arc_deg / STEP_DEG)) % LAP] += grey * inside
    return Strip(
        values=values.astype(np.float32), valid=np.ones(values.shape, dtype=bool), centre_mm=np.zeros(2), first_deg=0.0,
        step_deg=STEP_DEG, start_mm=30.0, step_mm=STEP_MM, px_mm=0.12,
    )  # fmt: skip


def ribbons(strip: Strip) -> list[Ribbon]:
    return find_ribbons(strip, evidence(strip), max_width_mm=6.0, least=40.0)


def told(strip: Strip, ribbon: Ribbon) -> tuple[float, float, float]:
    """Radius, width in mm, arc in degrees."""
    inner, outer = strip.mm(ribbon.inner), strip.mm(ribbon.outer)
    return float(np.mean(inner + outer) / 2), float(np.median(outer - inner)), len(ribbon.rows) * strip.step_deg


@pytest.mark.parametrize("first", [50, 300])
def test_a_mark_is_found_wherever_the_strip_begins(first: int) -> None:
    strip = drawn_strip((45.0, 2.0, first, 150))
    radius, width, arc = told(strip, ribbons(strip)[0])
    assert radius == pytest.approx(45.0, abs=0.25)
    assert width == pytest.approx(2.0, abs=0.35)
    assert arc == pytest.approx(150.0, abs=8)


def test_a_mark_all_round_is_full() -> None:
    strip = drawn_strip((45.0, 1.2, 0, 360))
    best = ribbons(strip)[0]
    assert best.full
    assert len(best.rows) == LAP


def test_two_marks_side_by_side_stay_two() -> None:
    strip = drawn_strip((42.0, 1.5, 50, 150), (45.5, 1.0, 125, 150))
    found = sorted(told(strip, r) for r in ribbons(strip)[:2])
    assert [f[0] for f in found] == pytest.approx([42.0, 45.5], abs=0.2)


def test_rust_scores_far_less_than_a_mark() -> None:
    rust = ribbons(drawn_strip(seed=4, rust=60))
    mark = ribbons(drawn_strip((45.0, 2.0, 50, 150), seed=4, rust=60))
    assert mark[0].score > 4 * max((r.score for r in rust), default=0.0)


def test_regions_agree_with_scikit_image() -> None:
    """Width and length of a ribbon against the bounding box of the same drawn band (skimage regionprops)."""
    strip = drawn_strip((45.0, 2.4, 75, 130), rust=0)
    band = max(regionprops(label(strip.values < 118)), key=lambda region: region.area)
    low_row, low, high_row, high = band.bbox
    best = ribbons(strip)[0]
    assert best.rows[0] % LAP == pytest.approx(low_row, abs=6)
    assert best.rows[-1] % LAP == pytest.approx(high_row - 1, abs=6)
    assert float(np.median(best.outer - best.inner)) == pytest.approx(high - low, abs=3)


@pytest.mark.parametrize(("width_mm", "grey"), [(1.0, -40.0), (2.4, -25.0)])
def test_centrelines_agree_with_the_ridges_of_sato(width_mm: float, grey: float) -> None:
    """Oracle: the crest of scikit-image's `sato` (Sato et al., 1998) at the band's own scale, row by row."""
    strip = drawn_strip((45.0, width_mm, 75, 130), rust=8, grey=grey)
    best = ribbons(strip)[0]
    ridge = sato(strip.values, sigmas=[width_mm / STEP_MM / 2], black_ridges=True)
    rows = best.rows[10:-10] % LAP
    near = np.abs(np.arange(COLUMNS) * STEP_MM + 30.0 - 45.0) < 3
    crest = np.argmax(np.where(near, ridge[rows], -1.0), axis=1)
    ours = ((best.inner + best.outer) / 2)[10:-10]
    assert np.median(np.abs(crest - ours)) * STEP_MM < 0.1
    assert np.mean(np.abs(crest - ours) * STEP_MM < 0.25) > 0.9


@pytest.mark.parametrize(("most_mm", "radii"), [(3.0, [40.0]), (3.4, [40.0, 50.0])])
def test_a_mark_as_wide_as_is_looked_for_is_not_told_and_hides_nothing(most_mm: float, radii: list[float]) -> None:
    strip = drawn_strip((50.0, 3.0, 50, 150), (40.0, 1.5, 50, 150), rust=0)
    found = find_ribbons(strip, evidence(strip), max_width_mm=most_mm, least=40.0)
    assert sorted(told(strip, r)[0] for r in found) == pytest.approx(radii, abs=0.3)
