"""Lips from all of a groove's length: against a strip whose lips are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wearvision.measure.evidence import evidence
from wearvision.measure.lips import follow
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.sectors import refine
from wearvision.measure.unwrap import Strip

STEP, ROWS, COLUMNS = 0.07, 540, 400
REACH = 0.15
"""Share of the width: so near the lips are sought afterwards, row by row."""


def strip_of(bands: tuple[tuple[float, float], ...], seed: int = 1) -> Strip:
    """A face with grooves between two columns each: one half of each is dark, which one turns with the angle."""
    rng = np.random.default_rng(seed)
    turn = np.cos(np.linspace(0, 2 * np.pi, ROWS, endpoint=False))[:, None]
    column = np.arange(COLUMNS)[None, :]
    shade = np.zeros((ROWS, COLUMNS))
    for low, high in bands:
        across = (column - (low + high) / 2) / (high - low) * 2
        shade += np.where(np.abs(across) <= 1, -0.3 * np.clip(turn * np.sin(np.pi * across), -0.6, 1), 0)
    values = 120 * np.exp(shade + rng.normal(0, 0.03, shade.shape))
    return Strip(
        values=values.astype(np.float32), valid=np.ones(shade.shape, dtype=bool), centre_mm=np.zeros(2), first_deg=0.0,
        step_deg=360 / ROWS, start_mm=40.0, step_mm=STEP, px_mm=0.1,
    )  # fmt: skip


def on_the_dark_wall(low: float, high: float) -> Ribbon:
    """What a search may bring: the dark wall, which swings from one lip to the other."""
    rows = np.arange(ROWS)
    side = np.cos(2 * np.pi * rows / ROWS)
    middle = (low + high) / 2 + side * (high - low) / 4
    return Ribbon(rows=rows, inner=middle - 4, outer=middle + 4, score=100.0, full=True)


@pytest.mark.parametrize(("low", "high"), [(180.0, 200.0), (150.0, 190.0)])
def test_both_lips_are_found_from_one_dark_wall_that_swings(low: float, high: float) -> None:
    strip = strip_of(((low, high),))
    told = refine(on_the_dark_wall(low, high), evidence(strip), strip, 6.0)
    assert np.median(told.inner) == pytest.approx(low, abs=REACH * (high - low))
    assert np.median(told.outer) == pytest.approx(high, abs=REACH * (high - low))


def test_a_groove_beside_another_is_not_joined_to_it() -> None:
    strip = strip_of(((150.0, 180.0), (200.0, 225.0)))
    told = refine(on_the_dark_wall(150.0, 180.0), evidence(strip), strip, 6.0)
    assert np.median(told.outer) == pytest.approx(180.0, abs=REACH * 30)


def test_what_is_hidden_is_no_part_of_a_groove() -> None:
    strip = strip_of(((150.0, 190.0),))
    hidden = strip.valid.copy()
    hidden[:, 171:] = False
    told = refine(on_the_dark_wall(150.0, 171.0), evidence(strip), replace(strip, valid=hidden), 6.0)
    assert np.median(told.outer) <= 172.5


def test_where_nothing_is_to_see_the_ribbon_stays_narrower_than_allowed() -> None:
    strip = strip_of(())
    ribbon = on_the_dark_wall(180.0, 200.0)
    told = refine(ribbon, evidence(strip), strip, 3.0)
    assert 0 < np.median(told.outer - told.inner) * STEP <= 3.2


def test_a_groove_that_the_view_cuts_ends_with_the_view() -> None:
    """Cells of the search reach a row or two beyond a part of a ring whose rows they do not divide."""
    whole, seen = strip_of(((150.0, 190.0),)), 301
    part = replace(whole, values=whole.values[:seen], valid=whole.valid[:seen])
    rows = np.arange(100, seen + 3)
    ribbon = Ribbon(
        rows=rows, inner=np.full(len(rows), 150.0), outer=np.full(len(rows), 190.0), score=100.0, full=False
    )
    track = follow(part, evidence(part), ribbon, blur_px=0.8)
    assert track is not None
    assert track.deg[-1] <= part.deg(np.array([seen - 1.0]))[0] + 1e-9
