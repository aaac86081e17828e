"""A gasket land: what is left of it all round, and where it is bitten into."""

from __future__ import annotations

from dataclasses import replace

from wearvision.measure.chart import chart_of
from wearvision.measure.face import Face, find_face
from wearvision.measure.finders.gasket import follow_land
from wearvision.measure.finders.land_crack import find_cracks
from wearvision.measure.finders.notch import land_findings
from wearvision.measure.guess import ring_of_width
from wearvision.measure.look import Look, Seen
from wearvision.stated import Stated

HINT = "state two of land_inner_diameter_mm, land_outer_diameter_mm and land_width_mm, and have it all in the picture"
LEAST_RATIO = 0.5
"""A ring whose inner edge lies further in is no land."""
PICKED = ("size of the land", "only its width is stated: a ring so wide was picked from the picture; state a diameter")
CRACKS = ("cracks across the land", "none can be ruled out from a photo: a penetrant test tells")


def see(look: Look) -> Seen:
    """The land's edges all round."""
    told = _diameters(look.stated)
    sizes = told or _picked(look)
    if sizes is None:
        return Seen(not_assessed=(("gasket land", f"which of the rings it is cannot be told; {HINT}"), CRACKS))
    face = find_face(look.gray, look.plane, replace(look.stated, nominal=sizes), look.cards_px)
    if not isinstance(face, Face):
        return Seen(not_assessed=(("gasket land", f"{face.reason}; {HINT}"),))
    if min(face.radii_mm) < LEAST_RATIO * max(face.radii_mm):
        return Seen(not_assessed=(("gasket land", f"the ring that was found is too wide for a land; {HINT}"), CRACKS))
    land = follow_land(look.gray, look.plane, face, look.cards_px, blur_px=look.blur_px)
    missing = [CRACKS] if told else [CRACKS, PICKED]
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


def _diameters(stated: Stated) -> dict[str, float] | None:
    """The land's diameters under the names of a face's; of two of its diameters and width the third follows."""
    inner, outer, width = (stated.nominal.get(f"land_{k}_mm") for k in ("inner_diameter", "outer_diameter", "width"))
    if width is not None and outer is not None and inner is None:
        inner = outer - 2 * width
    if width is not None and inner is not None and outer is None:
        outer = inner + 2 * width
    if inner is None or outer is None:
        return None
    return {"face_inner_diameter_mm": inner, "face_outer_diameter_mm": outer}


def _picked(look: Look) -> dict[str, float] | None:
    """Diameters of the one ring in the picture that is as wide as was stated."""
    width = look.stated.nominal.get("land_width_mm")
    found = None if width is None else ring_of_width(chart_of(look.gray, look.plane, look.cards_px), width)
    if found is None:
        return None
    return {"face_inner_diameter_mm": 2 * found[0], "face_outer_diameter_mm": 2 * found[1]}
