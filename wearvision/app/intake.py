"""Measured photos of a crate into the ledger: sorted by part, kept, and a sheet laid for each part."""

from __future__ import annotations

import hashlib
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from wearvision.app.envelope import unfold
from wearvision.app.rubrics import load_rubric
from wearvision.app.shop import Shop, command
from wearvision.crates.batch import Outcome
from wearvision.crates.crate import Crate, CratePhoto
from wearvision.errors import BrokenRecord, WearvisionError
from wearvision.finding_record import finding_from_record
from wearvision.photos import kind_of, read_bytes
from wearvision.rules.same import Placed, merge
from wearvision.rules.sheet import prefill
from wearvision.store.ledger import PartRecord

Said = tuple[str, str]
"""A name of a photo, folder or part, and a sentence about it."""
SUFFIXES = {"JPEG": ".jpg", "PNG": ".png", "HEIF": ".heic"}
STAYS = "readings stand on its sheet, so it stays as laid, without what is new in photos, facts or rubric"
NO_PHOTO = (
    "is named in crate.toml, and no photo shows it: nothing was begun; without_photos = true lays its sheet for gauge"
    " and eye alone"
)
KIND_LINE = 'kind = "casing", or impeller, box-cover, side-plate, ring-pair'
AGAIN = "if it came in again, give the crate a new name in crate.toml"
OLD_MARKS = "carries marks measured with the facts stated before; they stand until it is marked again"


@dataclass(kw_only=True)
class Part:
    """Photos of one part as they came out of the batch."""

    tag: str
    kinds: set[str] = field(default_factory=set)
    photos: list[tuple[CratePhoto, Mapping[str, Any]]] = field(default_factory=list)


@dataclass(kw_only=True)
class Intake:
    """Takes the parts of one crate in.

    Attributes
    ----------
    crate : Crate
    shop : Shop
    at : datetime
    aside : list of Said
        What is set aside, with the reason or the question; grows.
    notes : list of Said
        What else a person should know of a part; grows.
    """

    crate: Crate
    shop: Shop
    at: datetime
    aside: list[Said] = field(default_factory=list)
    notes: list[Said] = field(default_factory=list)
    spelt: dict[str, str] = field(init=False)

    def __post_init__(self) -> None:
        self.spelt = {_folded(tag): tag for tag in self.shop.ledger.tags()}

    def sort(self, done: Iterable[tuple[CratePhoto, Outcome]]) -> list[Part]:
        """Photos by part; one that belongs nowhere, to two parts, or twice to one is set aside."""
        parts: dict[str, Part] = {}
        for photo, outcome in done:
            if "aside" in outcome:
                self.aside.append((photo.name, str(outcome["aside"]["why"])))
                continue
            result = outcome["done"]
            if why := _astray(photo.tag, result["part_tags"]):
                self.aside.append((photo.name, why))
                continue
            tags = [photo.tag] if photo.tag else result["part_tags"]
            part = parts.setdefault(tags[0], Part(tag=tags[0]))
            if twin := next((p.name for p, r in part.photos if _sha(r) == _sha(result)), None):
                self.aside.append((photo.name, f"is the same photo as {twin}, which stands for both"))
                continue
            part.photos.append((photo, result))
            part.kinds |= {photo.stated.part_kind} if photo.stated.part_kind else set()
        self._unseen(parts, {photo.tag for photo in self.crate.photos})
        return [parts[tag] for tag in sorted(parts)]

    def _unseen(self, parts: dict[str, Part], tags: set[str]) -> None:
        """Parts that come without photos join those that were seen; a named one that does neither is noted."""
        for tag, kind in self.crate.unseen.items():
            parts.setdefault(tag, Part(tag=tag, kinds={kind} if kind else set()))
        self.notes += [(tag, NO_PHOTO) for tag in self.crate.stated if tag not in parts and tag not in tags]

    def keep(self, part: Part) -> bool:
        """One part into the ledger and its sheet laid; false when a person must say more."""
        other = self.spelt.setdefault(_folded(part.tag), part.tag)
        if other != part.tag:
            self.aside.append((part.tag, f"is spelt nearly like part {other}: give both one tag, or tell them apart"))
            return False
        if len(part.kinds) != 1:
            said = f"is called {' and '.join(sorted(part.kinds))}" if part.kinds else "has no kind"
            why = f'this part {said}: state it once in crate.toml, under [parts."{part.tag}"]: {KIND_LINE}'
            self.aside.append((part.tag, why))
            return False
        try:
            return self._lay(part, next(iter(part.kinds)))
        except BrokenRecord:
            raise
        except WearvisionError as error:
            self.aside.append((part.tag, error.line()))
            return False

    def _lay(self, part: Part, kind: str) -> bool:
        ledger = self.shop.ledger
        ledger.receive(part.tag, kind, self.crate.name, self.at, came=self.crate.arrival(part.tag))
        record = ledger.load(part.tag)
        kept = [result for photo, result in part.photos if self._keep_photo(record, photo, result)]
        if part.photos and not kept:
            return record.sheet is not None
        findings = [placed for result in kept for placed in _findings(record, result)]
        views = {_sha(result): result["public"]["view"] for result in kept}
        sheet = prefill(load_rubric(kind, self.shop.rubric), part.tag, merge(findings, views), photos=views)
        laid = ledger.begin(sheet, self.at)
        if not laid and record.sheet is not None and record.sheet.digest != sheet.digest:
            renew = f"{command('sheet', part.tag, self.shop.folder)} --renew"
            self.notes.append((part.tag, f"{STAYS}; {renew} lays it anew; {AGAIN}"))
        if laid and record.past and record.sheet is None:
            self.notes.append((part.tag, f"came in again, last with {record.past[-1].arrival.crate}: a new inspection"))
        return True

    def _keep_photo(self, record: PartRecord, photo: CratePhoto, result: Mapping[str, Any]) -> bool:
        """One photo into the ledger; false when its file is not what was measured."""
        try:
            data = read_bytes(photo.path)
        except WearvisionError as error:
            self.aside.append((photo.name, error.line()))
            return False
        sha = _sha(result)
        if hashlib.sha256(data).hexdigest() != sha:
            self.aside.append((photo.name, "was changed while it was measured: give the same command again"))
            return False
        self.shop.blobs.put(data, SUFFIXES.get(kind_of(data[:12]), ""))
        facts, survey = _photo_record(photo, sha), {**named(result, photo), "drawing": result["drawing"]}
        if sha in record.marks:  # what a person marked stands as it was measured
            if record.photos[sha]["stated"] != facts["stated"]:
                self.notes.append((record.tag, f"{photo.name} {OLD_MARKS}"))
                return True
            survey = {**record.surveys[sha], "photo": survey["photo"]}
        self.shop.ledger.keep_photo(record.tag, facts, survey, self.at)
        return True


def _findings(record: PartRecord, result: Mapping[str, Any]) -> list[Placed]:
    """Findings of a photo: as a person marked them, else as measured; none of a photo to be retaken."""
    sha = _sha(result)
    if sha in record.marks and record.sheet is not None and sha in dict(record.sheet.photos):
        return [(s, f) for s, f in record.sheet.findings if s == sha]
    return [(sha, finding_from_record(r)) for r in unfold(result["records"]) if result["public"]["usable"]]


def _photo_record(photo: CratePhoto, sha: str) -> dict[str, Any]:
    stated = {k: v for k, v in vars(photo.stated).items() if v is not None and k != "nominal"}
    return {"sha256": sha, "file": photo.name, "stated": {**stated, **photo.stated.nominal}}


def named(result: Mapping[str, Any], photo: CratePhoto) -> dict[str, Any]:
    """The public result under the photo's name in its crate."""
    public = dict(result["public"])
    public["photo"] = {"file": photo.name, **public["photo"]}
    return public


def _sha(result: Mapping[str, Any]) -> str:
    return str(result["public"]["photo"]["sha256"])


def _astray(stated: str, seen: Sequence[str]) -> str:
    """What keeps a photo from being filed: two tags, a tag against its folder, or none at all; else empty."""
    if len(seen) > 1:
        return f"two part tags in it: {', '.join(seen)}; show one part only"
    if stated and seen and seen[0] != stated:
        return f"the tag in it says {seen[0]}, but it lies with {stated}: move it there, or cover the other tag"
    if not stated and not seen:
        return "belongs to no part: put it in a folder named after the part's tag, or show the tag's QR"
    return ""


def _folded(tag: str) -> str:
    """A tag without what is easily typed otherwise: case, and forms of one letter."""
    return unicodedata.normalize("NFKC", tag).casefold()
