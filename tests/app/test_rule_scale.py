"""A steel rule as the scale, from the file to the result and its words."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import jsonschema
import pytest

from wearvision import app
from wearvision.app.single import Facts, measure_files
from wearvision.crates.crate import read_crate
from wearvision.errors import BadInput
from wearvision.scenes.rules import draw_rule

SCHEMA = json.loads((Path(app.__file__).parent / "measure.schema.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A rule in half millimetres."""
    path = tmp_path_factory.mktemp("photos") / "rule.png"
    cv2.imwrite(str(path), draw_rule(1, 1400).gray)
    return path


def test_result_and_words_of_a_rule(photo: Path) -> None:
    (told,) = measure_files([photo], Facts(view="bore"))
    jsonschema.validate(told.public, SCHEMA)
    scale = told.public["scale"]
    assert scale["source"] == "rule" and scale["board"] is None
    assert scale["rule"]["graduation"] == "half-mm" and not scale["rule"]["stated"]
    assert {"rule", "edge", "height"} <= set(scale["rule"]["along_mm_per_px"]["budget"])
    assert scale["mm_per_px"]["u95"] >= scale["rule"]["along_mm_per_px"]["u95"] * 0.9
    assert "from the rule" in told.words and "graduated in half-mm" in told.words
    assert told.public["usable"]


def test_the_class_stated_is_the_uncertainty_told(photo: Path) -> None:
    first, third = (
        next(iter(measure_files([photo], Facts(view="bore", rule_class=k)))).public["scale"]["rule"]["along_mm_per_px"]
        for k in ("I", "III")
    )
    assert third["budget"]["rule"] / first["budget"]["rule"] == pytest.approx(1.0 / 0.2, rel=1e-6)


def test_a_wrong_statement_leaves_no_scale_and_says_why(photo: Path) -> None:
    (told,) = measure_files([photo], Facts(view="bore", rule="in16"))
    assert told.public["scale"]["source"] is None and not told.public["usable"]
    assert "in16" in told.public["scale"]["unmeasured"]


def test_a_crate_states_its_rule(photo: Path, tmp_path: Path) -> None:
    (tmp_path / "rule.png").write_bytes(photo.read_bytes())
    facts = tmp_path / "crate.toml"
    facts.write_text('[crate]\nrule = "in32"\nrule_class = "I"\n', encoding="utf-8")
    stated = read_crate(tmp_path).photos[0].stated
    assert (stated.rule, stated.rule_class) == ("in32", "I")
    facts.write_text('[crate]\nrule = "inch"\n', encoding="utf-8")
    with pytest.raises(BadInput, match=r"crate.toml:2.*in16"):
        read_crate(tmp_path)
