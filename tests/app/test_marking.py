"""Pits marked roughly, from the file of marks to the figures on record."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.measure.spot_kit import DrawnSpot, filled, iou, spot
from wearvision.app.marking import mark_json, read_marks
from wearvision.app.measuring import measure_photo
from wearvision.errors import BadInput, NeedsPerson
from wearvision.measure.snap import grown
from wearvision.stated import Stated

STATED = Stated(part_kind="casing", view="wear-face", mm_per_px=0.1)


@pytest.fixture(scope="module")
def drawn() -> DrawnSpot:
    return spot(2)


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory, drawn: DrawnSpot) -> Path:
    path = tmp_path_factory.mktemp("marking") / "pit.png"
    cv2.imwrite(str(path), drawn.gray)
    return path


def marks_file(folder: Path, *marks: Mapping[str, object]) -> Path:
    path = folder / "marks.json"
    path.write_text(json.dumps(marks), encoding="utf-8")
    return path


def test_a_box_and_taps_go_through_file_record_and_photo(tmp_path: Path, photo: Path, drawn: DrawnSpot) -> None:
    box = {"action": "add", "kind": "pit", "by": "A. Fitter", "box_px": list(grown(tuple(drawn.box), 0.12))}
    taps = {"action": "add", "kind": "pit", "by": "A. Fitter", "taps_px": [drawn.middle.tolist()]}
    marks = read_marks(marks_file(tmp_path, box, taps))
    assert [mark_json(m) for m in marks] == [box, taps]
    found = measure_photo(photo, STATED, marks=marks).public["findings"]
    pits = [f for f in found if f["kind"] == "pit"]
    assert [f["id"] for f in pits] == ["P1", "P2"]
    true_mm2 = float(drawn.inside.sum()) * 0.01
    for pit in pits:
        assert pit["by"] == "A. Fitter"
        assert pit["flags"] == ["marked", "snapped"]
        assert iou(filled(np.array(pit["outline_px"])), drawn.inside) > 0.8
        area = pit["quantities"]["area"]
        assert abs(area["value"] - true_mm2) < area["u95"]
        assert area["budget"]["outline"] > 0


@pytest.mark.parametrize(
    ("place", "error", "word"),
    [
        ({"box_px": [900, 10, 990, 60]}, BadInput, "outside"),
        ({"box_px": [20, 10, 22, 60]}, BadInput, "too small"),
        ({"taps_px": [[20, 10], [5000, 10]]}, BadInput, "outside"),
        ({"taps_px": [[5, 5], [350, 290]]}, NeedsPerson, "stands out"),
    ],
)
def test_a_place_that_holds_nothing_is_told(
    tmp_path: Path, photo: Path, place: dict[str, object], error: type[Exception], word: str
) -> None:
    marks = read_marks(marks_file(tmp_path, {"action": "add", "kind": "pit", "by": "A", **place}))
    with pytest.raises(error, match=word):
        measure_photo(photo, STATED, marks=marks)
