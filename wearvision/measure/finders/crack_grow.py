"""A dark path carried on from both its ends, over gaps and out to where it fades, on a flat ring in a photo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from wearvision.measure.finders.crack_path import Trace, further, traces
from wearvision.measure.finders.joined import share_on
from wearvision.measure.finders.tool_mark import tool_mark
from wearvision.measure.plane import Array, Plane
from wearvision.measure.polyline import length_of
from wearvision.measure.unwrap import Image

SHARE, LEAST_GAIN, MOST_LOSS, MOST_ON_MM = 0.35, 12.0, 18.0, 60.0
"""A path is carried on by what has this share of its darkness and gains so much, over gaps that lose so much; by no
more than that."""
END_SHARE, END_GAIN, END_LOSS, MOST_END_MM = 0.15, 8.0, 6.0, 6.0
"""Its ends fade: the same of these."""
SURE_MM = 7.0
"""From this length on the way a line runs tells a tool's mark, before it is carried on."""
ON, ON_MM = 0.5, 1.0
"""A path of which this share lies so near a plainer one is that one."""
EDGE_MM = 0.4
"""So near the edges of the ring nothing is followed."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ground:
    """Where paths run.

    Attributes
    ----------
    gray : (H, W) uint8
    plane : Plane
    centre_mm : (2,) array
        Of the ring.
    deg : (K,) array
    edges_mm : (2, K) array
        Radii of its inner and outer edge at these angles.
    exclude_px : tuple of (N, 2) arrays
        What covers it.
    """

    gray: Image
    plane: Plane
    centre_mm: Array
    deg: Array
    edges_mm: Array
    exclude_px: tuple[Array, ...]

    def inside(self, line_mm: Array) -> Array:
        """How far inside of the nearer edge points (N, 2) lie, mm along the radius."""
        x, y = (line_mm - self.centre_mm).T
        far, deg = np.hypot(x, y), np.degrees(np.arctan2(y, x))
        inner, outer = (np.interp(deg, self.deg, edge, period=360.0) for edge in self.edges_mm)
        return np.asarray(np.minimum(far - inner, outer - far), dtype=np.float64)

    def free(self, line_mm: Array) -> int:
        """How many points of a line (N, 2) lie on the ring before the first that does not, or is covered."""
        off = self.inside(line_mm) < EDGE_MM
        for k, (x, y) in enumerate(self.plane.to_px(line_mm) if len(line_mm) else ()):
            off[k] |= any(cv2.pointPolygonTest(c.astype(np.float32), (x, y), False) >= 0 for c in self.exclude_px)
        return int(np.argmax(off)) if off.any() else len(line_mm)


def grown(path: Trace, ground: Ground) -> Trace:
    """The path carried on from both its ends for as long as it shows, by nothing that a tool drew."""
    line, spread = path.line_mm, path.metal.spread(path.dark, SHARE)
    for _ in range(2):
        line, more = line[::-1], line[:1]
        while (length := length_of(more)) < MOST_ON_MM:
            if length > SURE_MM and tool_mark(more, ground.centre_mm, path.contrast):
                more = more[:1]
                break
            so_far = np.vstack([line, more[1:]])
            on = further(ground.gray, ground.plane, so_far, path.metal, spread, LEAST_GAIN, MOST_LOSS)
            free = ground.free(on)
            more = np.vstack([more, on[:free]])
            if free < len(on) or not len(on):
                break
        line = np.vstack([line, more[1:]])
    return traces(ground.gray, ground.plane, [line], SHARE)[0] or path


def to_ends(path: Trace, ground: Ground) -> Trace:
    """The path with its ends, which fade."""
    line, spread = path.line_mm, path.metal.spread(path.dark, END_SHARE)
    for _ in range(2):
        line = line[::-1]
        on = further(ground.gray, ground.plane, line, path.metal, spread, END_GAIN, END_LOSS)
        run = np.cumsum(np.hypot(*np.diff(np.vstack([line[-1:], on]), axis=0).T))
        line = np.vstack([line, on[: min(ground.free(on), int((run < MOST_END_MM).sum()))]])
    return replace(path, line_mm=line)


def distinct(paths: Sequence[Trace]) -> list[Trace]:
    """Paths that do not mostly lie on one that takes more light."""
    out: list[Trace] = []
    for path in sorted(paths, key=lambda p: -p.taken):
        if all(share_on(path.line_mm, other.line_mm, ON_MM) < ON for other in out):
            out.append(path)
    return out
