"""A crate through the pool and into the journal: each photo measured once, whatever happens on the way.

A record in the journal is `{"done": ...}`, what the work function returned, or `{"aside": {"code", "why",
"detail"}}`. A photo set aside stays so on the next run, unless asked again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from wearvision.crates.crate import CratePhoto
from wearvision.crates.jobs import Done, Job, SetAside
from wearvision.crates.journal import Journal, Key, compact, digest_of, sha256_of
from wearvision.crates.pool import LIMIT_S, Pool
from wearvision.crates.worker import one_thread

Outcome = Mapping[str, Any]
_UNREAD = "unread"  # in place of a sha256; such a photo is tried again on every run


@dataclass(frozen=True, kw_only=True)
class BatchEnd:
    """How a batch ended.

    Attributes
    ----------
    keys : mapping of str to Key
        Journal key of each finished photo by name; the same photo under two names has one key.
    fresh, kept : int
        Photos worked on in this run, and those finished before or under another name.
    aside : int
        Photos of either that carry no measurement.
    stopped : bool
        Interrupted; run again to go on.
    """

    keys: Mapping[str, Key]
    fresh: int
    kept: int
    aside: int
    stopped: bool


def batch_pool(
    work: Callable[[CratePhoto], Mapping[str, Any]], *, workers: int, limit_s: float = LIMIT_S,
    prepare: Callable[[], None] = one_thread, on_preparing: Callable[[], None] = lambda: None,
) -> Pool[CratePhoto, str]:  # fmt: skip
    """Make a pool whose workers measure photos and write the record themselves.

    `work` is a function of a module; what it returns must be JSON without nan, and must not depend on the
    photo's name, and of its tag only on whether there is one.
    """
    return Pool(
        partial(_record, work), workers=workers, limit_s=limit_s, prepare=prepare, on_preparing=on_preparing
    )


def measure_all(
    photos: Iterable[CratePhoto], journal: Journal, pool: Pool[CratePhoto, str], *, context: Any,
    again: bool = False, on_outcome: Callable[[str, Outcome], None] = lambda _name, _outcome: None,
) -> BatchEnd:  # fmt: skip
    """Measure the photos that the journal does not hold; each is on disk before it is told.

    Parameters
    ----------
    photos : iterable of CratePhoto
    journal : Journal
    pool : Pool
        From `batch_pool`.
    context : JSON value
        What decides the result besides photo and stated facts: the rubric's digest, the software's version.
    again : bool
        Try photos once more that were set aside for a fault, a death or a hang.
    on_outcome : callable
        Told each photo's name and outcome as it is known, finished ones of an earlier run included.
    """
    batch = _Batch(photos=photos, journal=journal, context=context, again=again, on_outcome=on_outcome)
    tally = pool.run(batch.jobs(), batch.finish)
    fresh = len(batch.finished)
    return BatchEnd(
        keys=batch.keys, fresh=fresh, kept=len(batch.keys) - fresh, aside=batch.aside, stopped=tally.stopped
    )


def outcomes(photos: Iterable[CratePhoto], end: BatchEnd, journal: Journal) -> Iterator[tuple[CratePhoto, Outcome]]:
    """Finished photos in the order given, each with its outcome, read back one at a time."""
    for photo in photos:
        if photo.name in end.keys:
            yield photo, journal.record(end.keys[photo.name])


def _record(work: Callable[[CratePhoto], Mapping[str, Any]], photo: CratePhoto) -> str:
    return compact({"done": work(photo)})


@dataclass(kw_only=True)
class _Batch:
    photos: Iterable[CratePhoto]
    journal: Journal
    context: Any
    again: bool
    on_outcome: Callable[[str, Outcome], None]
    keys: dict[str, Key] = field(default_factory=dict)
    names: dict[Key, list[str]] = field(default_factory=dict)  # in work: all names of each photo
    finished: set[Key] = field(default_factory=set)  # in this run
    aside: int = 0

    def jobs(self) -> Iterator[Job[CratePhoto]]:
        """Photos still to be measured; the finished ones are told on the way."""
        for photo in self.photos:
            key = self._key(photo)
            if key in self.names:
                self.names[key].append(photo.name)
            elif key in self.journal and not self._to_redo(key):
                self._tell(photo.name, key, self.journal.record(key))
            else:
                self.names[key] = [photo.name]
                yield Job(name=photo.name, payload=photo)

    def finish(self, back: Done[str] | SetAside) -> None:
        """Write down what came back, then tell it under every name."""
        key = next(key for key, names in self.names.items() if names[0] == back.name)
        if isinstance(back, Done):
            record = back.value
        else:
            record = compact({"aside": {"code": back.code, "why": back.why, "detail": back.detail}})
        self.journal.add(key, back.name, record)
        self.finished.add(key)
        for name in self.names.pop(key):
            self._tell(name, key, self.journal.record(key))

    def _tell(self, name: str, key: Key, outcome: Outcome) -> None:
        self.keys[name] = key
        self.aside += "aside" in outcome
        self.on_outcome(name, outcome)

    def _key(self, photo: CratePhoto) -> Key:
        try:
            sha256 = sha256_of(photo.path)
        except OSError:  # the worker will say why
            return _UNREAD, digest_of(photo.name)
        stated = {**vars(photo.stated), "nominal": dict(photo.stated.nominal)}
        return sha256, digest_of(stated, bool(photo.tag), self.context)

    def _to_redo(self, key: Key) -> bool:
        if key in self.finished:
            return False
        aside = self.journal.record(key).get("aside", {})
        return key[0] == _UNREAD or (self.again and aside.get("code", "refused") != "refused")
