"""Follow the edge of a lip at full resolution: a place in each column of a band along it, the best way end to end.

The band is rolled out with metal below. What lies well below looks like metal, what lies just above like the opening; a
step between them marks the edge. Floor, wall and shadow in the opening may look like anything, so the opening's greys
are taken as a whole, relative to the metal at each place. How much each sign is worth is a choice: the edge is followed
with other weights too, and where the ways part the picture does not tell.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import scale_at
from wearvision.measure.edges import Grid, log_gray, peak_offset, slope
from wearvision.measure.finders.tongue_seek import Lead
from wearvision.measure.finders.way import best_way
from wearvision.measure.patch import Patch, patch_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

ABOVE_MM, BELOW_MM, BESIDE_MM = 5.0, 11.0, 3.0
"""The band reaches so far into the opening, into the metal, and beyond the ends."""
OUT_MM, DEEP_MM = 2.0, 8.5
"""The edge lies at most so far on the opening's side of the line between the corners, and behind it."""
BINS, CLASS_CLIP = 24, 1.2
LEFT_FROM = 2.0
"""Strength from which a step counts that is left behind in what is taken for metal: the rim is the last of several."""
RUN_MM = 1.2
SLANTS = (-0.8, -0.35, 0.0, 0.35, 0.8)
"""A step is summed over such a run, at the best of these slants (rows per column)."""
COARSE_PX = 2.2


@dataclass(frozen=True, kw_only=True)
class Weights:
    """What the signs of an edge are worth.

    Attributes
    ----------
    jump : cost of a mm aside
    edge : worth of the logarithm of a step's strength, per mm of its length
    tones : worth of metal-like grey below the edge and opening-like grey above it, per mm2
    left, left_to : cost of clear steps left behind in the metal, per mm of their width, and the strength up to which
    """

    jump: float = 2.5
    edge: float = 2.2
    tones: float = 0.12
    left: float = 2.5
    left_to: float = 3.5


LENIENT = Weights(left=0.6, left_to=4.5)
"""Asks less to be the outermost step."""
WEIGHTS = (Weights(), LENIENT, Weights(jump=1.5), Weights(edge=3.2))
"""As set on drawn scenes; lenient; one that turns aside more easily; one that likes strong steps."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Trace:
    """A lip's edge, end to end.

    Attributes
    ----------
    patch : Patch
        The band it was followed in.
    column, row : (N,) arrays
        Places of the edge in the band, sub-sample.
    clear : (N,) array
        Strength of the step there, in usual steps of the band.
    seen : (N,) bool
        Whether the place is in view.
    ends : (first, last)
        Columns of the corners.
    """

    patch: Patch
    column: Array
    row: Array
    clear: Array
    seen: NDArray[np.bool_]
    ends: tuple[float, float]

    @property
    def mm(self) -> Array:
        """Plane points (N, 2)."""
        return self.patch.to_mm(self.column, self.row)

    @property
    def x_mm(self) -> Array:
        """Distance along the band from its first corner."""
        return np.asarray((self.column - self.ends[0]) * self.patch.step_mm)

    @property
    def length_mm(self) -> float:
        """Distance between the corners."""
        return (self.ends[1] - self.ends[0]) * self.patch.step_mm


def trace_lip(
    gray: Image, plane: Plane, lead: Lead, exclude_px: tuple[Array, ...], *, blur_px: float, coarse: bool = False,
    weights: tuple[Weights, ...] = WEIGHTS[:1],
) -> tuple[Trace, ...]:  # fmt: skip
    """Follow the lip of a lead, once with each of the weights; nothing when too little of it is in view.

    `coarse` is for telling leads apart.
    """
    across = (lead.right_mm - lead.left_mm) / lead.length_mm
    down = np.array([-across[1], across[0]])
    origin = lead.left_mm - BESIDE_MM * across - ABOVE_MM * down
    size = (lead.length_mm + 2 * BESIDE_MM, ABOVE_MM + BELOW_MM)
    pitch = COARSE_PX * scale_at(plane, plane.to_px(lead.left_mm.reshape(1, 2))) if coarse else None
    patch = patch_of(gray, plane, origin, across, size, step_mm=pitch, exclude_px=exclude_px)
    step = patch.step_mm
    line = ABOVE_MM / step
    log = np.asarray(cv2.GaussianBlur(log_gray(patch.values), (0, 0), 0.7), dtype=np.float32)
    sigma = max(0.8, 0.9 * blur_px * patch.px_mm / step)
    steep = np.ascontiguousarray(slope(np.ascontiguousarray(log.T), sigma).T)
    whole = _coherent(steep, max(3, round(RUN_MM / step) | 1))
    usual = float(np.median(whole[patch.valid])) if patch.valid.any() else 1.0
    strong = np.asarray(whole / np.float32(1.4826 * usual + 2e-3), dtype=np.float32)
    ends = _ends(log, patch, line, lead.length_mm)
    inner = slice(int(np.ceil(ends[0] + 0.25 / step)), int(ends[1] - 0.25 / step))
    if inner.stop - inner.start < 40 or float(patch.valid[round(line), inner].mean()) < 0.6:
        return ()
    columns = np.arange(inner.start, inner.stop)
    like = _metal_like(log, patch, inner, line)
    out = []
    for one in weights:
        path = best_way(_worth(like, strong, patch, inner, line, one), one.jump * step)
        row = _fine(np.abs(steep), columns, path, max(1, round(0.3 / step)))
        out.append(Trace(
            patch=patch, column=columns.astype(np.float64), row=row, clear=strong[path, columns].astype(np.float64),
            seen=patch.valid[path, columns], ends=ends,
        ))  # fmt: skip
    return tuple(out)


def _ends(log: Grid, patch: Patch, line: float, length_mm: float) -> tuple[float, float]:
    """Columns of both corners: the strongest upright step of the opening's sides near where they were seen."""
    step = patch.step_mm
    rows = slice(max(0, round(line - 4.5 / step)), round(line - 0.8 / step))
    size = np.abs(slope(np.ascontiguousarray(log[rows].mean(axis=0, keepdims=True)), 1.5).ravel().astype(np.float64))
    out = []
    for place in (BESIDE_MM / step, (BESIDE_MM + length_mm) / step):
        low, high = (int(np.clip(round(place + s * 1.2 / step), 1, len(size) - 2)) for s in (-1, 1))
        best = low + int(np.argmax(size[low : high + 1]))
        out.append(best + float(peak_offset(*(size[best + k] for k in (-1, 0, 1)))))
    return out[0], out[1]


def _metal_like(log: Grid, patch: Patch, inner: slice, line: float) -> Array:
    """How much more a grey is met on the metal than in the opening, (rows, columns), logarithm; 0 where not seen."""
    step = patch.step_mm
    metal_rows = slice(min(len(log) - 4, round(line + 7.0 / step)), len(log))
    open_rows = slice(max(0, round(line - 4.0 / step)), max(2, round(line - 0.6 / step)))
    metal = np.median(log[metal_rows], axis=0).reshape(1, -1).astype(np.float32)
    level = cv2.blur(metal, (2 * max(1, round(5.0 / step)) + 1, 1)).ravel()
    seen = patch.valid[:, inner]
    rest = (log - level[None, :])[:, inner]
    low, high = np.percentile(rest[seen], (1, 99)) if seen.any() else (-1.0, 1.0)
    bin_of = np.clip(((rest - low) / max(high - low, 1e-3) * BINS).astype(np.int32), 0, BINS - 1)
    bell = np.exp(-0.5 * (np.arange(-4, 5) / 1.5) ** 2)
    share = []
    for rows in (metal_rows, open_rows):
        count = np.bincount(bin_of[rows][seen[rows]], minlength=BINS).astype(np.float64)
        calm = np.convolve(count, bell / bell.sum(), "same")
        share.append((calm + 0.01 * calm.sum() + 1e-9) / (1.25 * calm.sum() + 1e-6))
    like = np.clip(np.log(share[0] / share[1]), -CLASS_CLIP, CLASS_CLIP)[bin_of]
    return np.where(seen, like, 0.0)


def _worth(like: Array, strong: Grid, patch: Patch, inner: slice, line: float, weights: Weights) -> Array:
    """Worth (columns, rows) of an edge at each place: opening above it, metal below, and a step."""
    step, strong = patch.step_mm, strong[:, inner]
    off = (np.arange(len(like)) - line) * step
    sums = np.cumsum(like, axis=0) * step
    left = np.clip(strong, LEFT_FROM, weights.left_to) - LEFT_FROM
    near = (off < DEEP_MM)[:, None] & patch.valid[:, inner]
    missed = np.cumsum(np.where(near, left, 0)[::-1], axis=0)[::-1] * step
    worth = weights.tones * (sums[-1:] - 2 * sums) + weights.edge * np.log1p(strong) - weights.left * missed
    worth[(off < -OUT_MM) | (off > DEEP_MM)] = -1e6
    return np.ascontiguousarray(worth.T * step)


def _coherent(steep: Grid, run: int) -> Grid:
    """Size of the mean step over a run of columns, at the best of several slants."""
    best = np.zeros_like(steep)
    half = run // 2
    for slant in SLANTS:
        reach = int(np.ceil(abs(slant) * half))
        kernel = np.zeros((2 * reach + 1, run), dtype=np.float32)
        at = reach + slant * np.arange(-half, half + 1)
        low = np.floor(at).astype(int)
        kernel[low, np.arange(run)] += (1 - (at - low)).astype(np.float32)
        kernel[np.minimum(low + 1, 2 * reach), np.arange(run)] += (at - low).astype(np.float32)
        best = np.maximum(best, np.abs(cv2.filter2D(steep, cv2.CV_32F, kernel / kernel.sum())))
    return np.asarray(best, dtype=np.float32)


def _fine(size: Grid, columns: NDArray[np.int64], path: NDArray[np.int64], reach: int) -> Array:
    """Row of the strongest step near the way, to a fraction."""
    index = np.clip(path[:, None] + np.arange(-reach, reach + 1), 1, len(size) - 2)
    best = index[np.arange(len(path)), np.argmax(size[index, columns[:, None]], axis=1)]
    return np.asarray(best + peak_offset(*(size[best + k, columns].astype(np.float64) for k in (-1, 0, 1))))
