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

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from wearvision.arrival import Arrival
from wearvision.crates.facts import CrateFile, Facts, matches, read_facts, stated_of
from wearvision.crates.walk import named, photos_in
from wearvision.errors import BadInput
from wearvision.stated import Stated

FACTS = "crate.toml"


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
    found = named(folder, photos_in(folder, refused))
    facts = read_facts(folder / FACTS, list(found))
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


def _photo(name: str, path: Path, facts: CrateFile) -> CratePhoto:
    entries = [entry for key, entry in facts.photos.items() if key != name and matches(name, key)]
    entries += [facts.photos[name]] if name in facts.photos else []
    first, slash, _ = name.partition("/")
    tag = next((e.part for e in reversed(entries) if e.part is not None), first if slash else "")
    merged: dict[str, Any] = {}
    for table in (facts.crate, facts.parts.get(tag, Facts()), *entries):
        merged |= table.given()
    return CratePhoto(path=path, name=name, tag=tag, stated=stated_of(merged))
