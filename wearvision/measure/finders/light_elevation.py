"""Elevation of the light: stated, or told by a flat step of known height that the light crosses, or both.

On a step of height h the line is shifted against the light by h / tan(elevation) (seen square from above; in general
by the rays and the plane of `light_plane`), so the shift tells the elevation, and also which way the light comes down.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from wearvision.measure.finders.light_line import LightLine
from wearvision.measure.finders.light_plane import (
    Elevation,
    Flags,
    Section,
    Sound,
    depths,
    moved,
    runs,
    sound_line,
    straight_line,
)
from wearvision.measure.plane import Array, Plane
from wearvision.quantity import Measured, Unmeasured

ELEVATION_SD_DEG = 0.5
"""Standard uncertainty of a stated elevation; common practice, no source."""
STEP_SD_MM = 0.02
"""Standard uncertainty of the height of a step as it lies there: gauge block, feeler or parallel and the dirt under it;
common practice, no source."""
STEEP_DEG, USUAL_DEG = (10.0, 80.0), 45.0
"""Elevations that can be triangulated, and one to start from."""
COARSE_DEG, BISECTIONS = 2.0, 20
SECANT_DEG, SECANTS, CLOSE_DEG = 0.02, 6, 1e-9
"""Where the elevation is nearly known: first step, most turns, and when it is settled."""
LEAST_STEP_MM, EDGE_MM = 5.0, 0.6
"""Least length of a step along the line: longer than most grooves are wide; and how near its ends it is not read."""
LEAST_SHIFT_MM, NOISES, FLAT = 0.25, 6.0, 0.06
"""A step shifts the line by more than this and than so many times its scatter, and by the same all along: it rises or
scatters by no more than this share of the shift."""
FEET_MM, FOOT_GAP_MM = 6.0, 1.0
"""How far to either side of a step the metal it lies on is taken, and how near not."""
TWO_DEG = 2.576
"""Elevations differ when further apart than so many of their joint standard uncertainty (99 %)."""
HINT = "lay a flat block of 1 to 4 mm, 6 mm long or more, on sound metal under the line and state its height"


@dataclass(frozen=True, kw_only=True, eq=False)
class Step:
    """A flat step under the line: its places and those of the metal beside it in photo pixels, (N, 2) and two of
    (M, 2), the sound line with the light's way and the side of it to which deeper places lie, and the elevation that
    its height gives, with parts of u."""

    top_px: Array
    feet_px: tuple[Array, ...]
    sound: Sound
    side: float
    height_mm: float
    deg: float
    height_u_deg: float
    line_u_deg: float

    @property
    def u_deg(self) -> float:
        """Standard uncertainty without the plane's."""
        return float(np.hypot(self.height_u_deg, self.line_u_deg))

    def on(self, plane: Plane, seen_in: Plane) -> float:
        """The elevation in another plane."""
        sound = moved(self.sound, seen_in, plane)
        return _solve(plane, self.top_px, self.feet_px, sound, self.height_mm, self.deg) or self.deg


def stated_elevation(deg: float) -> Elevation:
    """As an angle gauge reads it."""
    return Elevation(deg=deg, u_deg=ELEVATION_SD_DEG, how="stated", on=lambda _: deg)


def find_step(line: LightLine, plane: Plane, height_mm: float, stated_deg: float | None) -> Step | Unmeasured:
    """The flat step of this height on the line; a stated elevation chooses where there are several."""
    steps = [s for run in _flat_runs(line) if (s := _step(run, line, plane, height_mm)) is not None]
    if stated_deg is not None and len(steps) > 1:
        steps = [s for s in steps if not _differ(s.deg, stated_deg, s.u_deg, ELEVATION_SD_DEG)] or steps
    if not steps:
        return Unmeasured(reason=f"no flat step of {height_mm:g} mm shows on the line", hint=HINT)
    best = min(steps, key=lambda s: s.u_deg)
    if any(s.sound.towards @ best.sound.towards < 0 or _differ(s.deg, best.deg, s.u_deg, best.u_deg) for s in steps):
        told = " or ".join(f"{s.deg:.0f}" for s in steps)
        return Unmeasured(
            reason=f"the line is shifted evenly at more than one place: an elevation of {told} degrees",
            hint="state light_elevation_deg as well, or move the line so that only the step shifts it evenly",
        )
    return best


def join(step: Step, plane: Plane, stated_deg: float | None) -> Elevation | Unmeasured:
    """The elevation of a step, joined by weight with a stated one; two that contradict each other are asked about."""
    if stated_deg is None:
        return Elevation(deg=step.deg, u_deg=step.u_deg, how="from the step", on=lambda p: step.on(p, plane))
    if _differ(step.deg, stated_deg, step.u_deg, ELEVATION_SD_DEG):
        return Unmeasured(
            reason=f"{stated_deg:g} degrees are stated, but the step of {step.height_mm:g} mm says {step.deg:.1f}",
            hint="check the angle, and height and seat of the step; state the one that is right",
        )
    share = ELEVATION_SD_DEG**2 / (ELEVATION_SD_DEG**2 + step.u_deg**2)

    def joint(p: Plane) -> float:
        return share * step.on(p, plane) + (1 - share) * stated_deg

    return Elevation(
        deg=joint(plane), u_deg=float(np.sqrt(share) * step.u_deg), how="stated, and from the step", on=joint
    )


def figure(light: Elevation, plane: Plane) -> Measured:
    """The elevation with its uncertainty."""
    return plane.measured(lambda p: np.array([light.on(p)]), "deg", how=light.how, light=light.u_deg)[0]


def _differ(one: float, other: float, one_u: float, other_u: float) -> bool:
    return abs(one - other) > TWO_DEG * float(np.hypot(one_u, other_u))


def _flat_runs(line: LightLine) -> list[Section]:
    """Runs of places that are shifted aside and all alike."""
    straight = straight_line(line)
    off = straight.off_mm
    spread = 1.4826 * float(np.median(np.abs(off[straight.level]))) if straight.level.any() else 0.0
    least = max(LEAST_SHIFT_MM, NOISES * spread)
    found = []
    for side in (1.0, -1.0):
        for run in runs(line.sure & (side * off > least), line, LEAST_STEP_MM):
            rows = _inner(run, line)
            if len(rows) and _is_flat(line.points_mm()[rows] @ straight.along, off[rows], spread):
                found.append(run)
    return found


def _is_flat(along_mm: Array, off_mm: Array, spread: float) -> bool:
    """Whether places are shifted by the same amount, end to end."""
    shift = abs(float(np.median(off_mm)))
    half = along_mm > np.median(along_mm)
    rise = abs(float(np.median(off_mm[half]) - np.median(off_mm[~half])))
    scatter = 1.4826 * float(np.median(np.abs(off_mm - np.median(off_mm))))
    return max(rise, scatter) < max(FLAT * shift, 3 * spread)


def _inner(run: Section, line: LightLine) -> Sequence[int]:
    """Sure places of a run away from its ends."""
    cut = round(EDGE_MM / line.every_mm)
    rows = np.arange(run.first + cut, run.last + 1 - cut)
    return [int(r) for r in rows[line.sure[rows]]]


def _step(run: Section, line: LightLine, plane: Plane, height_mm: float) -> Step | None:
    """A step of that height, when its shift is one of an elevation that can be."""
    straight = straight_line(line)
    rows = _inner(run, line)
    px = plane.to_px(line.points_mm())
    feet = tuple(px[side] for side in _feet(run, line, straight.level) if side.sum() > 3)
    if not feet:
        return None
    side = -float(np.sign(np.median(straight.off_mm[rows])))
    deg = _solve(plane, px[rows], feet, sound_line(line, straight, plane, USUAL_DEG, side), height_mm)
    if deg is None:
        return None
    sound = sound_line(line, straight, plane, deg, side)
    steep = [_solve(plane, px[rows], feet, sound, height_mm + d, deg) or deg for d in (STEP_SD_MM, -STEP_SD_MM)]
    by_height = abs(steep[0] - steep[1]) / 2
    level = [float(np.median(depths(plane, side, sound, deg))) for side in feet]
    scatter = float(np.std(depths(plane, px[rows], sound, deg)))
    doubt = np.hypot(np.ptp(level) / 2 if len(level) > 1 else sound.spread_mm, max(scatter, sound.spread_mm) / 2)
    return Step(
        top_px=px[rows], feet_px=feet, sound=sound, side=side, height_mm=height_mm, deg=deg, height_u_deg=by_height,
        line_u_deg=float(by_height * doubt / STEP_SD_MM),
    )  # fmt: skip


def _feet(run: Section, line: LightLine, level: Flags) -> tuple[Flags, Flags]:
    """Which places are of the metal beside a run, on either side."""
    near, far = round(FOOT_GAP_MM / line.every_mm), round((FOOT_GAP_MM + FEET_MM) / line.every_mm)
    place = np.arange(len(line.column))
    before, after = run.first - place, place - run.last
    return level & (before > near) & (before < far), level & (after > near) & (after < far)


def _solve(
    plane: Plane, top_px: Array, feet_px: tuple[Array, ...], sound: Sound, height_mm: float,
    near_deg: float | None = None,
) -> float | None:  # fmt: skip
    """Elevation at which the step's top lies so high over the metal beside it, or `None`; near one that is known.

    The steeper the light is taken to be, the higher the step comes out, up to the light that the camera looks along;
    so the first that is high enough is the one.
    """
    px = np.vstack([top_px, *feet_px])
    cuts = np.cumsum([len(top_px), *(len(side) for side in feet_px[:-1])])

    def over(deg: float) -> float:
        top, *feet = (np.median(part) for part in np.split(depths(plane, px, sound, deg), cuts))
        return float(np.mean(feet) - top) - height_mm

    if near_deg is not None:
        return _secant(over, near_deg)
    tried = np.arange(STEEP_DEG[0], STEEP_DEG[1] + 1, COARSE_DEG)
    high = next((float(deg) for deg in tried if over(float(deg)) > 0), STEEP_DEG[0])
    if high == STEEP_DEG[0]:
        return None
    low = high - COARSE_DEG
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        low, high = (middle, high) if over(middle) < 0 else (low, middle)
    return (low + high) / 2


def _secant(over: Callable[[float], float], near_deg: float) -> float:
    """Where a steady function is nothing, from a place close by."""
    one, other = near_deg, near_deg + SECANT_DEG
    at_one, at_other = over(one), over(other)
    for _ in range(SECANTS):
        if at_other == at_one or abs(other - one) < CLOSE_DEG:
            break
        one, other, at_one = other, other - at_other * (other - one) / (at_other - at_one), at_other
        at_other = over(other)
    return other
