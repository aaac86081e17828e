"""Cracks suspected on a face: thin dark paths that wander across it.

Dark lines on the coarse map of the face are followed in the photo itself, and on from their ends. What shows darker
than the metal's grain all along, and was not drawn by a tool, is reported. Lines that run along the circles are lathe
lines and are left out, and with them any crack that runs that way. A scratch, a hair or a shadow's edge can pass for a
crack and a closed crack cannot be seen: every finding is only suspected, a penetrant test tells.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from wearvision.finding import Finding
from wearvision.measure.face import Face
from wearvision.measure.finders.crack_finding import Length, crack_finding
from wearvision.measure.finders.crack_path import Trace, further, traces
from wearvision.measure.finders.face_map import FaceMap, face_map
from wearvision.measure.finders.joined import share_on
from wearvision.measure.finders.tool_mark import tool_mark
from wearvision.measure.finders.valleys import valley_lines
from wearvision.measure.plane import Array, Plane
from wearvision.measure.polyline import length_of
from wearvision.measure.unwrap import Image
from wearvision.quantity import Measured

REPORT_MM, LONGEST_MM = 12.0, 120.0
"""Shorter paths are not reported, too much looks like them; longer ones are grooves and shadows."""
FIRST, FIRST_MM = (1.7, 3.2), 7.0
LEAST = (1.8, 3.3)
"""Worth and contrast of what is followed further, which has at least this length, and of what is reported."""
FAINT = 5.0
"""With less contrast than this it is faint."""
SHARE, LEAST_GAIN, MOST_LOSS, MOST_ON_MM = 0.35, 12.0, 18.0, 60.0
"""A path is carried on by what has this share of its darkness and gains so much, over gaps that lose so much; by no
more than that."""
END_SHARE, END_GAIN, END_LOSS, MOST_END_MM = 0.15, 8.0, 6.0, 6.0
"""Its ends fade: the same of these."""
SURE_MM = 7.0
"""From this length on the way a line runs tells a tool's mark, before it is carried on."""
ON, ON_MM = 0.5, 1.0
"""A path of which this share lies so near a plainer one is that one; of which nearly all does is not followed anew."""
MOSTLY = 0.8
EDGE_MM = 0.4
"""So near the edges of the flat nothing is followed."""
SMOOTHED = 0.025
"""A path is seen smoother than it runs, and shorter by this share."""
TAIL_MM, END_MM, UNSEEN_SHARE, UNSEEN_CONTRAST = 1.0, 2.1, 0.055, 2.5
"""What fades out unseen at either end, mm; standard uncertainty of a length: of its ends; as a share, as it wanders and
may run into another; and as the square of this over its contrast, as what is fainter still is not seen."""


def find_cracks(
    gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...] = (), flat: FaceMap | None = None
) -> list[Trace]:
    """Paths on a face that look like cracks, longest first; see the module for what is told apart.

    ``flat`` is the face's map where it was made before.
    """
    flat = flat or face_map(gray, plane, face, exclude_px)
    seen = traces(gray, plane, valley_lines(flat), SHARE)
    clear = (t for t in seen if t is not None and _clear(t, FIRST) and t.length_mm > FIRST_MM)
    first = sorted(clear, key=lambda t: -t.worth * t.length_mm)
    good: list[Trace] = []
    for path in first:
        if any(share_on(path.line_mm[::3], g.line_mm, ON_MM) > MOSTLY for g in good):
            continue
        if path.length_mm > SURE_MM and _of_tool(path, face):
            continue
        grown = _grown(gray, plane, path, face, exclude_px)
        if _clear(grown, LEAST) and grown.length_mm < LONGEST_MM and not _of_tool(grown, face):
            good.append(grown)
    paths = [_to_ends(gray, plane, path, face, exclude_px) for path in _distinct(good)]
    return sorted((p for p in paths if p.length_mm > REPORT_MM), key=lambda p: -p.length_mm)


def _clear(path: Trace, least: tuple[float, float]) -> bool:
    return path.worth > least[0] and path.contrast > least[1]


def _of_tool(path: Trace, face: Face) -> bool:
    return tool_mark(path.line_mm, face, path.contrast)


def _distinct(paths: list[Trace]) -> list[Trace]:
    """Paths that do not mostly lie on one that takes more light."""
    out: list[Trace] = []
    for path in sorted(paths, key=lambda p: -p.taken):
        if all(share_on(path.line_mm, other.line_mm, ON_MM) < ON for other in out):
            out.append(path)
    return out


def _grown(gray: Image, plane: Plane, path: Trace, face: Face, exclude_px: tuple[Array, ...]) -> Trace:
    """The path carried on from both its ends for as long as it shows, by nothing that a tool drew."""
    line, spread = path.line_mm, path.metal.spread(path.dark, SHARE)
    for _ in range(2):
        line, more = line[::-1], line[:1]
        while (length := length_of(more)) < MOST_ON_MM:
            if length > SURE_MM and tool_mark(more, face, path.contrast):
                more = more[:1]
                break
            on = further(gray, plane, np.vstack([line, more[1:]]), path.metal, spread, LEAST_GAIN, MOST_LOSS)
            free = _free(on, plane, face, exclude_px)
            more = np.vstack([more, on[:free]])
            if free < len(on) or not len(on):
                break
        line = np.vstack([line, more[1:]])
    return traces(gray, plane, [line], SHARE)[0] or path


def _to_ends(gray: Image, plane: Plane, path: Trace, face: Face, exclude_px: tuple[Array, ...]) -> Trace:
    """The path with its ends, which fade."""
    line, spread = path.line_mm, path.metal.spread(path.dark, END_SHARE)
    for _ in range(2):
        line = line[::-1]
        on = further(gray, plane, line, path.metal, spread, END_GAIN, END_LOSS)
        run = np.cumsum(np.hypot(*np.diff(np.vstack([line[-1:], on]), axis=0).T))
        line = np.vstack([line, on[: min(_free(on, plane, face, exclude_px), int((run < MOST_END_MM).sum()))]])
    return replace(path, line_mm=line)


def _free(line_mm: Array, plane: Plane, face: Face, exclude_px: tuple[Array, ...]) -> int:
    """How many points of a line (N, 2) lie on the face before the first that does not, or is covered."""
    inner, outer = face.flat_mm
    far = np.hypot(*(line_mm - face.centre_mm).T)
    off = (far < inner + EDGE_MM) | (far > outer - EDGE_MM)
    for k, (x, y) in enumerate(plane.to_px(line_mm) if len(line_mm) else ()):
        off[k] |= any(cv2.pointPolygonTest(c.astype(np.float32), (x, y), False) >= 0 for c in exclude_px)
    return int(np.argmax(off)) if off.any() else len(line_mm)


def to_finding(path: Trace, name: str, plane: Plane) -> Finding:
    """A path as a finding."""
    share = float(np.hypot(UNSEEN_SHARE, (UNSEEN_CONTRAST / path.contrast) ** 2))
    length = Length(ends_mm=END_MM, share=share, smoothed=SMOOTHED, tails_mm=2 * TAIL_MM)
    width = Measured.of(
        path.width_mm, "mm", how="from the light it takes at mid-length, if black or as pale as it looks",
        edge=path.width_u_mm,
    )  # fmt: skip
    return crack_finding(name, path.line_mm, plane, length, width, faint=path.contrast < FAINT)
