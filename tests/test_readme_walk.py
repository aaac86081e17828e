"""The README walked as it stands: its commands in their order, on the demo crate, in an empty folder."""

from __future__ import annotations

import csv
import io
import json
import math
import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from wearvision import cli

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "demo_images"
READINGS = sorted(DEMO.glob("readings-*.csv"))
NEEDS_PERSON = {"clearance demo_images/pump-P-204.toml": 4}
"""Commands of the walk that end with another code than 0, and which: a clearance right at its limit."""
DEPTH_BY_HAND_MM = 0.1
"""How far an invented reading may lie from the true depth of the groove it is said to be taken in."""


class Ran(NamedTuple):
    code: int
    out: str
    err: str


class Walk(NamedTuple):
    home: Path
    ran: Mapping[str, Ran]


def commands() -> list[str]:
    """What the README runs in shell blocks, after the program's name, in order; each once."""
    blocks = re.findall(r"```sh\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    return list(dict.fromkeys(re.findall(r"\.venv/bin/wearvision (.+)", "\n".join(blocks))))


@pytest.fixture(scope="session")
def walk(tmp_path_factory: pytest.TempPathFactory) -> Walk:
    home = tmp_path_factory.mktemp("walk")
    shutil.copytree(DEMO, home / "demo_images")
    env = {**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[2]), "COLUMNS": "100"}
    ran: dict[str, Ran] = {}
    for command in commands():
        words = [sys.executable, "-m", "wearvision", *shlex.split(command)]
        done = subprocess.run(words, cwd=home, capture_output=True, text=True, check=False, env=env, input="q\n")
        ran[command] = Ran(done.returncode, done.stdout, done.stderr)
    return Walk(home, ran)


def command(walk: Walk, start: str) -> Ran:
    return next(ran for words, ran in walk.ran.items() if words.startswith(start))


def test_the_walk_is_the_readmes() -> None:
    said = " ".join(commands())
    for words in ("triage demo_images/crate", "sheet C-1042", "--csv", "verdict", "report", "orders", "clearance"):
        assert words in said


def test_every_command_of_the_readme_ends_as_it_should(walk: Walk) -> None:
    codes = {words: ran.code for words, ran in walk.ran.items()}
    interactive = {words: 4 for words in codes if words.startswith("read") and "--csv" not in words}
    assert codes == dict.fromkeys(codes, 0) | interactive | NEEDS_PERSON, walk.ran
    assert not any("Traceback" in ran.err for ran in walk.ran.values())


def test_every_prepared_reading_is_entered_in_the_walk() -> None:
    said = " ".join(commands())
    assert READINGS and all(file.name in said for file in READINGS)


@pytest.mark.parametrize("file", READINGS, ids=lambda f: f.stem)
def test_prepared_readings_are_taken_where_the_sheet_says(walk: Walk, file: Path) -> None:
    """Every place has its reading, and a reading at a groove is near the depth the scene was drawn with."""
    tag = file.stem.removeprefix("readings-")
    sheet = json.loads(run(walk, "sheet", tag, "--json").out)
    rows = [r for r in csv.DictReader(io.StringIO(file.read_text(encoding="utf-8"))) if r["point"]]
    typed = {int(r["point"]): float(r["reading"].removesuffix(" mm")) for r in rows}
    assert set(typed) == {p["number"] for p in sheet["points"]}
    grooves = {(f["photo_sha"], f["id"]): f["quantities"]["radius"]["value"] for f in sheet["findings"]}
    at_grooves = [p for p in sheet["points"] if p["finding"]]
    assert at_grooves
    for point in at_grooves:
        true_mm = true_depth_mm(tag, grooves[point["photo_sha"], point["finding"]])
        assert typed[point["number"]] == pytest.approx(true_mm, abs=DEPTH_BY_HAND_MM), point


def true_depth_mm(tag: str, radius_mm: float) -> float:
    """Depth of the drawn groove whose radius is nearest."""
    photos = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))["photos"]
    drawn: list[dict[str, Any]] = [f["truth"] for f in photos[f"{tag}/face_a.jpg"]["findings"] if f["kind"] == "groove"]
    nearest = min(drawn, key=lambda g: abs(g["radius"] - radius_mm))
    assert abs(nearest["radius"] - radius_mm) < 1
    return float(nearest["true_depth"])


def test_both_demo_pumps_give_a_full_answer(walk: Walk) -> None:
    for name in ("P-101", "P-204"):
        found = json.loads(run(walk, "clearance", f"demo_images/pump-{name}.toml", "--json").out)
        assert not found["questions"] and not found["missing"]
        assert not [e["name"] for e in found["effects"] if e["blocked"]]
        assert len(found["effects"]) >= 15


def test_the_cost_of_the_grooves_is_what_the_readme_works_out(walk: Walk) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    found = json.loads(run(walk, "clearance", "demo_images/pump-P-101.toml", "--json").out)
    averaged = found["axial"]["lines"]["front_wear_averaged_axial"]["figure"]
    loss = next(e for e in found["effects"] if e["name"] == "efficiency_loss_axial_front_gap")
    gap = found["axial"]["setting_axial_mm"] + averaged["value"]
    assert loss["high"] == pytest.approx(8 * (gap + averaged["u95"] - 0.25))
    for start, value in (("| gap that counts", gap), ("| efficiency lost, at most", 8 * (gap - 0.25))):
        printed = next(line for line in readme.splitlines() if line.startswith(start)).split("|")[-2].strip()
        decimals = len(printed.partition(".")[2])
        assert math.isclose(float(printed), value, abs_tol=0.6 * 10**-decimals), (printed, value)


def test_the_worn_impeller_is_on_the_order_list(walk: Walk) -> None:
    assert command(walk, "verdict I-2207").out.startswith("I-2207: do not reuse")
    lines = (walk.home / "wearvision-out" / "orders.csv").read_text(encoding="utf-8").splitlines()
    assert any("I-2207" in line and "order" in line for line in lines)


def run(walk: Walk, *words: str) -> Ran:
    """One command more, after the walk."""
    env = {**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[2])}
    called = [sys.executable, "-m", "wearvision", *words]
    done = subprocess.run(called, cwd=walk.home, capture_output=True, text=True, check=False, env=env)
    return Ran(done.returncode, done.stdout, done.stderr)
