"""The check of everything, and a report's printed head against the ledger it should have come from."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.app_kit import bench, lay
from wearvision.app import checkup
from wearvision.app.checkup import Line, check
from wearvision.app.shop import USUAL_FOLDER
from wearvision.errors import UsageError


def printed(lines: list[Line]) -> Line:
    return next(line for line in lines if line.what == "printed head")


@pytest.fixture
def ledgers(tmp_path: Path) -> tuple[Path, Path, str]:
    """Two ledgers that hold together in themselves, and the head as a report of the first shows it."""
    heads = []
    for name in ("kept", "anew"):
        with bench(tmp_path / name) as shop:
            lay(shop, tag=name)
            heads.append(shop.ledger.chain.head())
    return tmp_path / "kept" / USUAL_FOLDER, tmp_path / "anew" / USUAL_FOLDER, heads[0]


@pytest.mark.parametrize("digits", [16, 24, 64])
def test_a_printed_head_is_found_by_all_or_some_of_its_digits(ledgers: tuple[Path, Path, str], digits: int) -> None:
    kept, _, head = ledgers
    assert printed(check(kept, head=head[:digits].upper())).sound


def test_a_ledger_written_anew_holds_together_but_not_with_the_report(ledgers: tuple[Path, Path, str]) -> None:
    _, anew, head = ledgers
    assert all(line.sound for line in check(anew))
    line = printed(check(anew, head=head))
    assert not line.sound and line.exit_code == 5 and head in line.found


@pytest.mark.parametrize("head", ["", "abc", "g" * 64, "%" * 20, "a" * 65])
def test_what_is_no_head_is_a_usage_error(tmp_path: Path, head: str) -> None:
    with pytest.raises(UsageError, match="16 or more"):
        check(tmp_path, head=head)


def test_where_the_measuring_code_is_kept_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def line() -> Line:
        return next(line for line in check(tmp_path) if line.what == "measuring code")

    assert line().sound and line().found.startswith("kept in ")
    monkeypatch.setattr(checkup, "kept_in", lambda: None)
    assert not line().sound and "NUMBA_CACHE_DIR" in line().found
