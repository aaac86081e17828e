"""`history` and `orders` as a new user types them: exit codes, one line on stderr, data on stdout."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from tests import history_kit as kit
from tests.cli_kit import Run, in_process
from wearvision.app.shop import open_shop


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Run:
    """The command line in this process, in a folder whose ledger holds a casing of three inspections."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "100")
    with open_shop(tmp_path / "wearvision-data", create=True) as shop:
        kit.three(shop.ledger)
        kit.laid(shop.ledger, "Spring 26", "2026-03-02", tag="I-7")

    return in_process(monkeypatch, capsys)


def test_history_in_words_and_json(run: Run) -> None:
    code, out, _ = run("history", kit.TAG)
    assert code == 0
    assert "Wear rate 0.120" in out
    code, out, err = run("history", kit.TAG, "--json")
    assert (code, err) == (0, "")
    assert json.loads(out)["lines"][0]["clock"] == "running hours"


def test_a_correction_is_kept_with_name_and_reason(run: Run) -> None:
    words = ("history", kit.TAG, "--correct", "Spring 24", "--hours", "4400", "--json")
    assert run(*words)[0] == 3
    code, out, _ = run(*words, "--by", "C. Lead", "--reason", "misread")
    assert code == 0
    assert json.loads(out)["lines"][0]["inspections"][0]["running_hours"] == 4400
    assert run("check")[0] == 0


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("history", "C-9"), 3, "no such part"),
        (("history", "I-7"), 4, "no inspection of I-7 is confirmed"),
        (("history", kit.TAG, "--rpm", "2950"), 2, "--next-rpm"),
        (("history", kit.TAG, "--rpm", "0", "--next-rpm", "9"), 3, "above 0 rpm"),
        (("history", kit.TAG, "--hours", "5"), 2, "--correct"),
        (("history", kit.TAG, "--correct", "X", "--hours", "5", "--by", "A", "--reason", "b"), 3, "Spring 24"),
        (("history", kit.TAG, "--correct", "Spring 24", "--hours", "nan", "--by", "A", "--reason", "b"), 3, "hours"),
        (("orders", "--crate", "X"), 3, "no part came in with this crate"),
        (("orders", "--data", "nowhere"), 3, "nowhere"),
    ],
)
def test_what_cannot_be_is_one_line_and_its_code(run: Run, words: tuple[str, ...], code: int, says: str) -> None:
    got, out, err = run(*words)
    assert (got, out) == (code, "")
    assert says in err
    assert len(err.strip().splitlines()) == 1


def test_orders_in_words_json_and_files(run: Run, tmp_path: Path) -> None:
    code, out, err = run("orders", "--crate", "Spring 26")
    assert code == 0
    assert [line.split()[:2] for line in out.splitlines()] == [["open", "I-7"], ["reuse", kit.TAG]]
    assert "orders.csv" in err
    table = list(csv.DictReader((tmp_path / "wearvision-out/orders.csv").read_text(encoding="utf-8").splitlines()))
    assert [r["tag"] for r in table] == ["I-7", kit.TAG]
    assert (tmp_path / "wearvision-out/orders.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    code, out, _ = run("orders", "--json")
    assert code == 0
    assert [r["action"] for r in json.loads(out)["rows"]] == ["open", "reuse"]
