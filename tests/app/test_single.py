"""Facts as the command line gives them."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

import wearvision.app as app
from wearvision.app.measuring import measure_photo
from wearvision.app.single import Facts, words
from wearvision.crates.crate import CratePhoto, read_crate
from wearvision.errors import UsageError
from wearvision.rules.severity import SEVERITY


def test_drawing_sizes_come_by_name_or_by_their_own_flag() -> None:
    stated = Facts(inner_mm=90.0, sizes=("vane_count=6", "land_width_mm = 12.5")).stated()
    assert stated.nominal == {"face_inner_diameter_mm": 90.0, "vane_count": 6.0, "land_width_mm": 12.5}


@pytest.mark.parametrize("text", ["vane_count", "vane_count=", "vane_count=x", "vane_count=nan", "colour=3", "=3"])
def test_what_is_no_drawing_size_is_refused_with_the_names_there_are(text: str) -> None:
    with pytest.raises(UsageError, match="land_width_mm"):
        Facts(sizes=(text,)).stated()


SCHEMA = json.loads((Path(app.__file__).parent / "measure.schema.json").read_text("utf-8"))
CRATE = read_crate(Path(__file__).parents[2] / "demo_images" / "crate")
OTHER_VIEWS = [photo for photo in CRATE.photos if photo.stated.view != "wear-face"]


@pytest.mark.parametrize("photo", OTHER_VIEWS, ids=[photo.name for photo in OTHER_VIEWS])
def test_every_view_keeps_the_result_format_and_finds_what_is_there(photo: CratePhoto) -> None:
    result = measure_photo(photo.path, photo.stated)
    jsonschema.Draft202012Validator(SCHEMA).validate(result.public)
    kinds = {"gasket-land": "gasket-land", "tongue": "washout", "line-light": "depth-section", "vane-back": "vane",
             "vane-front": "vane", "vane-edge": "vane-section"}  # fmt: skip
    assert kinds[str(photo.stated.view)] in {f["kind"] for f in result.public["findings"]}
    kept = measure_photo(photo.path, photo.stated, for_sheet=True)
    jsonschema.Draft202012Validator(SCHEMA).validate(kept.public)
    severe = {name for names in SEVERITY.values() for name in names} - {"area"}
    assert not severe & {name for f in kept.public["findings"] for name in f["quantities"]}
    assert not severe & set(kept.public["summary"])


def test_marks_on_a_photo_to_be_retaken_are_counted_and_not_told() -> None:
    width = {"value": 5.0, "u95": 5.2, "unit": "mm"}
    groove = {"kind": "groove", "id": "G1", "flags": [], "quantities": {"width": width}}
    photo = {
        "photo": {"file": "face.jpg"}, "part_kind": "casing", "view": "wear-face", "usable": False,
        "scale": {"source": None, "unmeasured": "no card"}, "retake": [{"say": "Blurred: hold still."}],
        "findings": [groove], "not_assessed": [{"what": "depth", "why": "the gauge says how deep"}],
    }  # fmt: skip
    told = words(photo)
    assert "Blurred: hold still." in told
    assert "1 mark found; none counts until the photo is taken again" in told
    assert "width" not in told and "not assessed" not in told
    assert "groove G1: width up to 11 mm" in words({**photo, "usable": True, "retake": []})
