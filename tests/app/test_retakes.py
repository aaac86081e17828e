"""The list of photos to take again."""

from __future__ import annotations

import csv
import json
from pathlib import Path

from wearvision.app.retakes import COLUMNS, retake_rows, write_retakes

SURVEY = {
    "photo": {"file": "C-1/a.jpg"}, "view": "wear-face",
    "retake": [
        {"code": "too-far", "say": "Too far, go closer.", "numbers": {"mm_per_px": 0.31, "limit_mm": 0.8}},
        {"code": "dark", "say": "Too dark."},
    ],
}  # fmt: skip


def test_each_reason_is_a_row_with_its_numbers(tmp_path: Path) -> None:
    rows = retake_rows("C-1", [SURVEY, {**SURVEY, "retake": []}])
    assert [r["code"] for r in rows] == ["too-far", "dark"]
    write_retakes(tmp_path, rows)
    assert json.loads((tmp_path / "retakes.json").read_text("utf-8")) == rows
    with (tmp_path / "retakes.csv").open(encoding="utf-8", newline="") as file:
        table = list(csv.DictReader(file))
    assert list(table[0]) == list(COLUMNS)
    assert table[0]["mm_per_px"] == "0.31" and table[1]["mm_per_px"] == ""


def test_nothing_to_retake_leaves_empty_lists(tmp_path: Path) -> None:
    write_retakes(tmp_path, [])
    assert json.loads((tmp_path / "retakes.json").read_text("utf-8")) == []
    assert (tmp_path / "retakes.csv").read_text("utf-8").startswith("part,photo,view,code,say")
