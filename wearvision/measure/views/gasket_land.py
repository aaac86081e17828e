"""A gasket land: what is left of it all round, and where it is bitten into."""

from __future__ import annotations

from dataclasses import replace

from wearvision.measure.face import Face, find_face
from wearvision.measure.finders.gasket import follow_land
from wearvision.measure.finders.land_crack import find_cracks
from wearvision.measure.finders.notch import land_findings
from wearvision.measure.look import Look, Seen
from wearvision.stated import Stated

HINT = "state land_inner_diameter_mm and land_outer_diameter_mm, and have all of the land in the picture"
LEAST_RATIO = 0.5
"""A ring whose inner edge lies further in is no land."""
PICKED = ("size of the land", "nobody stated it: the ring was picked from the picture and may be another; state it")
CRACKS = ("cracks across the land", "none can be ruled out from a photo: a penetrant test tells")


def see(look: Look) -> Seen:
    """The land's edges all round."""
    face = find_face(look.gray, look.plane, _rings(look.stated), look.cards_px)
    if not isinstance(face, Face):
        return Seen(not_assessed=(("gasket land", f"{face.reason}; {HINT}"),))
    if min(face.radii_mm) < LEAST_RATIO * max(face.radii_mm):
        return Seen(not_assessed=(("gasket land", f"the ring that was found is too wide for a land; {HINT}"), CRACKS))
    land = follow_land(look.gray, look.plane, face, look.cards_px, blur_px=look.blur_px)
    missing = [CRACKS] if face.sure else [CRACKS, PICKED]
    if not (land.seen & land.sure).any():
        return Seen(not_assessed=(("gasket land", f"its edges cannot be followed; {HINT}"), CRACKS))
    for flag, why in ((land.seen, "out of view or covered"), (land.sure | ~land.seen, "without a clear edge")):
        share = 1 - float(flag.mean())
        if share > 0.02:
            missing.append(("part of the land", f"{100 * share:.0f} % of it is {why}"))
    return Seen(
        findings=(*land_findings(land, look.plane), *find_cracks(land, look.plane)), not_assessed=tuple(missing),
        circles_px=tuple(face.circle_px(look.plane, r) for r in face.radii_mm[::-1]),
    )  # fmt: skip


def _rings(stated: Stated) -> Stated:
    """The land's stated diameters as those of the ring to be found."""
    names = {f"land_{k}_diameter_mm": f"face_{k}_diameter_mm" for k in ("inner", "outer")}
    return replace(stated, nominal={names[n]: size for n, size in stated.nominal.items() if n in names})
