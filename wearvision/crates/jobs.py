"""What a pool works on: jobs, how each of them ended, and where a run stands."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Generic, Literal, TypeVar

P = TypeVar("P")
R = TypeVar("R")


@dataclass(frozen=True, kw_only=True)
class Job(Generic[P]):
    """A name to report under and what the work function gets; keep the payload small, a path and facts."""

    name: str
    payload: P


@dataclass(frozen=True, kw_only=True)
class Done(Generic[R]):
    """A job that came back with a value."""

    name: str
    value: R
    seconds: float


@dataclass(frozen=True, kw_only=True)
class SetAside:
    """A job that did not, and why.

    Attributes
    ----------
    name : str
    code : str
        `refused` (bad input), `internal` (a fault of ours), `killed` (took its process down twice) or `hung`.
    why : str
        One line for the person at the bench.
    detail : str
        Traceback for the developer; never shown unasked.
    seconds : float
    """

    name: str
    code: Literal["refused", "internal", "killed", "hung"]
    why: str
    detail: str = ""
    seconds: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Tally:
    """How a run ended; `stopped` when it was interrupted before its last job."""

    done: int
    aside: int
    stopped: bool


@dataclass(kw_only=True)
class Run(Generic[P, R]):
    """State of one run: what is left, who is under suspicion, what came back and is not yet reported."""

    jobs: Iterator[Job[P]]
    on_done: Callable[[Done[R] | SetAside], None]
    suspects: deque[Job[P]] = field(default_factory=deque)
    waiting: deque[Job[P]] = field(default_factory=deque)
    on_trial: str | None = None
    back: list[Done[R] | SetAside] = field(default_factory=list)
    done: int = 0
    aside: int = 0

    def next_job(self, busy: bool) -> Job[P] | None:
        """The next job to start now: fresh ones first, then suspects, each alone."""
        if self.on_trial is not None:
            return None
        self.draw(1)
        if self.waiting:
            return self.waiting.popleft()
        if self.suspects and not busy:
            self.on_trial = self.suspects[0].name
            return self.suspects.popleft()
        return None

    def draw(self, ahead: int) -> None:
        """Have that many jobs at hand, so that a free worker need not wait while one is being made."""
        while len(self.waiting) < ahead and (job := next(self.jobs, None)) is not None:
            self.waiting.append(job)

    def again(self, job: Job[P]) -> None:
        """Put a job back that its worker never got to."""
        (self.waiting if self.on_trial is None else self.suspects).appendleft(job)
        self.on_trial = None

    def came(self, outcome: Done[R] | SetAside) -> None:
        """Take an outcome in, to be reported once the free workers are busy again."""
        self.on_trial = None
        self.back.append(outcome)

    def report(self) -> None:
        """Hand over what came back."""
        for outcome in self.back:
            self.done += isinstance(outcome, Done)
            self.aside += isinstance(outcome, SetAside)
            self.on_done(outcome)
        self.back.clear()
