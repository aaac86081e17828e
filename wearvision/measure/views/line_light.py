"""A line of light across a face: where it dips, how wide and how deep; a sheet seals the depth."""

from __future__ import annotations

from wearvision.measure.face import Face, find_face
from wearvision.measure.finders.light_line import LightLine, find_line
from wearvision.measure.finders.light_section import depths, find_sections, sound_line, steepness_deg
from wearvision.measure.look import Look, Seen

NO_ELEVATION = ("depth under the line", "the elevation of the light is not stated: state light_elevation_deg")
SHADOW = "a straightedge's shadow is not read: its edge is as soft as the lamp is wide, and darkens with the metal"
LASER = ("laser", "class 2 at most (IEC 60825-1): never look into the beam nor at its mirror image")
STEEP_DEG, LEAST_ANGLE_DEG = (10.0, 80.0), 12.0


def see(look: Look) -> Seen:
    """Sections of the line that lie below the sound metal."""
    elevation = look.stated.nominal.get("light_elevation_deg")
    if elevation is None:
        return Seen(not_assessed=(LASER, NO_ELEVATION))
    if not STEEP_DEG[0] <= elevation <= STEEP_DEG[1]:
        why = f"a light at {elevation:g} degrees cannot be triangulated: use {STEEP_DEG[0]:g} to {STEEP_DEG[1]:g}"
        return Seen(not_assessed=(LASER, ("depth under the line", why)))
    face = find_face(look.gray, look.plane, look.stated, look.cards_px)
    hidden, within, axis = look.cards_px, None, None
    if isinstance(face, Face):
        hidden, axis = (*hidden, face.circle_px(look.plane, face.radii_mm[0])), face.centre_mm
        within = face.circle_px(look.plane, face.radii_mm[1])
    line = find_line(look.gray if look.red is None else look.red, look.plane, hidden, within, axis)
    if not isinstance(line, LightLine):
        return Seen(not_assessed=(LASER, ("line of light", f"{line.reason}; {line.hint}; {SHADOW}")))
    sound = sound_line(line, look.plane, elevation)
    angle = steepness_deg(look.plane, look.plane.to_px(sound.point_mm.reshape(1, 2)), sound, elevation)
    if angle < LEAST_ANGLE_DEG:
        why = f"the camera looks along the light ({angle:.0f} degrees): move the camera to the other side of the line"
        return Seen(not_assessed=(LASER, ("depth under the line", why)))
    depth = depths(look.plane, look.plane.to_px(line.points_mm()), sound, elevation)
    found = find_sections(line, depth, sound, look.plane, elevation)
    circles = () if within is None else (within, hidden[-1])
    return Seen(findings=found, not_assessed=(LASER,), circles_px=circles)
