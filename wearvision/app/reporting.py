"""The report of one part, from its record alone: what was read, by whom, with which gauge, what follows."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from wearvision import __version__
from wearvision.app import sheets as pages
from wearvision.app.clearance import clearances_for
from wearvision.app.clearance_tables import with_pump
from wearvision.app.files import write_whole
from wearvision.app.history import history_views
from wearvision.app.judging import notes_on
from wearvision.app.pictures import SHEET_PX, Drawing, draw_photo, rows
from wearvision.app.setting_aside import set_aside
from wearvision.app.shop import Shop
from wearvision.pages.page import say
from wearvision.pages.report import (
    CriterionView,
    DecisionView,
    EntryView,
    InstrumentView,
    PhotoView,
    ReportView,
    SealedView,
    SightView,
    VerdictView,
    report_html,
)
from wearvision.quantity import Measured
from wearvision.rules.cautions import cautions_for
from wearvision.rules.entry import Entry, Log
from wearvision.rules.outcome import CriterionOutcome
from wearvision.rules.reading import GaugeReading, Instrument, SightCheck
from wearvision.rules.rubric import Criterion
from wearvision.rules.sheet import PrefilledSheet, missing
from wearvision.rules.verdict import Verdict
from wearvision.stated import SCALE_WORDS
from wearvision.store.ledger import PartRecord

NOT_CONFIRMED = "confirmation of the complete sheet by a named person (wearvision verdict {tag} --by NAME)"


def write_report(shop: Shop, tag: str, out: Path, at: datetime, *, pump: Path | None = None) -> tuple[Path, Path]:
    """Write the report of a part as HTML and PDF into `out`; returns both paths. A pump file adds its clearances."""
    from wearvision.pages.report_pdf import report_pdf

    view = report_view(shop, tag, at)
    if pump is not None:
        view = with_pump(view, clearances_for(shop, tag, pump))
    name = pages.file_name(tag)
    html, pdf = out / f"report-{name}.html", out / f"report-{name}.pdf"
    data = report_pdf(view)
    write_whole(html, report_html(view))
    write_whole(pdf, data)
    shop.ledger.note_report(tag, hashlib.sha256(data).hexdigest(), "pdf", at)
    return html, pdf


def report_view(shop: Shop, tag: str, at: datetime) -> ReportView:
    """Everything the report prints, from a ledger proved sound; no verdict while the sheet is not confirmed."""
    record = shop.ledger.load(tag)
    shop.ledger.require_sound()
    sheet = pages.sheet_of(record)
    tail = shop.ledger.chain.tail()
    verdict = record.verdict() if record.confirmed else None
    still = missing(sheet, record.log) or (NOT_CONFIRMED.format(tag=tag),)
    outcomes = {o.criterion.id: o for o in verdict.outcomes} if verdict else {}
    drawn = pages.drawings(shop, record)
    return ReportView(
        tag=tag, part_kind=record.kind, crate=record.crate, made_at=pages.when(at), version=__version__,
        rubric=pages.rubric_words(sheet), rubric_digest=sheet.rubric.digest, rule=sheet.rubric.file.decision.text,
        photos=tuple(_photo(d) for d in drawn), findings=rows(sheet.findings, pages.names_of(record)),
        instruments=_instruments(record.log),
        criteria=tuple(_criterion(record, sheet, c, outcomes.get(c.id)) for c in sheet.criteria),
        verdict=_verdict(verdict, pages.names_of(record), notes_on(record, shop.rubric)) if verdict else None,
        missing=() if verdict else still,
        losses=verdict.losses if verdict else (), follow_ups=_follow_ups(sheet, verdict),
        cautions=_cautions(sheet),
        not_assessed=pages.not_assessed([record.surveys[sha] for sha, _ in sheet.photos]),
        tables=(*set_aside(record), *(h.table for h in history_views(record))), stated=_stated(record),
        chain_head=tail.hash, chain_length=tail.seq,
    )  # fmt: skip


def _cautions(sheet: PrefilledSheet) -> tuple[tuple[str, str], ...]:
    found = cautions_for(sheet.rubric.kind, {view for _, view in sheet.photos})
    return tuple((c.id.replace("-", " ").capitalize(), f"{c.line} [{c.mark}]") for c in found)


def _photo(drawing: Drawing) -> PhotoView:
    survey = drawing.survey
    scale = survey["scale"]
    words = "no scale"
    if scale["source"] is not None:
        size = scale["mm_per_px"]
        words = f"{size['value']:.4f} \u00b1 {size['u95']:.4f} mm per pixel from {SCALE_WORDS[scale['source']]}"
        words += f", tilt {scale['tilt_deg']:.0f}\u00b0"
    if survey["retake"]:
        words += "; to be retaken: " + " ".join(r["say"] for r in survey["retake"])
    return PhotoView(
        picture=draw_photo(drawing, SHEET_PX),
        file=drawing.name,
        sha256=survey["photo"]["sha256"],
        scale=words,
    )


ONLY_WITH = {"known_circle": "known_diameter_mm", "rule_class": "rule"}
"""Facts that always have a value, but count only together with another one."""


def _stated(record: PartRecord) -> tuple[tuple[str, str], ...]:
    """Facts stated for the photos of this sheet, and about the part as it came in."""
    stated: dict[str, Any] = {name: record.photos[sha]["stated"] for sha, name in pages.names_of(record).items()}
    return tuple(sorted((stated_words(stated) | record.arrival.words()).items()))


def stated_words(stated: Mapping[str, Mapping[str, object]]) -> dict[str, str]:
    """Facts stated for photos, by the photo's name, in words; where photos differ, each value with its photos."""
    said: dict[str, dict[str, list[str]]] = {}
    for name, facts in stated.items():
        for fact, value in facts.items():
            if ONLY_WITH.get(fact, fact) in facts:
                said.setdefault(fact, {}).setdefault(str(value), []).append(name)
    return {
        fact: "; ".join(value if len(photos) == len(stated) else f"{value} ({', '.join(photos)})"
                        for value, photos in values.items())
        for fact, values in said.items()
    }  # fmt: skip


def _key(gauge: Instrument) -> str:
    return gauge.serial


def _instruments(log: Log) -> tuple[InstrumentView, ...]:
    gauges = {e.what.instrument for e in log.entries if isinstance(e.what, GaugeReading)}
    return tuple(
        InstrumentView(
            key=_key(g), kind=g.kind, serial=g.serial, resolution=f"{g.resolution_mm:g} mm",
            mpe=f"\u00b1{g.mpe_mm:g} mm", zero_check=g.last_zero or "none", due=g.due or "not known",
        )
        for g in sorted(gauges, key=lambda g: (g.serial, g.last_zero))
    )  # fmt: skip


def _criterion(
    record: PartRecord, sheet: PrefilledSheet, criterion: Criterion, outcome: CriterionOutcome | None
) -> CriterionView:
    points = {p.number for p in sheet.points_of(criterion.id)}
    entries = [e for e in record.log.entries if isinstance(e.what, GaugeReading) and e.what.point in points]
    sights = [e for e in record.log.entries if isinstance(e.what, SightCheck) and e.what.criterion == criterion.id]
    return CriterionView(
        title=criterion.title, limit=pages.limit_words(criterion), demand=pages.how_words(criterion),
        when_beyond=criterion.action, entries=tuple(_entry(record.log, sheet, e) for e in entries),
        sights=tuple(_sight(record.log, e, criterion) for e in sights), sealed=_sealed(record, sheet, criterion),
        decision=_decision(sheet, criterion, outcome), missing="; ".join(missing(sheet, record.log, criterion.id)),
    )  # fmt: skip


def _entry(log: Log, sheet: PrefilledSheet, entry: Entry) -> EntryView:
    reading = entry.what
    assert isinstance(reading, GaugeReading)
    point = sheet.point(reading.point)
    return EntryView(
        point=str(reading.point), typed=reading.typed, value=f"{reading.value_mm:.3f} mm", u=f"{reading.u_mm:.3f} mm",
        instrument=_key(reading.instrument), reader=reading.reader, at=reading.at,
        reason=_why(entry),
        stands=any(r is reading for r in log.standing(reading.point)), place=point.where if point.place else "",
    )  # fmt: skip


def _sight(log: Log, entry: Entry, criterion: Criterion) -> SightView:
    check = entry.what
    assert isinstance(check, SightCheck)
    sight = criterion.sight(check.check)
    question = sight.question if sight else check.check
    record = f" (record {check.record})" if check.record else ""
    return SightView(
        seen=f"{question} {check.answer}{record}{f'. {check.note}' if check.note else ''}", how=check.how,
        reader=check.by, at=check.at, reason=_why(entry), stands=log.sight(check.criterion, check.check) is check,
    )  # fmt: skip


def _why(entry: Entry) -> str:
    """What an entry that is not the first is, and its reason."""
    if entry.kind == "amendment":
        return f"Replaces the entry before it: {entry.reason}"
    if entry.kind == "second":
        beside = "Second blind reading, stands beside the first"
        return f"Second reading, replaces those before it: {entry.reason}" if entry.reason else beside
    return entry.reason


def _sealed(record: PartRecord, sheet: PrefilledSheet, criterion: Criterion) -> tuple[SealedView, ...]:
    """The estimate, once it was opened beside committed readings."""
    if criterion.id not in record.opened:
        return ()
    estimate = record.opened[criterion.id]
    deepest = max(
        (r.value_mm for p in sheet.points_of(criterion.id) for r in record.log.standing(p.number)),
        default=None,
    )
    return (
        SealedView(
            point="all", estimate=say(estimate), how=estimate.how if isinstance(estimate, Measured) else "",
            opened_at="after the last reading of this criterion",
            beside="" if deepest is None else f"deepest reading {deepest:.3f} mm",
        ),
    )  # fmt: skip


def _decision(sheet: PrefilledSheet, criterion: Criterion, outcome: CriterionOutcome | None) -> DecisionView | None:
    if outcome is None:
        return None
    figure = outcome.figure
    if figure is None:
        failed = "; ".join(outcome.reasons)
        return DecisionView(word="beyond" if failed else "within", arithmetic=failed or "every check passed")
    decision = figure.decision
    factor = sheet.rubric.file.decision.guard_factor
    guard = f"{factor:g} u = {factor * figure.u_mm:.4f} mm"
    return DecisionView(
        word=decision.word, arithmetic=decision.arithmetic, m=f"{figure.value_mm:.3f} mm",
        u=f"{figure.u_mm:.4f} mm", g=guard,
        limit=criterion.limit.limit.text if criterion.limit else "", settle=decision.what_would_settle,
    )  # fmt: skip


def _verdict(verdict: Verdict, names: Mapping[str, str], notes: tuple[str, ...]) -> VerdictView:
    return VerdictView(
        word=verdict.word, reasons=(*verdict.reasons, *verdict.doubts_by(names), *notes),
        by=verdict.sheet.confirmed_by, at=verdict.sheet.confirmed_at,
    )  # fmt: skip


def _follow_ups(sheet: PrefilledSheet, verdict: Verdict | None) -> tuple[str, ...]:
    if verdict is not None:
        return verdict.follow_up
    return tuple(f"At assembly: {c.title}" for c in sheet.rubric.criteria("assembly"))
