"""Depth under a line of light, by triangulation: sealed figures, for a gauge decides.

The light comes down in a plane that stands at a stated elevation on the measured plane and meets it in a straight
line, seen on sound metal. Where the metal lies lower the line is shifted. Each place of the line is a ray from the
camera; where that ray meets the plane of light is the lit point, and how far it lies below the measured plane is the
depth (plane of light and ray: any textbook of triangulation; derived).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.finders.light_line import LightLine
from wearvision.measure.lens import undistort
from wearvision.measure.plane import Array, Plane
from wearvision.quantity import Measured, Quantity

ELEVATION_SD_DEG = 0.5
"""Standard uncertainty of a stated elevation; common practice, no source."""
LEAST_DEPTH_MM, NOISES = 0.25, 6.0
"""A section is deeper than this, and than so many times the scatter on sound metal."""
GAP_MM, LEAST_MM, FLANK_MM = 0.8, 0.5, 3.0
"""Gaps that are bridged, length of the shortest section, and how near sound metal must show on either side of one."""
WALL_SHARE, WALL_MM = 0.03, 0.02
"""Standard uncertainty for a line of some width on a wall or over a bottom narrower than itself."""
TURNS = 30
TIP = 5
"""The greatest depth is the median of so many places about the deepest."""


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
    rotation, shift = plane.pose
    uv = (np.asarray(px, dtype=np.float64).reshape(-1, 2) - plane.theta[8:10]) / plane.focal_px
    ray = np.column_stack([undistort(uv, float(plane.theta[7]), float(plane.theta[12])), np.ones(len(uv))]) @ rotation
    foot = shift @ rotation
    rad = np.radians(elevation_deg)
    down = np.array([*(np.cos(rad) * sound.towards), np.sin(rad) * np.sign(foot[2])])
    normal = np.cross(np.array([*sound.along, 0.0]), down)
    start = np.array([*sound.point_mm, 0.0])
    reach = ((start + foot) @ normal) / (ray @ normal)
    lit = ray * reach[:, None] - foot
    return np.asarray(lit[:, 2] * np.sign(foot[2]))


def sound_line(line: LightLine, plane: Plane, elevation_deg: float) -> Sound:
    """The straight line that most of the light keeps to, and the side to which deeper places shift it."""
    points, sure = line.points_mm(), line.sure
    use = points[sure]
    weight = np.ones(len(use))
    centre, along, off, spread = use.mean(axis=0), np.array([1.0, 0.0]), np.zeros(len(use)), 1.0
    for turn in range(TURNS):
        centre = np.average(use, axis=0, weights=weight)
        _, _, axes = np.linalg.svd((use - centre) * np.sqrt(weight)[:, None], full_matrices=False)
        along = axes[0]
        off = (use - centre) @ np.array([-along[1], along[0]])
        spread = max(0.01, 1.4826 * float(np.median(np.abs(off))))
        wide = max(spread, 0.6 * 0.8**turn) * 3.0
        weight = np.clip(1 - (off / wide) ** 2, 1e-6, None) ** 2
    normal = np.array([-along[1], along[0]])
    kept = np.abs(off) < 3 * spread
    side = np.sign(np.sum(np.clip(off[~kept], -8, 8))) or 1.0
    flat = Sound(point_mm=centre, along=along, towards=normal * side, spread_mm=0.0, level_u_mm=0.0)
    told = depths(plane, plane.to_px(use[kept]), flat, elevation_deg)
    scatter = max(0.005, 1.4826 * float(np.median(np.abs(told - np.median(told)))))
    return replace(flat, spread_mm=scatter, level_u_mm=scatter / np.sqrt(max(1.0, kept.sum() / 6.0)))


@dataclass(frozen=True, kw_only=True)
class Section:
    """First and last place of the line that lie deep."""

    first: int
    last: int


def sections(line: LightLine, depth_mm: Array, sound: Sound) -> list[Section]:
    """Runs of places that lie below the sound metal."""
    deep = line.sure & (depth_mm > max(LEAST_DEPTH_MM, NOISES * sound.spread_mm))
    rows = np.flatnonzero(deep)
    if not len(rows):
        return []
    step = float(np.median(np.diff(line.column))) * line.patch.step_mm
    parts = np.split(rows, np.flatnonzero(np.diff(rows) * step > GAP_MM) + 1)
    runs = [Section(first=int(p[0]), last=int(p[-1])) for p in parts if (p[-1] - p[0] + 1) * step >= LEAST_MM]
    level = line.sure & (np.abs(depth_mm) <= max(LEAST_DEPTH_MM, NOISES * sound.spread_mm))
    reach = round(FLANK_MM / step)
    flanks = [(level[max(0, r.first - reach) : r.first], level[r.last + 1 : r.last + 1 + reach]) for r in runs]
    return [run for run, sides in zip(runs, flanks, strict=True) if min(side.sum() for side in sides) >= 3]


def to_finding(
    name: str, section: Section, line: LightLine, depth_mm: Array, sound: Sound, plane: Plane, elevation_deg: float
) -> Finding:
    """One section: where and how wide is open, how deep is sealed."""
    px = plane.to_px(line.points_mm())
    rows = np.arange(section.first, section.last + 1)
    mine = rows[line.sure[rows]]
    deepest = int(mine[np.argmax(_calm(depth_mm[mine]))])
    near = mine[np.argsort(np.abs(mine - deepest))[:TIP]]
    value = float(np.median(depth_mm[near]))
    flat = line.points_mm()[[section.first, section.last]]
    ends_px = plane.to_px(sound.point_mm + np.outer((flat - sound.point_mm) @ sound.along, sound.along))
    across, parts = plane.propagate(lambda p: np.array([np.hypot(*np.diff(p.to_mm(ends_px), axis=0)[0])]))
    step = float(np.median(np.diff(line.column))) * line.patch.step_mm
    width = Measured.of(float(across[0]) + step, "mm", how="along the line of light", edge=max(step, line.patch.px_mm),
                        **{k: float(u[0]) for k, u in parts.items()})  # fmt: skip
    open_figures: dict[str, Quantity] = {"width": width}
    low, high = line.row[rows].min() - 6, line.row[rows].max() + 6
    first, last = line.column[section.first], line.column[section.last]
    box = line.patch.to_mm(np.array([first, last, last, first]), np.array([low, low, high, high]))
    return Finding(
        id=name, kind="depth-section", outline_px=plane.to_px(box), quantities=open_figures,
        sealed={"depth": _depth(value, px[near], line, sound, plane, elevation_deg)}, flags=(),
        places_px=px[deepest : deepest + 1],
    )  # fmt: skip


def _depth(
    value: float, px: Array, line: LightLine, sound: Sound, plane: Plane, elevation_deg: float
) -> Quantity:
    """The greatest depth with its parts: line, level of the sound metal, elevation, plane."""
    one = 1.0 / max(np.tan(np.radians(elevation_deg)), 1e-3)
    turn = [float(np.median(depths(plane, px, sound, elevation_deg + d))) for d in (0.5, -0.5)]
    elevation = abs(turn[0] - turn[1]) * ELEVATION_SD_DEG
    place = line.noise_px * line.patch.px_mm / max(one, 0.2)
    _, parts = plane.propagate(lambda p: np.array([np.median(depths(p, px, _moved(sound, plane, p), elevation_deg))]))
    return Measured.of(
        value, "mm", how="triangulated from the line of light", line=float(np.hypot(place, sound.spread_mm)),
        level=sound.level_u_mm, elevation=elevation, wall=WALL_MM + WALL_SHARE * value,
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


