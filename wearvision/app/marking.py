"""Marks of a person on a photo, and laying the sheet of a part anew: with them, or with what came later."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from wearvision.app.files import read_text
from wearvision.app.measuring import PhotoResult, measure_photo
from wearvision.app.rubrics import load_rubric
from wearvision.app.sheets import sheet_of
from wearvision.app.shop import Shop
from wearvision.errors import BadInput, NeedsPerson
from wearvision.finding import Finding
from wearvision.finding_record import finding_from_record
from wearvision.measure.mark import Mark
from wearvision.rules.same import Placed, merge
from wearvision.rules.sheet import PrefilledSheet, prefill
from wearvision.stated import NOMINALS, Stated
from wearvision.store.ledger import PartRecord, require_reason

SEEN_ALIKE_PX = 5.0
"""A finding that a person has marked is met again when the middle of its outline has moved less than this."""


def read_marks(path: Path) -> list[Mark]:
    """Marks from a JSON file: a list, or one object (see `wearvision.measure.marks`).

    Raises
    ------
    BadInput
        Naming the file and the number of the mark.
    """
    try:
        data = json.loads(read_text(path, "the marks", do="save them as UTF-8 JSON"))
    except (ValueError, RecursionError) as error:
        raise BadInput(f"the marks cannot be read: {error}", got=str(path), do="save them as JSON") from None
    marks = []
    for number, item in enumerate(data if isinstance(data, list) else [data], start=1):
        try:
            if not isinstance(item, Mapping):
                raise BadInput("a mark is a JSON object", got=item)
            marks.append(Mark.from_json(item))
        except BadInput as error:
            raise BadInput(f"{path.name}: mark {number}: {error.what}", got=error.got, do=error.do) from None
    if not marks:
        raise BadInput("no marks in this file", got=str(path), do="add one, or leave --mark out")
    return marks


def mark_json(mark: Mark) -> dict[str, Any]:
    """A mark as JSON, as `Mark.from_json` reads it."""
    out = {"action": mark.action, "by": mark.by, "kind": mark.kind, "target": mark.target, "reason": mark.reason}
    rough = {"box_px": mark.box_px.tolist(), "taps_px": mark.taps_px.tolist()}
    given = {k: v for k, v in {**out, **rough}.items() if v}
    return given if any(rough.values()) else {**given, "polygon_px": mark.polygon_px.tolist()}


def require_scale(result: PhotoResult) -> None:
    """Refuse marks on a photo without a scale: they would be dropped without a word."""
    if result.public["scale"]["source"] is None:
        why = result.public["scale"]["unmeasured"]
        what = f"no scale on this photo, so no mark can be measured: {why}"
        raise NeedsPerson(what, do="retake it, or state a scale")


def lay_again(
    shop: Shop,
    tag: str,
    at: datetime,
    *,
    photo: str = "",
    marks: Sequence[Mark] = (),
    renew: bool = False,
    by: str = "",
    reason: str = "",
) -> None:
    """Lay the sheet of a part anew, with marks of a person, or with `renew` as a new inspection, or both.

    Without `renew` all but the marked photo stays as it is. A new inspection takes in what was photographed
    since the sheet was laid (after a confirmed sheet only that, if there is any) and the shop's rubric of today.
    What a person has marked on a photo stays marked. Entries that stand are set aside by a named person for a
    reason; the report goes on naming them.

    Raises
    ------
    BadInput
        Unknown photo; or readings stand on the sheet already, and no new inspection is asked for.
    NeedsPerson
        No sheet yet; a photo that cannot carry marks, or shows the marked findings no more; entries that nobody
        sets aside.
    """
    record = shop.ledger.load(tag)
    sheet = sheet_of(record)
    target = _photo(record.photos, photo) if marks else ""
    if record.log.entries and not renew:
        raise BadInput(f"the sheet of {tag} already has readings", do="add --renew to lay a new one")
    require_reason(record, by, reason)
    rubric = load_rubric(sheet.rubric.kind, shop.rubric) if renew else sheet.rubric
    shas = _looked_at(record, sheet, renew)
    if target and target not in shas:
        shas.append(target)
    held = _held(record.marks.get(target, ()) if not renew else (), [mark_json(mark) for mark in marks])
    findings: list[Placed] = []
    for sha in shas:
        if sha == target:
            seen = _marked(shop, record, sheet, sha, held, renew=renew)
            _keep(shop, record, sha, seen, at)
            findings += [(sha, finding_from_record(r)) for r in seen.records]
        elif not renew or sha in record.marks:
            findings += [(s, f) for s, f in sheet.findings if s == sha]
        else:
            findings += _fresh(shop, record, sha)
    surveys = shop.ledger.load(tag).surveys
    views = {sha: str(surveys[sha]["view"]) for sha in shas}
    new = prefill(rubric, tag, merge(findings, views), photos=views)
    shop.ledger.begin(new, at, renew=renew, by=by, reason=reason, marks={target: held} if target else {})


def _held(before: Sequence[Mapping[str, Any]], given: list[dict[str, Any]]) -> list[Mapping[str, Any]]:
    """All marks that hold: the earlier ones, then those given; a file given again, or grown, counts once."""
    earlier = list(before)
    if given[: len(earlier)] == earlier:
        return list(given)
    return earlier if given and earlier[-len(given) :] == given else [*earlier, *given]


def _looked_at(record: PartRecord, sheet: PrefilledSheet, renew: bool) -> list[str]:
    standing = [sha for sha, _ in sheet.photos]
    later = [sha for sha in record.since if sha not in standing] if renew else []
    return later if record.confirmed is not None and later else [*standing, *later]


def _fresh(shop: Shop, record: PartRecord, sha: str) -> Iterable[Placed]:
    """Findings of a kept photo, measured now; none from a photo that has to be retaken."""
    result = measure_photo(shop.blobs.path(sha), stated_of(record.photos[sha]), rubric=shop.rubric, for_sheet=True)
    return [(sha, finding_from_record(r)) for r in result.records if result.public["usable"]]


def _marked(
    shop: Shop, record: PartRecord, sheet: PrefilledSheet, sha: str, held: Sequence[Mapping[str, Any]], *, renew: bool
) -> PhotoResult:
    """The photo measured with the marks that hold; earlier ones must still fall on what they were made on."""
    stated, marks = stated_of(record.photos[sha]), [Mark.from_json(mark) for mark in held]
    result = measure_photo(shop.blobs.path(sha), stated, marks=marks, rubric=shop.rubric, for_sheet=True)
    require_scale(result)
    now = {r["id"]: finding_from_record(r) for r in result.records}
    touched = {mark.target for mark in marks[len(record.marks.get(sha, ())) :]}
    standing = [f for s, f in sheet.findings if s == sha and f.by and f.id not in touched]
    for before in [] if renew else standing:
        if not _alike(before, now.get(before.id)):
            raise NeedsPerson(
                f"{before.kind} {before.id}, marked by {before.by}, is not seen on this photo as it was",
                do="make all marks of this photo anew in one file, and add --renew",
            )
    return result


def _alike(before: Finding, now: Finding | None) -> bool:
    if now is None or (now.kind, bool(now.struck)) != (before.kind, bool(before.struck)):
        return False
    shift = before.outline_px.mean(axis=0) - now.outline_px.mean(axis=0)
    return bool(np.hypot(*shift) < SEEN_ALIKE_PX)


def _keep(shop: Shop, record: PartRecord, sha: str, result: PhotoResult, at: datetime) -> None:
    survey = {**result.public, "drawing": result.drawing}
    survey["photo"] = {**result.public["photo"], "file": record.photos[sha]["file"]}
    shop.ledger.keep_photo(record.tag, record.photos[sha], survey, at)


def stated_of(photo: Mapping[str, Any]) -> Stated:
    """Facts stated about a kept photo."""
    facts = dict(photo["stated"])
    nominal = {name: facts.pop(name) for name in list(facts) if name in NOMINALS}
    return Stated(**facts, nominal=nominal)


def _photo(photos: Mapping[str, Mapping[str, Any]], name: str) -> str:
    found = [sha for sha, photo in photos.items() if name in (photo["file"], Path(photo["file"]).name, sha)]
    if len(found) != 1:
        names = ", ".join(str(p["file"]) for p in photos.values())
        raise BadInput("name one photo of this part with --photo", got=name, do=f"there are: {names}")
    return found[0]
