"""A gasket land: what is left of it all round, and where it is bitten into."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearvision.measure.chart import chart_of
from wearvision.measure.face import BREAK_MM, Face, find_face
from wearvision.measure.finders.bite_end import hollow, walled
from wearvision.measure.finders.bites import seek_bites
from wearvision.measure.finders.dark_line import dark_lines
from wearvision.measure.finders.gasket import Ring, roll_out, settled, told
from wearvision.measure.finders.land_crack import find_cracks
from wearvision.measure.finders.land_unseen import unseen
from wearvision.measure.finders.notch import land_findings, left_of
from wearvision.measure.guess import ring_of_width
from wearvision.measure.look import Look, Seen
from wearvision.measure.plane import Array
from wearvision.measure.unwrap import ring_points
from wearvision.stated import Stated

HINT = "state two of land_inner_diameter_mm, land_outer_diameter_mm and land_width_mm, and have it all in the picture"
LEAST_RATIO = 0.5
"""A ring whose inner edge lies further in is no land."""
PICKED = ("size of the land", "only its width is stated: a ring so wide was picked from the picture; state a diameter")
UNSURE = "without a clear edge, or stained so that a bite cannot be told from a stain"
PALE = "an edge hardly stands out from the land's own grain; light it from the side, and gauge the width"


def see(look: Look) -> Seen:
    """The land's edges all round."""
    known = _diameters(look.stated)
    sizes = known or _picked(look)
    if sizes is None:
        return Seen(not_assessed=(("gasket land", f"which of the rings it is cannot be told; {HINT}"),))
    ring = _ring(look, sizes)
    if isinstance(ring, str):
        return Seen(not_assessed=(("gasket land", f"{ring}; {HINT}"),))
    land = settled(roll_out(look.gray, look.plane, ring, look.cards_px, blur_px=look.blur_px))
    lines = dark_lines(land)
    bites, free = walled(land, hollow(seek_bites(land)), lines)
    clear = told(land)
    left = left_of(land, bites, clear)
    findings = (
        *land_findings(land, bites, left, unseen(land, bites, clear), look.plane), *find_cracks(lines, free, look.plane)
    )  # fmt: skip
    if not left.sure.any():
        return Seen(findings=findings, not_assessed=(("gasket land", PALE),))
    missing = [] if known else [PICKED]
    for flag, why in ((land.seen, "out of view or covered"), (left.sure | ~land.seen, UNSURE)):
        share = 1 - float(flag.mean())
        if share > 0.02:
            missing.append(("part of the land", f"{100 * share:.0f} % of it is {why}"))
    return Seen(
        findings=findings, not_assessed=tuple(missing),
        circles_px=tuple(_circle(look, ring, r) for r in ring.radii_mm[::-1]),
    )  # fmt: skip


def _ring(look: Look, sizes: dict[str, float]) -> Ring | str:
    """Where the land's edges lie, or why it is not known. A land's edges are sharp: no broken edge is allowed for."""
    spread = {"face_inner_diameter_mm": -2 * BREAK_MM, "face_outer_diameter_mm": 2 * BREAK_MM}
    nominal = {name: size + spread[name] for name, size in sizes.items()}
    face = find_face(look.gray, look.plane, replace(look.stated, nominal=nominal), look.cards_px)
    if not isinstance(face, Face):
        return face.reason
    if min(face.flat_mm) < LEAST_RATIO * max(face.flat_mm):
        return "the ring that was found is too wide for a land"
    return Ring(centre_mm=face.centre_mm, radii_mm=face.flat_mm, covariance=face.covariance)


def _circle(look: Look, ring: Ring, radius_mm: float) -> Array:
    return look.plane.to_px(ring_points(ring.centre_mm, np.linspace(0, 360, 180, endpoint=False), radius_mm))


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
