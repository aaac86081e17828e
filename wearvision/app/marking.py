"""Marks of a person on a photo: read from a file, and taken into the sheet of a part."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from wearvision.app.measuring import measure_photo
from wearvision.app.sheets import sheet_of
from wearvision.app.shop import Shop
from wearvision.errors import BadInput
from wearvision.finding_record import finding_from_record
from wearvision.measure.marks import Mark
from wearvision.rules.same import merge
from wearvision.rules.sheet import prefill
from wearvision.stated import NOMINALS, Stated


def read_marks(path: Path) -> list[Mark]:
    """Marks from a JSON file: a list, or one object (see `wearvision.measure.marks`).

    Raises
    ------
    BadInput
        Naming the file and the number of the mark.
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as error:
        raise BadInput(f"the marks cannot be read: {error}", got=str(path), do="save them as JSON") from None
    marks = []
    for number, item in enumerate(data if isinstance(data, list) else [data], start=1):
        try:
            if not isinstance(item, Mapping):
                raise BadInput("a mark is a JSON object", got=item)
            marks.append(Mark.from_json(item))
        except BadInput as error:
            raise BadInput(f"{path.name}: mark {number}: {error.what}", got=error.got, do=error.do) from None
    return marks


def mark_part(shop: Shop, tag: str, photo: str, marks: list[Mark], at: datetime, *, renew: bool = False) -> None:
    """Measure one photo of a part again with a person's marks, and lay its sheet anew.

    Raises
    ------
    BadInput
        Unknown photo; or readings stand on the sheet already, unless `renew` begins a new inspection.
    """
    record = shop.ledger.load(tag)
    sheet = sheet_of(record)
    sha = _photo(record.photos, photo)
    if record.log.entries and not renew:
        raise BadInput(f"the sheet of {tag} already has readings", do="add --renew to begin a new inspection")
    result = measure_photo(shop.blobs.path(sha), stated_of(record.photos[sha]), marks=marks, rubric=shop.rubric)
    survey = {**result.public, "drawing": result.drawing}
    survey["photo"] = {**result.public["photo"], "file": record.photos[sha]["file"]}
    shop.ledger.keep_photo(tag, record.photos[sha], survey, at)
    findings = [(s, f) for s, f in sheet.findings if s != sha]
    findings += [(sha, finding_from_record(r)) for r in result.records]
    views = dict(sheet.photos)
    shop.ledger.begin(prefill(sheet.rubric, tag, merge(findings, views), photos=views), at, renew=renew)


def stated_of(photo: Mapping[str, Any]) -> Stated:
    """Facts stated about a kept photo."""
    facts = dict(photo["stated"])
    nominal = {name: facts.pop(name) for name in list(facts) if name in NOMINALS}
    return Stated(**facts, nominal=nominal)


def _photo(photos: Mapping[str, Mapping[str, Any]], name: str) -> str:
    found = [sha for sha, photo in photos.items() if name in (photo["file"], Path(photo["file"]).name, sha)]
    if len(found) != 1:
        names = ", ".join(str(p["file"]) for p in photos.values())
        raise BadInput("name one photo of this part", got=name, do=f"there are: {names}")
    return found[0]
