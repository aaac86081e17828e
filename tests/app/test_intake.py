"""A crate into the ledger: what a careless hand does to its folder, and marks that outlive a second look."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests import app_kit as app
from tests import frames_kit
from wearvision.app.inspection import enter_csv
from wearvision.app.marking import lay_again, mark_json, read_marks
from wearvision.app.shop import Shop
from wearvision.errors import BadInput, NeedsPerson
from wearvision.measure.mark import Mark

TAG = "P-4"
STRIKE = {"action": "strike", "target": "G1", "by": "A. Fitter", "reason": "a tool mark"}
ADD = {
    "action": "add", "kind": "pit", "by": "B. Fitter",
    "polygon_px": [[500.0, 500.0], [520.0, 500.0], [520.0, 520.0], [500.0, 520.0]],
}  # fmt: skip


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bench with one part, taken in: a box cover with two grooves on one photo."""
    home = tmp_path_factory.mktemp("bench")
    frames_kit.make_crate(home / "crate", 4)
    toml = (home / "crate/crate.toml").read_text(encoding="utf-8").splitlines()
    for number in (1, 2, 3):
        shutil.rmtree(home / f"crate/P-{number}")
    keep, text = True, []
    for line in toml:
        keep = keep if not line.startswith("[") else not any(f"P-{n}" in line for n in (1, 2, 3))
        text += [line] if keep else []
    (home / "crate/crate.toml").write_text("\n".join(text), encoding="utf-8")
    with app.bench(home) as shop:
        intake = app.take_in(shop, home / "crate")
        assert (intake.aside, intake.notes) == ([], [])
        assert len(findings(shop)) >= 2
    return home


@pytest.fixture
def home(whole: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(whole, tmp_path / "home"))


@pytest.fixture
def shop(home: Path) -> Iterator[Shop]:
    with app.bench(home) as opened:
        yield opened


def findings(shop: Shop) -> list[Any]:
    sheet = shop.ledger.load(TAG).sheet
    assert sheet is not None
    return [f for _, f in sheet.findings]


def mark(shop: Shop, *marks: dict[str, Any], **more: Any) -> None:
    lay_again(shop, TAG, app.now(), photo="face.jpg", marks=[Mark.from_json(m) for m in marks], **more)


def read_some(shop: Shop, home: Path, count: int = 2) -> None:
    sheet = shop.ledger.load(TAG).sheet
    assert sheet is not None
    (home / "r.csv").write_text("\n".join(app.rows(sheet)[:count]), encoding="utf-8")
    enter_csv(shop, TAG, home / "r.csv", app.gauges(home), app.now(), by="A. Fitter")


def test_taking_the_same_crate_in_again_changes_nothing(home: Path, shop: Shop) -> None:
    head = shop.ledger.chain.head()
    app.take_in(shop, home / "crate")
    assert shop.ledger.chain.head() == head


def test_a_photo_copied_beside_itself_costs_nothing_but_its_copy(home: Path, shop: Shop) -> None:
    shutil.copy(home / "crate/P-4/face.jpg", home / "crate/P-4/face (2).jpg")
    toml = home / "crate/crate.toml"
    toml.write_text(toml.read_text(encoding="utf-8") + '\n[photos."P-4/*"]\nview = "wear-face"\n', encoding="utf-8")
    intake = app.take_in(shop, home / "crate")
    assert intake.aside == [("P-4/face.jpg", "is the same photo as P-4/face (2).jpg, which stands for both")]
    assert len(shop.ledger.load(TAG).sheet.photos) == 1  # type: ignore[union-attr]  # it has a sheet


@pytest.mark.parametrize("tag", ["p-4", "Ｐ-4"])
def test_a_tag_spelt_nearly_alike_is_asked_about(home: Path, shop: Shop, tag: str) -> None:
    (home / "crate/P-4").rename(home / "crate" / tag)
    toml = home / "crate/crate.toml"
    toml.write_text(toml.read_text(encoding="utf-8").replace("P-4", tag), encoding="utf-8")
    intake = app.take_in(shop, home / "crate")
    assert intake.aside == [(tag, "is spelt nearly like part P-4: give both one tag, or tell them apart")]
    assert shop.ledger.tags() == (TAG,)


def test_a_photo_changed_while_it_was_measured_is_set_aside(home: Path, shop: Shop) -> None:
    from wearvision.app.crate_work import measure_crate_photo
    from wearvision.app.intake import Intake
    from wearvision.app.rubrics import rubric_folder
    from wearvision.crates.crate import read_crate

    crate = read_crate(home / "crate")
    done = [(p, {"done": measure_crate_photo(p, rubric=rubric_folder())}) for p in crate.photos]
    with (home / "crate/P-4/face.jpg").open("ab") as file:
        file.write(b"\0")
    intake = Intake(crate=crate, shop=shop, at=app.now())
    (part,) = intake.sort(done)
    assert intake.keep(part)
    assert intake.aside == [("P-4/face.jpg", "was changed while it was measured: give the same command again")]
    assert len(shop.ledger.load(TAG).photos) == 1


def test_marks_hold_over_a_second_look_and_over_each_other(home: Path, shop: Shop) -> None:
    mark(shop, STRIKE)
    app.take_in(shop, home / "crate")
    assert [f.struck for f in findings(shop) if f.id == "G1"] == ["a tool mark"]
    mark(shop, ADD)
    app.take_in(shop, home / "crate")
    assert {(f.id, f.by) for f in findings(shop) if f.by} == {("G1", "A. Fitter"), ("P1", "B. Fitter")}
    head = shop.ledger.chain.head()
    mark(shop, ADD)
    mark(shop, STRIKE, ADD)
    assert shop.ledger.chain.head() == head, "a file of marks given again, or grown, counts once"


def test_marks_on_facts_that_are_stated_otherwise_later_are_said(home: Path, shop: Shop) -> None:
    mark(shop, STRIKE)
    toml = home / "crate/crate.toml"
    text = toml.read_text(encoding="utf-8")
    toml.write_text(text.replace("check_bar_mm = 100.0", "check_bar_mm = 100.4"), encoding="utf-8")
    (note,) = app.take_in(shop, home / "crate").notes
    assert "carries marks measured with the facts stated before" in note[1]
    assert [f.struck for f in findings(shop) if f.id == "G1"] == ["a tool mark"]


def test_readings_keep_their_sheet_and_a_new_photo_is_said(home: Path, shop: Shop) -> None:
    read_some(shop, home)
    shutil.copy(next(iter(frames_kit.truths())), home / "crate/P-4/second.jpg")
    (note,) = app.take_in(shop, home / "crate").notes
    assert note[0] == TAG
    assert "wearvision sheet P-4 --data" in note[1]
    record = shop.ledger.load(TAG)
    assert len(record.log.entries) == 1
    assert len(record.since) == 1


def test_a_new_inspection_needs_a_name_and_a_reason_and_takes_in_what_came_later(home: Path, shop: Shop) -> None:
    mark(shop, STRIKE)
    read_some(shop, home)
    shutil.copy(next(iter(frames_kit.truths())), home / "crate/P-4/second.jpg")
    app.take_in(shop, home / "crate")
    with pytest.raises(BadInput, match="add --renew"):
        mark(shop, ADD)
    head = shop.ledger.chain.head()
    with pytest.raises(NeedsPerson, match="--by NAME --reason WHY"):
        lay_again(shop, TAG, app.now(), renew=True)
    assert shop.ledger.chain.head() == head
    lay_again(shop, TAG, app.now(), renew=True, by="C. Lead", reason="another photo")
    record = shop.ledger.load(TAG)
    assert record.sheet is not None
    assert len(record.sheet.photos) == 2
    assert record.log.entries == ()
    assert [f.struck for f in findings(shop) if f.id == "G1"] == ["a tool mark"]
    assert len(record.set_aside) == 1


def test_a_mark_on_a_photo_without_a_scale_is_refused_and_not_dropped(home: Path, shop: Shop) -> None:
    from PIL import Image

    Image.new("L", (1600, 1200), 120).save(home / "crate/P-4/plain.png")
    app.take_in(shop, home / "crate")
    with pytest.raises(NeedsPerson, match="no scale on this photo"):
        lay_again(shop, TAG, app.now(), photo="plain.png", marks=[Mark.from_json(ADD)])
    with pytest.raises(BadInput, match="name one photo"):
        lay_again(shop, TAG, app.now(), photo="nowhere.png", marks=[Mark.from_json(ADD)])


def test_marks_are_written_as_they_are_read(tmp_path: Path) -> None:
    path = tmp_path / "m.json"
    path.write_text(json.dumps([STRIKE, ADD]), encoding="utf-8")
    assert [mark_json(m) for m in read_marks(path)] == [{**STRIKE, "polygon_px": []}, ADD]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[]", "no marks"),
        ("{", "cannot be read"),
        ("[" * 100_000, "cannot be read"),
        ("[3]", "mark 1: a mark is a JSON object"),
        (json.dumps([STRIKE, {**STRIKE, "by": " "}]), "mark 2: a mark needs the name"),
        (json.dumps({**STRIKE, "reason": ""}), "mark 1: a finding is struck for a reason"),
        (json.dumps({**STRIKE, "colour": "red"}), "unknown field"),
    ],
)
def test_marks_that_are_none_are_named(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "m.json").write_text(text, encoding="utf-8")
    with pytest.raises(BadInput, match=says):
        read_marks(tmp_path / "m.json")
