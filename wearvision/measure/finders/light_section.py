"""Depth under a line of light, by triangulation (`light_plane`): sealed figures, for a gauge decides.

A dip is told against the sound metal right beside it. With enough of that on one side only, and the line come back to
its level on the other, the level is doubted more, and that is said.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.edges import median
from wearvision.measure.finders.light_line import LightLine
from wearvision.measure.finders.light_plane import Elevation, Flags, Section, Sound, depths, moved, runs
from wearvision.measure.plane import Array, Plane
from wearvision.quantity import Measured, Quantity

LEAST_DEPTH_MM, NOISES = 0.25, 6.0
"""A section is deeper than this, and than so many times the scatter on sound metal."""
MOST_DOUBT = 0.4, 0.35
"""A depth with a U95 beyond both this share of it and so many mm tells nothing."""
WALL_SHARE, WALL_MM = 0.03, 0.02
"""Standard uncertainty for a line of some width on a wall or over a bottom narrower than itself."""
LEAST_MM = 0.4
"""Length of the shortest section."""
FLANK_MM, BACK_MM = 1.0, 0.3
"""Length of sound metal that tells the level beside a section, and that shows at least where a section ends."""
FOOT_MM, FEET_MM, FOOT_GAP_MM = 0.06, 5.0, 0.4
"""Depth at which a section ends; how far to either side of it the sound metal is taken, and how near not."""
ASIDE = 0.03
"""Standard uncertainty of the level for each mm of a section's width that has sound metal on one side only."""
EDGE_MM, DARK_MM = 0.25, 0.35
"""Standard uncertainty of a width where the edges are round; where the dip's own dark walls hide a shadow's edge."""
SMEAR_MM, MOST_RISE_MM = 0.15, 0.5
"""How much further than it is deep a section shows under a line of light, as places are averaged and the photo is not
sharp; longest rise of its wall to the sound metal that is believed."""
TIP, ABOUT = 3, 9
"""The greatest depth is the median of so many places about the deepest; of more of them tells how sharp it is."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Profile:
    """What is told along a line: its places in photo px (N, 2) and the depth at each (N,), the sound line, the plane,
    the light."""

    line: LightLine
    px: Array
    depth_mm: Array
    sound: Sound
    plane: Plane
    light: Elevation

    @property
    def least_mm(self) -> float:
        """What is deeper is no sound metal."""
        return max(LEAST_DEPTH_MM, NOISES * self.sound.spread_mm)

    @property
    def foot_mm(self) -> float:
        """Depth at which a section ends."""
        return max(FOOT_MM, 2 * self.sound.spread_mm)

    @property
    def level(self) -> Flags:
        """Which places lie on sound metal."""
        return np.asarray(self.line.sure & (np.abs(self.depth_mm) <= self.least_mm))


@dataclass(frozen=True, kw_only=True, eq=False)
class Dip:
    """A section of a profile and the depths told of the sound metal on either side, where a gauge has its feet."""

    run: Section
    feet: tuple[Array, ...]
    whole: bool

    def level(self, sound: Sound, width_mm: float) -> tuple[float, float]:
        """Level of the sound metal beside it, mm, and its standard uncertainty."""
        sides = [float(np.median(side)) for side in self.feet if len(side)]
        if not sides:
            return 0.0, float(np.hypot(sound.level_u_mm, 0.0 if self.whole else ASIDE * width_mm))
        uneven = float(np.ptp(sides)) / 4 if self.whole else ASIDE * width_mm
        return float(np.mean(sides)), float(np.hypot(uneven, max(sound.level_u_mm, sound.spread_mm / 3)))


def find_sections(
    line: LightLine, depth_mm: Array, sound: Sound, plane: Plane, light: Elevation
) -> tuple[Finding, ...]:
    """Sections of a line that are deep against the sound metal right beside them, and surely so."""
    px = plane.to_px(line.points_mm())
    profile = Profile(line=line, px=px, depth_mm=depth_mm, sound=sound, plane=plane, light=light)
    told = [(dip, figures) for dip in dips(profile) if _tells(dip, (figures := _figures(dip, profile))["depth"])]
    return tuple(_finding(f"D{i}", dip, profile, figures) for i, (dip, figures) in enumerate(told, start=1))


def dips(profile: Profile) -> list[Dip]:
    """Runs of places that lie below the sound metal beside them."""
    line, level = profile.line, profile.level
    below = line.sure & (profile.depth_mm > profile.foot_mm)
    reach, full, back = (round(mm / line.every_mm) for mm in (2 * FLANK_MM, FLANK_MM, BACK_MM))
    found = []
    for run in runs(line.sure & (profile.depth_mm > profile.least_mm), line, LEAST_MM):
        sides = level[max(0, run.first - reach) : run.first].sum(), level[run.last + 1 : run.last + 1 + reach].sum()
        if max(sides) >= full and min(sides) >= back:
            run = _to_its_ends(run, below)
            dip = Dip(run=run, feet=_feet(run, profile), whole=bool(min(sides) >= full))
            found += [dip] if _stands_out(dip, profile) else []
    return found


def _stands_out(dip: Dip, profile: Profile) -> bool:
    """Whether the sound metal beside it is so much calmer than the section is deep."""
    told = np.concatenate([*(side - np.median(side) for side in dip.feet if len(side)), np.zeros(1)])
    deepest = profile.depth_mm[dip.run.first : dip.run.last + 1].max()
    return bool(deepest > NOISES * 1.4826 * np.median(np.abs(told)))


def _to_its_ends(run: Section, below: Flags) -> Section:
    """The run as far as it still lies below the sound metal."""
    first, last = run.first, run.last
    while first > 0 and below[first - 1]:
        first -= 1
    while last < len(below) - 1 and below[last + 1]:
        last += 1
    return Section(first=first, last=last)


def _feet(run: Section, profile: Profile) -> tuple[Array, ...]:
    """Depths told of the sound metal on either side."""
    reach, gap = round(FEET_MM / profile.line.every_mm), round(FOOT_GAP_MM / profile.line.every_mm)
    rows = (slice(max(0, run.first - gap - reach), max(0, run.first - gap)),
            slice(run.last + 1 + gap, run.last + 1 + gap + reach))  # fmt: skip
    return tuple(profile.depth_mm[r][profile.level[r]] for r in rows)


def _tells(dip: Dip, depth: Quantity) -> bool:
    """Whether a depth is surely one, also where the level is doubted as there is little sound metal on one side."""
    if not isinstance(depth, Measured):
        return False
    doubt = 0.0 if dip.whole else 1.96 * depth.budget["level"]
    known = depth.u95 <= max(MOST_DOUBT[0] * depth.value, MOST_DOUBT[1])
    return known and depth.value >= LEAST_DEPTH_MM + doubt


def _deepest(dip: Dip, profile: Profile) -> Array:
    """The places nearest to the deepest one, that one first."""
    rows = np.arange(dip.run.first, dip.run.last + 1)
    mine = rows[profile.line.sure[rows]]
    deepest = mine[np.argmax(_calm(profile.depth_mm[mine]))]
    return np.asarray(mine[np.argsort(np.abs(mine - deepest), kind="stable")[:ABOUT]])


def _finding(name: str, dip: Dip, profile: Profile, figures: dict[str, Quantity]) -> Finding:
    """One section: where, how wide and how deep."""
    line, run = profile.line, dip.run
    rows = line.row[run.first : run.last + 1]
    low, high = rows.min() - 6, rows.max() + 6
    first, last = line.column[run.first], line.column[run.last]
    box = line.patch.to_mm(np.array([first, last, last, first]), np.array([low, low, high, high]))
    return Finding(
        id=name, kind="depth-section", outline_px=profile.plane.to_px(box), quantities=figures,
        places_px=profile.px[_deepest(dip, profile)[:1]], flags=() if dip.whole else ("one-sided",),
    )  # fmt: skip


def _figures(dip: Dip, profile: Profile) -> dict[str, Quantity]:
    """Width and depth, both through the plane at once."""
    about = _deepest(dip, profile)
    ends_mm, gaps_mm = _ends(dip.run, profile)
    ends_px, near_px = profile.plane.to_px(ends_mm), profile.px[about[:TIP]]
    sound, light = profile.sound, profile.light

    def both(p: Plane) -> Array:
        deep = median(depths(p, near_px, moved(sound, profile.plane, p), light.on(p)))
        one, other = p.to_mm(ends_px)
        return np.array([np.hypot(*(one - other)), deep])

    value, parts = profile.plane.propagate(both)
    width, depth = ({name: float(u[k]) for name, u in parts.items()} for k in (0, 1))
    edge = float(np.hypot(DARK_MM if profile.line.soft_mm else EDGE_MM, profile.line.patch.px_mm / 2))
    unseen = float(np.linalg.norm(gaps_mm))
    return {
        "width": Measured.of(float(value[0]), "mm", how="along the line of light", edge=edge, unseen=unseen, **width),
        "depth": _depth(dip, profile, about, float(value[0]), depth),
    }


def _ends(run: Section, profile: Profile) -> tuple[Array, list[float]]:
    """Places (2, 2) of a section's ends on the sound line, and the standard uncertainty of each by what is unseen, mm.

    Each lies between the last sound place seen and the first deep one, further out by what its wall needs to rise to
    the sound metal, further in as places are averaged along a line of light; a shadow's edge is lost on dark walls.
    """
    sound, points, level = profile.sound, profile.line.points_mm(), np.flatnonzero(profile.level)
    before, after = level[level < run.first], level[level > run.last]
    outer = (before[-1] if len(before) else run.first, after[0] if len(after) else run.last)
    at_mm, gaps, smear = list[float](), list[float](), 0.0 if profile.line.soft_mm else SMEAR_MM
    for way, a, b in zip((-1, 1), outer, (run.first, run.last), strict=True):
        one, other = (float((points[k] - sound.point_mm) @ sound.along) for k in (a, b))
        at_mm.append((one + other) / 2 + way * (_rise(run, profile, way) - smear))
        gaps.append(abs(one - other) / np.sqrt(12))
    return sound.point_mm + np.outer(at_mm, sound.along), gaps


def _rise(run: Section, profile: Profile, way: int) -> float:
    """Length along the line over which a section's wall rises from where it is taken to end to the sound metal, mm."""
    deep = profile.depth_mm[run.first : run.last + 1][::-way]
    half = (profile.foot_mm + float(deep.max())) / 2
    long = max(1, int(np.argmax(deep >= half))) * profile.line.every_mm
    return min(MOST_RISE_MM, profile.foot_mm * long / max(half - profile.foot_mm, 1e-3))


def _depth(dip: Dip, profile: Profile, about: Array, width_mm: float, parts: dict[str, float]) -> Quantity:
    """The greatest depth with its parts: line, level of the sound metal, elevation, sharpness of the bottom, plane.

    Places are averaged along the line, so a sharp bottom is deeper than its places: by about as much as those next to
    it are less deep.
    """
    line, sound, light = profile.line, profile.sound, profile.light
    near_px = profile.px[about[:TIP]]
    level, level_u = dip.level(sound, width_mm)
    deep = float(np.median(profile.depth_mm[about[:TIP]]))
    tip = max(0.0, deep - float(np.median(profile.depth_mm[about]))) / 2
    turn = [float(np.median(depths(profile.plane, near_px, sound, light.deg + d))) for d in (0.5, -0.5)]
    place = line.noise_px * line.patch.px_mm * max(np.tan(np.radians(light.deg)), 0.2)
    value = deep - level + tip
    return Measured.of(
        value, "mm", how="triangulated from the line of light", line=float(np.hypot(place, sound.spread_mm)),
        level=level_u, elevation=abs(turn[0] - turn[1]) * light.u_deg, tip=tip, wall=WALL_MM + WALL_SHARE * value,
        **parts,
    )  # fmt: skip


def _calm(values: Array) -> Array:
    """Running median of three, ends repeated."""
    padded = np.pad(values, 1, mode="edge")
    return np.asarray(np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0))
