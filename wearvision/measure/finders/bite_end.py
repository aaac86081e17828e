"""Where a bite ends: over ground of the land's own tone, and behind the shadow of its walls.

The way into a bite falls back wherever what lies in it looks like the land. A bite is one hollow: between two deep
parts it is as deep. A narrow one may lie in its walls' shadow, which looks like the land; the wall still throws a dark
line.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.finders.bites import LEAST_LOSS_MM, Bite
from wearvision.measure.finders.dark_line import EDGE_MM, Line, Lines
from wearvision.measure.finders.gasket import Land
from wearvision.measure.plane import Array

MOST = 5
"""More than so many bites are no bites: a gasket stained in the ground's tone looks like that."""
GAP = 0.45
"""What falls back over less than this share of an arc,"""
FALL, FALL_MM = 0.3, 0.5
"""by more than this share and so many mm, is no land."""
GAP_MM = 2.0
"""What is no wider than this may be a crack itself."""
BESIDE_MM, JOIN_MM = 0.6, 1.0
"""A line is a bite's when it begins so near its angles, and so near its end."""
MOST_ON, PALE = 4.0, 0.4
"""It carries a bite on to less than so many times its depth, and is no darker than this, log grey: a crack is."""
SLIT_MM = 2.6
"""A way no wider than this about a dark line is a crack's."""
CRACK_MM = 1.0
"""What lies so near a crack may be it."""
SHORT_MM, GONE = 0.5, 0.7
"""A line that ends so near where none is sought at either edge is a crack across the land, and no wall of a bite that
goes through less than so much of it."""


def hollow(bites: list[Bite]) -> list[Bite]:
    """The bites with what falls back in them as deep as what lies on either side; too many are stains, or may be."""
    real = [b.verdict == "bite" for b in bites]
    if sum(real) > MOST:
        return [replace(b, log_odds=0.0) if sure else b for b, sure in zip(bites, real, strict=True)]
    return [replace(b, loss_mm=_filled(b.loss_mm)) if sure else b for b, sure in zip(bites, real, strict=True)]


def _filled(loss_mm: Array) -> Array:
    """A grey closing, where it is well above; nothing is missing beyond either end."""
    count = len(loss_mm)
    wide = 2 * round(GAP * count / 2) + 1
    pad = np.pad(loss_mm, wide).astype(np.float32).reshape(-1, 1)
    shut = cv2.morphologyEx(pad, cv2.MORPH_CLOSE, np.ones((wide, 1), np.uint8)).ravel()[wide : wide + count]
    return np.where(shut - loss_mm > np.maximum(FALL_MM, FALL * shut), shut, loss_mm)


def walled(land: Land, bites: list[Bite], found: Lines) -> tuple[list[Bite], list[Line]]:
    """The bites, carried on along the dark lines that begin in them, and the lines that are none of theirs.

    What is no wider than a crack and lies on such a line is the crack, and no bite.
    """
    out, free = list(bites), list[Line]()
    for line in found.lines:
        deg, radius = found.deg(line), found.mm(line)
        at = [k for k, bite in enumerate(out) if bite.verdict in ("bite", "unsure") and _shares(land, bite, deg)]
        pale = found.dark(line) < PALE
        own = [k for k in at if out[k].traits["arc_mm"] > GAP_MM and _its(land, out[k], deg, radius, pale=pale)]
        for k in own:
            out[k] = _carried_on(land, out[k], deg, radius, pale=pale)
        if not own:
            free.append(line)
            out = [
                _without(land, b, deg, radius) if k in at else b for k, b in enumerate(out)
                if k not in at or b.traits["arc_mm"] > GAP_MM
            ]
    return out, free


def _without(land: Land, bite: Bite, deg: Array, radius_mm: Array) -> Bite:
    """A bite without what of its way runs along a crack: straight on from one side of that to the other.

    A sure one of which nothing would be left may be a wedge: it is unsure then.
    """
    rows, depth = _depth(land, bite, deg, radius_mm)
    along = np.full(len(land.deg), -np.inf)
    np.maximum.at(along, rows, depth)
    wide = 2 * max(1, round(SLIT_MM / 2 / land.row_mm)) + 1
    near = np.abs(bite.loss_mm - along[bite.rows]) < CRACK_MM
    near = cv2.dilate(near.astype(np.uint8).reshape(-1, 1), np.ones((wide, 1), np.uint8)).ravel() > 0
    if near.all() or not near.any():
        return bite
    at = np.arange(len(near))
    rest = np.minimum(bite.loss_mm, np.where(near, np.interp(at, at[~near], bite.loss_mm[~near]), np.inf))
    if bite.verdict == "bite" and float(rest.max()) < LEAST_LOSS_MM:
        return replace(bite, log_odds=0.0)
    return replace(bite, loss_mm=rest)


def _shares(land: Land, bite: Bite, deg: Array) -> bool:
    """Whether most of a line lies at a bite's angles."""
    beside = np.degrees(BESIDE_MM / float(land.sound_mm.mean()))
    half, middle = len(bite.rows) / 2 * land.strip.step_deg + beside, land.deg[bite.rows[len(bite.rows) // 2]]
    return bool((np.abs((deg - middle + 180) % 360 - 180) < half).mean() > 0.5)


def _its(land: Land, bite: Bite, deg: Array, radius_mm: Array, *, pale: bool) -> bool:
    """Whether a line is of a bite: most of it lies in a likely one, or carries it on; none that goes on to the other
    edge."""
    rows, depth = _depth(land, bite, deg, radius_mm)
    width, off = _width(land), _out_of_sight(land)
    if depth.min() < off and depth.max() > width - off and bite.loss_mm.max() < GONE * width:
        return False
    loss = np.zeros(len(land.deg))
    loss[bite.rows] = bite.loss_mm
    within = float((depth < loss[rows] + JOIN_MM).mean())
    if not pale and _in_slit(land, bite, depth):
        return False
    return (bite.likely and within > 0.5) or (pale and _carries_on(land, bite, depth))


def _in_slit(land: Land, bite: Bite, depth: Array) -> bool:
    """Whether a line lies where a bite's way is hardly wider than a crack."""
    wide = 2 * round(SLIT_MM / 2 / land.row_mm) + 1
    column = bite.loss_mm.astype(np.float32).reshape(-1, 1)
    broad = float(cv2.morphologyEx(column, cv2.MORPH_OPEN, np.ones((wide, 1), np.uint8)).max())
    return bool((depth > broad + JOIN_MM).mean() > 0.5)


def _depth(land: Land, bite: Bite, deg: Array, radius_mm: Array) -> tuple[NDArray[np.int64], Array]:
    """Rows of a line's points, and how far they lie inside of a bite's circle."""
    rows = np.rint((deg - land.deg[0]) / land.strip.step_deg).astype(np.int64) % len(land.deg)
    return rows, np.abs(radius_mm - land.sound_mm[bite.edge][rows])


def _carries_on(land: Land, bite: Bite, depth: Array) -> bool:
    """Whether a line begins at a bite's end and goes on from there: one narrower than deep with it, and not much
    deeper. A crack may begin at a bite, too: what goes on to the other edge is one."""
    reach, loss = float(depth.max()), float(bite.loss_mm.max())
    begins = float(depth.min()) < loss + JOIN_MM
    most = min(MOST_ON * loss, _width(land) - _out_of_sight(land))
    return begins and max(loss, bite.traits["arc_mm"]) < reach < most


def _width(land: Land) -> float:
    return float(np.abs(land.sound_mm[1] - land.sound_mm[0]).mean())


def _out_of_sight(land: Land) -> float:
    """So near an edge no line is sought; one that ends there may go on to it."""
    return EDGE_MM + land.strip.px_mm + SHORT_MM


def _carried_on(land: Land, bite: Bite, deg: Array, radius_mm: Array, *, pale: bool) -> Bite:
    """A bite as deep as a pale line that carries it on; any other as it is."""
    rows, depth = _depth(land, bite, deg, radius_mm)
    if not (pale and _carries_on(land, bite, depth)):
        return bite
    reach, loss = float(depth.max()), float(bite.loss_mm.max())
    deeper = np.zeros(len(land.deg))
    np.maximum.at(deeper, rows, depth)
    hidden = max(bite.traits.get("hidden", 0.0), reach - loss)
    return replace(
        bite, loss_mm=np.maximum(bite.loss_mm, deeper[bite.rows]), traits={**bite.traits, "hidden": hidden}
    )
