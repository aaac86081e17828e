"""A wear face: its ring, the grooves on it, what looks like pits, cracks and rub bands."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.finding import Finding
from wearvision.measure.face import Face, find_face
from wearvision.measure.finders.cracks import find_cracks
from wearvision.measure.finders.cracks import to_finding as crack_finding
from wearvision.measure.finders.face_map import FaceMap, face_map
from wearvision.measure.finders.groove import find_grooves, to_finding
from wearvision.measure.finders.pit_outline import RAYS
from wearvision.measure.finders.pit_search import find_spots, hole_like
from wearvision.measure.finders.pits import RIM_PX, measure_field, measure_pits
from wearvision.measure.finders.rub import find_rubs
from wearvision.measure.finders.rub import to_finding as rub_finding
from wearvision.measure.look import Look, Seen
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Strip
from wearvision.quantity import Measured, Quantity, Unit, Unmeasured, root_sum_square

PICKED = ("size of the face", "nobody stated it: the ring was picked from the picture and may be another; state it")
PITS = ("pits", "those found are suspected from the picture; under rust and on rough metal many are missed: look")
CRACKS = ("cracks on the face", "none seen at this resolution; short, hair-fine ones and those along a circle are not")
RUB = ("rub bands", "only a clear one, far round the axis, is told, and suspected: two in three are missed; look")
LEAST_PX = 4.0
"""Narrower spots are grain and noise."""
NEAR_PX = 3.0
"""A spot so near a groove belongs to it."""
RIM_SHARE, FAINT_DARK = 0.07, 0.6
"""Doubt of a found outline, share of its width: a wall in full light reads as metal; darkness below which a pit is
faint."""
UNSURE = Unmeasured(
    reason="the face's sizes are not stated: which edges bound it is a guess", hint="state its inner and outer diameter"
)


def see(look: Look) -> Seen:
    """The face, its grooves, pits, cracks and rub bands."""
    face = find_face(look.gray, look.plane, look.stated, look.cards_px, look.copies)
    if not isinstance(face, Face):
        return Seen(not_assessed=(PITS, ("grooves", f"{face.reason}; {face.hint}")))
    tracks, strip = find_grooves(look.gray, look.plane, face, look.cards_px, blur_px=look.blur_px)
    found = tuple(to_finding(t, f"G{i}", look.plane, face, strip.px_mm) for i, t in enumerate(tracks, start=1))
    flat = face_map(look.gray, look.plane, face, look.cards_px)
    cracks = _cracks(look, face, flat, found)
    found += (*_pits(look, face, flat, found), *cracks, *_rubs(look, face, strip, found))
    missing = (PITS, RUB, *(() if cracks else (CRACKS,)), *_unseen(face))
    return Seen(
        findings=found, summary=face_figures(face, look.plane), not_assessed=missing,
        circles_px=tuple(face.circle_px(look.plane, r.value) for r in (face.outer_mm, face.inner_mm)), face=face,
    )  # fmt: skip


def _pits(look: Look, face: Face, flat: FaceMap, grooves: Sequence[Finding]) -> tuple[Finding, ...]:
    """Spots outside the grooves that look like pits, largest first."""
    spots = find_spots(look.gray, look.plane, face, look.cards_px, flat)
    outlines = look.plane.to_px(np.array([spot.outline_mm for spot in spots])).reshape(-1, RAYS, 2)
    width_px = np.ptp(outlines[..., 0], axis=1)
    told = width_px >= LEAST_PX
    for groove in grooves:
        told &= ~_on(groove, outlines.mean(axis=1), 2 * NEAR_PX)
    kept = [(spots[k], outlines[k]) for k in np.flatnonzero(told)]
    rims = np.hypot(RIM_PX, RIM_SHARE * width_px[told]).tolist()
    figures = measure_pits([outline for _, outline in kept], look.plane, rims)
    return tuple(
        Finding(
            id=f"P{k}", kind="pit", outline_px=outline, quantities=quantities,
            flags=("suspected", *["faint"] * (spot.dark < FAINT_DARK), *["hole-like"] * hole_like(spot)),
            places_px=outline.mean(axis=0, keepdims=True),
        )
        for k, ((spot, outline), quantities) in enumerate(zip(kept, figures, strict=True), start=1)
    )  # fmt: skip


def _on(groove: Finding, px: Array, near_px: float) -> NDArray[np.bool_]:
    """Which points (N, 2) lie in a groove or so near it."""
    low, high = groove.outline_px.min(axis=0) - near_px, groove.outline_px.max(axis=0) + near_px
    out = ((px > low) & (px < high)).all(axis=1)
    line = groove.outline_px.astype(np.float32).reshape(-1, 1, 2)
    for k in np.flatnonzero(out):
        out[k] = cv2.pointPolygonTest(line, px[k].tolist(), True) > -near_px
    return np.asarray(out)


def _cracks(look: Look, face: Face, flat: FaceMap, grooves: Sequence[Finding]) -> tuple[Finding, ...]:
    """Dark paths outside the grooves that look like cracks, longest first."""
    out: list[Finding] = []
    for path in find_cracks(look.gray, look.plane, face, look.cards_px, flat):
        line = look.plane.to_px(path.line_mm)
        if all(_on(g, line, NEAR_PX).mean() < 0.5 for g in grooves):
            out.append(crack_finding(path, f"K{len(out) + 1}", look.plane))
    return tuple(out)


def _rubs(look: Look, face: Face, strip: Strip, grooves: Sequence[Finding]) -> tuple[Finding, ...]:
    """Rub bands on the face rolled out, clearest first."""
    bands = find_rubs(look.gray, look.plane, face, look.cards_px, grooves, strip)
    return tuple(rub_finding(band, f"R{k}", look.plane, face) for k, band in enumerate(bands, start=1))


def _unseen(face: Face) -> tuple[tuple[str, str], ...]:
    out = [] if face.sure else [PICKED]
    seen = float(face.seen_deg[:, 1].mean())
    if seen < 0.98:
        out.append(("part of the face", f"{100 * (1 - seen):.0f} % of the ring is out of view or covered"))
    return tuple(out)


def totals(face: Face, findings: Sequence[Finding]) -> dict[str, Quantity]:
    """Figures of all that stands on the face, marks of persons included."""
    standing = [f for f in findings if not f.struck]
    count = Measured(value=float(sum(f.kind == "groove" for f in standing)), u=0.0, unit="count")
    out: dict[str, Quantity] = {"groove_count": count}
    if not face.sure:
        return out | {"face_area": UNSURE, "groove_share": UNSURE}
    shares = [q for f in standing if f.kind == "groove" and isinstance(q := f.quantities.get("share"), Measured)]
    out["groove_share"] = Measured(
        value=sum(q.value for q in shares), u=float(np.sqrt(sum(q.u**2 for q in shares))), unit="1",
        how="area of the grooves over the ring",
    )  # fmt: skip
    pits = [f for f in standing if f.kind == "pit" and "hole-like" not in f.flags]
    areas = [q.value for f in pits if isinstance(q := f.quantities["area"], Measured)]
    found = [q.value for f in pits if not f.by and isinstance(q := f.quantities["diameter"], Measured)]
    seen = max(0.05, float(face.seen_deg[:, 1].mean()))
    return out | measure_field(len(pits), sum(areas), seen * face.area_mm2, found)


def face_figures(face: Face, plane: Plane) -> dict[str, Quantity]:
    """Radii and area of the face, with the plane's own uncertainty."""
    radii = (face.inner_mm, face.outer_mm)
    rings = [face.circle_px(plane, radius.value, 60) for radius in radii]
    axis = plane.to_px(face.centre_mm.reshape(1, 2))

    def figure(mm: Array) -> Array:
        off = mm[:, :-1] - mm[:, -1:]
        inner, outer = np.hypot(off[..., 0], off[..., 1]).reshape(len(mm), 2, -1).mean(axis=2).T
        return np.column_stack([inner, outer, np.pi * (outer**2 - inner**2)])

    value, parts = plane.propagate_points(np.vstack([*rings, axis]), figure)
    edge = 2 * np.pi * root_sum_square(*(radius.value * radius.u for radius in radii))
    own = (radii[0].u, radii[1].u, edge)
    how = (radii[0].how, radii[1].how, "ring between the fitted circles")
    names = ("face_inner_radius", "face_outer_radius", "face_area")
    units: tuple[Unit, ...] = ("mm", "mm", "mm2")
    return {
        name: Measured.of(
            float(value[k]), units[k], how=how[k], edge=own[k], **{n: float(u[k]) for n, u in parts.items()}
        )
        for k, name in enumerate(names)
    }
