"""Depth under a line of light, by triangulation: sealed figures, for a gauge decides.

The light comes down in a plane that stands at a stated elevation on the measured plane and meets it in a straight
line, seen on sound metal. Where the metal lies lower the line is shifted. Each place of the line is a ray from the
camera; where that ray meets the plane of light is the lit point, and how far it lies below the measured plane is the
depth (plane of light and ray: any textbook of triangulation; derived).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wearvision.finding import Finding
from wearvision.measure.finders.light_line import LightLine
from wearvision.measure.lens import undistort
from wearvision.measure.plane import Array, Plane
from wearvision.quantity import Measured, Quantity

ELEVATION_SD_DEG = 0.5
"""Standard uncertainty of a stated elevation; common practice, no source."""
LEAST_DEPTH_MM, NOISES = 0.25, 6.0
"""A section is deeper than this, and than so many times the scatter on sound metal."""
MOST_DOUBT = 0.4, 0.35
"""A depth with a U95 beyond both this share of it and so many mm tells nothing."""
GAP_MM, LEAST_MM, FLANK_MM = 0.8, 0.5, 2.0
"""Gaps that are bridged, length of the shortest section, and how near sound metal must show on either side of one."""
WALL_SHARE, WALL_MM = 0.03, 0.02
"""Standard uncertainty for a line of some width on a wall or over a bottom narrower than itself."""
TURNS, NEAR_MM = 30, 1.5
"""Turns of the fit of the sound line, and how near the middle of its band it begins."""
FOOT_MM, FEET_MM, FOOT_GAP_MM = 0.06, 5.0, 0.4
"""Depth at which a section ends; how far to either side of it the sound metal is taken, and how near not."""
Flags = NDArray[np.bool_]
EDGE_MM = 0.2
"""Standard uncertainty of a width where the edges are round."""
TIP, ABOUT = 3, 9
"""The greatest depth is the median of so many places about the deepest; of more of them tells how sharp it is."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sound:
    """The line on sound metal: a point and the direction on the plane, the side the light comes down towards (unit),
    the scatter of depth there, and the standard uncertainty of its level, mm."""

    point_mm: Array
    along: Array
    towards: Array
    spread_mm: float
    level_u_mm: float


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
    rad = np.radians(elevation_deg)
    down = np.array([*(np.cos(rad) * sound.towards), np.sin(rad) * np.sign(foot[2])])
    return ray, np.cross(np.array([*sound.along, 0.0]), down), foot


def steepness_deg(plane: Plane, px: Array, sound: Sound, elevation_deg: float) -> float:
    """Angle between the view of a photo pixel and the plane of light: near 0 the camera looks along the light."""
    ray, normal, _ = _meeting(plane, px, sound, elevation_deg)
    return float(np.degrees(np.arcsin(np.median(np.abs(ray @ normal) / np.linalg.norm(ray, axis=1)))))


def sound_line(line: LightLine, plane: Plane, elevation_deg: float) -> Sound:
    """The straight line that most of the light keeps to, and the side to which deeper places shift it."""
    points = line.points_mm()
    first = line.patch.to_mm(line.column, np.full(len(line.column), line.patch.values.shape[0] / 2))
    start = first[len(first) // 2]
    along = line.patch.across
    weight = (line.sure & (np.hypot(*(points - first).T) < NEAR_MM)).astype(np.float64) + 1e-6
    off, spread = np.zeros(len(points)), NEAR_MM
    for turn in range(TURNS):
        start = np.average(points, axis=0, weights=weight)
        axes = np.linalg.svd((points - start) * np.sqrt(weight)[:, None], full_matrices=False)[2]
        along = axes[0] * np.sign(axes[0] @ along)
        off = (points - start) @ np.array([-along[1], along[0]])
        near = line.sure & (np.abs(off) < max(3 * spread, NEAR_MM * 0.8**turn))
        spread = max(0.01, 1.4826 * float(np.median(np.abs(off[near])))) if near.any() else NEAR_MM
        weight = np.where(line.sure, np.clip(1 - (off / (4 * spread)) ** 2, 1e-9, None) ** 2, 1e-9)
    level = line.sure & (np.abs(off) < 4 * spread)
    aside = [off[run.first : run.last + 1] for run in _flanked(line.sure & ~level, level, line)]
    side = float(np.sign(np.sum([np.sum(run) for run in aside]))) if aside else 1.0
    towards = np.array([-along[1], along[0]]) * (side or 1.0)
    flat = Sound(point_mm=start, along=along, towards=towards, spread_mm=0.0, level_u_mm=0.0)
    told = depths(plane, plane.to_px(points[level]), flat, elevation_deg)
    scatter = max(0.005, 1.4826 * float(np.median(np.abs(told - np.median(told)))))
    return replace(flat, spread_mm=scatter, level_u_mm=float(scatter / np.sqrt(max(1.0, level.sum() / 6.0))))


@dataclass(frozen=True, kw_only=True)
class Section:
    """First and last place of the line that lie deep."""

    first: int
    last: int


def sections(line: LightLine, depth_mm: Array, sound: Sound) -> list[Section]:
    """Runs of places that lie below the sound metal, with sound metal near on both sides."""
    least = max(LEAST_DEPTH_MM, NOISES * sound.spread_mm)
    found = _flanked(line.sure & (depth_mm > least), line.sure & (np.abs(depth_mm) <= least), line)
    ends = [_to_its_ends(run, line.sure & (depth_mm > max(FOOT_MM, 2 * sound.spread_mm))) for run in found]
    return [run for run in ends if _stands_out(run, line, depth_mm, sound)]


def _stands_out(run: Section, line: LightLine, depth_mm: Array, sound: Sound) -> bool:
    """Whether the sound metal beside it is so much calmer than the section is deep."""
    feet = [side - np.median(side) for side in _feet(run, line, depth_mm, sound) if len(side)]
    told = np.concatenate([*feet, np.zeros(1)])
    return bool(depth_mm[run.first : run.last + 1].max() > NOISES * 1.4826 * np.median(np.abs(told)))


def _to_its_ends(run: Section, below: Flags) -> Section:
    """The run as far as it still lies below the sound metal."""
    first, last = run.first, run.last
    while first > 0 and below[first - 1]:
        first -= 1
    while last < len(below) - 1 and below[last + 1]:
        last += 1
    return Section(first=first, last=last)


def _feet(run: Section, line: LightLine, depth_mm: Array, sound: Sound) -> list[Array]:
    """Depths told of the sound metal on either side, where a gauge has its feet."""
    step = float(np.median(np.diff(line.column))) * line.patch.step_mm
    reach, gap = round(FEET_MM / step), round(FOOT_GAP_MM / step)
    level = line.sure & (np.abs(depth_mm) < max(LEAST_DEPTH_MM, NOISES * sound.spread_mm))
    rows = (slice(max(0, run.first - gap - reach), max(0, run.first - gap)),
            slice(run.last + 1 + gap, run.last + 1 + gap + reach))  # fmt: skip
    return [depth_mm[r][level[r]] for r in rows]


def _level(run: Section, line: LightLine, depth_mm: Array, sound: Sound) -> tuple[float, float]:
    """Level of the sound metal on both sides, and its standard uncertainty."""
    sides = [float(np.median(side)) for side in _feet(run, line, depth_mm, sound) if len(side)]
    if not sides:
        return 0.0, sound.level_u_mm
    uneven = float(np.ptp(sides)) / 4
    return float(np.mean(sides)), float(np.hypot(uneven, max(sound.level_u_mm, sound.spread_mm / 3)))


def _flanked(deep: Flags, level: Flags, line: LightLine) -> list[Section]:
    """Runs of deep places with level ones near on both sides."""
    rows = np.flatnonzero(deep)
    if not len(rows):
        return []
    step = float(np.median(np.diff(line.column))) * line.patch.step_mm
    parts = np.split(rows, np.flatnonzero(np.diff(rows) * step > GAP_MM) + 1)
    runs = [Section(first=int(p[0]), last=int(p[-1])) for p in parts if (p[-1] - p[0] + 1) * step >= LEAST_MM]
    reach = round(FLANK_MM / step)
    flanks = [(level[max(0, r.first - reach) : r.first], level[r.last + 1 : r.last + 1 + reach]) for r in runs]
    return [run for run, sides in zip(runs, flanks, strict=True) if min(side.sum() for side in sides) >= reach / 2]


def find_sections(
    line: LightLine, depth_mm: Array, sound: Sound, plane: Plane, elevation_deg: float
) -> tuple[Finding, ...]:
    """Sections of a line that are deep against the sound metal right beside them, and surely so."""
    measured = (_finding(s, line, depth_mm, sound, plane, elevation_deg) for s in sections(line, depth_mm, sound))
    told = (f for f in measured if _tells(f.quantities["depth"]))
    return tuple(replace(finding, id=f"D{i}") for i, finding in enumerate(told, start=1))


def _tells(depth: Quantity) -> bool:
    return (
        isinstance(depth, Measured)
        and depth.value >= LEAST_DEPTH_MM
        and depth.u95 <= max(MOST_DOUBT[0] * depth.value, MOST_DOUBT[1])
    )


def _finding(
    section: Section, line: LightLine, depth_mm: Array, sound: Sound, plane: Plane, elevation_deg: float
) -> Finding:
    """One section, its id still open: where, how wide and how deep."""
    px = plane.to_px(line.points_mm())
    rows = np.arange(section.first, section.last + 1)
    mine = rows[line.sure[rows]]
    deepest = int(mine[np.argmax(_calm(depth_mm[mine]))])
    about = mine[np.argsort(np.abs(mine - deepest))[:ABOUT]]
    near = about[:TIP]
    level, level_u = _level(section, line, depth_mm, sound)
    value = float(np.median(depth_mm[near])) - level
    width = _width(section, line, depth_mm, sound, plane)
    tip = (float(np.median(depth_mm[near])) - float(np.median(depth_mm[about]))) / 2
    depth = _depth(value, px[near], line, replace(sound, level_u_mm=level_u), plane, elevation_deg, max(0.0, tip))
    low, high = line.row[rows].min() - 6, line.row[rows].max() + 6
    first, last = line.column[section.first], line.column[section.last]
    box = line.patch.to_mm(np.array([first, last, last, first]), np.array([low, low, high, high]))
    return Finding(
        id="", kind="depth-section", outline_px=plane.to_px(box), quantities={"width": width, "depth": depth},
        places_px=px[deepest : deepest + 1],
    )  # fmt: skip


def _width(run: Section, line: LightLine, depth_mm: Array, sound: Sound, plane: Plane) -> Quantity:
    """Width along the line: each edge lies between the last sound place seen and the first deep one."""
    sound_rows = np.flatnonzero(line.sure & (np.abs(depth_mm) < max(LEAST_DEPTH_MM, NOISES * sound.spread_mm)))
    before, after = sound_rows[sound_rows < run.first], sound_rows[sound_rows > run.last]
    outer = (before[-1] if len(before) else run.first, after[0] if len(after) else run.last)
    inner, points = (run.first, run.last), line.points_mm()
    middle = np.array([(points[a] + points[b]) / 2 for a, b in zip(outer, inner, strict=True)])
    along = sound.point_mm + np.outer((middle - sound.point_mm) @ sound.along, sound.along)
    ends_px = plane.to_px(along)
    value, parts = plane.propagate(lambda p: np.array([np.hypot(*np.diff(p.to_mm(ends_px), axis=0)[0])]))
    gaps = [abs(float((points[a] - points[b]) @ sound.along)) / np.sqrt(12) for a, b in zip(outer, inner, strict=True)]
    return Measured.of(
        float(value[0]), "mm", how="along the line of light", edge=float(np.hypot(EDGE_MM, line.patch.px_mm)),
        unseen=float(np.hypot(*gaps)), **{k: float(u[0]) for k, u in parts.items()},
    )  # fmt: skip


def _depth(
    value: float, px: Array, line: LightLine, sound: Sound, plane: Plane, elevation_deg: float,
    tip_mm: float,
) -> Quantity:  # fmt: skip
    """The greatest depth with its parts: line, level of the sound metal, elevation, plane."""
    one = 1.0 / max(np.tan(np.radians(elevation_deg)), 1e-3)
    turn = [float(np.median(depths(plane, px, sound, elevation_deg + d))) for d in (0.5, -0.5)]
    elevation = abs(turn[0] - turn[1]) * ELEVATION_SD_DEG
    place = line.noise_px * line.patch.px_mm / max(one, 0.2)
    _, parts = plane.propagate(lambda p: np.array([np.median(depths(p, px, _moved(sound, plane, p), elevation_deg))]))
    return Measured.of(
        value, "mm", how="triangulated from the line of light", line=float(np.hypot(place, sound.spread_mm)),
        level=sound.level_u_mm, elevation=elevation, tip=tip_mm, wall=WALL_MM + WALL_SHARE * value,
        **{k: float(u[0]) for k, u in parts.items()},
    )  # fmt: skip


def _moved(sound: Sound, plane: Plane, other: Plane) -> Sound:
    """The sound line as another plane puts the same pixels."""
    ends = other.to_mm(plane.to_px(np.vstack([sound.point_mm, sound.point_mm + 20 * sound.along])))
    along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    normal = np.array([-along[1], along[0]])
    return replace(sound, point_mm=ends[0], along=along, towards=normal * np.sign(normal @ sound.towards))


def _calm(values: Array) -> Array:
    """Running median of three, ends repeated."""
    padded = np.pad(values, 1, mode="edge")
    return np.asarray(np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0))


