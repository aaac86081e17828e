"""From records to the pages people read: board cards, bench sheets."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from wearvision import __version__
from wearvision.app.files import write_whole
from wearvision.app.ordering import next_step
from wearvision.app.pictures import BOARD_PX, SHEET_PX, Drawing, draw_closeups, draw_photo, rows, seen_words
from wearvision.app.shop import Shop, open_shop
from wearvision.app.shop import command as command_for
from wearvision.errors import NeedsPerson
from wearvision.pages.board import PartCard, SheetCriterion, SheetModel, sheet_page
from wearvision.pages.page import Picture, bench_lines
from wearvision.rules.cautions import cautions_for
from wearvision.rules.rubric import Criterion
from wearvision.rules.sheet import PrefilledSheet
from wearvision.store.ledger import PartRecord

MOST_CLOSEUPS = 6


def when(at: datetime) -> str:
    """A time as pages print it, UTC."""
    return at.strftime("%Y-%m-%d %H:%M UTC")


def sheet_of(record: PartRecord) -> PrefilledSheet:
    """The open sheet of a part."""
    if record.sheet is None:
        raise NeedsPerson(f"part {record.tag} has no sheet yet", do="triage its photos first")
    return record.sheet


def drawings(shop: Shop, record: PartRecord) -> list[Drawing]:
    """One drawing per photo of the sheet, photos with gauge points first."""
    sheet = sheet_of(record)
    out = []
    for sha, _ in sheet.photos:
        survey, photo = record.surveys[sha], record.photos[sha]
        out.append(
            Drawing(
                path=shop.blobs.path(sha),
                name=str(photo["file"]),
                survey=survey,
                width_px=_width(survey),
                findings=tuple(f for s, f in sheet.findings if s == sha),
                points=tuple(p for p in sheet.points if p.photo_sha == sha),
            )
        )
    return sorted(out, key=lambda d: (not d.survey["usable"], -len(d.points), -len(d.findings)))


def names_of(record: PartRecord) -> dict[str, str]:
    """Photos of the sheet by their sha256, as people call them."""
    return {sha: str(record.photos[sha]["file"]) for sha, _ in sheet_of(record).photos}


def _width(survey: Any) -> int:
    return int(survey["photo"]["width_px"])


def part_job(tag: str, *, data: Path, out: Path, at: datetime) -> PartCard:
    """`write_part` as the work of one process."""
    with open_shop(data) as shop:
        return write_part(shop, tag, out, at)


def write_part(shop: Shop, tag: str, out: Path, at: datetime) -> PartCard:
    """Write the bench sheet of a part into `out/sheets` and return its card for the board."""
    record = shop.ledger.load(tag)
    drawn, command = drawings(shop, record), command_for("read", tag, shop.folder)
    write_whole(sheet_file(out, tag), sheet_html(record, drawn, at, command=command))
    return _card(record, [draw_photo(d, BOARD_PX) for d in drawn], command)


def sheet_file(out: Path, tag: str) -> Path:
    """Where the bench sheet of a part stands."""
    return out / "sheets" / f"{file_name(tag)}.html"


def _card(record: PartRecord, pictures: Sequence[Picture], command: str) -> PartCard:
    sheet = sheet_of(record)
    surveys: list[Any] = [record.surveys[sha] for sha, _ in sheet.photos]
    step, why = next_step(sheet, surveys)
    return PartCard(
        tag=record.tag, part_kind=record.kind, next_step=step, why=why, photos=len(surveys),
        pictures=tuple(pictures), findings=rows(sheet.findings, names_of(record)), points=len(sheet.points),
        retakes=tuple((s["photo"]["file"], r["say"]) for s in surveys for r in s["retake"]),
        not_assessed=not_assessed(surveys), command=command,
    )  # fmt: skip


def sheet_html(record: PartRecord, drawn: Iterable[Drawing], at: datetime, *, command: str) -> str:
    """The bench sheet of a part: where to gauge and how often, boxes empty, estimates sealed."""
    sheet = sheet_of(record)
    drawn = list(drawn)
    closeups = draw_closeups(drawn, MOST_CLOSEUPS)
    model = SheetModel(
        tag=record.tag, part_kind=record.kind, crate=record.crate, rubric=rubric_words(sheet),
        rubric_digest=sheet.rubric.digest, made_at=when(at), version=__version__,
        pictures=tuple(draw_photo(d, SHEET_PX) for d in drawn if d.survey["usable"]), closeups=tuple(closeups),
        criteria=tuple(_criterion(sheet, c) for c in sheet.criteria), findings=rows(sheet.findings, names_of(record)),
        not_assessed=not_assessed([record.surveys[sha] for sha, _ in sheet.photos]), command=command,
        cautions=bench_lines(cautions_for(sheet.rubric.kind, {view for _, view in sheet.photos})),
    )  # fmt: skip
    return sheet_page(model)


def rubric_words(sheet: PrefilledSheet) -> str:
    """Title and edition of the rubric."""
    return f"{sheet.rubric.file.title}, edition {sheet.rubric.file.edition}"


def limit_words(criterion: Criterion) -> str:
    """A limit as the shop typed it, with millimetres beside."""
    text = criterion.limit
    if text is None:
        return "sound, by the checks below"
    upper, lower = text.upper, text.lower
    if upper and lower:
        typed = f"{lower} to {upper}"
    elif upper:
        typed = f"{upper} or less" if text.rule == "inclusive" else f"under {upper}"
    else:
        typed = f"{lower} or more" if text.rule == "inclusive" else f"over {lower}"
    return f"{typed} ({text.limit.text}); {criterion.source}"


def how_words(criterion: Criterion) -> str:
    """Which gauge, where, standing on what."""
    plan = criterion.readings
    if plan is None:
        return "By the checks beside, each answered in these words."
    where = f"Numbered places, or else {plan.where}."
    return f"{', '.join(plan.gauges)}; error at most {plan.largest_error}. {where} {plan.datum}"


def _criterion(sheet: PrefilledSheet, criterion: Criterion) -> SheetCriterion:
    points = sheet.points_of(criterion.id)
    return SheetCriterion(
        title=criterion.title, limit=limit_words(criterion), how=how_words(criterion),
        when_beyond=criterion.action, points=tuple(p.number for p in points),
        places=tuple(p.where for p in points) if any(p.place for p in points) else (),
        checks=tuple((s.question, tuple(s.answers)) for s in criterion.sights if s.when == "always"),
        seen=seen_words([f for _, f in sheet.placed(criterion)]),
    )  # fmt: skip


def not_assessed(surveys: Iterable[Any]) -> tuple[tuple[str, str], ...]:
    """What no photo could tell, each once."""
    pairs = ((str(n["what"]), str(n["why"])) for s in surveys for n in s["not_assessed"])
    return tuple(dict.fromkeys(pairs))


def file_name(tag: str) -> str:
    """A tag as part of a file name: itself where it can be, else spelt plainly with a few digits of its hash, so
    that no two tags share a file."""
    if re.fullmatch(r"[A-Za-z0-9_-][A-Za-z0-9_.-]{0,79}", tag) and not tag.endswith("."):
        return tag
    plain = "".join(c if c.isalnum() or c in "-_" else "_" for c in tag)
    return f"{plain[:40]}-{hashlib.sha256(tag.encode()).hexdigest()[:8]}"
