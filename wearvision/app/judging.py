"""The verdict on a part: confirmed by a person once, told as often as asked, from a ledger proved sound."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from wearvision.app.rubrics import load_rubric
from wearvision.app.setting_aside import set_aside_words
from wearvision.app.sheets import sheet_of
from wearvision.app.shop import Shop
from wearvision.errors import NeedsPerson, WearvisionError
from wearvision.rules.sheet import PrefilledSheet
from wearvision.rules.verdict import Verdict
from wearvision.store.ledger import PartRecord


@dataclass(frozen=True, kw_only=True)
class Judged:
    """A verdict as it is told.

    Attributes
    ----------
    verdict : Verdict
    fresh : bool
        Whether it was confirmed just now.
    notes : tuple of str
        What a reader should know beside it; see `notes_on`.
    """

    verdict: Verdict
    fresh: bool
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The verdict's own JSON and the notes."""
        return {**self.verdict.to_json(), "notes": list(self.notes)}

    @property
    def lines(self) -> tuple[str, ...]:
        """The verdict in words, the word first."""
        found, sheet = self.verdict, self.verdict.sheet
        said = f"confirmed by {sheet.confirmed_by}, {sheet.confirmed_at}"
        below = (said, *found.reasons, *found.losses, *found.follow_up, *self.notes)
        return (f"{sheet.prefilled.tag}: {found.word}", *(f"  {line}" for line in below))


def judge(shop: Shop, tag: str, by: str, at: datetime) -> Judged:
    """Confirm the sheet of a part in a person's name, unless it is confirmed already, and derive what follows.

    Raises
    ------
    NeedsPerson
        Nobody is named, something is missing, or marks were found since the sheet was laid.
    BrokenRecord
        When any event of the ledger is missing, changed or foreign.
    """
    record = shop.ledger.load(tag)
    fresh = record.confirmed is None
    if fresh:
        sheet_of(record)
        if not by.strip():
            raise NeedsPerson(f"nobody has confirmed the sheet of {tag}", do="add --by YOURNAME to confirm it")
        record = shop.ledger.confirm(tag, by.strip(), at)
    else:
        shop.ledger.require_sound()
    return Judged(verdict=record.verdict(), fresh=fresh, notes=notes_on(record, shop.rubric))


def notes_on(record: PartRecord, rubric: Path | None) -> tuple[str, ...]:
    """What is not in the verdict and should be known: readings set aside before, and what has changed since."""
    return (*set_aside_words(record), *changed_since(record, rubric))


def changed_since(record: PartRecord, rubric: Path | None) -> tuple[str, ...]:
    """What is no longer as it was when the sheet of a part was laid: marks found since, and the shop's rubric."""
    sheet = sheet_of(record)
    notes = [f"found since the sheet was laid, and not on it: {line}" for line in record.late]
    if not _same_rubric(sheet, rubric):
        notes.append(
            f"judged by the rubric that the sheet was laid with, {sheet.rubric.file.title}, edition"
            f" {sheet.rubric.file.edition}; the shop's file has changed since"
        )
    return tuple(notes)


def _same_rubric(sheet: PrefilledSheet, rubric: Path | None) -> bool:
    try:
        return load_rubric(sheet.rubric.kind, rubric).digest == sheet.rubric.digest
    except WearvisionError:  # no file of today to compare with: the sheet carries its own
        return True
