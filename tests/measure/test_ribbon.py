"""How far a ribbon goes on, against the same said with numpy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearvision.measure.ribbon import DROP, HEAT, NEAR, _reach


@given(seed=st.integers(0, 9999), count=st.integers(0, 120), lean=st.floats(-0.5, 0.5))
def test_it_ends_at_the_best_sum_before_a_long_fall(seed: int, count: int, lean: float) -> None:
    said = np.random.default_rng(seed).normal(lean, 1.5, count)
    total = np.concatenate([[0.0], np.cumsum(said)])
    fallen = np.maximum.accumulate(total) - total
    stop = int(np.argmax(fallen > DROP)) if (fallen > DROP).any() else len(total)
    best = int(np.argmax(total[:stop]))
    weight = np.exp((total - total.max()) / HEAT)
    far = np.abs(np.arange(len(total)) - best).astype(np.float64)
    doubt = np.sqrt(np.sum(weight * np.where(far > NEAR, far, 0.0) ** 2) / np.sum(weight))
    assert _reach(said) == (best, pytest.approx(doubt))
