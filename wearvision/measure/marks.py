"""Marks a person makes on a photo: findings added, reshaped or struck. They go through the same measuring code.

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

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

import numpy as np

from wearvision.errors import BadInput, NeedsPerson
from wearvision.finding import KINDS, Finding, Kind
from wearvision.measure.band import Band, band_of, measure_band
from wearvision.measure.by_area import HAND_PX, measure_notch, measure_rub
from wearvision.measure.by_line import crack_along, washout_along
from wearvision.measure.chart import scale_at
from wearvision.measure.face import Face
from wearvision.measure.finders.groove import axis_covariance, sealed_depth
from wearvision.measure.finders.pits import RIM_PX, measure_pit
from wearvision.measure.plane import Array, Plane
from wearvision.measure.snap import snap
from wearvision.measure.unwrap import Image, polar
from wearvision.quantity import Measured, Quantity, Unit, Unmeasured

Action = Literal["add", "reshape", "strike"]
PLACES: Mapping[Kind, tuple[str, ...]] = {
    "groove": ("polygon_px",), "pit": ("polygon_px", "box_px", "taps_px"), "crack": ("taps_px",),
    "washout": ("taps_px",), "notch": ("polygon_px",), "rub": ("polygon_px",),
}  # fmt: skip
"""Kinds that a person can mark, and how each may be placed."""
MARKABLE = tuple(PLACES)
LEAST_TAPS: Mapping[Kind, int] = {"pit": 1, "crack": 2, "washout": 3}
LETTERS: Mapping[Kind, str] = {"groove": "G", "pit": "P", "crack": "C", "washout": "W", "notch": "N", "rub": "R"}
STEP_DEG = 0.5


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
        places_px=_places(kind, mark.polygon_px, sight.plane, sight.face),
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


def measure_outline(kind: Kind, polygon_px: Array, plane: Plane, face: Face | None) -> dict[str, Quantity]:
    """Quantities of a groove, a pit or a rubbed area from its outline.

    Parameters
    ----------
    kind : `groove`, `pit` or `rub`
    polygon_px : (N, 2) array
        Closed outline in photo pixels.
    face : Face or None
        Without it a groove has no radius and no arc.

    Raises
    ------
    BadInput
        For another kind.
    """
    polygon = np.asarray(polygon_px, dtype=np.float64).reshape(-1, 2)
    if kind == "pit":
        return measure_pit(polygon, plane)
    if kind == "rub":
        return measure_rub(polygon, plane, face)
    if kind != "groove":
        raise BadInput("an outline alone cannot be measured as this", got=kind, do="use groove, pit or rub")
    px_mm = scale_at(plane, polygon.mean(axis=0))
    if face is None:
        return _groove_alone(polygon, plane, px_mm)
    band = _band(polygon, plane, face)
    area = face.area_mm2 if face.sure else None
    return measure_band(band, plane, 2 * px_mm, axis_covariance(face, plane), area)


def _band(polygon_px: Array, plane: Plane, face: Face) -> Band:
    """Band of a drawn outline: inner and outer radius at every half degree that it covers."""
    deg, inner, outer = _by_angle(plane.to_mm(polygon_px), face.centre_mm)
    width, centre = outer - inner, (inner + outer) / 2
    full = bool(deg[-1] - deg[0] > 360.0 - 4 * STEP_DEG)
    if not full:
        half = int(np.ceil(np.degrees(np.median(width) / 2 / np.median(centre)) / STEP_DEG))
        body = slice(half, len(deg) - half) if len(deg) > 4 * half + 4 else slice(None)
        width = np.interp(deg, deg[body], width[body])
        centre = np.interp(deg, deg[body], centre[body])
    return band_of(deg, centre, width, face.centre_mm, plane, full=full, cut=(False, False))


def _by_angle(polygon_mm: Array, centre_mm: Array) -> tuple[Array, Array, Array]:
    """Angles at half-degree steps that a polygon covers, and its least and largest radius there."""
    ahead = np.roll(polygon_mm, -1, axis=0)
    steps = np.linspace(0, 1, 200, endpoint=False)[None, :, None]
    dense = (polygon_mm[:, None] + (ahead - polygon_mm)[:, None] * steps).reshape(-1, 2)
    deg, radius = polar(dense, centre_mm)
    deg = np.degrees(np.unwrap(np.radians(deg)))
    if np.ptp(deg) > 360.0 - 2 * STEP_DEG:
        deg = np.mod(deg, 360.0)
    low, high = float(deg.min()), float(deg.max())
    count = max(3, round((high - low) / STEP_DEG))
    grid = low + (np.arange(count) + 0.5) * (high - low) / count
    cell = np.clip(((deg - low) / max(1e-9, high - low) * count).astype(int), 0, count - 1)
    inner, outer = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(inner, cell, radius)
    np.maximum.at(outer, cell, radius)
    good = np.isfinite(inner) & (outer > inner)
    if good.sum() < 2:
        raise BadInput("the outline is too small to measure", do="draw it larger, or zoom in")
    return grid, np.interp(grid, grid[good], inner[good]), np.interp(grid, grid[good], outer[good])


def _groove_alone(polygon_px: Array, plane: Plane, px_mm: float) -> dict[str, Quantity]:
    """Width and area of a drawn groove without a face: the capsule of the same area and circumference."""

    def capsule(p: Plane) -> Array:
        mm = p.to_mm(polygon_px)
        side = np.roll(mm, -1, axis=0) - mm
        around = float(np.hypot(*side.T).sum())
        area = float(abs(np.sum(mm[:, 0] * np.roll(mm[:, 1], -1) - mm[:, 1] * np.roll(mm[:, 0], -1))) / 2)
        inside = max(0.0, around**2 - 4 * math.pi * area)
        return np.array([(around - math.sqrt(inside)) / math.pi, area])

    value, parts = plane.propagate(capsule)
    width, area = (float(v) for v in value)
    edge = HAND_PX * px_mm
    how = ("from area and circumference of the outline", "within the outline")
    extra = (edge, area * edge / max(width, edge))
    units: tuple[Unit, ...] = ("mm", "mm2")
    found = [
        Measured.of(
            float(value[k]), units[k], how=how[k], outline=extra[k], **{n: float(u[k]) for n, u in parts.items()}
        )
        for k in range(2)
    ]
    no_face = Unmeasured(reason="no face was found", hint="state the face's sizes, or retake with the face in view")
    return {"width": found[0], "area": found[1], "radius": no_face, "arc": no_face, "arc_in_view": no_face}


def _places(kind: Kind, polygon_px: Array, plane: Plane, face: Face | None) -> Array:
    """Gauge places of a drawn mark: along a groove's centreline, or the middle of a pit."""
    if kind == "groove" and face is not None:
        band = _band(polygon_px, plane, face)
        rows = np.linspace(0, len(band.inner_px) - 1, 7).astype(int)[[3, 1, 5]]
        return np.asarray((band.inner_px[rows] + band.outer_px[rows]) / 2)
    return np.asarray(polygon_px.mean(axis=0, keepdims=True))
