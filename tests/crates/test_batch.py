"""Killed in the middle, run again: nothing finished is redone, nothing is lost."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.pool_jobs import LOG, count, measure, nothing
from wearvision.crates.batch import BatchEnd, batch_pool, measure_all, outcomes
from wearvision.crates.crate import read_crate
from wearvision.crates.journal import RESULTS, Journal

ROOT = Path(__file__).parent.parent.parent


def fill(folder: Path, orders: Mapping[str, str]) -> Path:
    folder.mkdir(exist_ok=True)
    for name, order in orders.items():
        (folder / f"{name}.jpg").write_text(f"{name}\n{order}\n")
    return folder


@pytest.fixture
def marks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "marks"
    folder.mkdir()
    monkeypatch.setenv(LOG, str(folder))
    return folder


def go(
    crate: Path, out: Path, *, context: str = "v1", again: bool = False, limit_s: float = 30.0
) -> tuple[BatchEnd, dict[str, dict[str, Any]]]:
    photos = read_crate(crate).photos
    told: list[str] = []
    with Journal(out) as journal, batch_pool(measure, workers=2, limit_s=limit_s, prepare=nothing) as pool:
        end = measure_all(
            photos, journal, pool, context=context, again=again, on_outcome=lambda name, _: told.append(name)
        )
        found = {photo.name: dict(outcome) for photo, outcome in outcomes(photos, end, journal)}
    assert sorted(told) == sorted(found)
    assert list(found) == sorted(found)
    return end, found


def test_a_second_run_redoes_nothing_but_what_changed(tmp_path: Path, marks: Path) -> None:
    crate, out = fill(tmp_path / "crate", {"a": "", "b": "", "c": ""}), tmp_path / "out"
    end, first = go(crate, out)
    assert (end.fresh, end.kept, end.aside, end.stopped) == (3, 0, 0, False)
    end, second = go(crate, out)
    assert (end.fresh, end.kept) == (0, 3)
    assert first == second
    fill(crate, {"a": "sleep 0"})
    (crate / "crate.toml").write_text('[photos."b.jpg"]\nview = "bore"\n')
    end, third = go(crate, out)
    assert (end.fresh, end.kept) == (2, 1)
    assert third["b.jpg"]["done"]["view"] == "bore"
    assert [count(marks, f"{n}.jpg") for n in "abc"] == [2, 2, 1]
    end, _ = go(crate, out, context="v2")
    assert end.fresh == 3


def test_the_same_photo_twice_is_measured_once_and_listed_twice(tmp_path: Path, marks: Path) -> None:
    crate = fill(tmp_path / "crate", {"a": "sleep 0.1", "b": ""})
    for name in ("a copy.jpg", "z.jpg"):
        (crate / name).write_bytes((crate / "a.jpg").read_bytes())
    end, found = go(crate, tmp_path / "out")
    assert (end.fresh, end.kept) == (2, 2)
    assert found["a.jpg"] == found["a copy.jpg"] == found["z.jpg"]
    assert len(list(marks.iterdir())) == 2


def test_photos_set_aside_stay_so_until_asked_again(tmp_path: Path, marks: Path) -> None:
    orders = {"a": "refuse", "b": "raise", "c": "hang", "d": "die", "e": ""}
    crate, out = fill(tmp_path / "crate", orders), tmp_path / "out"
    end, found = go(crate, out, limit_s=0.8)
    assert (end.fresh, end.aside) == (5, 4)
    codes = {name[0]: outcome.get("aside", {}).get("code") for name, outcome in found.items()}
    assert codes == {"a": "refused", "b": "internal", "c": "hung", "d": "killed", "e": None}
    end, _ = go(crate, out)
    assert (end.fresh, end.kept, end.aside) == (0, 5, 4)
    end, _ = go(crate, out, again=True, limit_s=0.8)
    assert (end.fresh, end.kept, end.aside) == (3, 2, 4)  # the refused one would be refused again
    assert [count(marks, f"{n}.jpg") for n in "abcde"] == [1, 2, 2, 4, 1]


def test_a_photo_gone_or_unreadable_is_tried_on_every_run(tmp_path: Path, marks: Path) -> None:
    crate = fill(tmp_path / "crate", {"a": "", "b": ""})
    photos = read_crate(crate).photos
    (crate / "a.jpg").unlink()
    for _ in range(2):
        with Journal(tmp_path / "out") as journal, batch_pool(measure, workers=1, prepare=nothing) as pool:
            end = measure_all(photos, journal, pool, context="")
            assert "aside" in journal.record(end.keys["a.jpg"])
        assert end.aside == 1
    fill(crate, {"a": ""})
    end, _ = go(crate, tmp_path / "out", context="")
    assert (end.fresh, end.kept, end.aside) == (1, 1, 0)


SCRIPT = """
import sys
from pathlib import Path
from tests.pool_jobs import measure, nothing
from wearvision.crates.batch import batch_pool, measure_all
from wearvision.crates.crate import read_crate
from wearvision.crates.journal import Journal

if __name__ == "__main__":
    crate, out = map(Path, sys.argv[1:])
    with Journal(out) as journal, batch_pool(measure, workers=2, prepare=nothing) as pool:
        end = measure_all(read_crate(crate).photos, journal, pool, context="v1")
    print(end.fresh, end.kept, end.aside, end.stopped)
"""


@pytest.mark.parametrize("sign", [signal.SIGKILL, signal.SIGINT])
def test_ended_in_the_middle_and_run_again(tmp_path: Path, marks: Path, sign: signal.Signals) -> None:
    orders = {f"p{n:02}": "die" if n == 5 else "sleep 0.04" for n in range(40)}
    crate, out = fill(tmp_path / "crate", orders), tmp_path / "out"
    script = tmp_path / "script.py"
    script.write_text(SCRIPT)
    command = [sys.executable, str(script), str(crate), str(out)]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    first = subprocess.Popen(command, env=env, start_new_session=True, stdout=subprocess.PIPE, text=True)
    until = time.monotonic() + 20
    while len(done_in(out)) < 12:
        assert time.monotonic() < until
        time.sleep(0.01)
    os.killpg(first.pid, sign) if sign == signal.SIGINT else first.kill()
    said, _ = first.communicate(timeout=10)
    finished = done_in(out)
    assert 12 <= len(finished) < 40
    assert said == (f"{len(finished)} 0 0 True\n" if sign == signal.SIGINT else "")
    before = {name: count(marks, name) for name in finished}
    second = subprocess.run(command, env=env, capture_output=True, text=True, timeout=30, check=True)
    assert second.stderr == ""
    assert second.stdout == f"{40 - len(finished)} {len(finished)} 1 False\n"
    assert done_in(out) == {f"{name}.jpg" for name in orders}
    assert {name: count(marks, name) for name in finished} == before, "a finished photo was redone"
    executions = {name: count(marks, f"{name}.jpg") for name in orders if name != "p05"}
    # an outcome is written once its worker is busy again
    assert sum(executions.values()) <= 39 + 4, "only what two workers held, and their last outcomes, may be done twice"
    assert len((out / RESULTS).read_text().splitlines()) == 40


def done_in(out: Path) -> set[str]:
    """Names in the whole lines of a journal, read from outside."""
    if not (out / RESULTS).exists():
        return set()
    text = (out / RESULTS).read_text()
    return {json.loads(line)["name"] for line in text[: text.rfind("\n") + 1].splitlines()}
