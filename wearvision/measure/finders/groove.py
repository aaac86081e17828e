"""Grooves worn into a face: found in the unwrapped ring, followed lip by lip, measured in millimetres.

What counts is the groove at face level: its two lips. Inside may be anything: light wall, dark wall, shadow,
rust; the sign of the shading turns with the angle to the lamp. See design words: width, radius, arc, area.
"""

from __future__ import annotations

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.band import band_of, measure_band
from wearvision.measure.edges import median
from wearvision.measure.evidence import ROWS, Evidence, evidence
from wearvision.measure.face import Face
from wearvision.measure.lips import Track, follow, running_median
from wearvision.measure.plane import Array, Plane
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.ridges import BOUND, find_ribbons
from wearvision.measure.sectors import refine
from wearvision.measure.shadow import is_shadow
from wearvision.measure.stretch import shown
from wearvision.measure.unwrap import Image, Strip, ring_points, unwrap
from wearvision.measure.walls import between, walls
from wearvision.quantity import Measured, Quantity, Unmeasured

MARGIN_MM = 0.45
"""The search begins this far inside the fitted edges: there the broken edge of the face ends."""
ROW_DEG = 2 / 3
"""Rows of the search."""
STEP_PX, RAY_PX = 0.9, 2.0
"""Distance between the columns of the search, and between its rays, photo px: closer ones tell no more."""
MAX_WIDTH_MM = 6.5
LEAST = 40.0
"""Least score of a ribbon."""
LEAST_PX = 3.0
NARROW_PX = 6.0
"""Below `LEAST_PX` wide a mark is a tool mark or a scratch; below `NARROW_PX` the width is doubtful."""
LEAST_MM = 0.5
"""A narrower mark is a scratch, the line of a tool, or the shadow of a low step: every third that was told was no
groove."""
SLENDER, STOUT_MM = 4.0, 3.0
"""A groove is at least this many times as long as wide; twice that per mm beyond `STOUT_MM`: rust is stout."""
HOPELESS = 0.25
"""A ribbon with less score per row of the search is neither a groove nor one of its walls."""
WIDE_MM, SHORT = 1.5, 15.0
DENSE, DENSE_WIDE, DENSE_SHORT = 0.4, 1.2, 4.0
"""Least score per row of the search: of any groove, of one wider than `WIDE_MM`, and of one less than `SHORT` times as
long as wide."""
CRISP, CRISP_SHORT = 0.9, 8.0
"""One whose both lips are seen over so much of its length needs no more score than any, if it is at least so many
times as long as wide: rust and stains have no such lips."""
CLEAR, CLEAR_BESIDE = 0.5, 0.8
"""Both lips are seen over at least this share of the length; more where an edge of the face may be broken."""
PLAIN_DENSE, PLAIN_DARK, PLAIN_SLENDER, CLEAR_PLAIN = 4.0, -0.25, 8.0, 0.2
"""A mark so dense, dark and long is plain to see, even where one wall is as bright as the face and hides its lip."""
DARK, DARK_BESIDE, DARK_SHARE = -0.08, -0.25, 0.5
"""A groove is darker than the face by this much (log grey) over this share of its length."""
PALE = -0.04
"""A mark not even so dark between its own lips is no groove between those it had: half of `DARK`."""
NARROW_MM, NARROW_SHARE = 0.8, 0.9
"""A mark narrower than this is dark nearly all along, or a tool's ring: the lines a turning tool leaves come and go."""
LIT_DENSE, LIT_CLEAR, LIT_DARK, LIT_SHARE = 3.0, 0.85, -0.2, 0.7
"""One so dense, clear and dark may be lit from both sides, and lose its shadow, over more of its length."""
LEFT, LEFT_DEG = 0.15, 24.0
"""Of a ribbon cut to where it shows at least this share and this much is left, or it was a line that crosses a spot."""
FAINT = -0.2
FAINT_ENDS = 1.7
"""Doubt of the ends of such a groove, in that of any other's: set on drawn scenes."""
ONE_WALL, FAINT_MM = 0.4, 0.1
"""Standard uncertainty of the width of a groove that is faint, or a few pixels narrow, as a share of it, and in mm:
what was followed may be one wall of it only (half of it), or the groove with a band beside it (twice)."""
ROUND_MM = 0.015
"""A lip is rounded and its shading begins further out: up to 0.05 mm is a sharp edge (ISO 13715, from memory). The
allowance lies half way between what photos of two independent renderers show; no law stands behind it."""
BESIDE_EDGE_MM, BREAK_MM = 1.5, 1.2
"""Beside an edge; and so near to it that a line may be the edge's own break (chamfer, rounding)."""
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
    strip = unwrap(
        gray, plane, face.centre_mm, radii, step_deg=ROW_DEG, step_px=STEP_PX, exclude_px=exclude_px, ray_px=RAY_PX
    )
    found = evidence(strip)
    widest = min(MAX_WIDTH_MM, 0.4 * (outer - inner))
    ribbons = find_ribbons(strip, found, max_width_mm=widest, least=LEAST)
    marks = [t for r in ribbons if (t := _mark(strip, found, r, widest, blur_px)) is not None]
    marks = _joined(marks, strip, found, widest, blur_px)
    good = [t for t in marks if is_groove(t, strip.px_mm) and t.width_mm < BOUND * widest and _stands(t, face)]
    return _apart([t for t in good if not is_shadow(t, strip, found.gray)]), strip


def _mark(strip: Strip, found: Evidence, ribbon: Ribbon, max_width_mm: float, blur_px: float) -> Track | None:
    """A ribbon's track where it shows: with the lips that this stretch shows, or else those it had."""
    ribbon = shown(ribbon, found, strip)
    if ribbon.followed and len(ribbon.rows) < max(LEFT * ribbon.followed, LEFT_DEG / strip.step_deg):
        return None
    if ribbon.score * ROWS < HOPELESS * len(ribbon.rows):
        return None
    tracks: list[Track] = []
    for one in (refine(ribbon, found, strip, max_width_mm), ribbon):
        if median(one.outer - one.inner) * strip.step_mm < BOUND * max_width_mm:
            track = follow(strip, found, one, blur_px=blur_px)
            if track is not None and is_groove(track, strip.px_mm):
                return track
            tracks += [] if track is None else [track]
            if tracks and tracks[0].dark > PALE:
                break
    return tracks[0] if tracks else None


def _joined(marks: list[Track], strip: Strip, found: Evidence, max_width_mm: float, blur_px: float) -> list[Track]:
    """Marks with the walls of one groove taken together, as long as there are any."""
    for low, high in walls(marks, BOUND * max_width_mm, strip, found.gray):
        whole = follow(strip, found, between(low, high, strip), blur_px=blur_px)
        if whole is not None and is_groove(whole, strip.px_mm):
            rest = [t for t in marks if t is not low and t is not high]
            return _joined([*rest, whole], strip, found, max_width_mm, blur_px)
    return marks


def _stands(track: Track, face: Face) -> bool:
    """Whether a track beside an edge of the face is clear enough to be more than the edge's own break."""
    inner, outer = face.radii_mm
    near = _gap(track, (inner, outer)) < BREAK_MM
    return not near or (track.clear >= CLEAR_BESIDE and track.dark <= DARK_BESIDE)


def _gap(track: Track, radii_mm: tuple[float, float]) -> float:
    """Distance of a track from the nearer of two circles about the axis, mm."""
    return min(median(track.inner_mm) - radii_mm[0], radii_mm[1] - float(np.median(track.outer_mm)))


def _apart(tracks: list[Track]) -> list[Track]:
    """Tracks that do not lie on a longer and clearer one."""
    out: list[Track] = []
    for track in sorted(tracks, key=lambda t: -len(t.deg) * t.clear):
        if not any(_on(track, other) for other in out):
            out.append(track)
    return out


def _on(one: Track, other: Track) -> bool:
    """Whether most of a track lies on another: in angle, and across."""
    deg = np.round(other.deg).astype(int) % 360
    low, high = np.full(360, np.inf), np.full(360, -np.inf)
    np.minimum.at(low, deg, other.inner_mm)
    np.maximum.at(high, deg, other.outer_mm)
    here = np.round(one.deg).astype(int) % 360
    common = np.minimum(high[here], one.outer_mm) - np.maximum(low[here], one.inner_mm)
    return bool(np.mean(common > 0.3 * (one.outer_mm - one.inner_mm)) > 0.3)


def is_groove(track: Track, px_mm: float) -> bool:
    """Whether a track is wear rather than a turned line, a polished band or a row of stains."""
    width = track.width_mm
    length = float(np.radians(track.deg[-1] - track.deg[0]) * np.mean(track.inner_mm))
    slender = length / max(width, 1e-3)
    plain = track.dense >= PLAIN_DENSE and track.dark <= PLAIN_DARK and slender >= PLAIN_SLENDER
    lit = track.dense >= LIT_DENSE and track.clear >= LIT_CLEAR and track.dark <= LIT_DARK
    narrow_share = LIT_SHARE if lit else NARROW_SHARE
    return bool(
        width >= max(LEAST_PX * px_mm, LEAST_MM)
        and slender >= SLENDER + 2 * max(0.0, width - STOUT_MM)
        and track.dense >= _least_dense(width, slender, track.clear)
        and track.clear >= (CLEAR_PLAIN if plain else CLEAR)
        and track.dark <= DARK
        and track.dark_share >= (narrow_share if width < NARROW_MM else DARK_SHARE)
    )


def _least_dense(width_mm: float, slender: float, clear: float) -> float:
    """Least score per row: what is wide or short shows itself, or its lips all along, or is something else."""
    if clear >= CRISP and slender >= CRISP_SHORT:
        return DENSE
    least = [DENSE]
    if width_mm > WIDE_MM:
        least.append(DENSE_WIDE)
    if slender < SHORT:
        least.append(DENSE_SHORT)
    return max(least)


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
        "beside-edge": _gap(track, face.flat_mm) < BESIDE_EDGE_MM,
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
