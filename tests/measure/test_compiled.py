"""A compiled loop gives what the same loop gives as plain Python, and is there where nothing can be kept."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numba import config
from numpy.typing import NDArray

from wearvision.measure import compiled as module
from wearvision.measure.compiled import compiled, kept_in, while_compiling


def running(values: NDArray[np.float64], weight: float) -> NDArray[np.float64]:
    out = np.zeros(len(values))
    total = 0.0
    for i in range(len(values)):
        total = weight * total + values[i] / (i - 2)
        out[i] = total
    return out


def test_the_same_to_the_bit_and_division_by_nought_as_in_numpy() -> None:
    values = np.random.default_rng(3).normal(size=50)
    with np.errstate(divide="ignore", invalid="ignore"):
        plain = running(values, 0.9)
    np.testing.assert_array_equal(compiled(running)(values, 0.9), plain)
    assert np.isinf(plain[2:]).all()


@pytest.fixture
def nowhere(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine on which nothing can be written."""
    kept = module.njit

    def njit(*, cache: bool = False, **how: object) -> object:
        if cache:
            raise RuntimeError("cannot cache function: no locator available")
        return kept(**how)

    monkeypatch.setattr(module, "njit", njit)


@pytest.mark.usefixtures("nowhere")
def test_where_nothing_can_be_kept_it_is_compiled_all_the_same() -> None:
    assert np.isfinite(compiled(running)(np.ones(2), 0.5)).all()
    assert kept_in() is None


def test_where_it_is_kept_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(config, "CACHE_DIR", str(tmp_path))
    assert str(kept_in()).startswith(str(tmp_path))


def test_compiling_is_told_and_only_while_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(config, "CACHE_DIR", str(tmp_path))  # nothing is kept there yet
    heard: list[str] = []
    with while_compiling(lambda: heard.append("again")):
        compiled(lambda x: x + 1.0)(2.0)
    assert heard
    before = len(heard)
    compiled(lambda x: x + 2.0)(2.0)
    assert len(heard) == before
