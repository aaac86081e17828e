"""A gasket land: what is left of it all round, and where it is bitten into."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearvision.measure.chart import chart_of
from wearvision.measure.face import BREAK_MM, Face, face_at, find_face
from wearvision.measure.finders.bite_end import hollow, walled
from wearvision.measure.finders.bites import seek_bites
from wearvision.measure.finders.dark_line import dark_lines
from wearvision.measure.finders.gasket import Ring, roll_out, settled, told
from wearvision.measure.finders.land_crack import find_cracks
from wearvision.measure.finders.land_unseen import unseen
from wearvision.measure.finders.notch import land_findings, left_of
from wearvision.measure.guess_land import land_rings, ring_of_width
from wearvision.measure.look import Look, Seen
from wearvision.measure.plane import Array
from wearvision.measure.unwrap import ring_points
from wearvision.quantity import Unmeasured
from wearvision.stated import Stated

INNER, OUTER, WIDTH = "land_inner_diameter_mm", "land_outer_diameter_mm", "land_width_mm"
HINT = f"state two of {INNER}, {OUTER} and {WIDTH}, and have it all in the picture"
LEAST_RATIO = 0.5
"""A ring whose inner edge lies further in is no land."""
PICKED = (
    "size of the land", "its diameters are not stated: the ring was picked from the picture; make sure it is the land"
)
UNSURE = "without a clear edge, or stained so that a bite cannot be told from a stain"
PALE = "an edge hardly stands out from the land's own grain; light it from the side, and gauge the width"


def see(look: Look) -> Seen:
    """The land's edges all round."""
    known = _diameters(look.stated)
    face = _face(look, known) if known else _picked(look)
    if face is None:
        return Seen(not_assessed=(("gasket land", f"which of the rings it is cannot be told; {HINT}"),))
    ring = _ring(face)
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


def _ring(face: Face | Unmeasured) -> Ring | str:
    """Where the land's edges lie, or why it is not known."""
    if not isinstance(face, Face):
        return face.reason
    if min(face.flat_mm) < LEAST_RATIO * max(face.flat_mm):
        return "the ring that was found is too wide for a land"
    return Ring(centre_mm=face.centre_mm, radii_mm=face.flat_mm, covariance=face.covariance)


def _circle(look: Look, ring: Ring, radius_mm: float) -> Array:
    return look.plane.to_px(ring_points(ring.centre_mm, np.linspace(0, 360, 180, endpoint=False), radius_mm))


def _face(look: Look, sizes_mm: tuple[float, float]) -> Face | Unmeasured:
    """The ring of two diameters. A land's edges are sharp: no broken edge is allowed for."""
    inner, outer = sizes_mm
    nominal = {"face_inner_diameter_mm": inner - 2 * BREAK_MM, "face_outer_diameter_mm": outer + 2 * BREAK_MM}
    return find_face(look.gray, look.plane, replace(look.stated, nominal=nominal), look.cards_px)


def _picked(look: Look) -> Face | Unmeasured | None:
    """The one ring in the picture that is as wide as was stated; where no width is, that is surely a land."""
    said = look.stated.nominal
    inner, outer = (said[name] / 2 if name in said else None for name in (INNER, OUTER))
    chart = chart_of(look.gray, look.plane, look.cards_px)
    found = ring_of_width(chart, said[WIDTH]) if WIDTH in said else land_rings(chart, inner, outer)
    if found is None:
        return None
    centre, radii = found
    return face_at(look.gray, look.plane, centre, (radii[0] - BREAK_MM, radii[1] + BREAK_MM), look.cards_px)


def _diameters(stated: Stated) -> tuple[float, float] | None:
    """The land's diameters, inner and outer; of two of its diameters and width the third follows."""
    inner, outer, width = (stated.nominal.get(name) for name in (INNER, OUTER, WIDTH))
    if width is not None and outer is not None and inner is None:
        inner = outer - 2 * width
    if width is not None and inner is not None and outer is None:
        outer = inner + 2 * width
    return None if inner is None or outer is None else (inner, outer)
