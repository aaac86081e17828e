"""A program killed at any moment: the store opens, the chain is sound, and nothing that was confirmed is lost.

Killing a program leaves what it wrote in the system's care; a power cut, which may lose that, is not tried here.
"""

from __future__ import annotations

import signal
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import wearvision
from wearvision.store.blobs import Blobs
from wearvision.store.chain import Chain
from wearvision.store.db import open_store

ROOT = Path(wearvision.__file__).parent.parent

WRITER = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from wearvision.store.blobs import Blobs
from wearvision.store.chain import Chain
from wearvision.store.db import open_store
with open_store(Path(sys.argv[1])) as store:
    while True:
        sha = Blobs(store=store).put(str(Chain(store=store).tail().seq).encode() * 500, ".jpg")
        event = Chain(store=store).append("photo", "T", {"sha": sha}, datetime.now(UTC))
        print(event.seq, event.hash, flush=True)
"""

# Forks a child per step and kills it there: at the k-th flush, rename or commit from the start of its work.
STEPPER = """
import os, signal, sys
from datetime import UTC, datetime
from pathlib import Path
import alembic.command, sqlalchemy.dialects.sqlite  # loaded once, before forking
from wearvision.store import files
from wearvision.store.blobs import Blobs
from wearvision.store.chain import Chain
from wearvision.store.db import open_store

def work(folder, k):
    left = [k]
    def step():
        left[0] -= 1
        if left[0] < 0:
            os.kill(os.getpid(), signal.SIGKILL)
    flush, replace = files.flush, Path.replace
    files.flush = lambda descriptor: (step(), flush(descriptor), step())
    Path.replace = lambda self, target: (step(), replace(self, target), step())[1]
    with open_store(folder) as store:
        for i in range(2):
            sha = Blobs(store=store).put(bytes([i]) * 100, ".jpg")
            Chain(store=store).append("photo", "T", {"sha": sha}, datetime.now(UTC))

for k in range(1000):
    pid = os.fork()
    if pid == 0:
        work(Path(sys.argv[1]) / f"{k:03}", k)
        os._exit(0)
    status = os.waitpid(pid, 0)[1]
    if status == 0:
        break
    assert os.WTERMSIG(status) == signal.SIGKILL, status
print(k)
"""


def check(folder: Path) -> list[tuple[int, str]]:
    """The store is sound and every photo that an event names is there; its events."""
    with open_store(folder) as store:
        chain, blobs = Chain(store=store), Blobs(store=store)
        report = chain.verify()
        assert report.problems == ()
        assert blobs.verify_all().problems == ()
        for event in chain.events():
            blobs.get(event.payload["sha"])
        return [(event.seq, event.hash) for event in chain.events()]


def test_a_writer_killed_again_and_again_loses_nothing_confirmed(tmp_path: Path) -> None:
    confirmed: list[tuple[int, str]] = []
    for lines in (1, 4, 9):
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(tmp_path / "store")], cwd=ROOT, stdout=subprocess.PIPE, text=True
        )
        assert writer.stdout is not None
        heard = [writer.stdout.readline() for _ in range(lines)]
        writer.kill()
        heard += writer.stdout.readlines()
        writer.stdout.close()
        assert writer.wait() == -signal.SIGKILL
        confirmed += [(int(seq), text) for seq, text in (line.split() for line in heard if line.endswith("\n"))]
        stored = check(tmp_path / "store")
        assert set(confirmed) <= set(stored)
        assert len(stored) <= len(confirmed) + 3  # at most one unheard event per kill
        assert [seq for seq, _ in stored] == list(range(1, len(stored) + 1))


def test_killed_before_and_after_each_flush_and_rename_in_turn(tmp_path: Path, at: datetime) -> None:
    done = subprocess.run(
        [sys.executable, "-c", STEPPER, str(tmp_path)], cwd=ROOT, capture_output=True, text=True, check=True
    )
    steps = int(done.stdout)
    assert steps > 20
    counts = []
    for k in range(steps + 1):
        folder = tmp_path / f"{k:03}"
        counts.append(len(check(folder)))
        with open_store(folder) as store:  # and the work can be done over
            sha = Blobs(store=store).put(bytes([0]) * 100, ".jpg")
            Chain(store=store).append("photo", "T", {"sha": sha}, at)
        check(folder)
    assert counts == sorted(counts)
    assert (counts[0], counts[-1]) == (0, 2)
