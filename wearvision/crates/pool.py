"""Many photos over many processes, where one bad photo costs one photo.

Each worker is one process that holds one job at a time, so a death or a hang has a name at once:

- a job that raises a `WearvisionError` is set aside with its one line, anything else as an internal error;
- a job whose worker dies is tried once more, alone, after the others; when it kills again it is set aside;
- a job over its time limit is killed and set aside.

Workers are spawned, never forked: OpenCV does not survive a fork (known and open upstream). The standard library's
`ProcessPoolExecutor` is not used because there one death fails every job in flight and one hang cannot be
killed without its private parts.
"""

from __future__ import annotations

import math
import multiprocessing
import signal
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from types import TracebackType
from typing import Any, Generic

from wearvision.crates.jobs import Done, Job, P, R, Run, SetAside, Tally
from wearvision.crates.worker import internal, no_interrupt, one_thread, serve
from wearvision.errors import WearvisionError

LIMIT_S = 120.0
"""Longest time one job may take, when nobody says otherwise."""
GRACE_S = 1.5
"""What a process gets to end by itself: running jobs after a stop, a killed worker."""
_LEAVE_S = 0.2
"""What a worker whose pipe is closed gets to leave before it is killed."""
_START_S = 60.0
"""Longest time a fresh worker may take for its imports."""
_STARTS = 3
"""So many starts in a row may fail before the machine is blamed, not the job."""
_SPAWN = multiprocessing.get_context("spawn")


@dataclass(kw_only=True, eq=False)
class _Worker:
    process: SpawnProcess
    pipe: Connection
    job: Job[Any] | None = None
    ready: bool = False
    since: float = 0.0
    deadline: float = math.inf


class Pool(Generic[P, R]):
    """Worker processes for one work function; a context manager, to be kept over many runs.

    Parameters
    ----------
    work : callable
        Function of a module, called in a worker with a job's payload; what it returns must pickle.
    workers : int
        Processes at most, started as jobs come; see `workers_for`.
    limit_s : float
        Longest time one job may take, s.
    prepare : callable
        Called once in each fresh worker.
    on_preparing : callable
        Told when a worker says that it prepares itself further, see `worker.preparing`.
    """

    def __init__(
        self, work: Callable[[P], R], *, workers: int, limit_s: float = LIMIT_S,
        prepare: Callable[[], None] = one_thread, on_preparing: Callable[[], None] = lambda: None,
    ) -> None:  # fmt: skip
        self._work, self._prepare, self._on_preparing = work, prepare, on_preparing
        self._limit_s, self._most = limit_s, max(1, workers)
        self._workers: list[_Worker] = []
        self._stop_at = math.inf
        self._failed_starts = 0
        self._bell_in, self._bell_out = multiprocessing.Pipe(duplex=False)

    def __enter__(self) -> Pool[P, R]:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def stop(self) -> None:
        """Start no more jobs, give those running `GRACE_S`; a second call ends them. For any thread."""
        now = time.monotonic()
        self._stop_at = now + GRACE_S if self._stop_at == math.inf else now
        self._bell_out.send(None)

    def run(self, jobs: Iterable[Job[P]], on_done: Callable[[Done[R] | SetAside], None]) -> Tally:
        """Do the jobs; each outcome goes to `on_done` in this thread as it comes, and is then forgotten.

        Jobs are drawn as they are needed, at most two for each worker beyond those reported; drawing one must
        not wait for long. Ctrl-C and SIGTERM stop the run instead of raising; a job cut short that way is not reported.

        Raises
        ------
        WearvisionError
            When worker processes do not start at all. What `on_done` or `jobs` raise passes through.
        """
        state: Run[P, R] = Run(jobs=iter(jobs), on_done=on_done)
        with self._signals():
            while True:
                self._feed(state)
                state.report()
                busy = [w for w in self._workers if w.job]
                if not busy or time.monotonic() >= self._stop_at:
                    break
                if self._stop_at == math.inf:
                    state.draw(self._most)
                self._attend(busy, state)
        stopped = self._stop_at < math.inf
        if stopped:
            self._stop_at = math.inf
            self.close()
        return Tally(done=state.done, aside=state.aside, stopped=stopped)

    def close(self) -> None:
        """End every worker: idle ones leave by themselves, busy ones are killed."""
        for worker in self._workers:
            if worker.job:
                worker.process.kill()
            worker.pipe.close()
        until = time.monotonic() + GRACE_S / 2
        for worker in self._workers:
            worker.process.join(max(0.0, until - time.monotonic()))
            self._bury(worker)
        self._workers.clear()

    def _feed(self, state: Run[P, R]) -> None:
        """Give every free hand a job, hiring up to the limit."""
        while self._stop_at == math.inf:
            free = next((w for w in self._workers if not w.job), None)
            if free is None and len(self._workers) >= self._most:
                return
            job = state.next_job(busy=any(w.job for w in self._workers))
            if job is None:
                return
            self._give(free or self._hire(), job, state)

    def _give(self, worker: _Worker, job: Job[P], state: Run[P, R]) -> None:
        worker.since = time.monotonic()
        worker.deadline = worker.since + (self._limit_s if worker.ready else _START_S)
        try:
            worker.pipe.send(job.payload)
        except OSError:  # the worker died idle: not this job's doing
            self._dismiss(worker)
            state.again(job)
        except Exception as err:
            state.came(SetAside(name=job.name, **internal(err)))
        else:
            worker.job = job

    def _attend(self, busy: list[_Worker], state: Run[P, R]) -> None:
        """Wait for the first event: an answer, a death, a time limit, a bell."""
        until = min(min(w.deadline for w in busy), self._stop_at)
        pipes: list[Any] = [self._bell_in, *(w.pipe for w in busy)]
        heard = wait(pipes, max(0.0, until - time.monotonic()))
        if self._bell_in in heard:
            self._bell_in.recv()
        now = time.monotonic()
        for worker in busy:
            if worker.pipe in heard:
                self._listen(worker, state)
            elif now >= worker.deadline:
                self._expire(worker, now, state)

    def _listen(self, worker: _Worker, state: Run[P, R]) -> None:
        job = worker.job
        assert job is not None
        try:
            answer = worker.pipe.recv()
        except (EOFError, OSError):
            self._mourn(worker, job, state)
            return
        except Exception as err:
            answer = internal(err)
        if answer is None:  # a fresh worker's first word, or one that prepares itself: its job's clock starts here
            if worker.ready:
                self._on_preparing()
            worker.ready, worker.since, self._failed_starts = True, time.monotonic(), 0
            worker.deadline = worker.since + self._limit_s
            return
        spent = time.monotonic() - worker.since
        worker.job, worker.deadline = None, math.inf
        if isinstance(answer, tuple):
            state.came(Done(name=job.name, value=answer[0], seconds=spent))
        else:
            state.came(SetAside(name=job.name, seconds=spent, **answer))

    def _expire(self, worker: _Worker, now: float, state: Run[P, R]) -> None:
        job, spent = worker.job, now - worker.since
        assert job is not None
        if not worker.ready:
            self._mourn(worker, job, state)
            return
        worker.process.kill()
        self._dismiss(worker)
        why = f"stopped after {self._limit_s:g} s without an answer; look at the photo, or allow more time"
        state.came(SetAside(name=job.name, code="hung", why=why, seconds=spent))

    def _mourn(self, worker: _Worker, job: Job[P], state: Run[P, R]) -> None:
        """A worker died over a job: suspect the job, unless the worker never came up."""
        ready, spent = worker.ready, time.monotonic() - worker.since
        code = self._dismiss(worker)
        if not ready:
            self._failed_starts += 1
            if self._failed_starts >= _STARTS:
                raise WearvisionError(
                    "worker processes do not start", got=f"exit code {code}", do="run `wearvision check`"
                )
            state.again(job)
        elif state.on_trial is None:
            state.suspects.append(job)
        else:
            why = f"ended its process twice, {_cause(code)}; look at the photo"
            state.came(SetAside(name=job.name, code="killed", why=why, seconds=spent))

    def _hire(self) -> _Worker:
        ours, theirs = multiprocessing.Pipe()
        process = _SPAWN.Process(target=serve, args=(theirs, self._work, self._prepare), daemon=True)
        with no_interrupt():
            process.start()
        theirs.close()
        worker = _Worker(process=process, pipe=ours)
        self._workers.append(worker)
        return worker

    def _dismiss(self, worker: _Worker) -> int | None:
        self._workers.remove(worker)
        worker.pipe.close()
        return self._bury(worker)

    def _bury(self, worker: _Worker) -> int | None:
        """Make sure the process is gone and leave no zombie; returns its exit code."""
        worker.process.join(_LEAVE_S)
        worker.process.kill()
        worker.process.join(GRACE_S)
        code = worker.process.exitcode
        if code is not None:
            worker.process.close()
        return code

    @contextmanager
    def _signals(self) -> Iterator[None]:
        """Ctrl-C and SIGTERM ring the bell while a run lasts; only the main thread may set handlers."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        names = (signal.SIGINT, signal.SIGTERM)
        before = [signal.signal(name, lambda *_: self.stop()) for name in names]
        try:
            yield
        finally:
            for name, handler in zip(names, before, strict=True):
                signal.signal(name, handler)


def run(
    jobs: Iterable[Job[P]],
    work: Callable[[P], R],
    *,
    workers: int,
    on_done: Callable[[Done[R] | SetAside], None],
    limit_s: float = LIMIT_S,
    prepare: Callable[[], None] = one_thread,
) -> Tally:
    """One run on a pool of its own; see `Pool` and `Pool.run`."""
    with Pool(work, workers=workers, limit_s=limit_s, prepare=prepare) as pool:
        return pool.run(jobs, on_done)


def _cause(code: int | None) -> str:
    """Exit code of a process in words; a negative one is a signal."""
    if code is None or code >= 0:
        return f"exit code {code}"
    try:
        return f"signal {signal.Signals(-code).name}"
    except ValueError:
        return f"signal {-code}"
