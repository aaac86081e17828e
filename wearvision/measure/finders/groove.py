"""Grooves worn into a face: found in the unwrapped ring, followed lip by lip, measured in millimetres.

What counts is the groove at face level: its two lips. Inside may be anything: light wall, dark wall, shadow,
rust; the sign of the shading turns with the angle to the lamp. See design words: width, radius, arc, area.
"""

from __future__ import annotations

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.band import band_of, measure_band
from wearvision.measure.edges import median
from wearvision.measure.evidence import evidence
from wearvision.measure.face import Face
from wearvision.measure.finders.groove_marks import Ground, marks_of
from wearvision.measure.finders.worn import apart, gap_mm
from wearvision.measure.lips import Track, running_median
from wearvision.measure.plane import Array, Plane
from wearvision.measure.ridges import find_ribbons
from wearvision.measure.shadow import is_shadow
from wearvision.measure.unwrap import Image, Strip, ring_points, ring_scale, unwrap
from wearvision.quantity import Measured, Quantity, Unmeasured

MARGIN_MM = 0.45
"""The search begins this far inside the fitted edges: there the broken edge of the face ends."""
ROW_DEG = 2 / 3
"""Rows of the search."""
STEP_MM, STEP_PX = 0.08, (0.7, 0.9)
"""Distance between the columns of the search, and what it is at least and at most in photo px."""
RAY_PX = 2.0
"""Distance between the rays of the search, photo px: closer ones tell no more."""
MAX_WIDTH_MM = 6.5
LEAST = 40.0
"""Least score of a ribbon."""
NARROW_PX = 6.0
"""Less wide than this the width is doubtful."""
FAINT = -0.2
FAINT_ENDS = 1.7
"""Doubt of the ends of such a groove, in that of any other's: set on drawn scenes."""
ONE_WALL, FAINT_MM = 0.4, 0.1
"""Standard uncertainty of the width of a groove that is faint, or a few pixels narrow, as a share of it, and in mm:
what was followed may be one wall of it only (half of it), or the groove with a band beside it (twice)."""
ROUND_MM = 0.015
"""A lip is rounded and its shading begins further out: up to 0.05 mm is a sharp edge (ISO 13715, from memory). The
allowance lies half way between what photos of two independent renderers show; no law stands behind it."""
BESIDE_EDGE_MM = 1.5
AXIS_MM, EDGE_DROP_MM = 0.05, 0.6
"""Doubt about the axis beyond the fit, mm: chips; and edges rounded by this much, which tilt shifts."""
APART = 0.6
"""The n-th place to gauge lies at least this share of the groove's length, over n, from those before it."""
EXTENT, LOOSE_DEG = ("arc", "arc_in_view", "area"), 180.0
"""What hangs on where a groove ends; not told when its 95 % interval is as wide as itself, or as a half turn."""
DEPTH_SHARE, DEPTH_DOUBT = 0.4, 0.3
"""Depth over width: a weak guess, common practice, no source."""


def find_grooves(
    gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...] = (), *, blur_px: float = 0.8
) -> tuple[list[Track], Strip]:
    """Groove tracks of a face, best first, and the strip they live in."""
    inner, outer = face.flat_mm
    radii = (inner + MARGIN_MM, outer - MARGIN_MM)
    step_px = min(max(STEP_MM / ring_scale(plane, face.centre_mm, (inner + outer) / 2), STEP_PX[0]), STEP_PX[1])
    strip = unwrap(
        gray, plane, face.centre_mm, radii, step_deg=ROW_DEG, step_px=step_px, exclude_px=exclude_px, ray_px=RAY_PX
    )
    found = evidence(strip)
    widest = min(MAX_WIDTH_MM, 0.4 * (outer - inner))
    ribbons = find_ribbons(strip, found, max_width_mm=widest, least=LEAST)
    marks = marks_of(ribbons, Ground(strip=strip, found=found, face=face, max_width_mm=widest, blur_px=blur_px))
    return [t for t in apart(marks) if not is_shadow(t, strip, found.gray)], strip


def to_finding(track: Track, name: str, plane: Plane, face: Face, px_mm: float) -> Finding:
    """A track as a finding with its quantities.

    Parameters
    ----------
    name : id on the photo
    px_mm : length of a photo pixel on the face
    """
    width = running_median(track.outer_mm - track.inner_mm, 9) - 2 * ROUND_MM
    centre = running_median((track.outer_mm + track.inner_mm) / 2, 9)
    band = band_of(
        track.deg, centre, width, face.centre_mm, plane, full=track.full, cut=track.cut, end_u_deg=track.end_u_deg,
        hidden_deg=track.hidden_deg,
    )  # fmt: skip
    flags = _flags(track, width, face, px_mm)
    area = face.area_mm2 if face.sure else None
    figures = measure_band(band, plane, px_mm, axis_covariance(face, plane), area, track.doubt_mm)
    if {"faint", "narrow"} & set(flags):
        figures = _doubted(figures)
    return Finding(
        id=name, kind="groove", outline_px=band.outline_px(), flags=flags,
        quantities={name: _told(q) if name in EXTENT else q for name, q in figures.items()},
        sealed=sealed_depth(float(np.mean(width))), places_px=_places(track, width, centre, plane, face),
    )  # fmt: skip


def _doubted(figures: dict[str, Quantity]) -> dict[str, Quantity]:
    """Figures of a faint or narrow groove: what was followed may be one wall of it only, so its lips are ambiguous."""
    width = figures["width"]
    if not isinstance(width, Measured):
        return figures
    share = {"width": 1.0, "width_max": 1.0, "radius": 0.5}
    of_width = float(np.hypot(FAINT_MM, ONE_WALL * width.value))
    out = dict(figures)
    for name, quantity in figures.items():
        if isinstance(quantity, Measured):
            doubt = of_width * share.get(name, quantity.value / max(width.value, 1e-6))
            if name in ("arc", "arc_in_view"):
                doubt = FAINT_ENDS * quantity.u
            u = float(np.hypot(quantity.u, doubt))
            budget = {**quantity.budget, "doubt": doubt}
            out[name] = Measured(value=quantity.value, u=u, unit=quantity.unit, how=quantity.how, budget=budget)
    return out


def _told(quantity: Quantity) -> Quantity:
    """An extent, unless its interval says next to nothing."""
    if not isinstance(quantity, Measured):
        return quantity
    most = min(quantity.value, LOOSE_DEG) if quantity.unit == "deg" else quantity.value
    if quantity.u95 <= most:
        return quantity
    unit = quantity.unit.replace("mm2", "mm\u00b2")
    reason = f"too unclear: {quantity.value:.0f} give or take {quantity.u95:.0f} {unit}"
    return Unmeasured(reason=reason, hint="look at the part, and gauge it there")


def axis_covariance(face: Face, plane: Plane) -> Array:
    """Covariance (2, 2) of the part's axis, mm2: of the fit, and of edges that lie a little below the face."""
    slip = EDGE_DROP_MM * np.tan(np.radians(plane.tilt_deg))
    return np.asarray(face.covariance[:2, :2] + np.eye(2) * (AXIS_MM**2 + slip**2))


def sealed_depth(width_mm: float) -> dict[str, Quantity]:
    """Depth guessed from the width alone; never shown before the reading."""
    how = "guess from the width alone, common practice, no source"
    return {"depth": Measured.of(DEPTH_SHARE * width_mm, "mm", how=how, guess=DEPTH_DOUBT * width_mm)}


def _flags(track: Track, width: Array, face: Face, px_mm: float) -> tuple[str, ...]:
    told = {
        "faint": track.dark > FAINT or track.clear < 0.75,
        "narrow": median(width) < NARROW_PX * px_mm,
        "cut-by-frame": any(track.cut),
        "full-circle": track.full,
        "beside-edge": gap_mm(track, face.flat_mm) < BESIDE_EDGE_MM,
    }
    return tuple(name for name, is_so in told.items() if is_so)


def _places(track: Track, width: Array, centre: Array, plane: Plane, face: Face, count: int = 4) -> Array:
    """Gauge places along the centreline: the widest and strongest first, each well away from those before it."""
    total, rows = len(width), np.arange(len(width))
    inset = max(1, min(total // 6, 12)) if not track.full else 0
    inside = (rows >= inset) & (rows < total - inset)
    telling = width * running_median(track.strength / (median(track.strength) + 1e-9), 9)
    chosen: list[int] = []
    apart = np.full(total, np.inf)
    for number in range(1, 1 + min(count, max(1, total // 12))):
        free = inside & (apart >= APART * total / number)
        if not free.any():
            break
        chosen.append(int(np.argmax(np.where(free, telling, -np.inf))))
        away = np.abs(rows - chosen[-1])
        apart = np.minimum(apart, np.minimum(away, total - away) if track.full else away)
    return plane.to_px(ring_points(face.centre_mm, track.deg[chosen], centre[chosen]))
