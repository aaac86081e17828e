"""The prompts: the box is empty, what is committed stays, leaving loses nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests import app_kit as app
from tests import frames_kit
from tests import sheet_kit as kit
from wearvision.app.desk import State, read_prompts
from wearvision.errors import UsageError

Answer = str | type[BaseException]


def sit(folder: Path, *answers: Answer) -> tuple[State, list[str], list[str]]:
    """A person at the prompts; after the last answer the input ends. Gives state, what was said, what was asked."""
    said: list[str] = []
    asked: list[str] = []
    script = iter(answers)

    def ask(prompt: str) -> str:
        asked.append(prompt)
        answer = next(script, EOFError)
        if isinstance(answer, str):
            return answer
        raise answer

    app.gauges(folder)
    data = folder / "wearvision-data"
    return read_prompts(data, app.TAG, folder / "gauges.toml", "A. Fitter", say=said.append, ask=ask), said, asked


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with app.bench(tmp_path) as shop:
        app.lay(shop, kit.finding("G1", sealed_mm=0.6))
    return tmp_path


def test_an_evening_at_the_bench(folder: Path) -> None:
    """Ways of typing, a slip, an answer out of range; then everything is in and the estimate opens."""
    first, said, asked = sit(folder, "y", "0.55 mm", "0.55", "1/16", "1.62 mm", "q")
    assert first.kept == 3
    assert first.opened == ()
    assert any("number without a unit" in line for line in said)
    assert any("understood: 1/16 in = 1.588 mm" in line for line in said)
    assert any("once more, without looking" in line for line in said)
    assert [line[:5] for line in asked[1:5]] == ["  [1]", "  [2]", "  [2]", "  [2]"]
    assert not any("0.60" in line or "estimate" in line for line in [*said, *asked])
    second, said, _ = sit(folder, "y", "0.3 mm", "9", "1", "1", "0.3 mm", "0.3 mm", "1", "1", "1", "1")
    assert any("a number from 1 to" in line for line in said)
    assert second.missing == ()
    (opened,) = second.opened
    assert "sealed estimate 0.60 ± 0.20 mm, deepest reading 1.620 mm" in opened
    assert sit(folder)[0].opened == ()


@pytest.mark.parametrize("end", ["q", "Quit", EOFError, KeyboardInterrupt])
def test_leaving_keeps_what_was_committed(folder: Path, end: Answer) -> None:
    state, _, _ = sit(folder, "y", "0.55 mm", end)
    assert state.kept == 1
    with app.bench(folder) as shop:
        assert len(shop.ledger.load(app.TAG).log.entries) == 1


def test_a_gauge_that_was_not_zeroed_is_not_used(folder: Path) -> None:
    state, said, _ = sit(folder, "n", "y", "0.55 mm")
    assert any("zero it first" in line for line in said)
    assert state.kept == 1


def test_an_entry_the_ledger_refuses_is_asked_again(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A gauge out of calibration: said at once, and the person may go on with another."""
    monkeypatch.setattr(frames_kit, "GAUGES", frames_kit.GAUGES.replace("2099", "2001"))
    state, said, _ = sit(folder, "y", "0.55 mm", "0.55 mm", "q")
    assert state.kept == 0
    refused = [line for line in said if line.startswith("  not kept: gauge DG-07 is out of calibration")]
    assert len(refused) == 2


def test_no_gauges_no_prompts(folder: Path) -> None:
    with pytest.raises(UsageError, match="no gauges are named"):
        read_prompts(folder / "wearvision-data", app.TAG, None, "A", say=print, ask=input)
