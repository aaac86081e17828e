"""A mark a person makes on a photo: a finding added, reshaped or struck. One act as data; nothing is measured here.

A mark as JSON::

    {"action": "add",     "kind": "groove", "polygon_px": [[x, y], ...], "by": "A. Fitter", "reason": ""}
    {"action": "reshape", "target": "G1",   "polygon_px": [[x, y], ...], "by": "A. Fitter", "reason": "..."}
    {"action": "strike",  "target": "G2",                                "by": "A. Fitter", "reason": "tool mark"}

A pit may be given roughly instead, by a box around it or by a few taps inside it, and is snapped to the picture::

    {"action": "add",     "kind": "pit", "box_px": [x0, y0, x1, y1], "by": "A. Fitter"}
    {"action": "reshape", "target": "P1", "taps_px": [[x, y], ...],  "by": "A. Fitter"}

Other kinds are added and reshaped alike, each by the place it needs::

    {"action": "add", "kind": "crack",   "taps_px": [[x, y], ...], "by": "..."}     two taps or more along it
    {"action": "add", "kind": "washout", "taps_px": [[x, y], ...], "by": "..."}     three or more, corner to corner
    {"action": "add", "kind": "notch",   "polygon_px": [[x, y], ...], "by": "..."}  drawn across the land's edge
    {"action": "add", "kind": "rub",     "polygon_px": [[x, y], ...], "by": "..."}  any rubbed or worn area

`by` is always needed; `reason` is needed to strike; polygons are in photo pixels (pixel centres at integers,
orientation applied), three corners or more. A struck finding stays on record with its reason.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, get_args

import numpy as np

from wearvision.errors import BadInput
from wearvision.finding import KINDS, Kind
from wearvision.measure.plane import Array

Action = Literal["add", "reshape", "strike"]
PLACES: Mapping[Kind, tuple[str, ...]] = {
    "groove": ("polygon_px",), "pit": ("polygon_px", "box_px", "taps_px"), "crack": ("taps_px",),
    "washout": ("taps_px",), "notch": ("polygon_px",), "rub": ("polygon_px",),
}  # fmt: skip
"""Kinds that a person can mark, and how each may be placed."""
MARKABLE = tuple(PLACES)
LEAST_TAPS: Mapping[Kind, int] = {"pit": 1, "crack": 2, "washout": 3}


@dataclass(frozen=True, kw_only=True, eq=False)
class Mark:
    """One act of a person on the findings of a photo.

    Attributes
    ----------
    action : `add`, `reshape` or `strike`
    by : str
        Name of the person, never empty.
    kind : Kind or None
        Needed to add.
    polygon_px : (N, 2) array
        Outline, N >= 3. To add and to reshape, it or one of the next two is needed.
    box_px : (4,) array
        Rough box of a pit: x0, y0, x1, y1.
    taps_px : (M, 2) array
        Points inside a pit, or along a crack or a lip's edge in their order.
    target : str
        Id of the finding to reshape or to strike.
    reason : str
        Needed to strike.
    """

    action: Action
    by: str
    kind: Kind | None = None
    polygon_px: Array = field(default_factory=lambda: np.zeros((0, 2)))
    box_px: Array = field(default_factory=lambda: np.zeros(0))
    taps_px: Array = field(default_factory=lambda: np.zeros((0, 2)))
    target: str = ""
    reason: str = ""

    def __post_init__(self) -> None:
        for name, shape in (("polygon_px", (-1, 2)), ("box_px", (-1,)), ("taps_px", (-1, 2))):
            points = np.array(getattr(self, name), dtype=np.float64).reshape(shape)
            points.setflags(write=False)
            object.__setattr__(self, name, points)
        if self.action not in get_args(Action):
            raise BadInput("unknown action of a mark", got=self.action, do="use add, reshape or strike")
        if not self.by.strip():
            raise BadInput("a mark needs the name of its maker", got=self.by, do="fill in by")
        if self.action == "add" and self.kind not in MARKABLE:
            raise BadInput("cannot add a mark of this kind", got=self.kind, do=f"use one of {', '.join(MARKABLE)}")
        if self.action != "add" and not self.target:
            raise BadInput(f"a mark to {self.action} needs a target", do="name the finding, such as G1")
        if self.action == "strike" and not self.reason.strip():
            raise BadInput("a finding is struck for a reason", do="fill in reason")
        if self.action != "strike":
            self._check_place()

    @property
    def rough(self) -> bool:
        """Whether box or taps stand for the outline."""
        return bool(self.box_px.size or self.taps_px.size)

    def _check_place(self) -> None:
        given = [n for n in ("polygon_px", "box_px", "taps_px") if getattr(self, n).size]
        if len(given) > 1:
            raise BadInput("a mark has one place", got=given, do="leave all but one of them out")
        if not given:
            do = "give polygon_px, or taps_px or box_px where the kind allows them"
            raise BadInput("a mark needs a place: polygon_px, box_px or taps_px", got=None, do=do)
        if self.kind is not None and self.action == "add":
            require_place(self.kind, self)
        if self.box_px.size and not _is_box(self.box_px):
            do = "give x0, y0, x1, y1 with x0 < x1 and y0 < y1"
            raise BadInput("not a box", got=self.box_px.tolist(), do=do)
        if not np.isfinite(self.taps_px).all():
            raise BadInput("taps are a list of [x, y] pairs", got=self.taps_px.tolist())
        if self.polygon_px.size and (len(self.polygon_px) < 3 or not np.isfinite(self.polygon_px).all()):
            raise BadInput("a polygon has three corners or more", got=self.polygon_px.tolist(), do="give [x, y] pairs")

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> Mark:
        """Parse one mark; see the head of this module for the form.

        Raises
        ------
        BadInput
            Naming the field, the value got and what to do.
        """
        known = {"action", "by", "kind", "polygon_px", "box_px", "taps_px", "target", "reason"}
        if unknown := sorted(set(data) - known):
            raise BadInput("unknown field in a mark", got=unknown, do=f"use {', '.join(sorted(known))}")
        action, kind = data.get("action"), data.get("kind")
        if action not in ("add", "reshape", "strike"):
            raise BadInput("unknown action of a mark", got=action, do="use add, reshape or strike")
        if kind is not None and kind not in KINDS:
            raise BadInput("unknown kind in a mark", got=kind, do=f"use one of {', '.join(MARKABLE)}")
        return cls(
            action=action, kind=kind, polygon_px=_pairs(data.get("polygon_px", []), "a polygon is"),
            box_px=_box(data.get("box_px", [])), taps_px=_pairs(data.get("taps_px", []), "taps are"),
            by=_text(data, "by"), target=_text(data, "target"), reason=_text(data, "reason"),
        )  # fmt: skip


def require_place(kind: Kind, mark: Mark) -> None:
    """Refuse a place that a mark of this kind cannot be measured from.

    Raises
    ------
    BadInput
        Naming the place that it needs.
    """
    if kind not in PLACES:
        raise BadInput("cannot mark a finding of this kind", got=kind, do=f"use one of {', '.join(MARKABLE)}")
    given = next(n for n in ("polygon_px", "box_px", "taps_px") if getattr(mark, n).size)
    if given not in PLACES[kind]:
        raise BadInput(f"a {kind} is not marked by {given}", got=given, do=f"give {' or '.join(PLACES[kind])}")
    least = LEAST_TAPS.get(kind, 1)
    if given == "taps_px" and len(mark.taps_px) < least:
        raise BadInput(f"a {kind} needs {least} taps or more along it", got=len(mark.taps_px), do="add taps")


def _text(data: Mapping[str, object], name: str) -> str:
    value = data.get(name, "")
    if not isinstance(value, str):
        raise BadInput(f"{name} of a mark must be text", got=value)
    return value


def _pairs(value: object, what: str) -> Array:
    try:
        points = np.array(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise BadInput(f"{what} a list of [x, y] pairs", got=value) from None
    if points.size and (points.ndim != 2 or points.shape[1] != 2):
        raise BadInput(f"{what} a list of [x, y] pairs", got=points.shape)
    return points.reshape(-1, 2)


def _box(value: object) -> Array:
    try:
        box = np.array(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise BadInput("a box is [x0, y0, x1, y1]", got=value) from None
    if box.size and box.shape != (4,):
        raise BadInput("a box is [x0, y0, x1, y1]", got=value)
    return box.ravel()


def _is_box(box: Array) -> bool:
    return bool(box.shape == (4,) and np.isfinite(box).all() and (box[:2] < box[2:]).all())
