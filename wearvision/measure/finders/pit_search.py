"""Pits sought on a face: dark round spots with an edge all round, told from rust and oil by how sharp that edge is.

A pit's rim is as sharp as the photo can show it; rust and oil are films with gradual edges. Among many pits, fainter
spots like them are taken for pits too. Drilled holes are round, deep and lie on a circle about the axis, at equal
angles.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.face import Face
from wearvision.measure.finders.face_map import FaceMap, face_map
from wearvision.measure.finders.pit_outline import Spot, outlined
from wearvision.measure.finders.pit_places import dark_spots
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

WEIGHTS = {"dark": 1.4, "sharp": 3.3, "plain": 4.7, "pixels": 0.7}
"""How much the logarithms of darkness, of sharpness over darkness, of darkness over the grain of the metal and of the
radius in photo px speak for a pit; by logistic regression on drawn and on photographed faces."""
OFFSET = -6.4
SURE, IN_FIELD = 1.5, -0.5
"""What they come to on a pit, and on one among many."""
SHARP, FIELD_SHARP = 0.5, 0.2
"""The edge of a pit rises by this much (log grey); a film lets half the light through, and starts slowly."""
FILM, CRISP = 0.7, 0.9
"""Log grey that no film takes, half the light: a spot that stands alone is darker, or its edge rises by this share of
its darkness at once."""
ALONE_MM, ALONE_DARK, ALONE_SHARP, ALONE = 0.75, 0.4, 0.35, 3.0
"""A wide spot that stands alone is told, faint, from this radius, darkness, sharpness, and what its traits come to."""
LARGE_MM, LARGE_CRISP = 2.0, 0.6
"""The edge of a spot of this radius is many pixels from its middle: a pit's rises by this share of its darkness at
once."""
UNEVEN, CLOSED = 0.32, 0.65
AGAIN = 0.15
"""Spots darker than this are outlined a second time, from the middle of the first outline."""
FIRST, FIELD, FAINT = 110, 6, (0.35, 0.5)
"""So many of the darkest places are looked at; the others where at least so many of those come to half as much as a pit
in sharpness and in traits: on 17 drawn faces without pits hardly any did but drilled holes; stains are less sharp."""
LEAST_MM = 0.4
"""Radius of the smallest pit told: no gauge's tip goes into a smaller one, and grain looks alike."""
LEAST_HOLE_MM, HOLE_MM, HOLE_SAME, HOLE_FAR, HOLES = 0.7, 1.2, 0.6, 0.4, (12, 10, 8, 6, 5, 4, 3, 2)
"""Holes have these radii at least (all, one of them), are alike to this share in size, and sit within this share of
their radius where one of so many at equal angles belongs; of a circle all must be there. The far wall shows in a hole,
so its size is poor."""
DRILLED_MM = 2.5
"""A spot of this radius is as likely a drilled hole as a pit."""


def find_spots(
    gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...], flat: FaceMap | None = None
) -> list[Spot]:
    """Spots on a face that look like pits, largest first; holes drilled on a circle left out.

    ``flat`` is the face's map where it was made before.
    """
    flat = flat or face_map(gray, plane, face, exclude_px)
    places = dark_spots(flat)
    centres, radii = flat.to_mm(places[:, 0], places[:, 1]), places[:, 2] * flat.step_mm
    spots = _outlined(gray, plane, centres[:FIRST], radii[:FIRST])
    if len(_pits(spots, face, [s for s in spots if is_pit(s, flat.px_mm, *FAINT)])) < FIELD:
        return _pits(spots, face, [s for s in spots if _stands_alone(s, flat.px_mm)])
    spots += _outlined(gray, plane, centres[FIRST:], radii[FIRST:])
    return _pits(spots, face, [s for s in spots if is_pit(s, flat.px_mm, FIELD_SHARP, IN_FIELD)])


def _pits(spots: list[Spot], face: Face, like_pits: list[Spot]) -> list[Spot]:
    """Of spots those that look like pits and do not lie in a drilled hole, largest first."""
    holes = _holes(_apart([s for s in spots if s.radius_mm >= LEAST_HOLE_MM and s.dark >= FILM]), face)
    found = _apart(like_pits)
    return [s for s in found if all(np.hypot(*(s.centre_mm - h.centre_mm)) > h.radius_mm for h in holes)]


def _stands_alone(spot: Spot, px_mm: float) -> bool:
    """Whether a spot with no field of pits about it is one: darker than any film, crisp, or wide and plain."""
    if is_pit(spot, px_mm) and (spot.dark >= FILM or spot.sharp >= CRISP * spot.dark):
        return True
    wide = ALONE_MM <= spot.radius_mm < DRILLED_MM and spot.dark >= ALONE_DARK
    return wide and is_pit(spot, px_mm, ALONE_SHARP, ALONE)


def _outlined(gray: Image, plane: Plane, centres_mm: Array, radii_mm: Array) -> list[Spot]:
    """Spots about places, those worth it outlined again from their own middle."""
    if not len(centres_mm):
        return []
    first = outlined(gray, plane, centres_mm, radii_mm)
    worth = (first.dark > AGAIN) & (first.closed > CLOSED)
    if not worth.any():
        return []
    return outlined(gray, plane, first.centre_mm[worth], first.radius_mm[worth]).spots()


def hole_like(spot: Spot) -> bool:
    """Whether a spot may as well be a drilled hole."""
    return spot.radius_mm >= DRILLED_MM


def is_pit(spot: Spot, px_mm: float, sharp: float = SHARP, sure: float = SURE) -> bool:
    """Whether a spot is large, round and closed enough, at least so sharp, and its traits come to more than this."""
    if spot.radius_mm < LEAST_MM or spot.uneven > UNEVEN or spot.closed < CLOSED or spot.dark <= 0:
        return False
    if spot.sharp < sharp or (spot.radius_mm >= LARGE_MM and spot.sharp < LARGE_CRISP * spot.dark):
        return False
    traits = {"dark": spot.dark, "sharp": spot.sharp / spot.dark, "plain": spot.plain, "pixels": spot.radius_mm / px_mm}
    return OFFSET + sum(WEIGHTS[name] * math.log(max(0.01, value)) for name, value in traits.items()) > sure


def _apart(spots: list[Spot]) -> list[Spot]:
    """Spots that do not lie on a better one, largest first."""
    best = sorted(spots, key=lambda s: -s.dark * s.closed * math.sqrt(s.radius_mm))
    places = np.array([[*s.centre_mm, s.radius_mm] for s in best]).reshape(-1, 3)
    return sorted((best[k] for k in _free(places)), key=lambda s: -s.radius_mm)


@compiled
def _free(places: Array) -> NDArray[np.int64]:
    """Of circles (x, y, radius) those that lie apart from all that were kept before."""
    kept, count = np.empty(len(places), np.int64), 0
    for k in range(len(places)):
        free = True
        for other in kept[:count]:
            across, down = places[k, 0] - places[other, 0], places[k, 1] - places[other, 1]
            near = 0.9 * max(places[k, 2], places[other, 2])
            free = free and across * across + down * down > near * near
        if free:
            kept[count] = k
            count += 1
    return kept[:count]


def _holes(spots: list[Spot], face: Face) -> list[Spot]:
    """Spots that are drilled on one circle about the axis at equal angles, alike in size."""
    off = np.array([s.centre_mm - face.centre_mm for s in spots]).reshape(-1, 2)
    size = np.array([s.radius_mm for s in spots])
    drilled = _drilled(np.hypot(off[:, 0], off[:, 1]), np.arctan2(off[:, 1], off[:, 0]), size)
    return [s for s, is_hole in zip(spots, drilled, strict=True) if is_hole]


@compiled
def _drilled(far: Array, turn: Array, size: Array) -> NDArray[np.bool_]:
    """Which of some spots, known by how far from the axis they are, at what angle and how large, are such holes."""
    drilled = np.zeros(len(size), np.bool_)
    for first in range(len(size)):
        like, many = np.zeros(len(size), np.bool_), 0
        for k in range(len(size)):
            alike = min(size[k], size[first]) > HOLE_SAME * max(size[k], size[first])
            like[k] = size[first] >= HOLE_MM and alike and abs(far[k] - far[first]) < HOLE_FAR * size[first]
            many += like[k]
        for count in HOLES:
            there = np.zeros(len(size), np.bool_)
            if count <= many and _all_there(turn, like, turn[first], count, HOLE_FAR * size[first] / far[first], there):
                for k in range(len(size)):
                    drilled[k] |= there[k]
    return drilled


@compiled
def _all_there(
    turn: Array, like: NDArray[np.bool_], start: float, count: int, near: float, there: NDArray[np.bool_]
) -> bool:
    """Whether one of the spots that are alike is at each of so many equal angles; tells which are."""
    for place in range(count):
        found = False
        for k in range(len(turn)):
            off = (turn[k] - start - place * 2 * np.pi / count + np.pi) % (2 * np.pi) - np.pi
            if like[k] and abs(off) < near:
                found = there[k] = True
        if not found:
            return False
    return True
