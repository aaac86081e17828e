"""The report of one part as PDF: the document a person signs.

Same view model as the HTML. The bytes depend on the model alone (no clock, no file), so that the digest kept in
the ledger can be checked by printing again.
"""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Literal

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    KeepTogether,
    PageTemplate,
    Spacer,
)

from wearvision.pages.page import FindingRow, lead, moment, plain
from wearvision.pages.pdf_page import ACCENT, FAINT, INK, MARGIN, RULE, NumberedCanvas, QrCode, Words, register_fonts
from wearvision.pages.pdf_tables import EVERY, Cell, Style, Tables, image, rule
from wearvision.pages.plots_pdf import PlotDrawing
from wearvision.pages.report import CriterionView, DecisionView, EntryView, ReportView, SealedView, SightView, TableView

Paper = Literal["A4", "letter"]
SIZES: dict[Paper, tuple[float, float]] = {"A4": A4, "letter": LETTER}
PLOT_WIDE = 128 * mm


def report_pdf(view: ReportView, *, paper: Paper = "A4") -> bytes:
    """The report as PDF; equal models give equal bytes.

    Parameters
    ----------
    view : ReportView
    paper : {"A4", "letter"}
    """
    register_fonts()
    width, height = SIZES[paper]
    out = BytesIO()
    words = Words()
    document = BaseDocTemplate(
        out, pagesize=(width, height), invariant=1, title=f"Wear report {view.tag}", author="",
        subject=f"{view.part_kind}, {view.rubric}", creator=f"wearvision {view.version}", lang="en",
    )  # fmt: skip
    frame = Frame(
        MARGIN, 16 * mm, width - 2 * MARGIN, height - 31 * mm, leftPadding=0, rightPadding=0, topPadding=0,
        bottomPadding=0,
    )  # fmt: skip
    document.addPageTemplates(PageTemplate(frames=[frame]))
    left, middle = words.clean(f"{view.tag}  {view.made_at}"), words.clean(f"chain {view.chain_head[:24]}")

    class Numbered(NumberedCanvas):
        pass

    Numbered.left, Numbered.middle = left, middle if view.chain_head else ""
    document.build(_Story(view, words, width - 2 * MARGIN).whole(), canvasmaker=Numbered)
    return out.getvalue()


class _Story:
    """The flowables of one report, in reading order."""

    def __init__(self, view: ReportView, words: Words, width: float) -> None:
        self.view, self.words, self.p, self.width = view, words, words.p, width
        self.tables = Tables(words=words, width=width)

    def whole(self) -> list[Flowable]:
        view = self.view
        story = [*self._title(), self._verdict(), *self._lists()]
        story += self._photos() + self._criteria() + self._instruments()
        for table in view.tables:
            story += self._table_view(table)
        story += self._findings() + self._notes() + self._cautions()
        return [*story, self._end()]

    def _title(self) -> list[Flowable]:
        view = self.view
        kicker = [self.p(f"Wear report, {view.crate}", "soft"), self.p(view.made_at, "right-head")]
        return [
            self.tables.grid([kicker], (0.7, 0.3)), self.p(view.tag, "tag"),
            self.p(f"{plain(view.part_kind).capitalize()}, against {view.rubric}"), Spacer(0, 3.5 * mm),
        ]  # fmt: skip

    def _verdict(self) -> Flowable:
        """The verdict on a field of colour, or what is missing inside a frame; never both."""
        verdict = self.view.verdict
        if verdict is None:
            rows: list[list[Cell]] = [[self.p(self.view.headline, "open")]]
            rows += [[self.p(lead(line))] for line in self.view.missing]
            frame: list[Style] = [("BOX", *EVERY, 1.6, INK), ("LINEABOVE", (0, 1), (-1, -1), 0.4, RULE)]
        else:
            rows = [[self.p(verdict.word.capitalize(), "verdict")]]
            rows += [[self.p(lead(reason), "verdict-line")] for reason in verdict.reasons]
            rows += [[self.p(f"Sheet confirmed by {verdict.by}, {moment(verdict.at)}", "verdict-line")]]
            frame = [("BACKGROUND", *EVERY, ACCENT)]
        pad = [("LEFTPADDING", *EVERY, 4 * mm), ("RIGHTPADDING", *EVERY, 4 * mm)]
        ends = [("TOPPADDING", (0, 0), (-1, 0), 3 * mm), ("BOTTOMPADDING", (0, -1), (-1, -1), 3 * mm)]
        return self.tables.grid(rows, (1.0,), [*frame, *pad, ("VPAD", 1.2 * mm), *ends])

    def _lists(self) -> list[Flowable]:
        story: list[Flowable] = []
        for title, lines in (("Losses noted", self.view.losses), ("To follow up", self.view.follow_ups)):
            if lines:
                story += [self.p(title, "h2"), self.tables.ruled([[self.p(lead(line))] for line in lines], (1.0,))]
        return story

    def _photos(self) -> list[Flowable]:
        photos = self.view.photos
        if not photos:
            return []
        across = 1 if len(photos) == 1 else 2
        wide = self.width / across - (0 if across == 1 else 2.5 * mm)
        cells: list[Cell] = []
        for photo in photos:
            picture = photo.picture
            sha = self.p(f"sha256 {photo.sha256}", "digest")
            cells.append([image(picture, wide), Spacer(0, 1 * mm), self.p(photo.words, "soft"), sha])
        cells += [""] * (-len(cells) % across)
        rows = [cells[i : i + across] for i in range(0, len(cells), across)]
        gap = [("RIGHTPADDING", (0, 0), (0, -1), 2.5 * mm), ("LEFTPADDING", (1, 0), (1, -1), 2.5 * mm)]
        style = [*(gap if across == 2 else []), ("VPAD", 2.5 * mm)]
        return [Spacer(0, 3 * mm), self.tables.grid(rows, (1 / across,) * across, style)]

    def _criteria(self) -> list[Flowable]:
        story: list[Flowable] = [CondPageBreak(60 * mm), self.p("Criteria", "h2"), self.p(self.view.rule, "soft")]
        return story + [KeepTogether(self._criterion(criterion)) for criterion in self.view.criteria]

    def _criterion(self, c: CriterionView) -> list[Flowable]:
        head = [self.p(c.title, "h3"), self.p(lead(c.limit), "strong")]
        head += [self.p(lead(c.demand), "soft")] if c.demand else []
        head += [self.p(f"If beyond: {c.when_beyond}", "soft")] if c.when_beyond and self.view.verdict else []
        word: Cell = ""
        if c.decision:
            ends = [("TOPPADDING", *EVERY, 1.2 * mm), ("BOTTOMPADDING", *EVERY, 2.2 * mm)]
            word = self.tables.grid([[self.p(c.decision.word, "word")]], (0.19,), [("BOX", *EVERY, 1.1, INK), *ends])
        top = self.tables.grid([[head, word]], (0.8, 0.2), [("ALIGN", (1, 0), (1, 0), "RIGHT")])
        story: list[Flowable] = [Spacer(0, 4 * mm), rule(), top]
        if c.missing:
            story += [Spacer(0, 1.5 * mm), self.p(lead(c.missing), "strong")]
        for part in (self._entries(c.entries), self._sights(c.sights), self._sealed(c.sealed)):
            story += [Spacer(0, 2 * mm), part] if part else []
        return story + (self._sum(c.decision) if c.decision else [])

    def _entries(self, entries: Sequence[EntryView]) -> Flowable | None:
        rows = []
        for e in entries:
            past = not e.stands
            notes = filter(None, (e.place, "Replaced by a later entry." if past else "", e.reason))
            rows.append([
                self.p(e.point, "cell"), self.p(e.typed, "cell", struck=past), self.p(e.value, "right", struck=past),
                self.p(e.u, "right", struck=past), self.p(e.instrument, "cell"),
                self.p(f"{e.reader}, {moment(e.at)}", "cell", then=" ".join(notes)),
            ])  # fmt: skip
        names = ("Point", "Typed", ">Value", ">u", "Gauge", "Reader, time")
        return self.tables.data(names, rows, (0.08, 0.14, 0.13, 0.12, 0.15, 0.38)) if rows else None

    def _sights(self, sights: Sequence[SightView]) -> Flowable | None:
        rows = []
        for s in sights:
            notes = [] if s.stands else ["Replaced by a later entry."]
            notes += [s.reason] if s.reason else []
            rows.append([
                self.p(s.seen, "cell-strong" if s.stands else "cell", struck=not s.stands), self.p(s.how, "cell"),
                self.p(f"{s.reader}, {moment(s.at)}", "cell", then=" ".join(notes)),
            ])  # fmt: skip
        return self.tables.data(("Seen", "How", "Reader, time"), rows, (0.36, 0.26, 0.38)) if rows else None

    def _sealed(self, sealed: Sequence[SealedView]) -> Flowable | None:
        rows = []
        for s in sealed:
            note = "; ".join(t for t in (s.how, f"opened {s.opened_at}" if s.opened_at else "") if t)
            rows.append([self.p(s.point, "cell"), self.p(s.estimate, "cell", then=note), self.p(s.beside, "cell")])
        names = ("Point", "Sealed estimate, opened after the reading", "Beside the reading")
        return self.tables.data(names, rows, (0.08, 0.54, 0.38)) if rows else None

    def _sum(self, decision: DecisionView) -> list[Flowable]:
        story: list[Flowable] = [Spacer(0, 2.5 * mm)]
        if decision.m:
            terms = decision.terms
            cells: list[list[Cell]] = [[[self.p(n, "head-cell"), self.p(v, "cell-strong")] for n, v in terms]]
            pad = [("LEFTPADDING", *EVERY, 2 * mm), ("RIGHTPADDING", *EVERY, 2 * mm)]
            box = [("BACKGROUND", *EVERY, FAINT), ("INNERGRID", *EVERY, 0.5, RULE)]
            shares = (1 / len(terms),) * len(terms)
            story += [self.tables.grid(cells, shares, [*box, *pad, ("VPAD", 1.2 * mm)]), Spacer(0, 1.5 * mm)]
        story.append(self.p(decision.arithmetic))
        return story + ([self.p(decision.settle, "soft")] if decision.settle else [])

    def _instruments(self) -> list[Flowable]:
        names = ("Key", "Kind", "Serial", "Resolution", "Permissible error", "Zero check", "Due")
        rows = [
            [self.p(t, "cell") for t in (i.key, i.kind, i.serial, i.resolution, i.mpe, i.zero_check, i.due)]
            for i in self.view.instruments
        ]
        widths = (0.12, 0.21, 0.14, 0.12, 0.13, 0.16, 0.12)
        return [self.p("Instruments", "h2"), self.tables.data(names, rows, widths)] if rows else []

    def _table_view(self, table: TableView) -> list[Flowable]:
        styles = ["right" if name.startswith(">") else "cell" for name in table.columns]
        rows = [[self._cell(cell, style) for cell, style in zip(row, styles, strict=True)] for row in table.rows]
        shares = table.shares or (1 / len(styles),) * len(styles)
        # The spacer ends the heading's hold on what follows: a table may then begin here and go on overleaf.
        story: list[Flowable] = [CondPageBreak(60 * mm), self.p(table.title, "h2"), Spacer(0, 0.1)]
        story += [self.tables.data(table.columns, rows, shares)] if rows else []
        story += [Spacer(0, 3 * mm), PlotDrawing(table.plot, PLOT_WIDE)] if table.plot else []
        for line in table.said:
            story += [Spacer(0, 1.5 * mm), self.p(line, "strong")]
        for line in filter(None, (table.note, *table.notes)):
            story += [Spacer(0, 1.5 * mm), self.p(line, "soft")]
        return story

    def _cell(self, text: str, style: str) -> Flowable:
        """A table's cell; what follows its first line break is set softer."""
        first, _, rest = text.partition("\n")
        return self.p(first, style, then=rest)

    def _findings(self) -> list[Flowable]:
        rows: list[list[Cell]] = []
        for finding in self.view.findings:
            figures = "; ".join(f"{name} {words}" for name, words in finding.told)
            rows.append([self.p(_name(finding), "cell-strong"), self.p(lead(figures), "cell", then=_doubts(finding))])
        return [self.p("Measured in the photos", "h2"), self.tables.ruled(rows, (0.2, 0.8))] if rows else []

    def _notes(self) -> list[Flowable]:
        story: list[Flowable] = []
        unseen = tuple((what, lead(why)) for what, why in self.view.not_assessed)
        for title, items in (("Not assessed", unseen), ("Stated facts", self.view.stated)):
            rows = [[self.p(lead(plain(a)), "cell-strong"), self.p(b, "cell")] for a, b in items]
            story += [self.p(title, "h2"), self.tables.ruled(rows, (0.32, 0.68))] if rows else []
        return story

    def _cautions(self) -> list[Flowable]:
        rows = [[self.p(a, "cell-strong"), self.p(b, "cell")] for a, b in self.view.all_cautions]
        return [self.p("Before you touch it", "h2"), self.tables.ruled(rows, (0.2, 0.8))]

    def _end(self) -> Flowable:
        """Signature, provenance and chain head; kept on one page."""
        lines = [("LINEABOVE", (i, 0), (i, 0), 0.8, INK) for i in (0, 2, 4)]
        names = [self.p("Signature", "soft"), "", self.p("Name", "soft"), "", self.p("Date", "soft")]
        sign = self.tables.grid([names], (0.36, 0.04, 0.34, 0.04, 0.22), [*lines, ("VPAD", 1 * mm)])
        rows = [[self.p(a, "head-cell"), self.p(b, "digest")] for a, b in self._record()]
        facts = self.tables.grid(rows, (0.16, 0.64), [("VPAD", 0.7 * mm)])
        code = QrCode(self.words.clean(self.view.seal), 26 * mm) if self.view.chain_head else ""
        record = self.tables.grid([[facts, code]], (0.8, 0.2), [("ALIGN", (1, 0), (1, 0), "RIGHT")])
        return KeepTogether([Spacer(0, 12 * mm), sign, Spacer(0, 4 * mm), rule(), record])

    def _record(self) -> list[tuple[str, str]]:
        view = self.view
        facts = [
            ("Rubric", view.rubric), ("Rubric digest", view.rubric_digest),
            ("Chain head", view.chain_head or "none yet"), ("Chain event", str(view.chain_length)),
            ("Software", f"wearvision {view.version}"),
            ("Figures", "Photo figures are value ± half-width of the 95 % interval; u is a standard uncertainty."),
        ]  # fmt: skip
        lost = "Some lie outside this file's fonts and were replaced; the HTML report has them all."
        return [*facts, ("Letters", lost)] if self.words.lost else facts


def _name(finding: FindingRow) -> str:
    by = f", marked by {finding.by}" if finding.by else ""
    return f"{finding.id} {plain(finding.kind)}{f' on {finding.photo}' if finding.photo else ''}{by}"


def _doubts(finding: FindingRow) -> str:
    struck = (f"Struck from the record: {finding.struck}.",) if finding.struck else ()
    untold = (f"Not measured: {name}, {why}." for name, why in finding.untold)
    return " ".join((*struck, *untold, *finding.doubts))
