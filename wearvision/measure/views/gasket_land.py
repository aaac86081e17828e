"""A gasket land: what is left of it all round, and where it is bitten into."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearvision.measure.chart import Chart, chart_of, grain_of
from wearvision.measure.face import BREAK_MM, Face, circles_near, find_face
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
from wearvision.measure.warmth import warmth_of
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
    """The land's edges all round; where its greys show no ring, in the first light that does."""
    known = _diameters(look.stated)
    ring = _ring(look, known)
    if isinstance(ring, Ring):
        return _seen(look, ring, known)
    for other in look.in_other_light():
        again = _ring(other, known)
        if isinstance(again, Ring):
            return _seen(other, again, known)
    return Seen(not_assessed=(("gasket land", f"{ring}; {HINT}"),))


def _ring(look: Look, sizes_mm: tuple[float, float] | None) -> Ring | str:
    """The land's ring by the greys at hand, or why there is none."""
    return _stated(look, sizes_mm) if sizes_mm else _picked(look)


def _seen(look: Look, ring: Ring, known: tuple[float, float] | None) -> Seen:
    """What the greys at hand show of the land in a ring; `known` are its diameters where they are stated."""
    if ring.radii_mm[0] < LEAST_RATIO * ring.radii_mm[1]:
        return Seen(not_assessed=(("gasket land", f"the ring that was found is too wide for a land; {HINT}"),))
    warmth = None if look.colour is None else warmth_of(look.colour, look.plane)
    land = settled(roll_out(look.gray, look.plane, ring, look.cards_px, blur_px=look.blur_px, warmth=warmth))
    lines = dark_lines(land)
    bites, free = walled(land, hollow(seek_bites(land)), lines)
    clear = told(land)
    left = left_of(land, bites, clear)
    findings = (
        *land_findings(land, bites, left, unseen(land, bites, clear), look.plane),
        *find_cracks(look, land, left, lines, free),
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


def _stated(look: Look, sizes_mm: tuple[float, float]) -> Ring | str:
    """The ring of two diameters, or why there is none. A land's edges are sharp: no broken edge is allowed for."""
    inner, outer = sizes_mm
    nominal = {"face_inner_diameter_mm": inner - 2 * BREAK_MM, "face_outer_diameter_mm": outer + 2 * BREAK_MM}
    face = find_face(look.gray, look.plane, replace(look.stated, nominal=nominal), look.cards_px, look.copies)
    if not isinstance(face, Face):
        return face.reason
    return Ring(centre_mm=face.centre_mm, radii_mm=face.flat_mm, covariance=face.covariance)


def _picked(look: Look) -> Ring | str:
    """The one ring in the picture that is as wide as was stated; where no width is, that is surely a land."""
    said = look.stated.nominal
    inner, outer = (said[name] / 2 if name in said else None for name in (INNER, OUTER))
    chart = chart_of(look.gray, look.plane, look.cards_px, look.copies)

    def pick(chart: Chart) -> tuple[Array, tuple[float, float]] | None:
        return ring_of_width(chart, said[WIDTH]) if WIDTH in said else land_rings(chart, inner, outer)

    found = pick(chart) or pick(grain_of(chart))  # a sheet may be as grey as its ground, and is hardly as rough
    fit = circles_near(look.gray, look.plane, *found, look.cards_px) if found else None
    if fit is None:
        return "which of the rings it is cannot be told"
    inner, outer = fit.radii_mm.tolist()
    return Ring(centre_mm=fit.centre_mm, radii_mm=(inner, outer), covariance=fit.covariance)


def _circle(look: Look, ring: Ring, radius_mm: float) -> Array:
    return look.plane.to_px(ring_points(ring.centre_mm, np.linspace(0, 360, 180, endpoint=False), radius_mm))


def _diameters(stated: Stated) -> tuple[float, float] | None:
    """The land's diameters, inner and outer; of two of its diameters and width the third follows."""
    inner, outer, width = (stated.nominal.get(name) for name in (INNER, OUTER, WIDTH))
    if width is not None and outer is not None and inner is None:
        inner = outer - 2 * width
    if width is not None and inner is not None and outer is None:
        outer = inner + 2 * width
    return None if inner is None or outer is None else (inner, outer)
