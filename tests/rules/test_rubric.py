from __future__ import annotations

import hashlib
import json
import pickle
import tomllib

import jsonschema
import pytest

from tests import sheet_kit as kit
from wearvision.errors import BadInput
from wearvision.finding import KINDS
from wearvision.rules.decision import Limit
from wearvision.rules.prefilled import prefill
from wearvision.rules.rubric import COMMON_PRACTICE, SHOP_SETTING, Rubric, json_schema
from wearvision.stated import PART_KINDS

INCH = 25.4
# Trade limits, common practice, no source: (part kind, criterion) -> limit.
TRADE = {
    ("casing", "wear-face"): Limit(upper_mm=3.175),
    ("casing", "total-clearance"): Limit(lower_mm=1.524, upper_mm=2.159),
    ("impeller", "face"): Limit(upper_mm=1.5875),
    ("impeller", "back-vanes"): Limit(upper_mm=0.79375),
    ("impeller", "front-clearance"): Limit(lower_mm=0.1524, upper_mm=0.254),
    ("box-cover", "wear-face"): Limit(upper_mm=3.175, inclusive=False),
    ("side-plate", "wear-face"): Limit(upper_mm=3.175),
    ("ring-pair", "diametral-clearance"): Limit(lower_mm=0.508, upper_mm=1.016),
}
CASING = (kit.RUBRICS / "casing.toml").read_text(encoding="utf-8")


def changed(old: str, new: str) -> str:
    assert old in CASING
    return CASING.replace(old, new, 1)


@pytest.mark.parametrize("kind", PART_KINDS)
def test_every_part_kind_has_a_whole_rubric(kind: str) -> None:
    rubric = kit.rubric(kind)
    assert rubric.kind == kind
    assert rubric.digest == hashlib.sha256(rubric.text.encode()).hexdigest()
    assert rubric.criteria("part")
    for criterion in rubric.file.criteria:
        assert criterion.source in (COMMON_PRACTICE, SHOP_SETTING)
        assert "limit" not in criterion.model_fields_set or criterion.loss, criterion.id


@pytest.mark.parametrize(("place", "limit"), TRADE.items(), ids=lambda p: "/".join(p) if isinstance(p, tuple) else "")
def test_trade_limits(place: tuple[str, str], limit: Limit) -> None:
    text = kit.rubric(place[0]).criterion(place[1]).limit
    assert text is not None
    assert text.limit == limit


def test_limits_without_a_common_figure_say_so() -> None:
    assert kit.rubric("casing").criterion("tongue").source == SHOP_SETTING


@pytest.mark.parametrize("kind", PART_KINDS)
def test_a_suspected_crack_needs_a_recorded_penetrant_test(kind: str) -> None:
    criterion = next(c for c in kit.rubric(kind).criteria() if "crack" in c.findings)
    test = criterion.sight("penetrant")
    assert test is not None
    assert test.when == "suspected"
    assert test.record
    assert {"ASTM E1417", "ISO 3452-1"} <= set(test.standards)
    assert criterion.action == "do not reuse"


def test_every_kind_of_finding_is_asked_about_somewhere() -> None:
    asked = {k for kind in PART_KINDS for c in kit.rubric(kind).file.criteria for k in c.findings}
    assert asked == set(KINDS)


def test_the_exported_schema_is_current_and_fits_the_files() -> None:
    schema = json.loads((kit.RUBRICS / "schema.json").read_text(encoding="utf-8"))
    assert schema == json_schema(), "write json_schema() to rubric/schema.json again"
    for kind in PART_KINDS:
        jsonschema.validate(tomllib.loads(kit.rubric(kind).text), schema)


@pytest.mark.parametrize(
    ("old", "new", "where", "said"),
    [
        ('upper = "1/8"', 'upper = "1/10"', "wear-face", "say mm or in"),
        ('upper = "1/8"', 'upper = ".125"', "wear-face", "without a unit"),
        ('rule = "inclusive"', 'rule = "about"', "wear-face", "inclusive"),
        ("at_least = 3", "at_least = 0", "wear-face", "greater than or equal to 1"),
        ("at_least = 3", 'at_least = "3"', "wear-face", "integer"),
        ('action = "do not reuse"', 'action = "scrap"', "wear-face", "do not reuse"),
        ('findings = ["crack"]', 'findings = ["fissure"]', "cracks", "findings.0"),
        ('when = "suspected"', 'when = "always"', "cracks", "no check is made when suspected"),
        ("standards = [", "standards = [] # [", "cracks", "names its standard"),
        ('title = "Cracks in the casting"', 'titel = "Cracks"', "cracks", "titel"),
        ('id = "tongue"', 'id = "wear-face"', "", "used twice"),
        ("guard_factor = 1.645", "guard_factor = 1.0", "", "1.645"),
        ('lower = "0.060 in"', 'lower = "0.090 in"', "total-clearance", "below the upper"),
        ('kind = "casing"', 'kind = "volute"', "", "casing"),
    ],
)  # fmt: skip
def test_a_mistake_is_named_with_its_line(old: str, new: str, where: str, said: str) -> None:
    text = changed(old, new)
    with pytest.raises(BadInput) as caught:
        Rubric(text, "shop/casing.toml")
    message = caught.value.line()
    assert said in message
    line = int(message.split(":")[1])
    assert message.startswith(f"shop/casing.toml:{line}: ")
    if where:  # the line lies in the block of that criterion
        lines = text.splitlines()
        start = max(i for i, t in enumerate(lines[:line]) if t == "[[criteria]]" and lines[i + 1].startswith("id"))
        assert lines[start + 1] == f'id = "{where}"'


def test_bad_toml_is_named_with_its_line() -> None:
    with pytest.raises(BadInput, match=r"casing.toml:7: not TOML"):
        Rubric(changed('kind = "casing"', "kind = casing"), "casing.toml")
    with pytest.raises(BadInput, match=r"empty.toml:1: "):
        Rubric("", "empty.toml")


def test_a_condition_has_no_limit_and_a_gauged_criterion_has_both() -> None:
    with pytest.raises(BadInput, match="a gauged criterion needs limit and readings"):
        Rubric(changed('limit = { upper = "1/8", rule = "inclusive" }\n', ""))
    with pytest.raises(BadInput, match="a condition has neither"):
        Rubric(changed('quantity = "depth"', 'quantity = "condition"'))


def test_a_rubric_is_its_text() -> None:
    rubric = kit.rubric()
    assert Rubric(rubric.text) == rubric
    assert pickle.loads(pickle.dumps(rubric)).digest == rubric.digest
    assert Rubric(rubric.text + "\n").digest != rubric.digest
    with pytest.raises(BadInput, match="no such criterion"):
        rubric.criterion("wear")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("at_least = 2", "at_least = 5", "fewer places than readings"),
        ("angle_deg = 90", "angle_deg = 0", "used twice"),
        ("angle_deg = 90", "angle_deg = 360", "less than 360"),
        ('figure = "difference"', 'figure = "extreme"', "places are for a difference"),
    ],
)
def test_places_of_a_ring_pair_make_sense(old: str, new: str, said: str) -> None:
    text = kit.rubric("ring-pair").text
    assert old in text
    with pytest.raises(BadInput, match=said):
        Rubric(text.replace(old, new, 1), "ring-pair.toml")


def test_each_place_of_a_ring_pair_has_both_diameters_in_shop_words() -> None:
    points = prefill(kit.rubric("ring-pair"), "R-1", []).points
    assert [(p.role, p.place, p.angle_deg) for p in points[:4]] == [
        ("outer", "front end", 0), ("inner", "front end", 0), ("outer", "front end", 90), ("inner", "front end", 90)
    ]  # fmt: skip
    assert points[0].where == "inside of the bore: front end, 0 deg"
    assert points[7].where == "outside of the ring: rear end, 90 deg"
    assert prefill(kit.rubric(), "C-1", []).points[0].place == ""
