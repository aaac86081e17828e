"""Findings after the marks of a person: added, reshaped or struck. They go through the same measuring code."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from wearvision.errors import BadInput, NeedsPerson
from wearvision.finding import Finding, Kind
from wearvision.measure.by_area import measure_notch
from wearvision.measure.by_line import crack_along, washout_along
from wearvision.measure.by_outline import measure_outline, places_of
from wearvision.measure.face import Face
from wearvision.measure.finders.groove import sealed_depth
from wearvision.measure.finders.pits import RIM_PX, measure_pit
from wearvision.measure.mark import Mark, require_place
from wearvision.measure.plane import Array, Plane
from wearvision.measure.snap import snap
from wearvision.measure.unwrap import Image
from wearvision.quantity import Measured, Unmeasured

LETTERS: Mapping[Kind, str] = {"groove": "G", "pit": "P", "crack": "C", "washout": "W", "notch": "N", "rub": "R"}


def apply_marks(
    findings: Sequence[Finding], marks: Sequence[Mark], plane: Plane, face: Face | None, gray: Image | None = None,
    circles_px: tuple[Array, ...] = (),
) -> tuple[Finding, ...]:  # fmt: skip
    """The findings after a person's marks, in their order; boxes and taps are snapped to the picture `gray`.

    `circles_px` are the edges of the land, where one is in view: a notch is measured from them.

    Raises
    ------
    BadInput
        When a mark names a finding that is not there, or its box or taps are out of the picture.
    NeedsPerson
        When nothing stands out around taps.
    """
    out = list(findings)
    sight = _Sight(plane=plane, face=face, gray=gray, circles_px=circles_px)
    for mark in marks:
        if mark.action == "add":
            assert mark.kind is not None
            name = _free_name(LETTERS[mark.kind], out)
            out.append(_measured(name, mark.kind, mark, sight, "marked"))
            continue
        at = next((i for i, f in enumerate(out) if f.id == mark.target), None)
        if at is None:
            names = ", ".join(f.id for f in out) or "none"
            raise BadInput("no such finding on this photo", got=mark.target, do=f"there are: {names}")
        if mark.action == "strike":
            out[at] = replace(out[at].strike(mark.reason), by=mark.by)
        else:
            require_place(out[at].kind, mark)
            out[at] = _measured(mark.target, out[at].kind, mark, sight, "reshaped")
    return tuple(out)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Sight:
    """What a mark is measured on."""

    plane: Plane
    face: Face | None
    gray: Image | None
    circles_px: tuple[Array, ...]

    @property
    def picture(self) -> Image:
        """The picture, which boxes and taps need."""
        if self.gray is None:
            raise BadInput("a box or taps need the picture", do="give polygon_px")
        return self.gray


def _free_name(letter: str, findings: Sequence[Finding]) -> str:
    taken = {f.id for f in findings}
    return next(name for i in range(1, len(taken) + 2) if (name := f"{letter}{i}") not in taken)


def _measured(name: str, kind: Kind, mark: Mark, sight: _Sight, flag: str) -> Finding:
    """A finding of a mark whose place suits its kind, measured."""
    if kind == "crack" or kind == "washout":
        along = crack_along if kind == "crack" else washout_along
        found = along(sight.picture, sight.plane, mark.taps_px, name)
        return replace(found, by=mark.by, flags=(flag, *found.flags))
    if mark.rough:
        return _snapped(name, mark, sight, flag)
    if kind == "notch":
        quantities = measure_notch(mark.polygon_px, sight.plane, sight.circles_px)
    else:
        quantities = measure_outline(kind, mark.polygon_px, sight.plane, sight.face)
    width = quantities.get("width")
    return Finding(
        id=name, kind=kind, outline_px=mark.polygon_px, quantities=quantities, by=mark.by, flags=(flag,),
        sealed=sealed_depth(width.value) if kind == "groove" and isinstance(width, Measured) else {},
        places_px=places_of(kind, mark.polygon_px, sight.plane, sight.face),
    )  # fmt: skip


def _snapped(name: str, mark: Mark, sight: _Sight, flag: str) -> Finding:
    """A pit given by box or taps. Its outline is the less sure the more it moves with what counts as worn."""
    gray = sight.picture
    found = snap(gray, box_px=mark.box_px) if mark.box_px.size else snap(gray, taps_px=mark.taps_px)
    if isinstance(found, Unmeasured):
        raise NeedsPerson(f"a mark by {mark.by} finds no outline: {found.reason}", do=found.hint)
    return Finding(
        id=name, kind="pit", outline_px=found.outline_px, by=mark.by, flags=(flag, *found.flags),
        quantities=measure_pit(found.outline_px, sight.plane, math.hypot(RIM_PX, found.rim_px)),
        places_px=found.middle_px.reshape(1, 2),
    )  # fmt: skip
