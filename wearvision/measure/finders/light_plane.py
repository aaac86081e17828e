"""The plane of light over the measured plane: the straight line they meet in, and what lies below it.

The light comes down in a plane that stands at an elevation on the measured plane and meets it in a straight line, seen
on sound metal. Where the metal lies lower the line is shifted. Each place of the line is a ray from the camera; where
that ray meets the plane of light is the lit point, and how far it lies below the measured plane is the depth (plane of
light and ray: any textbook of triangulation; derived).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.finders.light_line import LightLine
from wearvision.measure.lens import undistort
from wearvision.measure.plane import Array, Plane

Flags = NDArray[np.bool_]
LEAST_SPREAD_MM = 0.01
PICKED, ASKED, TURNS = 48, 200, 12
"""Places of which any two far apart are tried for the sound line, how many at least are asked, and turns of its fit."""
KEEP_MM, NOISES = 0.15, 4.0
"""Places so near a line keep to it: unevenness of turned metal, and so many times the scatter of a place."""
GAP_MM, LEAST_MM, FLANK_MM = 0.8, 0.5, 2.0
"""Gaps that are bridged, length of the shortest run, and how near sound metal must show on either side of one."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sound:
    """The line on sound metal: a point and the direction on the plane, the side the light comes down towards (unit),
    the scatter of depth there, and the standard uncertainty of its level, mm."""

    point_mm: Array
    along: Array
    towards: Array
    spread_mm: float
    level_u_mm: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Elevation:
    """How steep the light comes down: degrees over the measured plane, its standard uncertainty without that of the
    plane, how it came, and what it is in another plane seen in the same pixels."""

    deg: float
    u_deg: float
    how: str
    on: Callable[[Plane], float]


def depths(plane: Plane, px: Array, sound: Sound, elevation_deg: float) -> Array:
    """Depth (N,) below the measured plane of lit places seen at photo pixels (N, 2), mm.

    Parameters
    ----------
    elevation_deg : of the plane of light over the measured plane, 5 to 85
    """
    ray, normal, foot = _meeting(plane, px, sound, elevation_deg)
    start = np.array([*sound.point_mm, 0.0])
    reach = ((start + foot) @ normal) / (ray @ normal)
    lit = ray * reach[:, None] - foot
    return np.asarray(lit[:, 2] * np.sign(foot[2]))


def _meeting(plane: Plane, px: Array, sound: Sound, elevation_deg: float) -> tuple[Array, Array, Array]:
    """Rays of pixels (N, 3) and the unit normal of the plane of light in the plane's axes, and the camera's foot."""
    rotation, shift = plane.pose
    uv = (np.asarray(px, dtype=np.float64).reshape(-1, 2) - plane.theta[8:10]) / plane.focal_px
    ray = np.column_stack([undistort(uv, float(plane.theta[7]), float(plane.theta[12])), np.ones(len(uv))]) @ rotation
    foot = shift @ rotation
    rad, (x, y) = np.radians(elevation_deg), sound.along
    (across, down), rise = np.cos(rad) * sound.towards, np.sin(rad) * np.sign(foot[2])
    return ray, np.array([y * rise, -x * rise, x * down - y * across]), foot


def steepness_deg(plane: Plane, px: Array, sound: Sound, elevation_deg: float) -> float:
    """Angle between the view of a photo pixel and the plane of light: near 0 the camera looks along the light."""
    ray, normal, _ = _meeting(plane, px, sound, elevation_deg)
    return float(np.degrees(np.arcsin(np.median(np.abs(ray @ normal) / np.linalg.norm(ray, axis=1)))))


@dataclass(frozen=True, kw_only=True, eq=False)
class Straight:
    """The straight line that most of the light keeps to: a point and the direction on the plane, how far each place
    lies off it, mm, positive to its left (x to y), and which places keep to it."""

    point_mm: Array
    along: Array
    off_mm: Array
    level: Flags


def straight_line(line: LightLine) -> Straight:
    """The line through two places that most others keep to, then fitted by iterated reweighting.

    Not a fit from all places at once: a wide step or dip would lay it askew.
    """
    points = line.points_mm()
    picked = points[line.sure]
    near_mm = max(KEEP_MM, NOISES * line.noise_px * line.patch.px_mm)
    corners = picked[np.linspace(0, len(picked) - 1, PICKED).astype(int)]
    first = _through_most(corners, picked[:: max(1, len(picked) // ASKED)].copy(), near_mm)
    start, along, off, spread = _settled(points, line.sure, first, line.patch.across)
    return Straight(point_mm=start, along=along, off_mm=off, level=line.sure & (np.abs(off) < 4 * spread))


@compiled
def _through_most(picked: Array, asked: Array, near_mm: float) -> Array:
    """Point and direction (2, 2) of the line through two of some points, far apart, that most of others lie near to."""
    best, most = np.empty((2, 2)), -1.0
    for i in range(len(picked)):
        for k in range(i + len(picked) // 4, len(picked)):
            x, y = picked[k] - picked[i]
            long = max(np.hypot(x, y), 1e-9)
            x, y, score = x / long, y / long, 0.0
            level = x * picked[i, 1] - y * picked[i, 0]
            for point in asked:
                score += max(0.0, 1 - ((x * point[1] - y * point[0] - level) / near_mm) ** 2)
            if score > most:
                most = score
                best[0], best[1] = picked[i], (x, y)
    return best


@compiled
def _settled(points: Array, sure: Flags, first: Array, across: Array) -> tuple[Array, Array, Array, float]:
    """A line fitted by iterated reweighting: point, direction, distances (N,) to its left, and their spread."""
    start, along, spread = first[0].copy(), first[1].copy(), KEEP_MM / 2
    off = _aside(points, start, along)
    for _ in range(TURNS):
        weight = np.where(sure, np.maximum(1 - (off / (4 * spread)) ** 2, 1e-9) ** 2, 1e-9)
        start = (weight[:, None] * points).sum(axis=0) / weight.sum()
        x, y = points[:, 0] - start[0], points[:, 1] - start[1]
        turn = np.arctan2(2 * (weight * x * y).sum(), (weight * (x * x - y * y)).sum()) / 2
        along = np.array([np.cos(turn), np.sin(turn)])
        along *= np.sign(along[0] * across[0] + along[1] * across[1])
        off = _aside(points, start, along)
        near = np.abs(off[sure & (np.abs(off) < max(3 * spread, KEEP_MM))])
        told = 1.4826 * np.median(near) if len(near) else KEEP_MM
        spread = min(max(told, LEAST_SPREAD_MM), KEEP_MM)
    return start, along, off, spread


@compiled
def _aside(points: Array, start: Array, along: Array) -> Array:
    """Distances (N,) of points to the left of a line."""
    return np.asarray((points[:, 1] - start[1]) * along[0] - (points[:, 0] - start[0]) * along[1])


def sound_line(line: LightLine, straight: Straight, plane: Plane, elevation_deg: float, side: float = 0.0) -> Sound:
    """The line on sound metal and the side to which deeper places shift it.

    Parameters
    ----------
    side : 1 when that is to the left of the line, -1 to the right; 0 takes that to which it is shifted most
    """
    off, level, along = straight.off_mm, straight.level, straight.along
    if not side:
        aside = [off[run.first : run.last + 1].sum() for run in flanked(line.sure & ~level, level, line)]
        side = float(np.sign(np.sum(aside))) or 1.0
    towards = np.array([-along[1], along[0]]) * side
    flat = Sound(point_mm=straight.point_mm, along=along, towards=towards, spread_mm=0.0, level_u_mm=0.0)
    told = depths(plane, plane.to_px(line.points_mm()[level]), flat, elevation_deg)
    scatter = max(0.005, 1.4826 * float(np.median(np.abs(told - np.median(told)))))
    return replace(flat, spread_mm=scatter, level_u_mm=float(scatter / np.sqrt(max(1.0, level.sum() / 6.0))))


@dataclass(frozen=True, kw_only=True)
class Section:
    """First and last place of a run along the line."""

    first: int
    last: int


def runs(places: Flags, line: LightLine, least_mm: float = LEAST_MM) -> list[Section]:
    """Runs of places along the line, short gaps bridged, of this length or more."""
    rows = np.flatnonzero(places)
    if not len(rows):
        return []
    parts = np.split(rows, np.flatnonzero(np.diff(rows) * line.every_mm > GAP_MM) + 1)
    found = [Section(first=int(p[0]), last=int(p[-1])) for p in parts]
    return [run for run in found if (run.last - run.first + 1) * line.every_mm >= least_mm]


def flanked(deep: Flags, level: Flags, line: LightLine) -> list[Section]:
    """Runs of deep places with level ones near on both sides."""
    reach = round(FLANK_MM / line.every_mm)
    found = runs(deep, line)
    flanks = [(level[max(0, r.first - reach) : r.first], level[r.last + 1 : r.last + 1 + reach]) for r in found]
    return [run for run, sides in zip(found, flanks, strict=True) if min(side.sum() for side in sides) >= reach / 2]


def moved(sound: Sound, plane: Plane, other: Plane) -> Sound:
    """The sound line as another plane puts the same pixels."""
    ends = other.to_mm(plane.to_px(np.vstack([sound.point_mm, sound.point_mm + 20 * sound.along])))
    along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    normal = np.array([-along[1], along[0]])
    return replace(sound, point_mm=ends[0], along=along, towards=normal * np.sign(normal @ sound.towards))
