"""Cracks suspected on a face: thin dark paths that wander across it.

Dark lines on the coarse map of the face are followed in the photo itself, and on from their ends. What shows darker
than the metal's grain all along, and was not drawn by a tool, is reported. Lines that run along the circles are lathe
lines and are left out, and with them any crack that runs that way. A scratch, a hair or a shadow's edge can pass for a
crack and a closed crack cannot be seen: every finding is only suspected, a penetrant test tells.
"""

from __future__ import annotations

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.face import Face
from wearvision.measure.finders.crack_finding import Length, crack_finding
from wearvision.measure.finders.crack_grow import ON_MM, SHARE, SURE_MM, Ground, distinct, grown, to_ends
from wearvision.measure.finders.crack_path import Trace, traces
from wearvision.measure.finders.face_map import FaceMap, face_map
from wearvision.measure.finders.joined import share_on
from wearvision.measure.finders.tool_mark import tool_mark
from wearvision.measure.finders.valleys import valley_lines
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image
from wearvision.quantity import Measured

REPORT_MM, LONGEST_MM = 12.0, 120.0
"""Shorter paths are not reported, too much looks like them; longer ones are grooves and shadows."""
FIRST, FIRST_MM = (1.7, 3.2), 7.0
LEAST = (1.8, 3.3)
"""Worth and contrast of what is followed further, which has at least this length, and of what is reported."""
FAINT = 5.0
"""With less contrast than this it is faint."""
MOSTLY = 0.8
"""A path of which this share lies on a plainer one is not followed anew."""
SMOOTHED = 0.025
"""A path is seen smoother than it runs, and shorter by this share."""
TAIL_MM, END_MM, UNSEEN_SHARE, UNSEEN_CONTRAST = 1.0, 1.7, 0.045, 2.5
"""What fades out unseen at either end, mm; standard uncertainty of a length: of its ends; as a share, as it wanders and
may run into another; and as the square of this over its contrast, as what is fainter still is not seen."""
WIDER = 1.25
"""A width is known so much worse than along the slit alone: grain and rust of a face are not those beside it."""


def find_cracks(
    gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...] = (), flat: FaceMap | None = None
) -> list[Trace]:
    """Paths on a face that look like cracks, longest first; see the module for what is told apart.

    ``flat`` is the face's map where it was made before.
    """
    flat = flat or face_map(gray, plane, face, exclude_px)
    ground = Ground(
        gray=gray, plane=plane, centre_mm=face.centre_mm, deg=np.zeros(1), edges_mm=np.array(face.flat_mm)[:, None],
        exclude_px=exclude_px,
    )  # fmt: skip
    seen = traces(gray, plane, valley_lines(flat), SHARE)
    clear = (t for t in seen if t is not None and _clear(t, FIRST) and t.length_mm > FIRST_MM)
    first = sorted(clear, key=lambda t: -t.worth * t.length_mm)
    good: list[Trace] = []
    for path in first:
        if any(share_on(path.line_mm[::3], g.line_mm, ON_MM) > MOSTLY for g in good):
            continue
        if path.length_mm > SURE_MM and _of_tool(path, face):
            continue
        path = grown(path, ground)
        if _clear(path, LEAST) and path.length_mm < LONGEST_MM and not _of_tool(path, face):
            good.append(path)
    paths = [to_ends(path, ground) for path in distinct(good)]
    return sorted((p for p in paths if p.length_mm > REPORT_MM), key=lambda p: -p.length_mm)


def _clear(path: Trace, least: tuple[float, float]) -> bool:
    return path.worth > least[0] and path.contrast > least[1]


def _of_tool(path: Trace, face: Face) -> bool:
    return tool_mark(path.line_mm, face.centre_mm, path.contrast)


def to_finding(path: Trace, name: str, plane: Plane) -> Finding:
    """A path as a finding."""
    share = float(np.hypot(UNSEEN_SHARE, (UNSEEN_CONTRAST / path.contrast) ** 2))
    length = Length(ends_mm=END_MM, share=share, smoothed=SMOOTHED, tails_mm=2 * TAIL_MM)
    width = Measured.of(
        path.width_mm, "mm", how="from the light it takes at mid-length, if black or as pale as it looks",
        edge=WIDER * path.width_u_mm,
    )  # fmt: skip
    return crack_finding(name, path.line_mm, plane, length, width, faint=path.contrast < FAINT)
