"""What a person states when a part comes in: each crate it comes with is one inspection of it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from datetime import date

from wearvision.errors import BadInput

MOST_HOURS = 2e6
MOST_WORDS = 200


@dataclass(frozen=True, kw_only=True)
class Arrival:
    """Facts stated about a part as it came in with a crate; what nobody stated stays empty.

    Attributes
    ----------
    crate : str
        Name of the crate; a part comes in with each crate once.
    running_hours : float or None
        Hours the part has run in all since new, 0 or more.
    inspected_on : str
        ISO date on which it came out of service; the day of its readings counts when empty.
    duty : str
        What it ran under since the inspection before, in words that stay the same while the duty does.
    needed_by : str
        ISO date by which an order or rework is needed.
    """

    crate: str
    running_hours: float | None = None
    inspected_on: str = ""
    duty: str = ""
    needed_by: str = ""

    def __post_init__(self) -> None:
        hours = self.running_hours
        if hours is not None and not (math.isfinite(hours) and 0 <= hours <= MOST_HOURS):
            raise BadInput("running hours: outside 0 to 2000000", got=hours, do="state the hours run since new")
        for name in ("inspected_on", "needed_by"):
            if (text := getattr(self, name)) and not _is_date(text):
                raise BadInput(f"{name} is not a date", got=text, do="write it like 2026-11-25")
        if len(self.duty) > MOST_WORDS or not (self.duty + "-").isprintable():
            raise BadInput("duty: one line, 200 letters at most", got=self.duty[:40])
        object.__setattr__(self, "running_hours", None if hours is None else float(hours))
        object.__setattr__(self, "duty", " ".join(self.duty.split()))

    @property
    def stated(self) -> bool:
        """Whether anything but the crate was stated."""
        return self != Arrival(crate=self.crate)

    def with_later(self, later: Arrival) -> Arrival:
        """These facts with what was stated later; what was not stated later stays."""
        return replace(self, **{name: new for name, new in asdict(later).items() if new not in (None, "")})

    def words(self) -> dict[str, str]:
        """What was stated, in words, by name."""
        hours = "" if self.running_hours is None else f"{self.running_hours:g} h since new"
        words = {"inspected_on": self.inspected_on, "duty": self.duty, "needed_by": self.needed_by}
        return {name: text for name, text in ({"running_hours": hours} | words).items() if text}

    def to_json(self) -> dict[str, object]:
        """Field by field."""
        return asdict(self)

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> Arrival:
        """Inverse of `to_json`, through the same checks."""
        names = {f.name for f in fields(cls)}
        if set(data) != names:
            raise BadInput("a stored arrival has missing or unknown fields", got=sorted(set(data) ^ names))
        hours = data["running_hours"]
        words = {name: str(data[name]) for name in names - {"running_hours"}}
        return cls(running_hours=None if hours is None else float(str(hours)), **words)


def _is_date(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False
