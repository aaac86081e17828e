"""Where the rubric files are, and reading them."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from wearvision.errors import BadInput
from wearvision.rules.notation import parse_length
from wearvision.rules.rubric import Rubric
from wearvision.stated import PART_KINDS

_PACKAGE = Path(__file__).resolve().parent.parent
PLACES = (_PACKAGE.parent / "rubric", _PACKAGE / "_rubric")
"""The checkout's own folder, else the copy inside an installed wheel."""
FINEST_MM = 0.8
"""Smallest width, mm, that a photo must resolve where no limit of its view speaks of lengths."""


def rubric_folder(folder: Path | None = None) -> Path:
    """The folder to read rubrics from: the one given, else ours.

    Raises
    ------
    BadInput
        When there is none.
    """
    for place in (folder,) if folder is not None else PLACES:
        if place.is_dir():
            return place
    raise BadInput("no folder of rubrics", got=str(folder or PLACES[0]), do="name one with --rubric")


def load_rubric(kind: str, folder: Path | None = None) -> Rubric:
    """The rubric of a part kind.

    Raises
    ------
    BadInput
        Unknown kind, no file, or mistakes in the file (with file and line).
    """
    if kind not in PART_KINDS:
        raise BadInput("unknown part kind", got=kind, do=f"use one of {', '.join(PART_KINDS)}")
    path = rubric_folder(folder) / f"{kind}.toml"
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"the rubric of {kind} cannot be read", got=str(path), do="restore the file") from error
    rubric = _checked(text, f"{path.parent.name}/{path.name}")
    if rubric.kind != kind:
        raise BadInput(f"{rubric.name} is for another part kind", got=rubric.kind, do=f'write kind = "{kind}"')
    return rubric


@lru_cache(maxsize=len(PART_KINDS))
def _checked(text: str, name: str) -> Rubric:
    """A rubric from its text: the same one for every photo of a crate."""
    return Rubric(text, name)


def smallest_limit_mm(rubric: Rubric, view: str) -> float:
    """The smallest upper limit, mm, that the rubric sets on what a view shows; `FINEST_MM` when none."""
    limits = [
        parse_length(c.limit.upper).value_mm
        for c in rubric.file.criteria
        if c.view == view and c.limit is not None and c.limit.upper is not None
    ]
    return min([FINEST_MM, *limits])
