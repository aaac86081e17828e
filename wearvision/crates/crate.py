"""A crate: a folder of photos of one or more parts, with an optional `crate.toml` of stated facts.

    [crate]
    name = "Tuesday's pumps"
    check_bar_mm = 100.2            # facts for every photo; or both bars: [across, down]
    inspected_on = 2026-03-02       # facts of arrival, for every part: when it came out of service,
    needed_by = 2026-04-01          # and when an order or rework is needed

    [parts."C-1042"]                # the folder of that name, or photos that say part = "C-1042"
    kind = "casing"
    face_inner_diameter_mm = 128.8
    running_hours = 12000           # in all since new
    duty = "river water, 2950 rpm"  # since the inspection before

    [photos."C-1042/face_a.jpg"]    # a photo, or many: "C-1042/vane_*.jpg"
    view = "wear-face"
    card_height_mm = 4.0

The more special fact wins: crate, part, photos in the order of the file, a photo named in full last.
"""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from difflib import get_close_matches
from fnmatch import fnmatchcase
from io import BytesIO
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError, ValidationInfo, field_validator

from wearvision.arrival import Arrival
from wearvision.crates.journal import RESULTS
from wearvision.errors import BadInput
from wearvision.photos import kind_of, printable
from wearvision.stated import NOMINALS, Stated
from wearvision.toml_lines import fault, line_of, load_toml

FACTS = "crate.toml"
_ENDINGS = {".jpg", ".jpeg", ".png", ".heic", ".heif"}


@dataclass(frozen=True, kw_only=True)
class CratePhoto:
    """One photo of a crate.

    Attributes
    ----------
    path : Path
    name : str
        Path inside the crate with `/`, Unicode NFC; what it is called everywhere.
    tag : str
        Part it belongs to; empty when nobody said, then the card's QR may.
    stated : Stated
    """

    path: Path
    name: str
    tag: str
    stated: Stated


@dataclass(frozen=True, kw_only=True)
class Crate:
    """What a crate folder holds.

    Attributes
    ----------
    name : str
    parts : tuple of str
        Tags, sorted; those of `crate.toml` even when no photo has them yet.
    photos : tuple of CratePhoto
        Sorted by name.
    refused : tuple of (str, str)
        Name and reason of what looks like part of the crate and was left out.
    stated : mapping of str to Arrival
        Facts of arrival of each part that `crate.toml` names.
    came : Arrival
        Those of any other part.
    unseen : mapping of str to str
        Tag and kind of each part that is stated to come without photos, such as a casing that stays in the piping.
    """

    name: str
    parts: tuple[str, ...]
    photos: tuple[CratePhoto, ...]
    refused: tuple[tuple[str, str], ...] = ()
    stated: Mapping[str, Arrival] = field(default_factory=dict)
    came: Arrival = field(default_factory=lambda: Arrival(crate=""))
    unseen: Mapping[str, str] = field(default_factory=dict)

    def arrival(self, tag: str) -> Arrival:
        """Facts stated about a part as it came in, or of the whole crate where nothing is said of the part."""
        return self.stated.get(tag, self.came)


class _Table(BaseModel):
    """A table of `crate.toml`: no unknown keys, no text where a number belongs."""

    model_config = ConfigDict(extra="forbid", strict=True)


class _Facts(_Table):
    """What may be stated at any level: the fields of `Stated` and its drawing sizes, flat."""

    kind: str = ""
    view: str = ""
    card_size: str = ""
    card_height_mm: float = 0.0
    check_bar_mm: float | list[float] = 0.0
    mm_per_px: float = 0.0
    known_diameter_mm: float = 0.0
    known_circle: str = ""
    two_points: list[float] = []
    light_kind: str = ""
    scale_from: str = ""
    rule: str = ""
    rule_class: str = ""
    face_inner_diameter_mm: float = 0.0
    face_outer_diameter_mm: float = 0.0
    vane_count: float = 0.0
    vane_height_mm: float = 0.0
    vane_thickness_mm: float = 0.0
    disc_diameter_mm: float = 0.0
    land_width_mm: float = 0.0
    land_inner_diameter_mm: float = 0.0
    land_outer_diameter_mm: float = 0.0
    lip_length_mm: float = 0.0
    light_elevation_deg: float = 0.0
    light_step_mm: float = 0.0

    @field_validator("*")
    @classmethod
    def _possible(cls, value: Any, info: ValidationInfo) -> Any:
        """`Stated` knows what each fact may be; ask it about this one alone."""
        if info.field_name in _Facts.model_fields:
            try:
                _stated({info.field_name: value})
            except BadInput as err:
                raise ValueError(f"{err.what}; {err.do}") from None
        return value

    def given(self) -> dict[str, Any]:
        """The facts that stand in the file."""
        return self.model_dump(exclude_unset=True, include=set(_Facts.model_fields))


class _Came(_Facts):
    """Facts of arrival: of a part, or of all parts of the crate."""

    running_hours: float = 0.0
    inspected_on: date | str = ""
    duty: str = ""
    needed_by: date | str = ""

    @field_validator("running_hours", "inspected_on", "duty", "needed_by")
    @classmethod
    def _stands(cls, value: Any, info: ValidationInfo) -> Any:
        """`Arrival` knows what each fact may be; dates may be bare TOML or text."""
        plain = value.isoformat() if isinstance(value, date) else value
        fact: dict[str, Any] = {str(info.field_name): plain}
        try:
            Arrival(crate="", **fact)
        except BadInput as err:
            raise ValueError(f"{err.what}; {err.do}") from None
        return plain

    def came(self) -> dict[str, Any]:
        """The facts of arrival that stand in the file."""
        return self.model_dump(exclude_unset=True, include=set(_ARRIVAL))


_ARRIVAL = ("running_hours", "inspected_on", "duty", "needed_by")


class _Crate(_Came):
    name: str = ""


class _Part(_Came):
    without_photos: bool = False


class _Photo(_Facts):
    part: str | None = None


class _File(_Table):
    crate: _Crate = _Crate()
    parts: dict[str, _Part] = {}
    photos: dict[str, _Photo] = {}


_NAMES = sorted({"part", "without_photos", *_File.model_fields, *_Crate.model_fields})


def read_crate(folder: Path) -> Crate:
    """Find the photos of a crate and the facts stated about each.

    Photos are told by their ending, else by their first bytes. Hidden files and folders with results of ours
    are passed over. A link that leaves the crate, a linked folder and what cannot be read are refused
    by name; the rest of the crate goes on.

    Raises
    ------
    BadInput
        When there is no photo and no part is stated to come without, or `crate.toml` cannot be used; then with file
        and line.
    """
    if not folder.is_dir():
        raise BadInput("a crate is a folder of photos", got=str(folder), do="give a folder that exists")
    refused: list[tuple[str, str]] = []
    found = _named(folder, _photos(folder, refused))
    facts = _facts(folder / FACTS, list(found))
    unseen = {tag: part.kind or facts.crate.kind for tag, part in facts.parts.items() if part.without_photos}
    if not (found or unseen):
        do = "put JPEG, PNG or HEIC photos into it"
        raise BadInput("no photos in this folder", got=str(folder), do=do)
    photos = tuple(_photo(name, path, facts) for name, path in sorted(found.items()))
    name, all_came = facts.crate.name or folder.resolve().name, facts.crate.came()
    return Crate(
        name=name, photos=photos, refused=tuple(sorted(refused)),
        parts=tuple(sorted({*facts.parts, *(p.tag for p in photos if p.tag)})), came=Arrival(crate=name, **all_came),
        stated={tag: Arrival(crate=name, **(all_came | part.came())) for tag, part in facts.parts.items()},
        unseen=unseen,
    )  # fmt: skip


def _photo(name: str, path: Path, facts: _File) -> CratePhoto:
    entries = [entry for key, entry in facts.photos.items() if key != name and _matches(name, key)]
    entries += [facts.photos[name]] if name in facts.photos else []
    first, slash, _ = name.partition("/")
    tag = next((e.part for e in reversed(entries) if e.part is not None), first if slash else "")
    merged: dict[str, Any] = {}
    for table in (facts.crate, facts.parts.get(tag, _Facts()), *entries):
        merged |= table.given()
    return CratePhoto(path=path, name=name, tag=tag, stated=_stated(merged))


def _stated(facts: Mapping[str, Any]) -> Stated:
    """Flat facts to their places in `Stated`."""
    plain = {"part_kind" if k == "kind" else k: v for k, v in facts.items() if k not in NOMINALS}
    return Stated(**plain, nominal={k: v for k, v in facts.items() if k in NOMINALS})


def _facts(path: Path, names: Sequence[str]) -> _File:
    """`crate.toml`, checked; an empty one when there is none."""
    try:
        text = unicodedata.normalize("NFC", path.read_text("utf-8"))
    except FileNotFoundError:
        return _File()
    except UnicodeDecodeError as err:
        line = err.object.count(b"\n", 0, err.start) + 1
        raise BadInput(f"{path.name}:{line}: not UTF-8 text", do="save it as UTF-8") from None
    except OSError as err:
        raise BadInput(f"{path.name} cannot be read", got=err.strerror, do="check its rights") from None
    try:
        facts = _File.model_validate(load_toml(text, path.name))
    except ValidationError as err:
        raise fault(text, path.name, err.errors(), _NAMES) from None
    for key in facts.photos:
        if not any(_matches(name, key) for name in names):
            near = get_close_matches(key, names, 1)
            do = f"did you mean {near[0]}?" if near else "write the path inside the crate, with /"
            where = f"{path.name}:{line_of(text, ('photos', key))}"
            raise BadInput(f"{where}: no photo of that name", got=key, do=do)
    return facts


def _matches(name: str, key: str) -> bool:
    return name == key or ("*" in key and fnmatchcase(name, key))


def _named(folder: Path, paths: Iterable[Path]) -> dict[str, Path]:
    """Each path under its name; of two names that differ only in Unicode form, one keeps its own."""
    found: dict[str, Path] = {}
    raws = {_plain(path, folder): path for path in paths}
    for raw in sorted(raws, key=lambda raw: (not unicodedata.is_normalized("NFC", raw), raw)):
        name = unicodedata.normalize("NFC", raw)
        found[raw if name in found else name] = raws[raw]
    return found


def _plain(path: Path, folder: Path) -> str:
    """Path inside the crate as text that can be written, whatever bytes the file's name has."""
    return printable(path.relative_to(folder).as_posix())


def _photos(folder: Path, refused: list[tuple[str, str]]) -> Iterator[Path]:
    root = folder.resolve()

    def refuse(path: str | Path, why: str) -> None:
        refused.append((_plain(Path(path), folder), why))

    def closed(err: OSError) -> None:
        refuse(err.filename, f"this folder cannot be read ({err.strerror})")

    for place, folders, files in os.walk(folder, onerror=closed):
        here = Path(place)
        if here != folder and RESULTS in files:
            folders.clear()
            continue
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in [name for name in folders if (here / name).is_symlink()]:
            refuse(here / name, "a link to a folder is not followed")
        for path in (here / name for name in files if not name.startswith(".")):
            if not _looks_like_photo(path):
                continue
            if not path.is_file():
                refuse(path, "not a file")
            elif not path.resolve().is_relative_to(root):
                refuse(path, "a link that leaves the crate is not followed")
            else:
                yield path


def _looks_like_photo(path: Path) -> bool:
    if path.suffix.lower() in _ENDINGS:
        return True
    try:
        with path.open("rb") if path.is_file() else BytesIO() as file:
            start = file.read(12)
    except OSError:
        return False
    return bool(kind_of(start))
