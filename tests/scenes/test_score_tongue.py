"""The lip's scorer: which outlines are of one lip, and what a washed lip told as sound counts as."""

from __future__ import annotations

import numpy as np
import pytest

from wearvision.scenes.score_tongue import Tally, _ends, add_photo

X = np.linspace(0.0, 500.0, 101)
DEEP = np.where(X > 400, (X - 400) * 0.6, 0.0)
"""A bay at the lip's end: its foot lies further from the first corner than the second corner does."""


def outline(away: np.ndarray) -> np.ndarray:
    return np.vstack([np.column_stack([X, away]), np.column_stack([X[::-1], 0 * X])])


def record(away: np.ndarray, kind: str) -> dict[str, object]:
    truth = {"max_deviation": float(away.max()) / 10, "rms_deviation": 1.0, "area": 10.0}
    finding = {"kind": kind, "outline_px": outline(away).tolist(), "truth": truth}
    return {"photo": "a.jpg", "mm_per_px": 0.1, "summary": {"lip_length_mm": 50.0}, "findings": [finding]}


def told(value: float, findings: list[dict[str, object]]) -> dict[str, object]:
    top = {"value": value, "u95": 0.3}
    return {"usable": True, "findings": findings, "summary": {"max_deviation": top}, "not_assessed": []}


@pytest.mark.parametrize("away", [DEEP, DEEP[::-1], 0 * X])
def test_the_ends_are_the_corners(away: np.ndarray) -> None:
    assert np.sort(_ends(outline(away))[:, 0]) == pytest.approx([0, 500])
    assert _ends(outline(away))[:, 1] == pytest.approx([0, 0])


def test_a_lip_washed_at_its_end_is_the_same_lip() -> None:
    tally = Tally()
    quantities = {name: {"value": 6.0, "u95": 0.5} for name in ("max_deviation", "area")}
    found = {"kind": "washout", "outline_px": outline(DEEP * 0.9).tolist(), "quantities": quantities}
    add_photo(tally, record(DEEP, "washout"), told(6.0, [found]))
    assert (tally.found, tally.false, tally.called_sound) == (1, 0, 0)


def test_a_washed_lip_called_sound_is_counted() -> None:
    tally = Tally()
    add_photo(tally, record(DEEP, "washout"), told(0.1, []))
    add_photo(tally, record(0.1 * DEEP, "washout"), told(0.4, []))
    assert (tally.missed, tally.called_sound) == (2, 1)
