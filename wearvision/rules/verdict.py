"""The verdict: derived from a confirmed sheet, and from nothing else.

There is no grade to set. Everything is worked out from the sheet each time it is asked for, and the sheet is
checked again first; a stored verdict is derived anew on loading and compared.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import final

from wearvision.errors import BadInput, BrokenRecord
from wearvision.finding import FLAGS
from wearvision.rules.cautions import Caution, cautions_for
from wearvision.rules.outcome import CriterionOutcome, Word, outcome_of, severest
from wearvision.rules.points import Placed
from wearvision.rules.rubric import LimitText
from wearvision.rules.sheet import ConfirmedSheet


@final
@dataclass(frozen=True, eq=False)
class Verdict:
    """What follows for one part.

    Parameters
    ----------
    sheet : ConfirmedSheet

    Raises
    ------
    BadInput
        For anything but a confirmed sheet.
    """

    sheet: ConfirmedSheet

    def __post_init__(self) -> None:
        self._checked()

    def __reduce__(self) -> tuple[object, ...]:
        return (Verdict, (self.sheet,))

    @property
    def outcomes(self) -> tuple[CriterionOutcome, ...]:
        """Outcome of each criterion, in the order of the rubric."""
        sheet = self._checked()
        return tuple(outcome_of(sheet, c) for c in sheet.prefilled.criteria)

    @property
    def word(self) -> Word:
        """The worst of the criteria; `undecided` when an open one could still make it worse."""
        outcomes = self.outcomes
        best, worst = severest(o.best for o in outcomes), severest(o.worst for o in outcomes)
        return best if best == worst else "undecided"

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why not simply `reuse`, severest first; empty when it is."""
        ordered = sorted(self.outcomes, key=lambda o: -_severity(o))
        return tuple(reason for o in ordered for reason in o.reasons)

    @property
    def losses(self) -> tuple[str, ...]:
        """What reuse will cost, one sentence for each criterion with noted wear."""
        return tuple(dict.fromkeys(o.loss for o in self.outcomes if o.loss))

    @property
    def doubts(self) -> tuple[str, ...]:
        """What a reader of the report should know about the evidence."""
        return self.doubts_by({})

    def doubts_by(self, photos: Mapping[str, str]) -> tuple[str, ...]:
        """The same, each photo called by its name; `photos` has them by sha256."""
        sheet = self._checked()
        prefilled = sheet.prefilled

        def name(placed: Placed) -> str:
            sha, finding = placed
            return f"{finding.kind.replace('-', ' ')} {finding.id} ({photos.get(sha, f'photo {sha[:8]}')})"

        struck = tuple(f"{name(p)} was struck from the record: {p[1].struck}"
                       for p in prefilled.findings if p[1].struck)  # fmt: skip
        flags = tuple(f"{name(p)}: {FLAGS[flag]}" for p in prefilled.findings if not (p[1].struck or p[1].same_as)
                      for flag in p[1].flags)  # fmt: skip
        unplaced = tuple(f"{name(p)} belongs to no criterion of the rubric" for p in prefilled.unplaced)
        small = tuple(f"{name(p)} had no gauge point of its own" for p in prefilled.not_gauged)
        return (*sheet.doubts, *struck, *unplaced, *small, *flags)

    @property
    def follow_up(self) -> tuple[str, ...]:
        """What the rubric leaves for assembly; empty on an assembly sheet."""
        prefilled = self._checked().prefilled
        later = prefilled.rubric.criteria("assembly") if prefilled.stage == "part" else ()
        return tuple(f"At assembly: {c.title}{_figures(c.limit)}. {c.note}".strip() for c in later)

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """Safety lines for the part kind and its photos."""
        prefilled = self._checked().prefilled
        return cautions_for(prefilled.rubric.kind, {view for _, view in prefilled.photos})

    @property
    def decision_rule(self) -> str:
        """The rule, one sentence for the report."""
        return self._checked().prefilled.rubric.file.decision.text

    def to_json(self) -> dict[str, object]:
        """Everything derived, with the digests of sheet and rubric, schema `wearvision.verdict/1`."""
        sheet = self._checked()
        rubric = sheet.prefilled.rubric
        return {
            "schema": "wearvision.verdict/1", "tag": sheet.prefilled.tag, "kind": rubric.kind,
            "stage": sheet.prefilled.stage, "rubric_digest": rubric.digest, "sheet_digest": sheet.digest,
            "confirmed_by": sheet.confirmed_by, "confirmed_at": sheet.confirmed_at, "word": self.word,
            "reasons": list(self.reasons), "losses": list(self.losses), "doubts": list(self.doubts),
            "follow_up": list(self.follow_up), "cautions": [c.to_json() for c in self.cautions],
            "decision_rule": self.decision_rule, "criteria": [o.to_json() for o in self.outcomes],
        }  # fmt: skip

    @classmethod
    def from_json(cls, data: Mapping[str, object], sheet: ConfirmedSheet) -> Verdict:
        """The verdict of `sheet`, when the stored one says the same.

        Raises
        ------
        BrokenRecord
            When a stored word, reason or figure is not what the sheet gives.
        """
        verdict = cls(sheet)
        derived = verdict.to_json()
        odd = sorted(k for k in {*data, *derived} if data.get(k) != derived.get(k))
        if odd:
            raise BrokenRecord("a stored verdict does not follow from its sheet", got=odd, do="check the ledger")
        return verdict

    def _checked(self) -> ConfirmedSheet:
        sheet = getattr(self, "sheet", None)
        if type(sheet) is not ConfirmedSheet:
            raise BadInput("a verdict is made from a confirmed sheet only", got=type(sheet).__name__)
        sheet.require_whole()
        return sheet


def _severity(outcome: CriterionOutcome) -> int:
    order = ("reuse", "reuse with loss noted", "rework first", "undecided", "do not reuse")
    return order.index(outcome.word)


def _figures(limit: LimitText | None) -> str:
    if limit is None:
        return ""
    target = f", set {limit.target}" if limit.target else ""
    return f", {limit.typed} ({limit.limit.text}){target}"
