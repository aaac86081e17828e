"""Rub bands of a wear face: rings of another gloss, about the axis, with two sharp edges that belong together.

A burnished band is a little brighter or darker than the face beside it, which of both changes with the angle as gloss
does, slowly. So both edges are sought as circles about the axis across which the tone changes by an amount that varies
slowly with the angle. They are one band when they change oppositely and alike, all round, and when nothing between
them does: a stain follows no circle, a reflection has no sharp edge, a turned step has one edge, lathe lines have many.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.finding import Finding
from wearvision.measure.face import Face
from wearvision.measure.finders.groove import axis_covariance
from wearvision.measure.finders.rub_edges import BIN_MM, SECTOR_DEG, Edges, Sectors, edges_of, sectors_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image, Strip, polar, ring_points, ring_scale, unwrap
from wearvision.quantity import Measured, Quantity, Unit

WIDTH_MM, FROM_EDGE_MM = (1.8, 13.0), 1.0
"""Widths of bands, and how far from an edge of the face they begin: what is nearer may be a machined step."""
CLEAR, STRONG = 1.8, 4.0
"""An edge stands out by so many usual ones of this face; both edges of a band by so many (set on drawn faces)."""
ALIKE, EVEN, SAME_SIDE, CALM = 0.7, 0.5, 0.7, 0.6
"""Both edges: correlation over the angle, weaker over stronger, share of sectors that agree; and the most that changes
between them in the median, in shares of the weaker edge."""
GROOVE_MM, GROOVE_DEG = 0.7, 2.0
"""What lies so near a groove, out and round, is not looked at."""
EDGE_MM, LINES_MM = 0.17, 0.5
"""Standard uncertainty of an edge's radius: it is worn gradually (set on drawn bands); and of one beside scored lines,
by their share of it."""
PRESENT = 0.35
"""A sector shows the band when it changes there by this share of what both edges change on the whole."""
TURN_DEG = 75.0
"""Widest gap in which a band may turn from brighter to darker than the face, and show nothing."""
UNSEEN = 0.6
"""Standard uncertainty of an arc, in shares of what is hidden, out of sight or does not show the band."""
PLACES, LEAST_DEG = 3, 90.0
"""Places to gauge a band at; and the least of a circle on which one is sought."""
PER_BIN, RAY_PX = 2.0, 2.0
"""Samples of a radial bin and distance of rays in photo px: many are averaged, so not every pixel is looked at."""


@dataclass(frozen=True, kw_only=True, eq=False)
class RubBand:
    """A band: radii of its edges, mm; strength in usual edges, as far as both are alike; how much changes between them,
    in shares of them; sectors that are seen, and that show it, (S,) bool."""

    inner_mm: float
    outer_mm: float
    strength: float
    lines: float
    seen: NDArray[np.bool_]
    present: NDArray[np.bool_]
    deg: Array

    @property
    def arc_deg(self) -> float:
        """All round when nearly all that is seen shows it, else what shows it."""
        return 360.0 if self.whole else float(self.present.sum() * SECTOR_DEG)

    @property
    def whole(self) -> bool:
        """Whether the band shows nearly everywhere it can be seen, on more than half of the circle."""
        return bool(self.present.sum() > 0.8 * self.seen.sum() and self.seen.sum() * SECTOR_DEG > 180)


def find_rubs(
    gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...], grooves: Sequence[Finding] = (),
    strip: Strip | None = None,
) -> list[RubBand]:  # fmt: skip
    """Bands on the face, clearest first; what lies under a groove is left out.

    ``strip`` is the face rolled out where it was before, in steps finer than a degree.
    """
    strip = strip or _rolled_out(gray, plane, face, exclude_px)
    if len(strip.values) * strip.step_deg < LEAST_DEG:
        return []
    table = sectors_of(strip, strip.valid & ~_covered(strip, plane, grooves))
    return bands_of(table, edges_of(table), face.flat_mm)


def _rolled_out(gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...]) -> Strip:
    """The face, just finely enough."""
    px_mm = ring_scale(plane, face.centre_mm, float(np.mean(face.flat_mm)))
    step = max(0.7, BIN_MM / PER_BIN / px_mm)
    return unwrap(
        gray, plane, face.centre_mm, face.flat_mm, step_deg=1.0, step_px=step, exclude_px=exclude_px, ray_px=RAY_PX
    )


def bands_of(table: Sectors, edges: Edges, flat_mm: tuple[float, float]) -> list[RubBand]:
    """Pairs of edges that belong together, clearest first, none over another."""
    usual = float(np.median(edges.size[edges.size > 0])) if (edges.size > 0).any() else np.inf
    r = table.radius_mm
    inside = (r > flat_mm[0] + FROM_EDGE_MM) & (r < flat_mm[1] - FROM_EDGE_MM)
    peaks = [int(k) for k in np.flatnonzero(edges.peak & inside & (edges.size > CLEAR * usual))]
    found = [
        band for i, a in enumerate(peaks) for b in peaks[i + 1 :]
        if WIDTH_MM[0] < r[b] - r[a] < WIDTH_MM[1] and (band := _band(table, edges, a, b, usual)) is not None
    ]  # fmt: skip
    kept: list[RubBand] = []
    for band in sorted(found, key=lambda f: -f.strength):
        if all(band.outer_mm < k.inner_mm or band.inner_mm > k.outer_mm for k in kept):
            kept.append(band)
    return kept


def _band(table: Sectors, edges: Edges, a: int, b: int, usual: float) -> RubBand | None:
    """The band between two edges, when they are those of one and far enough apart, in bins, to see between them."""
    weaker = float(min(edges.size[a], edges.size[b]))
    seen = np.isfinite(edges.change[:, a]) & np.isfinite(edges.change[:, b])
    one, other, between = edges.smooth[seen, a], -edges.smooth[seen, b], edges.size[a + 3 : b - 2]
    if not len(one) or not len(between) or weaker < STRONG * usual or weaker < EVEN * max(edges.size[a], edges.size[b]):
        return None
    alike = float(one @ other) / float(np.sqrt((one @ one) * (other @ other)) + 1e-12)
    same = float(np.mean(np.sign(edges.change[seen, a]) == -np.sign(edges.change[seen, b])))
    calm = float(np.median(between)) / weaker
    if alike < ALIKE or same < SAME_SIDE or calm > CALM:
        return None
    both = np.where(seen, (edges.change[:, a] - edges.change[:, b]) / 2, 0.0)
    whole = (edges.smooth[:, a] - edges.smooth[:, b]) / 2
    shown = cv2.blur((both * np.sign(whole)).reshape(1, -1).astype(np.float32), (5, 1)).ravel()
    return RubBand(
        inner_mm=edges.at(table, a), outer_mm=edges.at(table, b), strength=alike * weaker / usual, lines=calm,
        seen=seen, deg=table.deg, present=seen & _turning(seen & (shown > PRESENT * weaker), whole > 0),
    )  # fmt: skip


def _turning(shown: NDArray[np.bool_], brighter: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Sectors that show a band, with the short gaps in which it turns from brighter to darker than the face."""
    rows, count = np.flatnonzero(shown), len(shown)
    out = shown.copy()
    for row, ahead in zip(rows, np.roll(rows, -1), strict=True):
        gap = (ahead - row) % count
        if 1 < gap <= TURN_DEG / SECTOR_DEG and brighter[row] != brighter[ahead]:
            out[(row + np.arange(1, gap)) % count] = True
    return out


def _covered(strip: Strip, plane: Plane, grooves: Sequence[Finding]) -> NDArray[np.bool_]:
    """Samples in or near grooves."""
    cover = np.zeros(strip.values.shape, dtype=np.uint8)
    for groove in grooves:
        deg, radius = polar(plane.to_mm(groove.outline_px), strip.centre_mm)
        row = np.unwrap(deg - strip.first_deg, period=360.0) / strip.step_deg
        line = np.column_stack([(radius - strip.start_mm) / strip.step_mm, row])
        for lap in (-1, 0, 1):
            shifted = np.round(line + np.array([0.0, lap * 360.0 / strip.step_deg])).astype(np.int32)
            if shifted[:, 1].max() >= 0 and shifted[:, 1].min() < len(cover):
                cv2.fillPoly(cover, [shifted], 1)
    size = (2 * max(1, round(GROOVE_DEG / strip.step_deg)) + 1, 2 * max(1, round(GROOVE_MM / strip.step_mm)) + 1)
    return np.asarray(cv2.dilate(cover, np.ones(size, np.uint8)) > 0)


def to_finding(band: RubBand, name: str, plane: Plane, face: Face) -> Finding:
    """A band as a finding, always suspected: where it is, how wide, how far round."""
    rows = np.flatnonzero(band.present)
    spread = rows[np.linspace(0, len(rows) - 1, PLACES + 1).astype(int)[:PLACES]]
    middle = (band.inner_mm + band.outer_mm) / 2
    places = plane.to_px(ring_points(face.centre_mm, band.deg[spread], middle))
    return Finding(
        id=name, kind="rub", outline_px=_outline(band, plane, face), quantities=_figures(band, plane, face),
        flags=("suspected", *["full-circle"] * band.whole), places_px=places,
    )  # fmt: skip


def _outline(band: RubBand, plane: Plane, face: Face) -> Array:
    """Round the outer edge and back along the inner one."""
    deg = np.linspace(0.0, 360.0, 121)
    if not band.whole:
        rows = np.flatnonzero(band.present)
        at = np.unwrap(np.roll(band.deg[rows], -_gap(band.deg[rows])), period=360.0)
        deg = np.linspace(at[0] - SECTOR_DEG / 2, at[-1] + SECTOR_DEG / 2, 121)
    out, back = (ring_points(face.centre_mm, d, r) for d, r in ((deg, band.outer_mm), (deg[::-1], band.inner_mm)))
    return plane.to_px(np.vstack([out, back]))


def _gap(deg: Array) -> int:
    """Row after the widest gap of angles that go round."""
    return (int(np.argmax(np.diff(np.append(deg, deg[0] + 360.0)))) + 1) % len(deg)


def _figures(band: RubBand, plane: Plane, face: Face) -> dict[str, Quantity]:
    """Radii, width, arc, arc in view and area; every length through the plane."""
    rings = [face.circle_px(plane, radius, 60) for radius in (band.inner_mm, band.outer_mm)]
    axis_px = plane.to_px(face.centre_mm.reshape(1, 2))
    arc = np.radians(band.arc_deg)

    def figures(p: Plane) -> Array:
        inner, outer = (float(np.hypot(*(p.to_mm(ring) - p.to_mm(axis_px)).T).mean()) for ring in rings)
        return np.array([inner, outer, (inner + outer) / 2, outer - inner, arc / 2 * (outer**2 - inner**2)])

    value, parts = plane.propagate(figures)
    axis = 0.0 if band.whole else float(np.sqrt(np.trace(axis_covariance(face, plane)) / 2))
    middle, width = float(value[2]), float(value[3])
    turn = 0.0 if band.whole else float(np.hypot(SECTOR_DEG, UNSEEN * (360.0 - band.arc_deg)))
    edge = float(np.hypot(EDGE_MM, LINES_MM * band.lines))
    of_area = float(np.hypot(arc * middle * edge * 1.4, np.radians(turn) * middle * width))
    own = (edge, edge, edge / 1.4, edge * 1.4, of_area)
    names = ("radius_inner", "radius_outer", "radius", "width", "area")
    units: tuple[Unit, ...] = ("mm", "mm", "mm", "mm", "mm2")
    out: dict[str, Quantity] = {
        name: Measured.of(
            float(value[k]), units[k], how="edges of another gloss, about the axis", edge=own[k],
            **({"axis": axis} if k < 3 and axis else {}), **{n: float(u[k]) for n, u in parts.items()},
        )
        for k, name in enumerate(names)
    }  # fmt: skip
    seen = float(band.present.sum() * SECTOR_DEG)
    how = "all that is seen shows it" if band.whole else "sectors that show it"
    out["arc"] = Measured.of(band.arc_deg, "deg", how=how, ends=turn)
    out["arc_in_view"] = Measured.of(min(seen, band.arc_deg), "deg", how="sectors that show it", ends=SECTOR_DEG)
    return out
