"""One line of a clearance table: what, how much, held against what.

Half of a clearance is not the clearance: every key and label must say `diametral` (across, both sides), `radial`
(one side) or `axial`; a line that does not cannot be made.
"""

from __future__ import annotations

from dataclasses import dataclass

from wearvision.errors import BadInput
from wearvision.rules.decision import Decision
from wearvision.rules.gauged import Gauged

WAYS = ("diametral", "radial", "axial")


@dataclass(frozen=True, kw_only=True)
class Line:
    """A clearance, gap, wear or move along one way.

    Attributes
    ----------
    key : str
        Name in the JSON, `front_gap_axial`.
    label : str
        The same for people, `Front gap, axial`.
    figure : Gauged or None
        `None` when it is not known; `note` then says what is missing.
    limit : str
        What it is held against, in words; empty when against nothing.
    decision : Decision or None
    note : str
        Where the limit comes from, what follows.
    """

    key: str
    label: str
    figure: Gauged | None
    limit: str = ""
    decision: Decision | None = None
    note: str = ""

    def __post_init__(self) -> None:
        said = {way for way in WAYS if way in self.key}
        if len(said) != 1 or said != {way for way in WAYS if way in self.label.lower()}:
            raise BadInput("a clearance must say diametral, radial or axial, once", got=(self.key, self.label))

    @property
    def word(self) -> str:
        """`within`, `beyond`, `undecided`, or empty when nothing was decided."""
        return self.decision.word if self.decision else ""

    def to_json(self) -> dict[str, object]:
        """`{"label", "figure", "limit", "decision", "note"}`."""
        return {
            "label": self.label, "figure": self.figure.to_json() if self.figure else None, "limit": self.limit,
            "decision": vars(self.decision).copy() if self.decision else None, "note": self.note,
        }  # fmt: skip


def lines_json(lines: tuple[Line, ...]) -> dict[str, object]:
    """Each line under its key."""
    return {line.key: line.to_json() for line in lines}
