"""The outline of a vane's end section to a fraction of a pixel: along its lines, and fan-wise round its top corners."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, log_gray, peak_offset, slope
from wearvision.measure.finders.vane_edge_lines import FOOT_MM, Line, Lines, Section
from wearvision.measure.plane import Array

GAMMA = 2.2
"""Grey to light (about IEC 61966-2-1): blur adds up in light, and only there does the steepest place keep still."""
PARTS = ("corner left", "corner right", "left", "right", "top", "bar left", "bar right")
REACH_MM = 0.45
"""How far a line's points may lie from it."""
STRIDE = 2
"""Samples of the patch from one ray to the next along a line: a photo pixel."""
ALONG_MM, FAN_RAYS = 0.3, 3
"""Length of a line, and rays of the fan, over which slopes are averaged."""
BAR_MM = 6.0
"""How far beside the foot the bar's edge is followed."""
BESIDE_MM = 5.0
"""How far beside the foot it is compared with the bar's edge."""
ACROSS_MM = np.array([0.25, 0.35, 0.45])
"""How far from that edge tone is taken on either side."""
FAN, DENSER = 61, 1.6
"""Rays of the fan; they stand closer towards the corner's bisector, where a sharp corner is told."""
POLE_MM = 3.3
"""Distance of the fan's pole from flank and top: the largest radius told."""
LEAST_SLOPE = 0.3
"""A point counts when its slope is at least this share of the median one of its edge."""
FIRST = 0.6
"""Along a ray of the fan the first edge counts that is this steep beside the steepest: behind it a flank may show."""
AROUND_MM = 0.5
"""How far beyond the sharp corner the fan looks, and short of the roundest one."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Trace:
    """Edge points (N, 2) in (along, up), which of `PARTS` each is from, and the length of edge it stands for.

    ``tried`` is how many rays were sent out for each part; some find nothing.
    """

    points: Array
    part: NDArray[np.int64]
    run_mm: Array
    tried: Array

    @property
    def base(self) -> NDArray[np.bool_]:
        """True for points of the bar's edge."""
        return np.asarray(self.part >= PARTS.index("bar left"))

    def without(self, part: str) -> Trace:
        """The trace without one part's points."""
        keep = self.part != PARTS.index(part)
        return Trace(points=self.points[keep], part=self.part[keep], run_mm=self.run_mm[keep], tried=self.tried)

    def rough(self, off_mm: Array, most_mm: float) -> dict[str, float]:
        """Root mean square of each part's distances ``off_mm`` (N,), each no more than ``most_mm``."""
        square = np.minimum(np.abs(off_mm), most_mm) ** 2
        return {
            name: float(np.sqrt(square[self.part == k].mean())) if (self.part == k).any() else most_mm
            for k, name in enumerate(PARTS)
        }

    def share(self, near: NDArray[np.bool_]) -> dict[str, float]:
        """Share of each part's rays whose points are ``near`` (N,)."""
        good = [float(np.sum(near & (self.part == k))) for k in range(len(PARTS))]
        return {name: good[k] / max(1.0, float(self.tried[k])) for k, name in enumerate(PARTS)}


@dataclass(frozen=True, kw_only=True, eq=False)
class Slopes:
    """Slope of the light along columns and rows of a section's patch, per mm."""

    section: Section
    across: Grid
    down: Grid

    def along(self, starts: Array, normals: Array, t: Array) -> Array:
        """Slope (N, T) along rays in (along, up) at distances t (T,) or (N, T)."""
        steps = np.broadcast_to(t, (len(starts), np.shape(t)[-1]))
        where = starts[:, None, :] + steps[..., None] * normals[:, None, :]
        step = self.section.patch.step_mm
        x = ((where[..., 0] - self.section.u[0]) / step).astype(np.float32)
        y = ((self.section.v[0] - where[..., 1]) / step).astype(np.float32)
        across, down = (
            cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            for image in (self.across, self.down)
        )
        return np.asarray(across * normals[:, :1] - down * normals[:, 1:], dtype=np.float64)


def slopes(section: Section, blur_px: float) -> Slopes:
    """Slopes of a section, smoothed by about the photo's own blur."""
    patch = section.patch
    sigma = filter_px(blur_px) * patch.px_mm / patch.step_mm
    light = np.asarray((patch.values / np.float32(255)) ** np.float32(GAMMA), dtype=np.float32)
    down = np.ascontiguousarray(slope(np.ascontiguousarray(light.T), sigma).T)
    return Slopes(section=section, across=slope(light, sigma), down=down)


def filter_px(blur_px: float) -> float:
    """Standard deviation of the slope filter, photo px."""
    return max(1.0, 0.8 * blur_px)


def spread_px(blur_px: float) -> float:
    """Blur of the picture and of the slope filter together, photo px."""
    return float(np.hypot(blur_px, filter_px(blur_px)))


def trace(steep: Slopes, lines: Lines, high_mm: float) -> Trace:
    """Points of flanks, top, base and both corners."""
    step = STRIDE * steep.section.patch.step_mm
    mid = (lines.left(high_mm / 2) + lines.right(high_mm / 2)) / 2
    foot, top = lines.base(mid), lines.top(mid)
    parts: list[Array] = []
    for line, way in ((lines.left, -1.0), (lines.right, 1.0)):
        at = np.arange(foot + FOOT_MM, top - 0.3, step)
        starts = np.column_stack([line.at + line.lean * at, at])
        parts.append(_steepest(steep, starts, _normal(line, way, upright=True), line.way))
    at = np.arange(lines.left(top) + 0.3, lines.right(top) - 0.3, step)
    starts = np.column_stack([at, lines.top.at + lines.top.lean * at])
    parts.append(_steepest(steep, starts, _normal(lines.top, 1.0, upright=False), lines.top.way))
    for start in (lines.left(foot) - BAR_MM, lines.right(foot) + FOOT_MM):
        at = np.arange(start, start + BAR_MM - FOOT_MM, step)
        starts = np.column_stack([at, lines.base.at + lines.base.lean * at])
        parts.append(_steepest(steep, starts, _normal(lines.base, 1.0, upright=False), lines.base.way))
    runs = [np.full(len(points), step) for points in parts]
    corners = [_corner(steep, lines, side, foot) for side in (0, 1)]
    parts, runs = [corner[0] for corner in corners] + parts, [corner[1] for corner in corners] + runs
    points = np.vstack(parts)
    part = np.repeat(np.arange(len(PARTS)), [len(p) for p in parts])
    good = np.isfinite(points).all(axis=1)
    tried = np.array([len(p) for p in parts], dtype=np.float64)
    return Trace(points=points[good], part=part[good], run_mm=np.concatenate(runs)[good], tried=tried)


def foot_edge(steep: Slopes, shape: Array) -> float:
    """How much of an edge there is across the bar's edge under the vane, over that beside it: near nothing where both
    are one piece. By slope of the light, or change of tone where that is more: black on dark metal has little slope."""
    left, right = (float(shape[k] + shape[k + 1] * shape[8]) for k in (0, 2))
    wide = right - left
    spans = ((left + 0.2 * wide, right - 0.2 * wide), (left - BESIDE_MM, left - FOOT_MM),
             (right + FOOT_MM, right + BESIDE_MM))  # fmt: skip
    told = np.array([(_slope(steep, shape, *span), _change(steep.section, shape, *span)) for span in spans])
    return float((told[0] / np.maximum(told[1:].max(axis=0), 1e-9)).max())


def _slope(steep: Slopes, shape: Array, low: float, high: float) -> float:
    """Greatest mean slope of the light across a span of the bar's edge."""
    normal = np.array([-shape[9], 1.0]) / np.hypot(1, shape[9])
    x = np.linspace(low, high, 40)
    starts = np.column_stack([x, shape[8] + shape[9] * x])
    t = np.arange(-REACH_MM, REACH_MM + 0.01, 0.05)
    return float(np.abs(steep.along(starts, np.broadcast_to(normal, starts.shape), t).mean(axis=0)).max())


def _change(section: Section, shape: Array, low: float, high: float) -> float:
    """Change of the mean log tone across a span of the bar's edge."""
    x, off = np.linspace(low, high, 40), np.array([-1.0, 1.0])[:, None, None] * ACROSS_MM[:, None]
    up = shape[8] + shape[9] * x + off
    column = np.broadcast_to((x - section.u[0]) / section.patch.step_mm, up.shape).astype(np.float32)
    row = ((section.v[0] - up) / section.patch.step_mm).astype(np.float32)
    tone = cv2.remap(
        section.patch.values, column.reshape(-1, 40), row.reshape(-1, 40), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    below, above = log_gray(np.asarray(tone, dtype=np.float32)).reshape(2, -1).mean(axis=1)
    return float(abs(above - below))


def _normal(line: Line, way: float, upright: bool) -> Array:
    normal = np.array([way, -way * line.lean] if upright else [-way * line.lean, way])
    return np.asarray(normal / np.hypot(*normal))


def _steepest(steep: Slopes, starts: Array, normal: Array, sign: float) -> Array:
    """Steepest place of a sign along short rays, (N, 2); nan where it lies at a ray's end or is weak."""
    if len(starts) == 0:
        return starts
    step = steep.section.patch.step_mm / 2
    t = np.arange(-REACH_MM, REACH_MM + step / 2, step)
    normals = np.broadcast_to(normal, starts.shape)
    told = _along(sign * steep.along(starts, normals, t), ALONG_MM / (STRIDE * steep.section.patch.step_mm))
    told = told * (1 - 0.2 * np.abs(t / REACH_MM))
    at, size = _peak(told, t)
    weak = size < LEAST_SLOPE * float(np.median(size))
    points = starts + at[:, None] * normals
    points[weak | ~np.isfinite(at)] = np.nan
    return np.asarray(points)


def _along(told: Array, rays: float) -> Array:
    """Running mean over about so many neighbouring rays: grain differs from ray to ray, an edge runs on."""
    return np.asarray(cv2.blur(told, (1, 2 * int(rays / 2) + 1), borderType=cv2.BORDER_REPLICATE))


def _first(told: Array, share: float) -> NDArray[np.int64]:
    """Column of each row's first local maximum of at least a share of its largest value."""
    high = told[:, 1:-1] >= share * told.max(axis=1, keepdims=True)
    peak = (told[:, 1:-1] >= told[:, :-2]) & (told[:, 1:-1] > told[:, 2:]) & high
    return np.asarray(np.where(peak.any(axis=1), 1 + np.argmax(peak, axis=1), np.argmax(told, axis=1)))


def _peak(told: Array, t: Array, first: float | None = None) -> tuple[Array, Array]:
    """Place of the largest value of each row (nan at its ends or where not positive), and the value.

    With ``first``, of the first peak that reaches that share of the largest.
    """
    rows = np.arange(len(told))
    top = np.argmax(told, axis=1) if first is None else _first(told, first)
    inner = np.clip(top, 1, told.shape[1] - 2)
    offset = peak_offset(told[rows, inner - 1], told[rows, inner], told[rows, inner + 1])
    steps = np.broadcast_to(t, told.shape)
    at = steps[rows, inner] + offset * (steps[:, 1] - steps[:, 0])
    size = told[rows, top]
    at[(top == 0) | (top == told.shape[1] - 1) | (size <= 0)] = np.nan
    return at, size


def _corner(steep: Slopes, lines: Lines, side: int, foot: float) -> tuple[Array, Array]:
    """Points round a top corner and the length of edge each stands for.

    From a pole inside, rays are followed between the roundest outline that may be and a little beyond the sharp one.
    The signs of flank and top may differ: along each ray the nearer of both edges' signs counts.
    """
    line, way = (lines.left, lines.right)[side], (-1.0, 1.0)[side]
    x = line(lines.top.at)
    corner = np.array([line(lines.top(x)), lines.top(x)])
    wide = lines.right(corner[1]) - lines.left(corner[1])
    pole_mm = min(POLE_MM, 0.5 * wide, 0.75 * (corner[1] - foot))
    flank, top = _normal(line, way, upright=True), _normal(lines.top, 1.0, upright=False)
    pole = corner + np.linalg.solve(np.vstack([flank, top]), np.array([-pole_mm, -pole_mm]))
    spread = np.linspace(-1, 1, FAN)
    turn = (np.pi / 4 * (1 + np.sign(spread) * np.abs(spread) ** DENSER))[:, None]
    rays = np.cos(turn) * flank + np.sin(turn) * top
    rays /= np.hypot(rays[:, 0], rays[:, 1])[:, None]
    sharp = np.minimum(pole_mm / np.maximum(rays @ flank, 1e-6), pole_mm / np.maximum(rays @ top, 1e-6))
    low = np.minimum(pole_mm, sharp) - AROUND_MM
    share = np.linspace(0, 1, max(24, int((sharp - low + AROUND_MM).max() / steep.section.patch.step_mm * 2)))
    t = low[:, None] + (sharp + AROUND_MM - low)[:, None] * share
    told = steep.along(np.broadcast_to(pole, rays.shape), rays, t)
    nearer = np.where(turn[:, 0] < np.pi / 4, line.way, lines.top.way)
    told = told * nearer[:, None] if line.way == lines.top.way else np.abs(told)
    at, size = _peak(_along(told, FAN_RAYS), t, FIRST)
    at[size < LEAST_SLOPE * float(np.median(size))] = np.nan
    points = pole + at[:, None] * rays
    run = np.hypot(*np.gradient(points, axis=0).T)
    return points, np.where(np.isfinite(run), run, np.nanmedian(run) if np.isfinite(run).any() else 0.1)
