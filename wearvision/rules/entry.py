"""The log of a sheet: every reading and sight check in the order committed, none ever overwritten.

A change is a new entry with a reason. `Log` checks the whole sequence whenever it is made, so that a log
without its first entries cannot exist.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, final, get_args

from wearvision.errors import BadInput
from wearvision.rules.reading import GaugeReading, SightCheck, whole

EntryKind = Literal["first", "second", "amendment"]
_KINDS: tuple[EntryKind, ...] = get_args(EntryKind)
Key = int | tuple[str, str]


@final
@dataclass(frozen=True, kw_only=True)
class Entry:
    """One line of the log.

    Attributes
    ----------
    kind : EntryKind
        `first`; `second`, a second blind reading at the same point; `amendment`, a correction.
    what : GaugeReading or SightCheck
    reason : str
        Why; an amendment must have one. With a reason a second reading stands alone, else both stand.
    """

    kind: EntryKind
    what: GaugeReading | SightCheck
    reason: str = ""

    def __post_init__(self) -> None:
        if self.kind not in _KINDS:
            raise BadInput("unknown kind of entry", got=self.kind, do=f"use one of {', '.join(_KINDS)}")
        if type(self.what) not in (GaugeReading, SightCheck):
            got = type(self.what).__name__
            raise BadInput("only a gauge reading or a sight check can be entered", got=got)
        if self.kind == "amendment" and not self.reason.strip():
            raise BadInput("a change needs a reason", do="say why the first entry was wrong")
        if self.kind == "second" and isinstance(self.what, SightCheck):
            raise BadInput("only a gauge reading is read a second time", do="amend the sight check")

    @property
    def key(self) -> Key:
        """What it is about: the point's number, or criterion and check."""
        if isinstance(self.what, GaugeReading):
            return self.what.point
        return (self.what.criterion, self.what.check)

    def to_json(self) -> dict[str, object]:
        """`{"kind", "reason", "reading" or "sight"}`."""
        name = "reading" if isinstance(self.what, GaugeReading) else "sight"
        return {"kind": self.kind, "reason": self.reason, name: self.what.to_json()}

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> Entry:
        """Inverse of `to_json`, through the same checks."""
        name = "reading" if "reading" in data else "sight"
        fields = whole(data, "kind", "reason", name)
        record = fields[name]
        kind = next((k for k in _KINDS if k == fields["kind"]), None)
        if kind is None or not isinstance(record, Mapping):
            raise BadInput("not an entry", got=dict(data))
        what = GaugeReading.from_json(record) if name == "reading" else SightCheck.from_json(record)
        return cls(kind=kind, what=what, reason=str(fields["reason"]))


@final
@dataclass(frozen=True)
class Log:
    """Entries in the order committed. Adding gives a new log; the old lines stay at its head."""

    entries: tuple[Entry, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "entries", tuple(self.entries))
        known: set[Key] = set()
        for entry in self.entries:
            if type(entry) is not Entry:
                raise BadInput("a log holds entries only", got=type(entry).__name__)
            if entry.kind == "first" and entry.key in known:
                raise BadInput("already entered", got=entry.key, do="amend it, with a reason")
            if entry.kind != "first" and entry.key not in known:
                raise BadInput(f"no first entry for this {entry.kind}", got=entry.key, do="commit one")
            known.add(entry.key)

    def commit(self, what: GaugeReading | SightCheck) -> Log:
        """With a first reading or check."""
        return Log((*self.entries, Entry(kind="first", what=what)))

    def second(self, reading: GaugeReading, reason: str = "") -> Log:
        """With a second blind reading; with a reason it alone stands, else the worse of both decides."""
        return Log((*self.entries, Entry(kind="second", what=reading, reason=reason)))

    def amend(self, what: GaugeReading | SightCheck, reason: str) -> Log:
        """With a correction, which replaces what stood at its point."""
        return Log((*self.entries, Entry(kind="amendment", what=what, reason=reason)))

    def first(self, point: int) -> GaugeReading | None:
        """The first reading at a point."""
        return next(iter(self._readings(point, "first")), None)

    def has_second(self, point: int) -> bool:
        """Whether a second blind reading was taken at a point."""
        return bool(self._readings(point, "second"))

    def standing(self, point: int) -> tuple[GaugeReading, ...]:
        """The readings that count at a point: the latest, and those it stands beside."""
        stand: tuple[GaugeReading, ...] = ()
        for entry in self.entries:
            if isinstance(entry.what, GaugeReading) and entry.key == point:
                beside = entry.kind == "second" and not entry.reason.strip()
                stand = (*stand, entry.what) if beside else (entry.what,)
        return stand

    def sight(self, criterion: str, check: str) -> SightCheck | None:
        """The latest answer to a sight check."""
        found = [e.what for e in self.entries if e.key == (criterion, check)]
        return found[-1] if found and isinstance(found[-1], SightCheck) else None

    def to_json(self) -> list[dict[str, object]]:
        """The entries, in order."""
        return [entry.to_json() for entry in self.entries]

    @classmethod
    def from_json(cls, data: Sequence[Mapping[str, object]]) -> Log:
        """Inverse of `to_json`, through the same checks."""
        return cls(tuple(Entry.from_json(line) for line in data))

    def _readings(self, point: int, kind: EntryKind) -> list[GaugeReading]:
        own = [e.what for e in self.entries if e.key == point and e.kind == kind]
        return [what for what in own if isinstance(what, GaugeReading)]
