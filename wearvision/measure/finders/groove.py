"""Grooves worn into a face: found in the unwrapped ring, followed lip by lip, measured in millimetres.

What counts is the groove at face level: its two lips. Inside may be anything: light wall, dark wall, shadow,
rust; the sign of the shading turns with the angle to the lamp. See design words: width, radius, arc, area.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.face import Face
from wearvision.measure.lips import Track, follow, running_median
from wearvision.measure.plane import Array, Plane
from wearvision.measure.ridges import evidence, find_ribbons
from wearvision.measure.unwrap import Image, Strip, polar, ring_points, unwrap
from wearvision.quantity import Measured, Quantity, Unmeasured

MARGIN_MM = 0.45
"""The search begins this far inside the fitted edges: there the broken edge of the face ends."""
MAX_WIDTH_MM = 6.5
LEAST = 40.0
"""Least score of a ribbon."""
LEAST_PX = 2.5
NARROW_PX = 6.0
"""Below `LEAST_PX` wide a mark is a tool mark or a scratch; below `NARROW_PX` the width is doubtful."""
LEAST_MM = 0.25
SLENDER = 4.0
"""A groove is at least this many times as long as wide."""
CLEAR = 0.5
DARK, DARK_SHARE = -0.10, 0.6
"""A groove is darker than the face by this much (log grey) over this share of its length."""
FAINT = -0.2
BESIDE_EDGE_MM = 1.5
DEPTH_SHARE, DEPTH_DOUBT = 0.4, 0.3
"""Depth over width: a weak guess, common practice, no source."""


def find_grooves(
    gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...] = (), *, blur_px: float = 0.8
) -> tuple[list[Track], Strip]:
    """Groove tracks of a face, best first, and the strip they live in."""
    inner, outer = face.radii_mm
    radii = (inner + MARGIN_MM, outer - MARGIN_MM)
    strip = unwrap(gray, plane, face.centre_mm, radii, exclude_px=exclude_px)
    found = evidence(strip)
    ribbons = find_ribbons(strip, found, max_width_mm=min(MAX_WIDTH_MM, 0.4 * (outer - inner)), least=LEAST)
    tracks = [follow(strip, found, ribbon, blur_px=blur_px) for ribbon in ribbons]
    return [t for t in tracks if t is not None and is_groove(t, strip.px_mm)], strip


def is_groove(track: Track, px_mm: float) -> bool:
    """Whether a track is wear rather than a turned line, a polished band or a row of stains."""
    width = float(np.median(track.outer_mm - track.inner_mm))
    length = float(np.radians(track.deg[-1] - track.deg[0]) * np.mean(track.inner_mm))
    return bool(
        width >= max(LEAST_PX * px_mm, LEAST_MM)
        and length >= SLENDER * width
        and track.clear >= CLEAR
        and track.dark <= DARK
        and track.dark_share >= DARK_SHARE
    )
