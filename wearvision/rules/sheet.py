"""The sheet of one part: prefilled from photos, then confirmed by readings. Two types, so that one never
passes for the other.

`ConfirmedSheet` cannot be made while anything the rubric asks is missing, by whatever road (constructor,
`replace`, pickle, stored record). This guards against accidents; Python cannot stop a determined hand.
The names others need for a sheet are all reached from here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import final

from wearvision.errors import BadInput, NeedsPerson
from wearvision.rules.complete import (
    check_fits,
    missing,
    open_estimate,
    sealed_until,
    seconds_wanted,
    sights_wanted,
)
from wearvision.rules.entry import Entry, Log
from wearvision.rules.points import GaugePoint
from wearvision.rules.prefilled import PrefilledSheet, digest_of, prefill
from wearvision.rules.reading import time_of, whole

__all__ = [
    "ConfirmedSheet", "Entry", "GaugePoint", "Log", "PrefilledSheet", "check_fits", "missing",
    "open_estimate", "prefill", "sealed_until", "seconds_wanted", "sights_wanted",
]  # fmt: skip


@final
@dataclass(frozen=True, kw_only=True, eq=False)
class ConfirmedSheet:
    """A sheet with every reading and check its rubric asks for, confirmed by a named person.

    Attributes
    ----------
    prefilled : PrefilledSheet
    log : Log
    confirmed_by, confirmed_at : str
        Name; ISO date and time.

    Raises
    ------
    NeedsPerson
        While something is missing; names the first of it.
    BadInput
        When an entry does not fit the sheet.
    """

    prefilled: PrefilledSheet
    log: Log
    confirmed_by: str
    confirmed_at: str

    def __post_init__(self) -> None:
        self.require_whole()

    def __reduce__(self) -> tuple[object, ...]:
        return (_confirmed, (self.prefilled, self.log, self.confirmed_by, self.confirmed_at))

    def require_whole(self) -> None:
        """Check everything again; made and used are both guarded by it."""
        if type(self.prefilled) is not PrefilledSheet or type(self.log) is not Log:
            got = (type(self.prefilled).__name__, type(self.log).__name__)
            raise BadInput("a confirmed sheet is made of a prefilled sheet and a log", got=got)
        if not self.confirmed_by.strip():
            raise NeedsPerson("nobody has confirmed the sheet", do="give the name of the person who confirms")
        time_of(self.confirmed_at)
        for entry in self.log.entries:
            check_fits(self.prefilled, entry.what)
        if still := missing(self.prefilled, self.log):
            more = f", and {len(still) - 3} more" if len(still) > 3 else ""
            raise NeedsPerson(
                f"the sheet of {self.prefilled.tag} is not complete",
                do=f"still to do: {'; '.join(still[:3])}{more}",
            )

    @property
    def doubts(self) -> tuple[str, ...]:
        """Doubts that entries were accepted with, each once."""
        return tuple(dict.fromkeys(d for e in self.log.entries for d in check_fits(self.prefilled, e.what)))

    @property
    def digest(self) -> str:
        """sha256 of the stored form, hexadecimal."""
        return digest_of(self.to_json())

    def to_json(self) -> dict[str, object]:
        """`{"schema", "prefilled", "log", "confirmed_by", "confirmed_at"}`: for the ledger."""
        return {
            "schema": "wearvision.confirmed/1", "prefilled": self.prefilled.to_json(),
            "log": self.log.to_json(),
            "confirmed_by": self.confirmed_by, "confirmed_at": self.confirmed_at,
        }  # fmt: skip

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> ConfirmedSheet:
        """Inverse of `to_json`, through the constructor and all its checks."""
        fields = whole(data, "schema", "prefilled", "log", "confirmed_by", "confirmed_at")
        prefilled, log = fields["prefilled"], fields["log"]
        if not (isinstance(prefilled, Mapping) and isinstance(log, list)):
            raise BadInput("not a stored confirmed sheet", got=fields["schema"])
        return cls(
            prefilled=PrefilledSheet.from_json(prefilled), log=Log.from_json(log),
            confirmed_by=str(fields["confirmed_by"]), confirmed_at=str(fields["confirmed_at"]),
        )  # fmt: skip


def _confirmed(prefilled: PrefilledSheet, log: Log, by: str, at: str) -> ConfirmedSheet:
    return ConfirmedSheet(prefilled=prefilled, log=log, confirmed_by=by, confirmed_at=at)
