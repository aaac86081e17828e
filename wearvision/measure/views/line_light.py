"""A line of light, or a straightedge's shadow, across a face: where it dips and how deep; a sheet seals the depth."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from wearvision.measure.face import Face, find_face
from wearvision.measure.finders.light_elevation import STEEP_DEG, figure, find_step, join, stated_elevation
from wearvision.measure.finders.light_ground import Ground
from wearvision.measure.finders.light_line import BAND_MM, LightLine, find_line
from wearvision.measure.finders.light_plane import Elevation, depths, sound_line, steepness_deg, straight_line
from wearvision.measure.finders.light_section import find_sections
from wearvision.measure.finders.shadow_line import find_shadow
from wearvision.measure.look import Look, Seen
from wearvision.measure.plane import Array
from wearvision.quantity import Unmeasured
from wearvision.stated import Stated

DEPTH = "depth under the line"
NO_ELEVATION = (
    DEPTH, "how steep the light comes down is not stated: state light_elevation_deg, or lay a flat step of known "
    "height under the line and state light_step_mm",
)  # fmt: skip
SHADOW = "; a straightedge's shadow is read when light_kind says shadow"
ASK = Unmeasured(
    reason="light_kind says shadow, but a coloured line of light shows and no shadow does", hint="state which it is"
)
EDGE = ("edge of the shadow", "told by the metal that goes on across it; shallow or faint dips may be missed: look")
NO_SHADOW = Unmeasured(reason="no shadow is stated")
LEAST_ANGLE_DEG = 8.0
"""Between the view and the plane of light."""
FAR_SIDE = 1.0
"""Deeper places shift the far edge of a shadow to its bright side."""
LEAST_LEVEL = 0.4
"""Share of what was followed that must keep to one straight line, or something else was followed."""
CROOKED = "what was followed hardly runs straight: light the line in a dim room, most of it on sound metal"
STEP_BAND = 1.5
"""How much wider than usual the line is followed, in heights of the step under it: a light of 34 degrees shifts it so
far."""


def see(look: Look) -> Seen:
    """Sections of the line that lie below the sound metal."""
    if why := _cannot(look.stated):
        return Seen(not_assessed=(why,))
    face = find_face(look.gray, look.plane, look.stated, look.cards_px, look.copies)
    hidden, within, axis = look.cards_px, None, None
    if isinstance(face, Face):
        hidden, axis = (*hidden, face.circle_px(look.plane, face.radii_mm[0])), face.centre_mm
        within = face.circle_px(look.plane, face.radii_mm[1])
    circles = () if within is None else (within, hidden[-1])
    if look.stated.light_kind == "shadow" and not isinstance(face, Face):
        return _untold(("line of light", f"a shadow is sought on a face only: {face.reason}; {face.hint}"), circles)
    ground = Ground(gray=look.gray, plane=look.plane, exclude_px=hidden, within_px=within, axis_mm=axis)
    lines = _lines(look, ground)
    if isinstance(lines, Unmeasured):
        return _untold(("line of light", f"{lines.reason}; {lines.hint}"), circles)
    seen = _sections(look, next(lines), circles)
    while not seen.summary and (line := next(lines, None)) is not None:
        other = _sections(look, line, circles)
        seen = other if other.summary else seen
    return replace(seen, not_assessed=(*seen.not_assessed, EDGE)) if look.stated.light_kind == "shadow" else seen


def _lines(look: Look, ground: Ground) -> Iterator[LightLine] | Unmeasured:
    """The line of light, or what may be the edge of a straightedge's shadow, likeliest first."""
    band = BAND_MM + STEP_BAND * look.stated.nominal.get("light_step_mm", 0.0)
    lines = find_shadow(ground, band) if look.stated.light_kind == "shadow" else NO_SHADOW
    if not isinstance(lines, Unmeasured):
        return lines
    line = find_line(ground if look.red is None else ground.on(look.red), band)
    if lines is not NO_SHADOW:
        return ASK if look.red is not None and _plain(line) else lines
    return iter([line]) if isinstance(line, LightLine) else replace(line, hint=f"{line.hint}{SHADOW}")


def _plain(line: LightLine | Unmeasured) -> bool:
    """Whether a coloured line of light shows, most of it straight."""
    return isinstance(line, LightLine) and bool(straight_line(line).level.sum() > LEAST_LEVEL * len(line.row))


def _cannot(stated: Stated) -> tuple[str, str] | None:
    """What and why, when the statements alone rule a depth out."""
    elevation = stated.nominal.get("light_elevation_deg")
    if elevation is None:
        return None if "light_step_mm" in stated.nominal else NO_ELEVATION
    if STEEP_DEG[0] <= elevation <= STEEP_DEG[1]:
        return None
    return DEPTH, f"a light at {elevation:g} degrees cannot be triangulated: use {STEEP_DEG[0]:g} to {STEEP_DEG[1]:g}"


def _sections(look: Look, line: LightLine, circles: tuple[Array, ...]) -> Seen:
    """What lies below the sound metal along a line that was followed."""
    straight = straight_line(line)
    if straight.level.sum() < LEAST_LEVEL * line.sure.sum():
        return _untold(("line of light", CROOKED), circles)
    light, side = _elevation(look, line)
    if not isinstance(light, Elevation):
        return _untold((DEPTH, f"{light.reason}; {light.hint}"), circles)
    sound = sound_line(line, straight, look.plane, light.deg, side)
    angle = steepness_deg(look.plane, look.plane.to_px(sound.point_mm.reshape(1, 2)), sound, light.deg)
    if angle < LEAST_ANGLE_DEG:
        why = f"the camera looks along the light ({angle:.0f} degrees): move the camera to the other side of the line"
        return _untold((DEPTH, why), circles)
    depth = depths(look.plane, look.plane.to_px(line.points_mm()), sound, light.deg)
    return Seen(
        findings=find_sections(line, depth, sound, look.plane, light), circles_px=circles,
        summary={"light_elevation": figure(light, look.plane)},
    )  # fmt: skip


def _elevation(look: Look, line: LightLine) -> tuple[Elevation | Unmeasured, float]:
    """How steep the light is, and on which side of the line deeper places lie, 0 when no step tells."""
    elevation, height = (look.stated.nominal.get(name) for name in ("light_elevation_deg", "light_step_mm"))
    if height is None:
        return stated_elevation(elevation or 0.0), FAR_SIDE if look.stated.light_kind == "shadow" else 0.0
    step = find_step(line, look.plane, height, elevation)
    return (step, 0.0) if isinstance(step, Unmeasured) else (join(step, look.plane, elevation), step.side)


def _untold(why: tuple[str, str], circles: tuple[Array, ...]) -> Seen:
    return Seen(not_assessed=(why,), circles_px=circles)
