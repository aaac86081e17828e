"""Bad photos cost themselves and nobody else."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.pool_jobs import count, no_start, nothing, work
from wearvision.crates.jobs import Done, Job, SetAside, Tally
from wearvision.crates.pool import Pool, run
from wearvision.crates.worker import workers_for
from wearvision.errors import WearvisionError

ROOT = Path(__file__).parent.parent.parent
Work = tuple[str, str, str]


def jobs(folder: Path, orders: dict[str, str]) -> list[Job[Work]]:
    return [Job(name=name, payload=(str(folder), name, order)) for name, order in orders.items()]


def go(
    folder: Path, orders: dict[str, str], *, workers: int = 2, limit_s: float = 30.0
) -> tuple[Tally, dict[str, Done[str] | SetAside]]:
    out: dict[str, Done[str] | SetAside] = {}

    def keep(outcome: Done[str] | SetAside) -> None:
        assert outcome.name not in out, "reported twice"
        out[outcome.name] = outcome

    tally = run(jobs(folder, orders), work, workers=workers, on_done=keep, limit_s=limit_s, prepare=nothing)
    assert not multiprocessing.active_children()
    return tally, out


def test_one_poison_photo_of_forty_costs_one_photo(tmp_path: Path) -> None:
    orders = {f"p{n:02}": "die" if n == 17 else "" for n in range(40)}
    tally, out = go(tmp_path, orders)
    assert tally == Tally(done=39, aside=1, stopped=False)
    bad = out["p17"]
    assert isinstance(bad, SetAside)
    assert bad.code == "killed"
    assert bad.why == "ended its process twice, signal SIGKILL; look at the photo"
    assert count(tmp_path, "p17") == 2
    assert all(count(tmp_path, name) == 1 for name in orders if name != "p17")
    assert all(isinstance(o, Done) and o.value == f"{n} done" for n, o in out.items() if n != "p17")


def test_a_worker_that_prepares_itself_is_no_hang_and_is_told(tmp_path: Path) -> None:
    heard: list[str] = []
    out: list[Done[str] | SetAside] = []
    with Pool(work, workers=1, limit_s=0.8, prepare=nothing, on_preparing=lambda: heard.append("preparing")) as pool:
        tally = pool.run(jobs(tmp_path, {"a": "prepare", "b": "hang"}), out.append)
    assert tally == Tally(done=1, aside=1, stopped=False)
    assert heard == 4 * ["preparing"]
    assert [type(o) for o in out] == [Done, SetAside]


def test_every_way_to_fail_is_named_and_the_rest_is_done(tmp_path: Path) -> None:
    orders = {
        "a": "refuse", "b": "raise", "c": "hang", "d": "die once", "e": "exit", "f": "unpicklable", "g": "",
    }  # fmt: skip
    tally, out = go(tmp_path, orders, limit_s=0.8)
    assert tally == Tally(done=2, aside=5, stopped=False)
    said = {name: (o.code, o.why) for name, o in out.items() if isinstance(o, SetAside)}
    assert said["a"] == ("refused", "not a photo (got 'a'); take it again")
    assert said["b"] == ("internal", "internal error: ZeroDivisionError: two lines")
    assert said["c"] == (
        "hung",
        "stopped after 0.8 s without an answer; look at the photo, or allow more time",
    )
    assert said["e"] == ("killed", "ended its process twice, exit code 3; look at the photo")
    assert said["f"][0] == "internal"
    assert count(tmp_path, "c") == 1
    b = out["b"]
    assert isinstance(b, SetAside)
    assert "Traceback" in b.detail
    assert "pool_jobs.py" in b.detail


def test_suspects_run_alone(tmp_path: Path) -> None:
    """The second try has the machine to itself, so that want of memory is told from a poison photo."""
    running: list[tuple[str, float, float]] = []

    def keep(outcome: Done[str] | SetAside) -> None:
        now = time.monotonic()
        running.append((outcome.name, now - outcome.seconds, now))

    orders = {"x": "die", "y": "die once", **{f"s{n}": "sleep 0.2" for n in range(4)}}
    run(jobs(tmp_path, orders), work, workers=3, on_done=keep, prepare=nothing)
    last = max(end for name, _, end in running if name[0] == "s")
    tries = sorted((start, end) for name, start, end in running if name in "xy")
    assert tries[0][0] >= last - 0.05
    assert tries[1][0] >= tries[0][1] - 0.05


def test_jobs_are_taken_as_hands_come_free(tmp_path: Path) -> None:
    """At most two jobs a worker are drawn and not yet reported: memory does not grow with the crate."""
    drawn, done, ahead = 0, 0, 0

    def feed() -> Iterator[Job[Work]]:
        nonlocal drawn, ahead
        for job in jobs(tmp_path, {f"p{n}": "" for n in range(30)}):
            drawn += 1
            ahead = max(ahead, drawn - done)
            yield job

    def keep(_: Done[str] | SetAside) -> None:
        nonlocal done
        done += 1

    run(feed(), work, workers=2, on_done=keep, prepare=nothing)
    assert drawn == done == 30
    assert ahead <= 4


def test_a_pool_lives_through_several_runs_and_a_worker_killed_while_idle(tmp_path: Path) -> None:
    with Pool(work, workers=1, prepare=nothing) as pool:
        for name in ("a", "b", "c"):
            tally = pool.run(jobs(tmp_path, {name: ""}), lambda _: None)
            assert tally.done == 1
            (child,) = multiprocessing.active_children()
            if name == "b":
                child.kill()
                child.join()
    assert not multiprocessing.active_children()


def test_workers_that_cannot_start_are_an_error_not_a_loop(tmp_path: Path) -> None:
    with pytest.raises(WearvisionError, match=r"worker processes do not start.*exit code 7"):
        run(jobs(tmp_path, {"a": ""}), work, workers=1, on_done=lambda _: None, prepare=no_start)


def test_an_error_of_the_receiver_passes_and_leaves_no_process(tmp_path: Path) -> None:
    def full(_: Done[str] | SetAside) -> None:
        raise OSError("disk full")

    with pytest.raises(OSError, match="disk full"):
        run(jobs(tmp_path, {"a": "", "b": "hang"}), work, workers=2, on_done=full, prepare=nothing)
    assert not multiprocessing.active_children()


def test_stop_from_another_thread_ends_a_hanging_run(tmp_path: Path) -> None:
    with Pool(work, workers=2, prepare=nothing) as pool:
        names = {"a": "", "b": "hang", "c": "hang", "d": ""}
        stopped = 0.0

        def stop_soon() -> None:
            nonlocal stopped
            while not (count(tmp_path, "b") and count(tmp_path, "c")):
                time.sleep(0.02)
            stopped = time.monotonic()
            pool.stop()

        thread = threading.Thread(target=stop_soon)
        thread.start()
        tally = pool.run(jobs(tmp_path, names), lambda _: None)
        assert time.monotonic() - stopped < 60.0  # what hangs would for ten minutes
        thread.join()
    assert tally == Tally(done=1, aside=0, stopped=True)
    assert count(tmp_path, "d") == 0


SCRIPT = """
import sys
from pathlib import Path
from tests.pool_jobs import nothing, work
from wearvision.crates.jobs import Job
from wearvision.crates.pool import Pool, run

if __name__ == "__main__":
    folder, order = sys.argv[1:]
    jobs = (Job(name=f"p{n}", payload=(folder, f"p{n}", order)) for n in range(50))
    print(run(jobs, work, workers=2, on_done=lambda o: print(o.name, flush=True), prepare=nothing))
"""


def start(tmp_path: Path, order: str) -> subprocess.Popen[str]:
    script = tmp_path / "script.py"
    script.write_text(SCRIPT)
    marks = tmp_path / "marks"
    marks.mkdir()
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(
        [sys.executable, str(script), str(marks), order], text=True, env=env, start_new_session=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    wait_for(lambda: len(list(marks.iterdir())) >= 2)
    return process


def wait_for(true: Callable[[], bool], seconds: float = 10.0) -> None:
    until = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < until
        time.sleep(0.02)


def group_of(process: subprocess.Popen[str]) -> list[str]:
    """Command lines of the living processes of a session."""
    alive = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            words = stat.read_text().rpartition(")")[2].split()
            if int(words[3]) == process.pid and words[0] != "Z":
                alive.append((stat.parent / "cmdline").read_text())
        except OSError:
            continue
    return alive


@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_lets_running_jobs_finish_and_leaves_cleanly(tmp_path: Path, sign: signal.Signals) -> None:
    process = start(tmp_path, "sleep 0.3")
    begun = time.monotonic()
    if sign == signal.SIGINT:
        os.killpg(process.pid, sign)  # a terminal sends it to the whole group
    else:
        process.send_signal(sign)
    out, err = process.communicate(timeout=60)
    assert time.monotonic() - begun < 60.0  # what hangs would for ten minutes
    assert process.returncode == 0
    assert err == ""
    *names, tally = out.split("\n")[:-1]
    started = {path.name.split(".")[0] for path in (tmp_path / "marks").iterdir()}
    assert started == set(names)
    assert tally == f"Tally(done={len(names)}, aside=0, stopped=True)"
    wait_for(lambda: not group_of(process))


def test_ctrl_c_kills_what_hangs(tmp_path: Path) -> None:
    process = start(tmp_path, "hang")
    os.killpg(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=60)  # what hangs would for ten minutes
    assert (process.returncode, err, out) == (0, "", "Tally(done=0, aside=0, stopped=True)\n")
    wait_for(lambda: not group_of(process))


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="counts processes in /proc")
def test_workers_leave_when_the_parent_is_killed(tmp_path: Path) -> None:
    process = start(tmp_path, "hang")
    process.kill()
    process.communicate()
    wait_for(lambda: not group_of(process))


def test_workers_by_cores_and_by_memory() -> None:
    assert workers_for(cores=8, free_mb=64000) == 8
    assert workers_for(cores=8, free_mb=1750) == 4  # 0.8 x 1750 / 350
    assert workers_for(48, cores=8, free_mb=5350) == 4  # 0.8 x 5350 / (350 + 36 x 20)
    assert workers_for(cores=0.5, free_mb=10) == 1
    assert 1 <= workers_for() <= (os.cpu_count() or 1)
