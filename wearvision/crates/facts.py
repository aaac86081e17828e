"""`crate.toml`: what may be stated of a crate, its parts and its photos, checked with file and line."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from datetime import date
from difflib import get_close_matches
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError, ValidationInfo, field_validator

from wearvision.arrival import Arrival
from wearvision.errors import BadInput
from wearvision.stated import NOMINALS, Stated
from wearvision.toml_lines import fault, line_of, load_toml


class _Table(BaseModel):
    """A table of `crate.toml`: no unknown keys, no text where a number belongs."""

    model_config = ConfigDict(extra="forbid", strict=True)


class Facts(_Table):
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
        if info.field_name in Facts.model_fields:
            try:
                stated_of({info.field_name: value})
            except BadInput as err:
                raise ValueError(f"{err.what}; {err.do}") from None
        return value

    def given(self) -> dict[str, Any]:
        """The facts that stand in the file."""
        return self.model_dump(exclude_unset=True, include=set(Facts.model_fields))


class Came(Facts):
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


class CrateFacts(Came):
    """What is stated of the whole crate."""

    name: str = ""


class PartFacts(Came):
    """What is stated of one part."""

    without_photos: bool = False


class PhotoFacts(Facts):
    """What is stated of one photo, or of many."""

    part: str | None = None


class CrateFile(_Table):
    """All of the file."""

    crate: CrateFacts = CrateFacts()
    parts: dict[str, PartFacts] = {}
    photos: dict[str, PhotoFacts] = {}


_NAMES = sorted({"part", "without_photos", *CrateFile.model_fields, *CrateFacts.model_fields})


def read_facts(path: Path, names: Sequence[str]) -> CrateFile:
    """`crate.toml`, checked; an empty one when there is none."""
    try:
        text = unicodedata.normalize("NFC", path.read_text("utf-8"))
    except FileNotFoundError:
        return CrateFile()
    except UnicodeDecodeError as err:
        line = err.object.count(b"\n", 0, err.start) + 1
        raise BadInput(f"{path.name}:{line}: not UTF-8 text", do="save it as UTF-8") from None
    except OSError as err:
        raise BadInput(f"{path.name} cannot be read", got=err.strerror, do="check its rights") from None
    try:
        facts = CrateFile.model_validate(load_toml(text, path.name))
    except ValidationError as err:
        raise fault(text, path.name, err.errors(), _NAMES) from None
    for key in facts.photos:
        if not any(matches(name, key) for name in names):
            near = get_close_matches(key, names, 1)
            do = f"did you mean {near[0]}?" if near else "write the path inside the crate, with /"
            where = f"{path.name}:{line_of(text, ('photos', key))}"
            raise BadInput(f"{where}: no photo of that name", got=key, do=do)
    return facts


def matches(name: str, key: str) -> bool:
    """Whether a photo is meant by a key of the file: its own name, or a pattern with `*`."""
    return name == key or ("*" in key and fnmatchcase(name, key))


def stated_of(facts: Mapping[str, Any]) -> Stated:
    """Flat facts to their places in `Stated`."""
    plain = {"part_kind" if k == "kind" else k: v for k, v in facts.items() if k not in NOMINALS}
    return Stated(**plain, nominal={k: v for k, v in facts.items() if k in NOMINALS})
