"""Pits sought on a face: dark round spots with an edge all round, told from rust by their outline.

On a map of the face, spots that are darker than what surrounds them are looked for at several sizes. Round each, the
edge is followed along rays as the best closed way; a pit's edge is a step up to the metal at nearly the same distance
all round, a stain's comes and goes. Drilled holes are round, deep and lie on a circle about the axis, at equal angles.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, log_gray
from wearvision.measure.face import Face
from wearvision.measure.finders.face_map import MAP_MM, face_map, far_mm2
from wearvision.measure.patch import Patch
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

RADII_MM = (0.3, 0.42, 0.6, 0.85, 1.2, 1.7, 2.4, 3.4)
"""Radii of spots looked for."""
RAYS, SAMPLES = 32, 36
FIRST_DARK = 0.10
"""Least darkness of a spot to be looked at, log grey, of blurred maps: a sharp disc keeps 0.58 of its own."""
FINE = 3.0
"""Radius in samples above which a map of half the size will do."""
DARK, SHARP, ROUND, CLOSED = 0.40, 0.45, 0.19, 0.92
"""A pit is darker than the metal around by this much (log grey); its edge steps up by this much from the inside to the
outside, stays within this share of its mean radius, and shows on this share of the rays. Rust is a film: its edge is
gradual, and it takes half the light at most."""
SHADOW_DARK, SHADOW_SHARP, SHADOW_ROUND, SHADOW_CLOSED = 0.9, 0.55, 0.36, 0.80
"""One so dark and sharp lies in its own shadow, and may be less round and less closed."""
CRISP_DARK, CRISP, PLAIN, CRISP_ROUND, CRISP_CLOSED = 0.40, 0.64, 4.9, 0.17, 0.92
"""A small or blurred one passes where the metal round it is even: it stands out by so many of its standard deviations,
closed, and its edge takes this share of its darkness at once, which a stain's does not."""
FIELD, FAINT_DARK, FAINT_PLAIN = 8, 0.18, 3.5
"""Where at least so many pits stand, those of this darkness that stand out by so much are taken for pits too; on other
faces they may as well be drops of oil or spots of rust."""
LEAST_PLAIN = 1.5
"""Whatever stands out less lies in rust or grain as dark as itself."""
USUAL_STEP = 0.25
"""Share of a sharp edge's height that one sample takes in; on small or blurred spots it is less, and so is asked."""
EDGE_MM = 0.6
"""A pit keeps this far from the edges of the face."""
LEAST_MM = 0.3
"""Radius of the smallest pit told: no gauge's tip goes into a smaller one, and grain looks alike."""
MOST = 400
HOLE_MM, HOLE_SAME, HOLE_FAR, HOLES = 1.2, 0.6, 0.4, (12, 10, 8, 6, 5, 4, 3, 2)
"""Holes have this radius at least, are alike to this share in size, and sit within this share of their radius where one
of so many at equal angles belongs; of a circle all must be there. The far wall shows in a hole, so its size is poor."""
DRILLED_MM = 2.5
"""A spot of this radius is as likely a drilled hole as a pit."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Spot:
    """A round dark spot: its outline (N, 2) on the plane, its middle, radius of equal area, and how it stands out.

    `plain` is its darkness over the standard deviation of the metal round it.
    """

    outline_mm: Array
    centre_mm: Array
    radius_mm: float
    dark: float
    sharp: float
    uneven: float
    closed: float
    plain: float

    @property
    def hole_like(self) -> bool:
        """Whether it may as well be a drilled hole."""
        return self.radius_mm >= DRILLED_MM


def find_spots(
    gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...], patch: Patch | None = None
) -> list[Spot]:
    """Spots on a face that look like pits, largest first; holes drilled on a circle left out.

    ``patch`` is the face's map where it was made before.
    """
    inner, outer = face.flat_mm
    patch = patch or face_map(gray, plane, face, exclude_px)
    far = far_mm2(patch, face)
    on_face = patch.valid & (far > (inner + EDGE_MM) ** 2) & (far < (outer - EDGE_MM) ** 2)
    places = _candidates(patch.values, on_face)
    if len(places):
        places = _darker_inside(patch.values, places)
    return _without_holes(_chosen(_outlined(patch, places)), face)


def is_pit(spot: Spot, *, in_field: bool = False) -> bool:
    """Whether a spot is large, dark, sharp, round and closed enough; ``in_field``: among many pits."""
    if spot.radius_mm < LEAST_MM or spot.plain < LEAST_PLAIN:
        return False
    if spot.dark >= SHADOW_DARK and spot.sharp >= SHADOW_SHARP:
        return spot.uneven <= SHADOW_ROUND and spot.closed >= SHADOW_CLOSED
    if spot.dark >= DARK and spot.sharp >= SHARP and spot.uneven <= ROUND and spot.closed >= CLOSED:
        return True
    if spot.sharp < CRISP * spot.dark or spot.uneven > CRISP_ROUND or spot.closed < CRISP_CLOSED:
        return False
    return (spot.dark >= CRISP_DARK and spot.plain >= PLAIN) or (
        in_field and spot.dark >= FAINT_DARK and spot.plain >= FAINT_PLAIN
    )


def _chosen(spots: list[Spot]) -> list[Spot]:
    """Those that look like pits; on a face that has many, fainter ones like them too."""
    sure = _apart([s for s in spots if is_pit(s)])
    if len(sure) < FIELD:
        return sure
    return _apart([s for s in spots if is_pit(s, in_field=True)])


def _candidates(gray: Grid, on_face: NDArray[np.bool_]) -> Array:
    """Column, row and radius (N, 3), samples, of spots darker than their surroundings, darkest first.

    Differences of Gaussians on a map of half the size, each blurred on from the one before; the larger ones on
    smaller maps still.
    """
    half = tuple(n // 2 for n in gray.shape[::-1])
    small = log_gray(np.asarray(cv2.resize(gray, half, interpolation=cv2.INTER_AREA), dtype=np.float32))
    face = cv2.resize(on_face.astype(np.uint8), half, interpolation=cv2.INTER_NEAREST)
    if not face.any():
        return np.empty((0, 3))
    small = np.where(face > 0, small, np.median(small[face > 0])).astype(np.float32)
    found, shrink = [], 2
    for octave in range(0, len(RADII_MM), 2):
        while RADII_MM[octave] / MAP_MM / shrink > FINE:
            half = (small.shape[1] // 2, small.shape[0] // 2)
            small = np.asarray(cv2.resize(small, half, interpolation=cv2.INTER_AREA), dtype=np.float32)
            face = cv2.resize(face, half, interpolation=cv2.INTER_NEAREST)
            shrink *= 2
        for radius_mm in RADII_MM[octave : octave + 2]:
            r = radius_mm / MAP_MM / shrink
            darker = cv2.GaussianBlur(small, (0, 0), 1.4 * r) - cv2.GaussianBlur(small, (0, 0), 0.55 * r)
            reach = 3 if r < 2 else 5
            top = (darker > FIRST_DARK) & (face > 0)
            top &= darker >= cv2.dilate(darker, np.ones((reach, reach), np.uint8))
            rows, columns = np.nonzero(top)
            where = [(a + 0.5) * shrink - 0.5 for a in (columns, rows)]
            found.append(np.column_stack([*where, np.full(len(rows), radius_mm / MAP_MM), darker[rows, columns]]))
    spots = np.vstack(found)
    spots = spots[np.argsort(-spots[:, 3])]
    return _first_of_each(spots)


def _first_of_each(spots: Array) -> Array:
    """Spots (column, row, radius, darkness), best first, without those in the middle of a better one: (N, 3)."""
    kept = np.empty((min(len(spots), MOST), 3))
    count = 0
    for x, y, radius, _ in spots:
        others = kept[:count]
        near = np.minimum(others[:, 2], radius) * 0.6 + 1
        if not ((others[:, 0] - x) ** 2 + (others[:, 1] - y) ** 2 <= near**2).any():
            kept[count] = x, y, radius
            count += 1
            if count == MOST:
                break
    return kept[:count]


def _rays(gray: Grid, places: Array, rays: int, samples: int) -> tuple[Grid, Array, Array, Array]:
    """Log grey (N, rays, samples) along rays from places (column, row, radius), and their distances and directions."""
    turn = np.arange(rays) * 2 * np.pi / rays
    cos, sin = np.cos(turn)[None, :, None], np.sin(turn)[None, :, None]
    far = np.linspace(0.25, 2.3, samples)[None, None, :] * places[:, 2, None, None]
    x, y = places[:, 0, None, None] + far * cos, places[:, 1, None, None] + far * sin
    flat = [np.ascontiguousarray(a.reshape(-1, samples), dtype=np.float32) for a in (x, y)]
    seen = cv2.remap(gray, flat[0], flat[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    tone = cv2.GaussianBlur(log_gray(np.asarray(seen, dtype=np.float32)), (5, 1), 1.0)
    return np.asarray(tone, dtype=np.float32).reshape(len(places), rays, samples), far, cos, sin


def _darker_inside(gray: Grid, places: Array) -> Array:
    """Places moved to the middle of the best closed way round; those not much darker inside are left out."""
    samples = SAMPLES // 2
    tone, far, cos, sin = _rays(gray, places, RAYS // 2, samples)
    place = _round_ways(np.gradient(tone, axis=2))
    who, ray = np.arange(len(places))[:, None], np.arange(RAYS // 2)[None, :]
    inside = tone[who, ray, np.maximum(place - 2, 0)]
    rise = np.median(tone[who, ray, np.minimum(place + 2, samples - 1)] - inside, axis=1)
    reach = far[who, 0, place]
    moved = np.column_stack([
        places[:, 0] + np.mean(reach * cos[..., 0], axis=1), places[:, 1] + np.mean(reach * sin[..., 0], axis=1),
        np.maximum(1.5, reach.mean(axis=1)),
    ])  # fmt: skip
    return np.asarray(moved[rise > FAINT_DARK / 2])


def _outlined(patch: Patch, places: Array) -> list[Spot]:
    """Outlines of spots (column, row, radius): for each the best closed way round along rays from its middle."""
    if not len(places):
        return []
    who, ray = np.arange(len(places))[:, None], np.arange(RAYS)[None, :]
    tone, far, cos, sin = _rays(patch.values, places, RAYS, SAMPLES)
    step = np.gradient(tone, axis=2)
    place = _round_ways(step)
    reach = far[who, 0, place]
    column, row, radius = places.T
    rim = np.stack([column[:, None] + reach * cos[..., 0], row[:, None] + reach * sin[..., 0]], axis=-1)
    middle = patch.to_mm(*rim.mean(axis=1).T)
    sums = np.concatenate([np.zeros((len(places), RAYS, 1)), np.cumsum(tone, axis=2)], axis=2)
    inside = sums[who, ray, place] / np.maximum(place, 1)
    start = np.minimum(place + 2, SAMPLES - 1)
    stop = np.minimum(start + SAMPLES // 4, SAMPLES)
    rise = (sums[who, ray, stop] - sums[who, ray, start]) / np.maximum(stop - start, 1) - inside
    usual = np.median(rise, axis=1)
    area = np.abs(np.sum(reach * np.roll(reach, -1, axis=1), axis=1)) * np.sin(2 * np.pi / RAYS) / 2
    size = np.sqrt(area / np.pi) * patch.step_mm
    blur = 0.9 * patch.px_mm / patch.step_mm + 0.6
    allowed = np.sqrt(np.clip(2.05 * radius / SAMPLES / (2.5 * blur) / USUAL_STEP, 0.05, 1.0))
    outside = (np.arange(SAMPLES) >= start[..., None]).reshape(len(places), -1).astype(np.float64)
    around = tone.reshape(len(places), -1)
    level = (around * outside).sum(axis=1, keepdims=True) / outside.sum(axis=1, keepdims=True)
    rough = np.sqrt(((around - level) ** 2 * outside).sum(axis=1) / outside.sum(axis=1))
    off = np.hypot(*(rim - rim.mean(axis=1)[:, None]).transpose(2, 0, 1))
    return [
        Spot(
            outline_mm=patch.to_mm(rim[k, :, 0], rim[k, :, 1]), dark=float(usual[k]), centre_mm=middle[k],
            radius_mm=float(size[k]), sharp=3 * float(np.median(step[k, ray[0], place[k]])) / float(allowed[k]),
            uneven=float(np.std(off[k]) / np.mean(off[k])), closed=float(np.mean(rise[k] > 0.4 * usual[k])),
            plain=float(usual[k] / max(1e-3, rough[k])),
        )
        for k in range(len(places))
    ]  # fmt: skip


def _round_ways(step: Grid) -> NDArray[np.int64]:
    """Best place on each ray of each spot, closed, neighbours at most two samples apart: (N, rays).

    Dynamic programming over two laps, of which the middle one is kept. The more places a move may skip, the more
    it costs, so that a straight way wins over a shaking one.
    """
    count, rays, wide = step.shape
    moves = (0, -1, 1, -2, 2)
    price = np.array([0.0, 0.01, 0.01, 0.02, 0.02], dtype=np.float32)[:, None, None]
    steps = np.ascontiguousarray(step.transpose(1, 0, 2), dtype=np.float32)
    total = np.full((count, wide + 4), -np.inf, dtype=np.float32)
    total[:, 2:-2] = steps[0]
    came = np.zeros((2 * rays, count, wide), dtype=np.int8)
    for k in range(1, 2 * rays):
        before = np.stack([total[:, 2 - d : 2 - d + wide] for d in moves]) - price
        origin = np.argmax(before, axis=0)
        came[k] = np.take(np.array(moves, dtype=np.int8), origin)
        total[:, 2:-2] = before.max(axis=0) + steps[k % rays]
    path = np.empty((count, 2 * rays), dtype=np.int64)
    path[:, -1] = np.argmax(total[:, 2:-2], axis=1)
    who = np.arange(count)
    for k in range(2 * rays - 1, 0, -1):
        path[:, k - 1] = path[:, k] - came[k, who, path[:, k]]
    first = rays // 2
    return np.roll(path[:, first : first + rays], first, axis=1)


def _apart(spots: list[Spot]) -> list[Spot]:
    """Spots that do not lie on a better one, largest first."""
    out: list[Spot] = []
    for spot in sorted(spots, key=lambda s: -s.dark * s.closed * np.sqrt(s.radius_mm)):
        if all(np.hypot(*(spot.centre_mm - o.centre_mm)) > 0.8 * max(spot.radius_mm, o.radius_mm) for o in out):
            out.append(spot)
    return sorted(out, key=lambda s: -s.radius_mm)


def _without_holes(spots: list[Spot], face: Face) -> list[Spot]:
    """Spots that are not drilled on one circle about the axis at equal angles, alike in size."""
    off = np.array([s.centre_mm - face.centre_mm for s in spots]).reshape(-1, 2)
    far, size = np.hypot(*off.T), np.array([s.radius_mm for s in spots])
    turn = np.arctan2(off[:, 1], off[:, 0])
    hole = np.zeros(len(spots), dtype=bool)
    for i in np.nonzero(size >= HOLE_MM)[0]:
        alike = np.minimum(size, size[i]) > HOLE_SAME * np.maximum(size, size[i])
        like = alike & (np.abs(far - far[i]) < HOLE_FAR * size[i])
        for count in HOLES:
            places = turn[i] + np.arange(count) * 2 * np.pi / count
            miss = np.abs((turn[None] - places[:, None] + np.pi) % (2 * np.pi) - np.pi) * far[i]
            there = like[None] & (miss < HOLE_FAR * size[i])
            if there.any(axis=1).all():
                hole |= there.any(axis=0)
    return [s for s, is_hole in zip(spots, hole, strict=True) if not is_hole]
