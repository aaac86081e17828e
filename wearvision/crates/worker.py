"""The worker's side of the pool, and how many workers this machine carries.

Kept light: a fresh process imports this module, then the work function's own.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import threading
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from wearvision.errors import WearvisionError

_GROUP = Path("/sys/fs/cgroup")
_pipes: list[Connection] = []
"""This process's way to its pool, if it is a worker."""


def one_thread() -> None:
    """Prepare a worker: one job uses one core, the pool uses them all."""
    import cv2

    cv2.setNumThreads(1)
    gc.collect()
    gc.freeze()  # modules stay: no sweep between photos need look at them again


def serve(pipe: Connection, work: Callable[[Any], Any], prepare: Callable[[], None]) -> None:
    """Say ready, then answer each payload, with `(value,)` or the fields of a `SetAside`, until none come."""
    _pipes.append(pipe)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with_parent, daemon=True).start()
    prepare()
    with suppress(EOFError, OSError):  # the other end is gone: nobody is left to answer
        pipe.send(None)
        while True:
            _answer(pipe, work)


def preparing() -> None:
    """Tell the pool, if this process is a worker, that it prepares something once: the clock of its job starts anew."""
    for pipe in _pipes:
        with suppress(OSError):  # the other end is gone
            pipe.send(None)


def internal(error: Exception) -> dict[str, Any]:
    """Fields of a `SetAside` for a fault of ours: one line for the bench, the traceback for the developer."""
    text = " ".join(f"internal error: {type(error).__name__}: {error}".split())
    return {"code": "internal", "why": text, "detail": "".join(traceback.format_exception(error))}


@contextmanager
def no_interrupt() -> Iterator[None]:
    """Hold back Ctrl-C while a process starts, which inherits the hold and so never sees one."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker

    resource_tracker.ensure_running()  # starting it lifts the hold (seen in Python 3.11)
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def workers_for(megapixels: float = 12.0, *, cores: float | None = None, free_mb: float | None = None) -> int:
    """How many workers fit this machine: by cores and by memory, at least one.

    Parameters
    ----------
    megapixels : float
        Of the largest photos. A worker is counted 350 MB at 12 MP and 20 MB more for each MP beyond.
    cores, free_mb : float, optional
        Found out when not given; where the system does not tell its memory, only cores count.
    """
    cores = _cores() if cores is None else cores
    free_mb = _free_mb() if free_mb is None else free_mb
    each_mb = 350.0 + 20.0 * max(0.0, megapixels - 12.0)
    fits = cores if free_mb is None else min(cores, 0.8 * free_mb / each_mb)
    return max(1, int(fits))


def _answer(pipe: Connection, work: Callable[[Any], Any]) -> None:
    try:
        payload = pipe.recv()
    except (EOFError, OSError):
        raise
    except Exception as err:  # a payload that does not unpickle
        pipe.send(internal(err))
        return
    try:
        answer: Any = (work(payload),)
    except WearvisionError as err:
        answer = {"code": "refused", "why": err.line()}
    except Exception as err:
        answer = internal(err)
    try:
        pipe.send(answer)
    except OSError:
        raise
    except Exception as err:  # a value that does not pickle
        pipe.send(internal(err))


def _leave_with_parent() -> None:
    """End at once when the parent does, however it ended: nobody would take the answer."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _cores() -> float:
    here = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    quota = _words(_GROUP / "cpu.max")
    return min(here, int(quota[0]) / int(quota[1])) if len(quota) == 2 and quota[0] != "max" else here


def _free_mb() -> float | None:
    """Memory free for us, MB: the machine's and, in a container, its share."""
    lines = [line.split() for line in _text(Path("/proc/meminfo")).splitlines()]
    free = [int(words[1]) / 1024 for words in lines if words[0] == "MemAvailable:"]
    most, used = _words(_GROUP / "memory.max"), _words(_GROUP / "memory.current")
    if most and used and most[0] != "max":
        free.append((int(most[0]) - int(used[0])) / 2**20)
    return min(free, default=None)


def _words(path: Path) -> list[str]:
    return _text(path).split()


def _text(path: Path) -> str:
    try:
        return path.read_text("ascii")
    except OSError:
        return ""
