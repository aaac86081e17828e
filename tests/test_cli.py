"""Every command as a new user types it: exit codes, one-line errors, data to stdout, talk to stderr."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import pytest

from tests import frames_kit as kit
from tests.cli_kit import Run, in_process
from wearvision import cli
from wearvision.app import measuring

SCHEMA = json.loads((Path(measuring.__file__).parent / "measure.schema.json").read_text(encoding="utf-8"))


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Run:
    """The command line in this process, in an empty folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("WEARVISION_DEBUG", raising=False)

    return in_process(monkeypatch, capsys)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a triaged crate of four parts."""
    home = tmp_path_factory.mktemp("bench")
    kit.make_crate(home / "crate")
    (home / "gauges.toml").write_text(kit.GAUGES, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "wearvision", "triage", "crate", "--workers", "2"],
        cwd=home, capture_output=True, text=True, check=False, env=env(),
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return home


def env() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[2])}


def test_a_triage_leaves_board_sheets_csv_and_lines(bench: Path) -> None:
    out = bench / "wearvision-out"
    board = (out / "board.html").read_text(encoding="utf-8")
    assert "Trial crate" in board
    assert "http://" not in board.replace("http://www.w3.org", "")
    lines = (out / "photos.jsonl").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 4
    for line in lines:
        jsonschema.validate(json.loads(line), SCHEMA)
    assert (out / "board.csv").read_text(encoding="utf-8").startswith("next_step,tag")
    assert len(list((out / "sheets").glob("P-*.html"))) == 4


def test_no_page_before_the_readings_shows_a_sealed_value(bench: Path) -> None:
    """Sealed estimates are named by `sealed`, a list; their values and how they came stand nowhere."""
    out = bench / "wearvision-out"
    pages = [path for path in out.rglob("*") if path.suffix in (".html", ".csv", ".jsonl")]
    assert {"board.html", "photos.jsonl", "results.jsonl"} <= {path.name for path in pages}
    sealed = 0
    for line in (out / "photos.jsonl").read_text(encoding="utf-8").splitlines():
        for finding in json.loads(line)["findings"]:
            assert set(map(type, finding["sealed"])) <= {str}
            sealed += len(finding["sealed"])
    assert sealed > 0
    for page in pages:
        text = page.read_text(encoding="utf-8")
        assert "guess from" not in text
        assert '"sealed":{' not in text


def test_measure_gives_one_valid_object_per_photo(run: Run) -> None:
    photos = [str(p) for p in list(kit.truths())[:2]]
    done = run("measure", *photos, "--json", "--kind", "casing", "--view", "wear-face")
    lines = [json.loads(line) for line in done.out.splitlines()]
    assert [Path(p).name for p in photos] == [line["photo"]["file"] for line in lines]
    for line in lines:
        jsonschema.validate(line, SCHEMA)
    assert done.code in (0, 4)


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("measure", "nowhere.jpg"), 3),
        (("triage", "nowhere"), 3),
        (("sheet", "X-1"), 3),
        (("verdict", "X-1", "--by", "A"), 3),
        (("report", "X-1"), 3),
        (("read", "X-1"), 2),
        (("read", "X-1", "--by", "A"), 2),
        (("restore", "nowhere.tar"), 3),
        (("backup", "b.tar"), 3),
        (("card", "9"), 3),
        (("card", "0", "--out", "card.gif"), 3),
        (("card", "--size", "huge"), 2),
        (("measure",), 2),
        (("measure", "x.jpg", "--view", "inside"), 2),
        (("measure", "x.jpg", "--mm-per-px", "-1"), 3),
        (("frobnicate",), 2),
    ],
)
def test_bad_input_is_one_line_and_its_code(run: Run, words: tuple[str, ...], code: int) -> None:
    done = run(*words)
    assert done.code == code, done
    assert done.err.strip()
    assert "Value error" not in done.err
    assert done.out == ""
    if code != 2:
        assert len(done.err.strip().splitlines()) == 1


def test_a_bad_photo_costs_its_own_result_only(run: Run, tmp_path: Path) -> None:
    (tmp_path / "torn.jpg").write_bytes(b"\xff\xd8\xff\xe0 torn")
    good = next(iter(kit.truths()))
    done = run("measure", "torn.jpg", str(good), "--json")
    assert done.code in (3, 4)
    assert len(done.out.splitlines()) == 1
    assert "torn.jpg" in done.err


def test_a_photo_without_a_card_asks_for_a_retake(run: Run, tmp_path: Path) -> None:
    from PIL import Image

    Image.new("L", (1600, 1200), 120).save(tmp_path / "plain.png")
    done = run("measure", "plain.png", "--json")
    assert done.code == 4
    assert json.loads(done.out)["retake"][0]["code"] == "no-card"


def test_from_sheet_to_report(bench: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(bench)
    early = run("verdict", "P-1", "--by", "C. Lead")
    assert early.code == 4
    assert "still to do" in early.err
    assert run("report", "P-1", "--json").out.find('"verdict":false') > 0
    sheet = json.loads(run("sheet", "P-1", "--json").out)
    (bench / "r.csv").write_text(readings(bench, "P-1"), encoding="utf-8")
    done = run("read", "P-1", "--by", "A. Fitter", "--gauges", "gauges.toml", "--csv", "r.csv", "--json")
    assert done.code == 0, done.err
    state = json.loads(done.out)
    assert state["kept"] >= len(sheet["points"])
    assert run("verdict", "P-1").code == 4  # nobody named
    final = run("verdict", "P-1", "--by", "C. Lead", "--json")
    assert final.code == 0
    word = json.loads(final.out)["word"]
    assert word in ("reuse", "reuse with loss noted", "rework first", "do not reuse", "undecided")
    made = json.loads(run("report", "P-1", "--json").out)
    assert made["verdict"] is True
    assert word in Path(made["html"]).read_text(encoding="utf-8").lower()
    assert Path(made["pdf"]).read_bytes().startswith(b"%PDF")
    assert run("check").code == 0


def readings(bench: Path, tag: str) -> str:
    """A CSV with a shallow reading at every point and a passing answer to every check."""
    from wearvision.app.inspection import tasks
    from wearvision.app.shop import open_shop
    from wearvision.rules.entry import Log

    rows = ["point,reading,gauge,zero_checked,criterion,check,answer,how"]
    with open_shop(bench / "wearvision-data") as shop:
        sheet = shop.ledger.load(tag).sheet
        assert sheet is not None
        for task in tasks(sheet, Log()):
            if task.point is not None and task.criterion.readings is not None:
                gauge = "DG-07" if "dial depth gauge" in task.criterion.readings.gauges else "FG-02"
                rows.append(f"{task.point.number},0.30 mm,{gauge},yes,,,,")
            elif task.sight is not None:
                answer = next(a for a, outcome in task.sight.answers.items() if outcome == "pass")
                rows.append(f',,,,{task.criterion.id},{task.sight.id},"{answer}","{task.sight.how[0]}"')
    return "\n".join(rows) + "\n"


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("99,0.3 mm,DG-07,yes,,,,", "no such gauge point"),
        ("1,0.3,DG-07,yes,,,,", "without a unit"),
        ("1,0.3 mm,NN-1,yes,,,,", "no such gauge"),
        ("3,0.3 mm,DG-07,no,,,,", "zero check"),
        ("x,0.3 mm,DG-07,yes,,,,", "whole number"),
        (",,,,wear-face,none,fine,eye", "no such check"),
    ],
)
def test_a_bad_row_is_named_by_its_line_and_nothing_is_kept(
    bench: Path, run: Run, monkeypatch: pytest.MonkeyPatch, row: str, says: str
) -> None:
    monkeypatch.chdir(bench)
    good = readings(bench, "P-2").splitlines()
    (bench / "bad.csv").write_text("\n".join([good[0], *good[1:3], row]) + "\n", encoding="utf-8")
    done = run("read", "P-2", "--by", "A", "--gauges", "gauges.toml", "--csv", "bad.csv")
    assert done.code == 3, done
    assert "bad.csv:4" in done.err
    assert says in done.err
    from wearvision.app.shop import open_shop

    with open_shop(bench / "wearvision-data") as shop:
        assert shop.ledger.load("P-2").log.entries == ()


def test_marks_are_taken_in_and_struck_ones_stay_on_record(
    bench: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(bench)
    with_groove = next(t for t in ("P-2", "P-3", "P-4") if json.loads(run("sheet", t, "--json").out)["findings"])
    first = json.loads(run("sheet", with_groove, "--json").out)["findings"][0]["id"]
    mark = {"action": "strike", "target": first, "by": "A. Fitter", "reason": "a tool mark"}
    (bench / "marks.json").write_text(json.dumps(mark), encoding="utf-8")
    done = run("sheet", with_groove, "--mark", "marks.json", "--photo", "face.jpg", "--json")
    assert done.code == 0, done.err
    struck = [f for f in json.loads(done.out)["findings"] if f["id"] == first]
    assert struck[0]["struck"] == "a tool mark"
    assert struck[0]["by"] == "A. Fitter"
    assert all(p["finding"] != first for p in json.loads(done.out)["points"])


def test_backup_and_restore(bench: Path, run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(bench)
    assert run("backup", str(tmp_path / "b.tar")).code == 0
    assert run("restore", str(tmp_path / "b.tar"), "--data", str(tmp_path / "new")).code == 0
    assert run("check", "--data", str(tmp_path / "new")).code == 0
    assert run("restore", str(tmp_path / "b.tar"), "--data", str(tmp_path / "new")).code == 3


def test_a_flipped_byte_of_a_photo_is_found(bench: Path, run: Run, tmp_path: Path) -> None:
    shutil.copytree(bench / "wearvision-data", tmp_path / "wearvision-data")
    blob = next(p for p in (tmp_path / "wearvision-data/blobs").rglob("*.jpg"))
    data = bytearray(blob.read_bytes())
    data[len(data) // 2] ^= 1
    blob.chmod(0o644)
    blob.write_bytes(bytes(data))
    done = run("check")
    assert done.code == 5
    assert "BAD" in done.out


def test_a_photo_whose_row_is_gone_is_found(bench: Path, run: Run, tmp_path: Path) -> None:
    import sqlite3
    from contextlib import closing

    shutil.copytree(bench / "wearvision-data", tmp_path / "wearvision-data")
    with closing(sqlite3.connect(tmp_path / "wearvision-data/ledger.sqlite3")) as base:
        guards = base.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            base.execute(f"DROP TRIGGER {name}")
        base.execute("DELETE FROM blobs WHERE sha256 = (SELECT min(sha256) FROM blobs)")
        for _, text in guards:
            base.execute(text)
        base.commit()
    done = run("check")
    assert done.code == 5
    assert "is not kept" in done.out


def test_kill_in_the_middle_of_a_crate_loses_and_repeats_nothing(tmp_path: Path) -> None:
    count = min(6, len(kit.truths()))
    kit.make_crate(tmp_path / "crate", count)
    command = [sys.executable, "-m", "wearvision", "triage", "crate", "--workers", "1"]
    results = tmp_path / "wearvision-out/results.jsonl"
    process = subprocess.Popen(command, cwd=tmp_path, stderr=subprocess.DEVNULL, env=env())
    until = time.monotonic() + 60
    while time.monotonic() < until and not (results.exists() and results.read_bytes().count(b"\n") >= 2):
        time.sleep(0.02)
    process.send_signal(signal.SIGKILL)
    process.wait()
    kept = results.read_bytes()
    whole = kept[: kept.rfind(b"\n") + 1]
    assert 2 <= whole.count(b"\n") < count
    done = subprocess.run([*command, "--json"], cwd=tmp_path, capture_output=True, text=True, check=False, env=env())
    assert done.returncode == 0, done.stderr
    end = json.loads(done.stdout)
    assert end["fresh"] == count - whole.count(b"\n")
    assert end["parts"] == count
    assert results.read_bytes().startswith(whole)
    names = [json.loads(line)["name"] for line in results.read_bytes().splitlines()]
    assert len(names) == len(set(names)) == count


def test_every_command_has_help_and_stands_in_the_readme() -> None:
    readme = (Path(cli.__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    for command in cli.app.registered_commands:
        assert command.callback is not None
        assert command.callback.__doc__
        assert f"`{command.callback.__name__}" in readme


def test_a_face_of_unknown_size_is_measured_or_declined_and_said_to_be_picked(run: Run) -> None:
    photos = [str(p) for p in list(kit.truths())[:4]]
    done = run("measure", *photos, "--json", "--kind", "casing", "--view", "wear-face", "--card-size", "standard")
    for line in map(json.loads, done.out.splitlines()):
        jsonschema.validate(line, SCHEMA)
        what = {n["what"] for n in line["not_assessed"]}
        assert what & {"size of the face", "grooves", "everything"}


def test_a_crate_of_which_nothing_can_be_laid_needs_a_person(run: Run, tmp_path: Path) -> None:
    (tmp_path / "crate/P-1").mkdir(parents=True)
    (tmp_path / "crate/P-1/face.jpg").write_bytes(b"\xff\xd8\xff\xe0 torn")
    done = run("triage", "crate", "--workers", "1", "--json")
    assert done.code == 4
    assert json.loads(done.out)["parts"] == 0
    assert "set aside: P-1/face.jpg" in done.err
