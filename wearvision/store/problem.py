"""What a check found amiss, one line each."""

from __future__ import annotations

from dataclasses import dataclass, field

MOST_LISTED = 100
"""A wrecked ledger of a million events is not described a million times."""


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One thing that does not hold together.

    Attributes
    ----------
    where : str
        `event 17`, `blob 3fa9...`, `head.json`, `ledger.sqlite3`.
    what : str
        What is wrong with it, without a full stop.
    """

    where: str
    what: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"


@dataclass(kw_only=True)
class Problems:
    """Problems as they are met; keeps the first `MOST_LISTED` and counts the rest."""

    kept: list[Problem] = field(default_factory=list)
    left_out: int = 0

    def add(self, where: str, what: str) -> None:
        """Note one problem."""
        if len(self.kept) < MOST_LISTED:
            self.kept.append(Problem(where=where, what=what))
        else:
            self.left_out += 1

    def all(self) -> tuple[Problem, ...]:
        """What was noted, with a last line for those not listed."""
        if not self.left_out:
            return tuple(self.kept)
        return (*self.kept, Problem(where="and", what=f"{self.left_out} more of the same kind"))
