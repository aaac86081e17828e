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
from wearvision.measure.patch import Patch, patch_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

MAP_MM = 0.12
RADII_MM = (0.3, 0.42, 0.6, 0.85, 1.2, 1.7, 2.4, 3.4)
"""Radii of spots looked for."""
RAYS, SAMPLES = 32, 36
FIRST_DARK = 0.10
"""Least darkness of a spot to be looked at, log grey."""
DARK, SHARP, ROUND, CLOSED = 0.40, 0.45, 0.19, 0.92
"""A pit is darker than the metal around by this much (log grey); its edge steps up by this much from the inside to the
outside, stays within this share of its mean radius, and shows on this share of the rays. Rust is a film: its edge is
gradual, and it takes half the light at most."""
PLAIN_DARK, PLAIN_SHARP, PLAIN_ROUND, PLAIN_CLOSED = 0.9, 0.55, 0.36, 0.80
"""One so dark and sharp lies in its own shadow, and may be less round and less closed."""
USUAL_STEP = 0.25
"""Share of a sharp edge's height that one sample takes in; on small or blurred spots it is less, and so is asked."""
EDGE_MM = 0.6
"""A pit keeps this far from the edges of the face."""
LEAST_MM = 0.3
"""Radius of the smallest pit told: no gauge's tip goes into a smaller one, and grain looks alike."""
MOST = 400
HOLE_SAME, HOLES = 0.06, 3
"""Holes are alike to this share in size and distance from the axis; so many at equal angles make a bolt circle."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Spot:
    """A round dark spot: its outline (N, 2) on the plane, its middle, radius of equal area, and how it stands out."""

    outline_mm: Array
    centre_mm: Array
    radius_mm: float
    dark: float
    sharp: float
    uneven: float
    closed: float


def find_spots(gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...]) -> list[Spot]:
    """Spots on a face that look like pits, largest first; drilled holes left out."""
    inner, outer = face.flat_mm
    size = 2 * outer + 4
    patch = patch_of(
        gray, plane, face.centre_mm - size / 2, np.array([1.0, 0.0]), (size, size), step_mm=MAP_MM,
        down=np.array([0.0, 1.0]), exclude_px=exclude_px,
    )  # fmt: skip
    values = log_gray(patch.values)
    y, x = np.mgrid[: values.shape[0], : values.shape[1]].astype(np.float32) * MAP_MM - size / 2
    radius = np.hypot(x, y)
    on_face = patch.valid & (radius > inner + EDGE_MM) & (radius < outer - EDGE_MM)
    good = [s for s in _outlined(values, patch, _candidates(values, on_face)) if is_pit(s)]
    return _without_holes(_apart(good), face)


def is_pit(spot: Spot) -> bool:
    """Whether a spot is large, dark, sharp, round and closed enough."""
    plain = spot.dark >= PLAIN_DARK and spot.sharp >= PLAIN_SHARP
    even = spot.uneven <= (PLAIN_ROUND if plain else ROUND) and spot.closed >= (PLAIN_CLOSED if plain else CLOSED)
    return even and spot.radius_mm >= LEAST_MM and spot.dark >= DARK and spot.sharp >= SHARP


def _candidates(values: Grid, on_face: NDArray[np.bool_]) -> Array:
    """Column, row and radius (N, 3), samples, of spots darker than their surroundings, darkest first."""
    filled = np.where(on_face, values, float(np.median(values[on_face])) if on_face.any() else 0).astype(np.float32)
    layers = []
    for radius_mm in RADII_MM:
        shrink = max(1, int(0.3 * radius_mm / MAP_MM))
        r = radius_mm / MAP_MM / shrink
        small = cv2.resize(filled, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA)
        darker = cv2.GaussianBlur(small, (0, 0), 1.4 * r) - cv2.GaussianBlur(small, (0, 0), 0.55 * r)
        layers.append(cv2.resize(darker, filled.shape[::-1], interpolation=cv2.INTER_LINEAR))
    best = layers[0].copy()
    for layer in layers[1:]:
        cv2.max(best, layer, best)
    local = (best >= cv2.dilate(best, np.ones((5, 5), np.uint8))) & on_face & (best > FIRST_DARK)
    rows, columns = np.nonzero(local)
    order = np.argsort(-best[rows, columns])[:MOST]
    scale = np.argmax([layer[rows, columns] for layer in layers], axis=0)
    radii = np.array(RADII_MM)[scale] / MAP_MM
    return np.column_stack([columns, rows, radii])[order].astype(np.float64)


def _outlined(values: Grid, patch: Patch, places: Array) -> list[Spot]:
    """Outlines of spots (column, row, radius): for each the best closed way round along rays from its middle."""
    if not len(places):
        return []
    column, row, radius = places.T
    turn = np.arange(RAYS) * 2 * np.pi / RAYS
    cos, sin = np.cos(turn)[None, :, None], np.sin(turn)[None, :, None]
    who, ray = np.arange(len(places))[:, None], np.arange(RAYS)[None, :]
    for _ in range(2):
        far = np.linspace(0.25, 2.3, SAMPLES)[None, None, :] * radius[:, None, None]
        x, y = column[:, None, None] + far * cos, row[:, None, None] + far * sin
        flat = [np.ascontiguousarray(a.reshape(-1, SAMPLES), dtype=np.float32) for a in (x, y)]
        tone = cv2.remap(values, flat[0], flat[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        tone = cv2.GaussianBlur(tone, (5, 1), 1.0).reshape(len(places), RAYS, SAMPLES)
        step = np.gradient(tone, axis=2)
        place = _round_ways(step)
        reach = far[who, 0, place]
        column = column + np.mean(reach * cos[..., 0], axis=1)
        row = row + np.mean(reach * sin[..., 0], axis=1)
        radius = np.maximum(1.5, reach.mean(axis=1))
    sums = np.concatenate([np.zeros((len(places), RAYS, 1)), np.cumsum(tone, axis=2)], axis=2)
    inside = sums[who, ray, place] / np.maximum(place, 1)
    start = np.minimum(place + 2, SAMPLES - 1)
    stop = np.minimum(start + SAMPLES // 4, SAMPLES)
    rise = (sums[who, ray, stop] - sums[who, ray, start]) / np.maximum(stop - start, 1) - inside
    usual = np.median(rise, axis=1)
    area = np.abs(np.sum(reach * np.roll(reach, -1, axis=1), axis=1)) * np.sin(2 * np.pi / RAYS) / 2
    size = np.sqrt(area / np.pi) * patch.step_mm
    middle = patch.to_mm(column, row)
    blur = 0.9 * patch.px_mm / patch.step_mm + 0.6
    allowed = np.sqrt(np.clip(2.05 * radius / SAMPLES / (2.5 * blur) / USUAL_STEP, 0.05, 1.0))
    return [
        Spot(
            outline_mm=patch.to_mm(x[k, ray[0], place[k]], y[k, ray[0], place[k]]), dark=float(usual[k]),
            centre_mm=middle[k], radius_mm=float(size[k]),
            sharp=3 * float(np.median(step[k, ray[0], place[k]])) / float(allowed[k]),
            uneven=float(np.std(reach[k]) / np.mean(reach[k])),
            closed=float(np.mean(rise[k] > 0.4 * usual[k])),
        )
        for k in range(len(places))
    ]  # fmt: skip


def _round_ways(step: Array) -> NDArray[np.int64]:
    """Best place on each ray of each spot, closed, neighbours at most two samples apart: (N, rays).

    Dynamic programming over three laps, of which the middle one is kept.
    """
    count, rays, wide = step.shape
    total = step[:, 0].copy()
    came = np.zeros((3 * rays, count, wide), dtype=np.int8)
    for k in range(1, 3 * rays):
        best, origin = total.copy(), np.zeros(total.shape, dtype=np.int8)
        for d in (-2, -1, 1, 2):
            moved = np.full(total.shape, -np.inf)
            if d > 0:
                moved[:, d:] = total[:, :-d]
            else:
                moved[:, :d] = total[:, -d:]
            moved -= 0.01 * abs(d)
            better = moved > best
            best[better], origin[better] = moved[better], d
        came[k], total = origin, best + step[:, k % rays]
    path = np.empty((count, 3 * rays), dtype=np.int64)
    path[:, -1] = np.argmax(total, axis=1)
    who = np.arange(count)
    for k in range(3 * rays - 1, 0, -1):
        path[:, k - 1] = path[:, k] - came[k, who, path[:, k]]
    return path[:, rays : 2 * rays]


def _apart(spots: list[Spot]) -> list[Spot]:
    """Spots that do not lie on a better one, largest first."""
    out: list[Spot] = []
    for spot in sorted(spots, key=lambda s: -s.dark * s.closed * np.sqrt(s.radius_mm)):
        if all(np.hypot(*(spot.centre_mm - o.centre_mm)) > 0.8 * max(spot.radius_mm, o.radius_mm) for o in out):
            out.append(spot)
    return sorted(out, key=lambda s: -s.radius_mm)


def _without_holes(spots: list[Spot], face: Face) -> list[Spot]:
    """Spots that are not drilled on one circle at equal angles, alike in size."""
    off = np.array([s.centre_mm - face.centre_mm for s in spots]).reshape(-1, 2)
    far, size = np.hypot(*off.T), np.array([s.radius_mm for s in spots])
    angle = np.degrees(np.arctan2(off[:, 1], off[:, 0]))
    hole = np.zeros(len(spots), dtype=bool)
    for i in range(len(spots)):
        like = (np.abs(far - far[i]) < HOLE_SAME * size[i] * 4) & (np.abs(size - size[i]) < 2 * HOLE_SAME * size[i])
        if like.sum() < HOLES or size[i] < 1.2:
            continue
        apart = np.sort(np.mod(angle[like] - angle[i], 360))
        gaps = np.diff(np.append(apart, 360.0))
        unit = gaps.min()
        even = np.all(np.abs(gaps / unit - np.round(gaps / unit)) < 0.06) and abs(360 / unit - round(360 / unit)) < 0.08
        if unit > 10 and even:
            hole |= like
    return [s for s, is_hole in zip(spots, hole, strict=True) if not is_hole]
