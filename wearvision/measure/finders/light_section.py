"""Depth under a line of light, by triangulation (`light_plane`): sealed figures, for a gauge decides."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.finders.light_line import LightLine
from wearvision.measure.finders.light_plane import Elevation, Flags, Section, Sound, depths, flanked, moved
from wearvision.measure.plane import Array, Plane
from wearvision.quantity import Measured, Quantity

LEAST_DEPTH_MM, NOISES = 0.25, 6.0
"""A section is deeper than this, and than so many times the scatter on sound metal."""
MOST_DOUBT = 0.4, 0.35
"""A depth with a U95 beyond both this share of it and so many mm tells nothing."""
WALL_SHARE, WALL_MM = 0.03, 0.02
"""Standard uncertainty for a line of some width on a wall or over a bottom narrower than itself."""
FOOT_MM, FEET_MM, FOOT_GAP_MM = 0.06, 5.0, 0.4
"""Depth at which a section ends; how far to either side of it the sound metal is taken, and how near not."""
EDGE_MM = 0.2
"""Standard uncertainty of a width where the edges are round."""
TIP, ABOUT = 3, 9
"""The greatest depth is the median of so many places about the deepest; of more of them tells how sharp it is."""


def sections(line: LightLine, depth_mm: Array, sound: Sound) -> list[Section]:
    """Runs of places that lie below the sound metal, with sound metal near on both sides."""
    least = max(LEAST_DEPTH_MM, NOISES * sound.spread_mm)
    found = flanked(line.sure & (depth_mm > least), line.sure & (np.abs(depth_mm) <= least), line)
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
    reach, gap = round(FEET_MM / line.every_mm), round(FOOT_GAP_MM / line.every_mm)
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


def find_sections(
    line: LightLine, depth_mm: Array, sound: Sound, plane: Plane, light: Elevation
) -> tuple[Finding, ...]:
    """Sections of a line that are deep against the sound metal right beside them, and surely so."""
    measured = (_finding(s, line, depth_mm, sound, plane, light) for s in sections(line, depth_mm, sound))
    told = (f for f in measured if _tells(f.quantities["depth"]))
    return tuple(replace(finding, id=f"D{i}") for i, finding in enumerate(told, start=1))


def _tells(depth: Quantity) -> bool:
    return (
        isinstance(depth, Measured)
        and depth.value >= LEAST_DEPTH_MM
        and depth.u95 <= max(MOST_DOUBT[0] * depth.value, MOST_DOUBT[1])
    )


def _finding(
    section: Section, line: LightLine, depth_mm: Array, sound: Sound, plane: Plane, light: Elevation
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
    depth = _depth(value, px[near], line, replace(sound, level_u_mm=level_u), plane, light, max(0.0, tip))
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
    value: float, px: Array, line: LightLine, sound: Sound, plane: Plane, light: Elevation,
    tip_mm: float,
) -> Quantity:  # fmt: skip
    """The greatest depth with its parts: line, level of the sound metal, elevation, plane."""
    one = 1.0 / max(np.tan(np.radians(light.deg)), 1e-3)
    turn = [float(np.median(depths(plane, px, sound, light.deg + d))) for d in (0.5, -0.5)]
    elevation = abs(turn[0] - turn[1]) * light.u_deg
    place = line.noise_px * line.patch.px_mm / max(one, 0.2)
    _, parts = plane.propagate(lambda p: np.array([np.median(depths(p, px, moved(sound, plane, p), light.on(p)))]))
    return Measured.of(
        value, "mm", how="triangulated from the line of light", line=float(np.hypot(place, sound.spread_mm)),
        level=sound.level_u_mm, elevation=elevation, tip=tip_mm, wall=WALL_MM + WALL_SHARE * value,
        **{k: float(u[0]) for k, u in parts.items()},
    )  # fmt: skip


def _calm(values: Array) -> Array:
    """Running median of three, ends repeated."""
    padded = np.pad(values, 1, mode="edge")
    return np.asarray(np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0))


