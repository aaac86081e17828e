"""What one criterion says once its readings and checks are in.

Every standing reading is held against the limit, each with its own uncertainty; the worst word counts, and
among readings with that word the one nearest to or farthest beyond the limit is the figure shown. So the
deepest reading is the figure of an upper limit. For a clearance from two diameters every outer is paired with
every inner reading.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

from wearvision.rules.complete import reading_u, seat_u, sights_wanted
from wearvision.rules.decision import Decision, DecisionWord, Limit, decide
from wearvision.rules.notation import parse_length
from wearvision.rules.rubric import Action, Criterion, LimitText, Plan
from wearvision.rules.sheet import ConfirmedSheet

Word = Literal["reuse", "reuse with loss noted", "rework first", "do not reuse", "undecided"]
WORDS: tuple[Word, ...] = get_args(Word)
"""Mild to severe; `undecided` last because it is no step of that ladder."""
_RANK: tuple[DecisionWord, ...] = ("within", "undecided", "beyond")


@dataclass(frozen=True, kw_only=True)
class Figure:
    """The figure of a criterion and what was decided on it.

    Attributes
    ----------
    value_mm, u_mm : float
    points : tuple of int
        Gauge points it was read at.
    decision : Decision
    """

    value_mm: float
    u_mm: float
    points: tuple[int, ...]
    decision: Decision

    def to_json(self) -> dict[str, object]:
        """`{"value_mm", "u_mm", "points", "decision": {"word", "arithmetic", "p_conform", ...}}`."""
        return {"value_mm": self.value_mm, "u_mm": self.u_mm, "points": list(self.points),
                "decision": vars(self.decision).copy()}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class CriterionOutcome:
    """What a criterion says.

    Attributes
    ----------
    criterion : Criterion
    best, worst : Word
        The mildest and severest verdict word still possible; equal once decided.
    figure : Figure or None
        `None` for a condition.
    reasons : tuple of str
        Sentences; empty when all is well.
    loss : str
        The loss note, when wear is noted or the action is to reuse with loss.
    """

    criterion: Criterion
    best: Word
    worst: Word
    figure: Figure | None
    reasons: tuple[str, ...]
    loss: str

    @property
    def word(self) -> Word:
        """The word of this criterion alone."""
        return self.best if self.best == self.worst else "undecided"

    def to_json(self) -> dict[str, object]:
        """`{"id", "title", "word", "figure", "reasons", "loss"}`."""
        return {
            "id": self.criterion.id, "title": self.criterion.title, "word": self.word,
            "figure": self.figure.to_json() if self.figure else None, "reasons": list(self.reasons),
            "loss": self.loss,
        }  # fmt: skip


def outcome_of(sheet: ConfirmedSheet, criterion: Criterion) -> CriterionOutcome:
    """Derive the outcome of one criterion from a confirmed sheet."""
    figure = _figure(sheet, criterion)
    best, worst, reasons = _from_figure(sheet, criterion, figure)
    failed = tuple(_failed_checks(sheet, criterion))
    if failed:
        best, worst = severest((best, criterion.action)), severest((worst, criterion.action))
    noted = "reuse with loss noted" in (best, worst)
    return CriterionOutcome(
        criterion=criterion, best=best, worst=worst, figure=figure, reasons=(*reasons, *failed),
        loss=criterion.loss if noted else "",
    )  # fmt: skip


def severest(words: Iterable[Word | Action]) -> Word:
    """The severest of some words; `reuse` of none."""
    return max((w for w in words), key=WORDS.index, default="reuse")


def _figure(sheet: ConfirmedSheet, criterion: Criterion) -> Figure | None:
    plan, text = criterion.readings, criterion.limit
    if plan is None or text is None:
        return None
    limit, factor = text.limit, sheet.prefilled.rubric.file.decision.guard_factor
    figures = [
        Figure(value_mm=value, u_mm=u, points=points,
               decision=decide(value, u, limit, factor, seat_u_mm=seat_u(plan)))
        for value, u, points in _candidates(sheet, criterion.id, plan)
    ]  # fmt: skip
    return max(figures, key=lambda f: (_RANK.index(f.decision.word), _excess(f.value_mm, limit)))


def _candidates(sheet: ConfirmedSheet, name: str, plan: Plan) -> list[tuple[float, float, tuple[int, ...]]]:
    points = sheet.prefilled.points_of(name)
    stands = [(p, r) for p in points for r in sheet.log.standing(p.number)]
    if plan.figure == "extreme":
        return [(r.value_mm, reading_u(r, plan), (p.number,)) for p, r in stands]
    outer = [(p, r) for p, r in stands if p.role == "outer"]
    inner = [(p, r) for p, r in stands if p.role == "inner"]
    return [
        (a.value_mm - b.value_mm, math.hypot(reading_u(a, plan), reading_u(b, plan)), (p.number, q.number))
        for p, a in outer for q, b in inner if p.place == q.place
    ]  # fmt: skip


def _excess(value: float, limit: Limit) -> float:
    """How far beyond the nearer limit, mm; negative inside."""
    sides = []
    if limit.upper_mm is not None:
        sides.append(value - limit.upper_mm)
    if limit.lower_mm is not None:
        sides.append(limit.lower_mm - value)
    return max(sides)


def _from_figure(
    sheet: ConfirmedSheet, criterion: Criterion, figure: Figure | None
) -> tuple[Word, Word, tuple[str, ...]]:
    if figure is None or criterion.limit is None:
        return "reuse", "reuse", ()
    share = sheet.prefilled.rubric.file.decision.noted_share
    mild: Word = "reuse"
    notes: tuple[str, ...] = ()
    threshold = _noted_above(criterion.limit, share)
    if threshold is not None and figure.value_mm > threshold:
        mild = "reuse with loss noted"
        told = f"{figure.value_mm:.3f} mm, wear noted above {threshold:.3f} mm (shop setting)"
        notes = (f"{criterion.title}: {told}",)
    said = f"{criterion.title} (limit {criterion.limit.typed}): {figure.decision.arithmetic}"
    if figure.decision.word == "within":
        return mild, mild, notes
    if figure.decision.word == "beyond":
        return criterion.action, criterion.action, (said,)
    return mild, criterion.action, (f"{said}; {figure.decision.what_would_settle}",)


def _noted_above(text: LimitText, share: float) -> float | None:
    """Figure above which wear is noted, mm; `None` for a lower limit alone."""
    if text.noted_above is not None:
        return parse_length(text.noted_above).value_mm
    upper = text.limit.upper_mm
    return None if upper is None or text.lower is not None else share * upper


def _failed_checks(sheet: ConfirmedSheet, criterion: Criterion) -> Iterable[str]:
    for sight in sights_wanted(sheet.prefilled, sheet.log, criterion):
        answer = sheet.log.sight(criterion.id, sight.id)
        if answer is not None and sight.answers[answer.answer] == "fail":
            yield f"{criterion.title}: {answer.answer} ({answer.how}, {answer.by})"
