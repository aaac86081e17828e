"""The list of photos to take again, beside the board: what to do, and the numbers behind it."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from wearvision.app.files import write_whole
from wearvision.pages.page import cell

NUMBERS = ("limit_mm", "mm_per_px", "mm_per_px_most", "tilt_deg", "tilt_most_deg", "distance_mm")
COLUMNS = ("part", "photo", "view", "code", "say", *NUMBERS)


def retake_rows(part: str, surveys: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """One row per reason to take a photo of a part again."""
    return [
        {"part": part, "photo": s["photo"]["file"], "view": s["view"], "code": r["code"], "say": r["say"]}
        | dict(r.get("numbers", {}))
        for s in surveys for r in s["retake"]
    ]  # fmt: skip


def write_retakes(out: Path, rows: Sequence[Mapping[str, Any]]) -> None:
    """Write `retakes.json` and `retakes.csv` (RFC 4180); both are there, and empty, when nothing is to be retaken."""
    write_whole(out / "retakes.json", json.dumps(list(rows), ensure_ascii=False, indent=1) + "\n")
    text = io.StringIO()
    table = csv.DictWriter(text, COLUMNS, restval="", lineterminator="\r\n")
    table.writeheader()
    table.writerows({name: cell(value) for name, value in row.items()} for row in rows)
    write_whole(out / "retakes.csv", text.getvalue())
