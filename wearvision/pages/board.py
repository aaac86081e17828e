"""The triage board and the bench sheet, as strings: what to do next, never what follows from it.

The board orders parts by the next step. "Likely" speaks about where to gauge first; neither page carries a
verdict, and the sheet shows no sealed estimate.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import Literal, get_args

from wearvision.errors import BadInput
from wearvision.pages.page import CAUTIONS, FindingRow, Picture, cell, render
from wearvision.quantity import Measured

NextStep = Literal["retake", "gauge first", "likely beyond", "likely within"]
NEXT_STEPS: tuple[NextStep, ...] = get_args(NextStep)
SAY_STEP: dict[NextStep, str] = {
    "retake": "The photo cannot carry a measurement. Take it again as each part says.",
    "gauge first": "Close to a limit, or too little seen to tell. These readings settle most.",
    "likely beyond": "Extents seen in the photo lie past a limit. Gauge to settle it.",
    "likely within": "Extents seen in the photo lie inside the limits. Depths still need the gauge.",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class PartCard:
    """One part on the board.

    Attributes
    ----------
    tag, part_kind : str
    next_step : NextStep
    why : str
        One sentence on why it stands in this group.
    photos : int
        How many photos it has.
    pictures : tuple of Picture
        Overlay thumbnails, most telling first.
    findings : tuple of FindingRow
    points : int
        Gauge points to take.
    retakes : tuple of (file, sentence)
    not_assessed : tuple of (what, why)
    command : str
        Next command to type.
    """

    tag: str
    part_kind: str
    next_step: NextStep
    why: str = ""
    photos: int = 1
    pictures: tuple[Picture, ...] = ()
    findings: tuple[FindingRow, ...] = ()
    points: int = 0
    retakes: tuple[tuple[str, str], ...] = ()
    not_assessed: tuple[tuple[str, str], ...] = ()
    command: str = ""

    def __post_init__(self) -> None:
        if self.next_step not in NEXT_STEPS:
            raise BadInput("unknown next step", got=self.next_step, do=f"use one of {', '.join(NEXT_STEPS)}")


@dataclass(frozen=True, kw_only=True, eq=False)
class BoardModel:
    """A crate's triage board.

    Attributes
    ----------
    crate : str
    made_at : str
        When, as it shall read.
    version : str
        Of this software.
    photos_total, photos_done : int
        Progress of the crate; the set-aside ones count as done.
    parts : tuple of PartCard
        In the order wanted inside each group.
    set_aside : tuple of (file, reason)
        Files that could not be read.
    """

    crate: str
    made_at: str
    version: str
    photos_total: int
    photos_done: int
    parts: tuple[PartCard, ...] = ()
    set_aside: tuple[tuple[str, str], ...] = ()

    @property
    def unseen(self) -> tuple[tuple[str, str], ...]:
        """What was assessed in no part at all: said once for the crate."""
        if len(self.parts) < 2:
            return ()
        return tuple(pair for pair in self.parts[0].not_assessed if all(pair in p.not_assessed for p in self.parts))

    @property
    def retakes(self) -> int:
        """Photos to take again."""
        return sum(len({file for file, _ in part.retakes}) for part in self.parts)

    def groups(self) -> list[tuple[NextStep, str, list[PartCard]]]:
        """Every group in working order: name, its sentence, its parts."""
        return [(step, SAY_STEP[step], [p for p in self.parts if p.next_step == step]) for step in NEXT_STEPS]


@dataclass(frozen=True, kw_only=True)
class SheetCriterion:
    """One criterion on the bench sheet, with room to write.

    Attributes
    ----------
    title, limit : str
        As the rubric words them.
    when_beyond : str
        The rubric's action, as text.
    how : str
        Instrument or method the rubric demands.
    points : tuple of int
        Numbered gauge points; one box each.
    places : tuple of str
        What each point is, where no picture shows it; empty, or one for each.
    readings : int
        Boxes when the rubric asks for readings without numbered points.
    choices : tuple of str
        Boxes to tick, for a sight check.
    checks : tuple of (question, answers)
        Sight checks with a box per answer; use these where a criterion asks several questions.
    unit : str
    seen : str
        Open extents from the photo, in words.
    """

    title: str
    limit: str
    how: str
    when_beyond: str = ""
    points: tuple[int, ...] = ()
    places: tuple[str, ...] = ()
    readings: int = 0
    choices: tuple[str, ...] = ()
    checks: tuple[tuple[str, tuple[str, ...]], ...] = ()
    unit: str = "mm"
    seen: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class SheetModel:
    """One part's prefilled sheet, to print and carry to the bench."""

    tag: str
    part_kind: str
    crate: str
    rubric: str
    rubric_digest: str
    made_at: str
    version: str
    pictures: tuple[Picture, ...] = ()
    closeups: tuple[Picture, ...] = ()
    criteria: tuple[SheetCriterion, ...] = ()
    findings: tuple[FindingRow, ...] = ()
    not_assessed: tuple[tuple[str, str], ...] = ()
    command: str = ""
    cautions: tuple[tuple[str, str], ...] = CAUTIONS


def board_page(model: BoardModel) -> str:
    """The board as one self-contained HTML page."""
    return render("board.html.j2", board=model, groups=model.groups(), cautions=CAUTIONS)


def sheet_page(model: SheetModel) -> str:
    """The bench sheet as one self-contained HTML page, laid out for A4."""
    return render("sheet.html.j2", sheet=model)


CSV_COLUMNS = (
    "next_step", "tag", "part_kind", "photos", "gauge_points", "finding", "kind", "quantity", "value", "u95",
    "unit", "not_measured", "flags", "why", "retake", "command",
)  # fmt: skip


def board_csv(model: BoardModel) -> str:
    """The board as CSV (RFC 4180): one row per figure, at least one per part and per file set aside."""
    out = io.StringIO()
    table = csv.DictWriter(out, CSV_COLUMNS, restval="", lineterminator="\r\n")
    table.writeheader()
    for _, _, parts in model.groups():
        for part in parts:
            for row in _figures(part):
                table.writerow(_facts(part) | row)
    for file, reason in model.set_aside:
        table.writerow({"next_step": "set aside", "tag": cell(file), "not_measured": cell(reason)})
    return out.getvalue()


def _facts(part: PartCard) -> dict[str, object]:
    facts = {
        "next_step": part.next_step, "tag": part.tag, "part_kind": part.part_kind, "photos": part.photos,
        "gauge_points": part.points, "why": part.why, "command": part.command,
        "retake": " ".join(f"{file}: {say}" for file, say in part.retakes),
    }  # fmt: skip
    return {name: cell(value) for name, value in facts.items()}


def _figures(part: PartCard) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    for finding in part.findings:
        about = {"finding": cell(finding.place), "kind": finding.kind, "flags": " ".join(finding.flags)}
        for name, quantity in finding.figures:
            row = about | {"quantity": cell(name)}
            if isinstance(quantity, Measured):
                row |= {"value": f"{quantity.value:.6g}", "u95": f"{quantity.u95:.3g}", "unit": quantity.unit}
            else:
                row["not_measured"] = cell(quantity.reason)
            rows.append(row)
        if not finding.figures:
            rows.append(about)
    return rows or [{}]
