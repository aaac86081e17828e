"""The report of one part: one view model, and its HTML. The PDF of the same model is in `report_pdf`.

The model takes words, not judgements: a report without a verdict names the readings that are missing instead,
and an estimate is opened only beside a reading that was committed before it.
"""

from __future__ import annotations

from dataclasses import dataclass

from wearvision.errors import BadInput
from wearvision.pages.page import CAUTIONS, DEFERS, FindingRow, Picture, render
from wearvision.pages.plots import Plot


@dataclass(frozen=True, kw_only=True)
class InstrumentView:
    """An instrument as the reader stated it; `key` is what entries name it by."""

    key: str
    kind: str
    serial: str = ""
    resolution: str = ""
    mpe: str = ""
    zero_check: str = ""
    due: str = ""


@dataclass(frozen=True, kw_only=True)
class EntryView:
    """One committed reading.

    Attributes
    ----------
    point : str
        Number of the gauge point, or the place in words.
    typed : str
        As the reader typed it.
    value, u : str
        In mm (or the criterion's unit), with its standard uncertainty.
    instrument : str
        Key of an `InstrumentView`.
    reader, at : str
    reason : str
        Why it replaces the entry before it; empty for a first reading.
    stands : bool
        Whether the verdict uses it. A replaced reading stays visible.
    place : str
        What was read and where, when no mark on a photo shows it.
    """

    point: str
    typed: str
    value: str
    u: str = ""
    instrument: str = ""
    reader: str
    at: str
    reason: str = ""
    stands: bool = True
    place: str = ""


@dataclass(frozen=True, kw_only=True)
class SightView:
    """One committed sight check: what was seen, how, by whom, when."""

    seen: str
    how: str
    reader: str
    at: str
    reason: str = ""
    stands: bool = True


@dataclass(frozen=True, kw_only=True)
class SealedView:
    """A sealed estimate, opened after the reading it stands beside."""

    point: str
    estimate: str
    how: str
    opened_at: str
    beside: str = ""


@dataclass(frozen=True, kw_only=True)
class DecisionView:
    """How one criterion was decided, all of it as text.

    Attributes
    ----------
    m, u, g, limit : str
        Reading, standard uncertainty, guard band, limit; each with its unit. Empty for a sight check.
    arithmetic : str
        The comparison written out.
    word : str
        `within`, `beyond` or `undecided`.
    settle : str
        What would settle an undecided criterion.
    """

    word: str
    arithmetic: str
    m: str = ""
    u: str = ""
    g: str = ""
    limit: str = ""
    settle: str = ""

    @property
    def terms(self) -> tuple[tuple[str, str], ...]:
        """Name and value of each given term of the sum."""
        pairs = (("m, reading", self.m), ("u, standard", self.u), ("g, guard", self.g), ("limit", self.limit))
        return tuple(pair for pair in pairs if pair[1])


@dataclass(frozen=True, kw_only=True)
class CriterionView:
    """One criterion with everything that was committed to it.

    Raises
    ------
    BadInput
        When a sealed estimate is given while nothing has been committed.
    """

    title: str
    limit: str
    demand: str = ""
    when_beyond: str = ""
    entries: tuple[EntryView, ...] = ()
    sights: tuple[SightView, ...] = ()
    sealed: tuple[SealedView, ...] = ()
    decision: DecisionView | None = None
    missing: str = ""

    def __post_init__(self) -> None:
        if self.sealed and not (self.entries or self.sights):
            raise BadInput("a sealed estimate cannot be opened before a reading is committed", got=self.title)


@dataclass(frozen=True, kw_only=True)
class VerdictView:
    """The verdict's word, its reasons, and who confirmed the sheet when."""

    word: str
    reasons: tuple[str, ...]
    by: str
    at: str


@dataclass(frozen=True, kw_only=True, eq=False)
class PhotoView:
    """A photo with its overlay, and what it stands on."""

    picture: Picture
    file: str
    sha256: str
    scale: str = ""

    @property
    def words(self) -> str:
        """Caption, file name (once) and scale."""
        name = self.picture.caption if self.file in self.picture.caption else ""
        parts = (name,) if name else (self.picture.caption, self.file)
        return ", ".join(part for part in (*parts, self.scale) if part)


@dataclass(frozen=True, kw_only=True)
class TableView:
    """Any further table: clearances, effects of reuse, history.

    Attributes
    ----------
    columns : tuple of str
        Names; one led by `>` is set flush right.
    rows : tuple of tuple of str
        What follows the first line break of a cell is set softer, below it.
    said : tuple of str
        What follows from the table, in sentences.
    note : str
    notes : tuple of str
        More of them, a paragraph each.
    shares : tuple of float
        Shares of the page's width; equal when left out.
    plot : Plot or None
        The same as a picture, below the table.
    """

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    said: tuple[str, ...] = ()
    note: str = ""
    notes: tuple[str, ...] = ()
    shares: tuple[float, ...] = ()
    plot: Plot | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class ReportView:
    """Everything the report of one part prints.

    Attributes
    ----------
    tag, part_kind, crate, made_at, version : str
    rubric, rubric_digest : str
    rule : str
        The rubric's decision rule in one sentence.
    verdict : VerdictView or None
        `None` while readings are missing.
    missing : tuple of str
        The readings that are missing, in words; empty exactly when there is a verdict.
    losses, follow_ups : tuple of str
    cautions : tuple of (heading, sentence)
        Of this part; the general ones where there are none.
    stated : tuple of (fact, value)
    chain_head : str
        Hash of the ledger's last event.
    chain_length : int

    Raises
    ------
    BadInput
        When there is neither a verdict nor a missing reading, or both.
    """

    tag: str
    part_kind: str
    crate: str
    made_at: str
    version: str
    rubric: str
    rubric_digest: str
    rule: str
    photos: tuple[PhotoView, ...] = ()
    findings: tuple[FindingRow, ...] = ()
    instruments: tuple[InstrumentView, ...] = ()
    criteria: tuple[CriterionView, ...] = ()
    verdict: VerdictView | None = None
    missing: tuple[str, ...] = ()
    losses: tuple[str, ...] = ()
    follow_ups: tuple[str, ...] = ()
    cautions: tuple[tuple[str, str], ...] = ()
    not_assessed: tuple[tuple[str, str], ...] = ()
    stated: tuple[tuple[str, str], ...] = ()
    tables: tuple[TableView, ...] = ()
    chain_head: str = ""
    chain_length: int = 0

    def __post_init__(self) -> None:
        if (self.verdict is None) != bool(self.missing):
            raise BadInput(
                "a report has either a verdict or missing readings, and exactly one of them",
                got=f"verdict {self.verdict and self.verdict.word!r}, {len(self.missing)} missing",
            )

    @property
    def headline(self) -> str:
        """The verdict's word, or in its place what is missing."""
        return self.verdict.word if self.verdict else "No verdict: these readings are missing"

    @property
    def all_cautions(self) -> tuple[tuple[str, str], ...]:
        """Those of this part, or the general ones where none are given."""
        return self.cautions or (*CAUTIONS, ("Defer", DEFERS))

    @property
    def seal(self) -> str:
        """Text of the QR code: what a reader needs to find this state of the ledger again."""
        return f"wearvision {self.tag} chain {self.chain_length} {self.chain_head}"


def report_html(view: ReportView) -> str:
    """The report as one self-contained HTML page, for screens and A4."""
    return render("report.html.j2", r=view)
