"""A crack once suspected, on a mark or by eye, and the test it calls for: open, or made and on record."""

from __future__ import annotations

from dataclasses import dataclass

from wearvision.rules.complete import sights_wanted
from wearvision.rules.entry import Log
from wearvision.rules.prefilled import PrefilledSheet
from wearvision.rules.reading import SightCheck


@dataclass(frozen=True, kw_only=True)
class CrackSuspected:
    """One suspicion.

    Attributes
    ----------
    tag : str
        Of the part.
    test : SightCheck or None
        The test it called for, as entered; `None` while it is to be made.
    """

    tag: str
    test: SightCheck | None


def cracks_suspected(sheet: PrefilledSheet, log: Log) -> tuple[CrackSuspected, ...]:
    """Each test that a suspicion calls for on this sheet, confirmed or not."""
    return tuple(
        CrackSuspected(tag=sheet.tag, test=log.sight(criterion.id, sight.id))
        for criterion in sheet.criteria for sight in sights_wanted(sheet, log, criterion) if sight.when == "suspected"
    )  # fmt: skip
