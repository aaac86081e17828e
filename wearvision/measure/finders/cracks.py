"""Cracks suspected on a face: thin dark paths that cross the circles of turning.

Dark lines on the coarse map of the face are looked at again in the photo itself: dark, narrow, and nearly without gaps;
then followed to their ends. Lines that run along the circles are lathe lines and are left out, and with them any crack
that runs that way. A scratch, a hair or a shadow's edge can pass for a crack and a closed crack cannot be seen: every
finding is only suspected, a penetrant test tells.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from wearvision.finding import Finding
from wearvision.measure.chart import scale_at
from wearvision.measure.edges import log_gray
from wearvision.measure.face import Face
from wearvision.measure.finders.face_map import FaceMap, face_map
from wearvision.measure.finders.valleys import LEAST_MM, valley_lines
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image
from wearvision.quantity import Measured, Quantity

BRIDGE_MM, BEND_DEG = 3.0, 35.0
REPORT_MM = 12.0
"""Shorter paths are not reported: too much looks like them."""
EDGE_MM = 0.8
DARKER, SHARE = 0.10, 0.72
"""A path is darker in the photo than both sides by this much (log grey), and on this share of its length by half."""
PALE = 0.8
"""Doubt of a width, its share: light that comes back out of a crack makes it look narrower than it is."""
PLAIN_DARK = 0.28
"""One that nobody pointed at is darker than this: scratches, wet edges and grain are not."""
END_SHARE = 0.25
"""It ends where less than this share of its usual darkness is left."""
MOST = 6
AROUND = 0.18
AROUND_MM = 0.2
"""A path that gains less than this share of its length in radius, half of it this near to one smooth way, runs along
its circle: a lathe line, a groove."""
WANDER_MM, TRUE_SHARE = 0.055, 0.50
"""A path that has this share of its points so near to one parabola was drawn by a tool: cracks follow the grain and
wander."""
STRIDE_MM, TURN_DEG, ASIDE_MM = 0.5, 60.0, 0.45
"""A path is carried on from its ends in strides, each turning by this much at most, dark against both sides."""
GROW_SHARE, GAPS = 0.35, 2
"""A stride shows this share of the path's darkness at least; so many in a row may miss it."""
LONGEST_MM, BACK_DEG = 150.0, 100.0
"""It is carried on this far at most, and ends where it would turn back by this much: round a hole, along a rim."""
END_MM, UNSEEN_SHARE = 1.0, 0.07
"""Standard uncertainty of where a crack ends, as it fades into the grain of the metal; and share of its length that may
go on unseen or lie beside it."""
WIDTH_MM = (0.06, 0.8)
"""What takes less light is a scratch; a wider dark path is a groove, a shadow or a seam."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Path:
    """A dark path: points (N, 2) along it on the plane, its darkness, the share that shows it, width and doubt, mm."""

    line_mm: Array
    dark: float
    share: float
    width_mm: float
    width_u_mm: float

    @property
    def length_mm(self) -> float:
        """Along the path."""
        return float(np.hypot(*np.diff(self.line_mm, axis=0).T).sum())


def find_cracks(
    gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...] = (), flat: FaceMap | None = None
) -> list[Path]:
    """Paths on a face that look like cracks, longest first; see the module for what is told apart.

    ``flat`` is the face's map where it was made before.
    """
    flat = flat or face_map(gray, plane, face, exclude_px)
    lines = [line for level in valley_lines(flat, face) for line in _joined(level)]
    sure = [_looked_at(gray, plane, line) for line in lines]
    plain = [p for p in sure if p is not None and p.dark >= PLAIN_DARK and p.length_mm >= REPORT_MM]
    kept = [p for p in plain if not _tool_mark(p, face)]
    grown = [_grown(gray, plane, p, face, exclude_px) for p in _distinct(kept)[:MOST]]
    return _distinct([p for p in grown if not _tool_mark(p, face)])


def _grown(gray: Image, plane: Plane, path: Path, face: Face, exclude_px: tuple[Array, ...]) -> Path:
    """The path carried on from both its ends for as long as it shows."""
    inner, outer = face.flat_mm
    line = path.line_mm
    for _ in range(2):
        line = line[::-1]
        behind = line[-1] - line[max(0, len(line) - 1 - round(1.5 / max(1e-3, path.length_mm / len(line))))]
        more = _carried_on(gray, plane, line[-1], float(np.arctan2(behind[1], behind[0])), GROW_SHARE * path.dark)
        far = np.hypot(*(more - face.centre_mm).T)
        out = (far < inner + EDGE_MM / 2) | (far > outer - EDGE_MM / 2)
        px = plane.to_px(more) if len(more) else more
        for k, (x, y) in enumerate(px):
            out[k] |= any(cv2.pointPolygonTest(c.astype(np.float32), (x, y), False) >= 0 for c in exclude_px)
        line = np.vstack([line, more[: int(np.argmax(out)) if out.any() else len(more)]])
    return Path(**{**vars(path), "line_mm": line})


def _carried_on(gray: Image, plane: Plane, start: Array, heading: float, least: float) -> Array:
    """Points (N, 2) on from the end of a path: strides along the best valley within a turn; none where it ends."""
    turns = np.radians(np.arange(-TURN_DEG, TURN_DEG + 1, 10.0))
    along, aside = STRIDE_MM * np.array([0.25, 0.5, 0.75, 1.0]), np.array([-ASIDE_MM, 0.0, ASIDE_MM])
    out, missed, at, ahead_rad = [], 0, start, heading
    for _ in range(int(LONGEST_MM / STRIDE_MM)):
        way = np.stack([np.cos(heading + turns), np.sin(heading + turns)], axis=-1)
        normal = np.stack([-way[:, 1], way[:, 0]], axis=-1)
        ahead = at + along[None, :, None, None] * way[:, None, None]
        px = plane.to_px((ahead + aside[None, None, :, None] * normal[:, None, None]).reshape(-1, 2))
        if px.min() < 0 or (px.max(axis=0) > np.array(gray.shape[::-1]) - 1).any():
            break
        x, y = np.ascontiguousarray(px.T, dtype=np.float32).reshape(2, -1, 1)
        seen = cv2.remap(gray, x, y, cv2.INTER_LINEAR)
        tone = log_gray(seen.astype(np.float32)).reshape(len(turns), len(along), 3).mean(axis=1)
        depth = np.minimum(tone[:, 0], tone[:, 2]) - tone[:, 1]
        best = int(np.argmax(depth - 0.15 * least * (turns / turns[-1]) ** 2))
        missed = 0 if depth[best] >= least else missed + 1
        if missed > GAPS or abs(heading + turns[best] - ahead_rad) > np.radians(BACK_DEG):
            break
        heading += float(turns[best]) if not missed else 0.0
        at = at + STRIDE_MM * np.array([np.cos(heading), np.sin(heading)])
        out.append(at)
    return np.array(out[: len(out) - min(missed, GAPS)]).reshape(-1, 2)


def _distinct(paths: list[Path]) -> list[Path]:
    """Paths that do not mostly lie on a longer one, longest first."""
    out: list[Path] = []
    for path in sorted(paths, key=lambda p: -p.length_mm):
        near = (np.hypot(*(path.line_mm[:, None] - o.line_mm[None]).transpose(2, 0, 1)).min(axis=1) < 1.0 for o in out)
        if all(n.mean() < 0.5 for n in near):
            out.append(path)
    return out


def _tool_mark(path: Path, face: Face) -> bool:
    """Whether a path runs along its circle, or as true as only a tool runs."""
    radius = np.hypot(*(path.line_mm - face.centre_mm).T)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path.line_mm, axis=0).T))])
    if np.ptp(radius) < AROUND * path.length_mm and _off_parabola(np.column_stack([run, radius])) < AROUND_MM:
        return True
    off = path.line_mm - path.line_mm.mean(axis=0)
    axes = np.linalg.svd(off, full_matrices=False)[2]
    return _off_parabola(off @ axes.T) < WANDER_MM


def _off_parabola(at: Array) -> float:
    """Usual distance of points (N, 2), in their own main axes, from a parabola.

    The parabola is that of the most of them: a path may leave a scratch where it crosses rust or another scratch.
    """
    weight = np.ones(len(at))
    for _ in range(8):
        rest = np.abs(at[:, 1] - np.polyval(np.polyfit(at[:, 0], at[:, 1], 2, w=weight), at[:, 0]))
        weight = 1 / np.maximum(rest, 0.5 * WANDER_MM)
    return float(np.quantile(rest, TRUE_SHARE))


def _joined(lines: list[Array]) -> list[Array]:
    """Lines with those that carry them on after a gap, end to end."""
    left = sorted(lines, key=len, reverse=True)
    out: list[Array] = []
    while left:
        line, found = left.pop(0), True
        while found:
            found = False
            for k, other in enumerate(left):
                ends = ((a, b) for a in (line, line[::-1]) for b in (other, other[::-1]))
                fit = next(((a, b) for a, b in ends if _carries_on(a, b)), None)
                if fit is not None:
                    line, found = np.vstack(fit), True
                    del left[k]
                    break
        out.append(line)
    return out


def _carries_on(line: Array, other: Array) -> bool:
    """Whether a second line starts where the first ends, running the same way."""
    gap = other[0] - line[-1]
    if np.hypot(*gap) > BRIDGE_MM:
        return False
    a, b = line[-1] - line[max(0, len(line) - 8)], other[min(7, len(other) - 1)] - other[0]
    bend = np.cos(np.radians(BEND_DEG))
    ahead = float(gap @ a) / (np.hypot(*gap) * np.hypot(*a) + 1e-9)
    return bool(float(a @ b) / (np.hypot(*a) * np.hypot(*b) + 1e-9) > bend and (ahead > bend or np.hypot(*gap) < 1.0))


def _looked_at(gray: Image, plane: Plane, line_mm: Array) -> Path | None:
    """The path in the photo itself: drawn onto the darkest line, cut where it no longer shows, its width from how
    much light it takes; None when it is not dark all along."""
    px_mm = scale_at(plane, plane.to_px(line_mm[[len(line_mm) // 2]]))
    step = 0.7 * px_mm
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line_mm, axis=0).T))])
    if run[-1] < LEAST_MM:
        return None
    s = np.arange(0, run[-1], 2 * step)
    line = np.column_stack([np.interp(s, run, line_mm[:, k]) for k in (0, 1)])
    line = np.asarray(cv2.blur(line, (1, 9), borderType=cv2.BORDER_REFLECT), dtype=np.float64).reshape(-1, 2)
    way = np.asarray(np.gradient(line, axis=0), dtype=np.float64)
    normal = np.column_stack([-way[:, 1], way[:, 0]]) / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    half = max(8, round(1.2 / step))
    aside = np.arange(-half, half + 1, dtype=np.float64) * step
    px = plane.to_px((line[:, None, :] + aside[None, :, None] * normal[:, None, :]).reshape(-1, 2))
    grid = px.reshape(len(line), len(aside), 2).astype(np.float32)
    seen = cv2.remap(gray, grid[..., 0], grid[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    tone = np.asarray(cv2.blur(log_gray(seen.astype(np.float32)), (1, 5)), dtype=np.float64)
    return _profile(line, np.asarray(normal, dtype=np.float64), aside, tone, px_mm)


def _profile(line: Array, normal: Array, aside: Array, tone: Array, px_mm: float) -> Path | None:
    reach = np.abs(aside) < 0.5
    middle = np.nonzero(reach)[0]
    low = middle[np.argmin(tone[:, reach], axis=1)]
    low = cv2.medianBlur(low.astype(np.float32).reshape(-1, 1), 5).ravel().astype(int)
    rows = np.arange(len(line))
    away = max(3, round(0.45 / (aside[1] - aside[0])))
    left, right = tone[rows, np.maximum(low - away, 0)], tone[rows, np.minimum(low + away, len(aside) - 1)]
    depth = np.minimum(left, right) - tone[rows, low]
    usual = float(np.median(depth))
    if usual < DARKER:
        return None
    first, last = np.nonzero(depth > END_SHARE * usual)[0][[0, -1]]
    keep = slice(int(first), int(last) + 1)
    shows = depth[keep] > 0.5 * usual
    if float(shows.mean()) < SHARE:
        return None
    moved = line + normal * aside[low][:, None]
    around = np.arange(-away, away + 1)
    level = np.minimum(left, right)
    taken = 1 - np.exp(tone[rows[:, None], np.clip(low[:, None] + around, 0, len(aside) - 1)] - level[:, None])
    widths = np.clip(taken, 0, 1).sum(axis=1) * (aside[1] - aside[0])
    half = slice(len(line) // 3, max(len(line) // 3 + 1, 2 * len(line) // 3))
    width = float(np.median(widths[half]))
    if not WIDTH_MM[0] <= width <= WIDTH_MM[1]:
        return None
    out = np.asarray(cv2.blur(moved[keep], (1, 7), borderType=cv2.BORDER_REFLECT)).reshape(-1, 2)
    return Path(
        line_mm=out[:: max(1, len(out) // 60)] if len(out) > 120 else out, dark=usual, share=float(shows.mean()),
        width_mm=width, width_u_mm=float(np.hypot(PALE * width, 0.25 * px_mm)),
    )  # fmt: skip


def to_finding(path: Path, name: str, plane: Plane) -> Finding:
    """A path as a finding: always suspected, always to be tested with penetrant."""
    line_px = plane.to_px(path.line_mm)
    value, parts = plane.propagate(lambda p: np.array([np.hypot(*np.diff(p.to_mm(line_px), axis=0).T).sum()]))
    length: Quantity = Measured.of(
        float(value[0]), "mm", how="along the dark path; a penetrant test tells",
        outline=float(np.hypot(END_MM, UNSEEN_SHARE * value[0])),
        **{n: float(u[0]) for n, u in parts.items()},
    )  # fmt: skip
    width: Quantity = Measured.of(
        path.width_mm, "mm", how="from the light it takes at mid-length, the crack taken as black", edge=path.width_u_mm
    )
    flags = ("suspected", "faint") if path.dark < 2 * DARKER else ("suspected",)
    return Finding(
        id=name, kind="crack", outline_px=np.vstack([line_px, line_px[::-1]]),
        quantities={"length": length, "width": width}, flags=flags,
        places_px=line_px[[len(line_px) // 2]],
    )  # fmt: skip
