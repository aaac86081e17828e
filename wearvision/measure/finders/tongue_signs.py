"""A band along a lip, and how much each place in it looks like the rim.

The band is rolled out with metal below, and pooled over short runs along the lip. Four signs speak for a place, each
held against what is usual in the band: a step that goes on over three runs at some slant, a step between the means of
wider blocks above and below, a step of the fineness of grain between them (rust, cast skin and milling end at the rim),
and greys of the metal below, greys of the opening above. Clear steps left behind in what is taken for metal speak
against it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import scale_at
from wearvision.measure.edges import Grid, log_gray, peak_offset, slope
from wearvision.measure.finders.tongue_seek import Lead
from wearvision.measure.patch import Patch, patch_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

ABOVE_MM, BELOW_MM, BESIDE_MM = 5.0, 11.0, 3.0
"""The band reaches so far into the opening, into the metal, and beyond the ends."""
STEP_MM, RUN = 0.1, 4
"""Samples of the band; so many of its columns are one run."""
SLANT_ROWS = 3
"""A step may go aside by so many rows from run to run."""
BLOCK_MM = 0.8
DEEP_MM = 8.5
"""Metal further behind the line than this has no part in what is left behind."""
LEFT = 2.0, 4.5
"""Strength from which, and up to which, a step counts that is left behind: the rim is the last of several."""
BINS, TONE_CLIP = 24, 1.2
WORTH = np.array([0.137, 0.306, 0.15, 0.13, 0.403, 0.0083, 0.397])
"""Worth of the signs, in log odds per run: of edge, its crest, blocks, their crest, grain, tones, left behind.

What makes the true rims of drawn scenes most probable, a third less: neighbouring runs are not independent."""
CORNER_MM, LENGTH_OFF = 1.2, (0.25, 0.007)
"""A corner lies so near to where it was seen; a stated length is as sure as the sum of these, mm and share."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Band:
    """What the surroundings of a lead show.

    Attributes
    ----------
    patch : Patch
        Rolled out, metal below.
    column : (C,) array
        Middles of the runs, patch columns.
    worth : (R, C) array
        Logarithm of the odds that the rim passes here.
    strong : (R, C) array
        Step that goes on over three runs, in usual steps of the band.
    seen : (R, C) bool
    ends : (first, last)
        Columns of the corners.
    """

    patch: Patch
    column: Array
    worth: Array
    strong: Array
    seen: NDArray[np.bool_]
    ends: tuple[float, float]


def band_of(
    gray: Image, plane: Plane, lead: Lead, exclude_px: tuple[Array, ...], *, blur_px: float,
    length_mm: float | None = None,
) -> Band | None:  # fmt: skip
    """The band along a lead; None when too little of it is in view."""
    patch = _rolled_out(gray, plane, lead, exclude_px)
    line = round(ABOVE_MM / STEP_MM)
    log = log_gray(patch.values)
    ends = _ends(log, lead.length_mm, length_mm)
    first = int(np.ceil(ends[0] + 0.25 / STEP_MM))
    count = int((ends[1] - 0.25 / STEP_MM - first) // RUN)
    if count < 30 or float(patch.valid[line, first : first + count * RUN].mean()) < 0.6:
        return None
    inner = slice(first, first + count * RUN)
    seen = _pooled(patch.valid.astype(np.float32), inner) > 0.5
    strong, signs = _signs(log, inner, seen, max(0.8, 0.9 * blur_px * patch.px_mm / STEP_MM))
    column = first + (RUN - 1) / 2 + RUN * np.arange(count, dtype=np.float64)
    worth = np.tensordot(WORTH, signs, 1)
    return Band(patch=patch, column=column, worth=worth, strong=strong, seen=seen, ends=ends)


def _signs(log: Grid, inner: slice, seen: NDArray[np.bool_], sigma: float) -> tuple[Array, Array]:
    """Strength of the steps (R, C), and the signs in the order of `WORTH`, (7, R, C)."""
    soft = np.asarray(cv2.GaussianBlur(log, (0, 0), 0.7)).T
    strong = _usual(_going_on(_pooled(slope(np.ascontiguousarray(soft), sigma).T, inner)), seen, 2e-3)
    blocks = _usual(np.abs(cv2.blur(_block_step(_pooled(log, inner)), (3, 1))), seen, 1e-2)
    fine = (log - cv2.GaussianBlur(log, (0, 0), 2.5)) ** 2
    grain = _block_step(np.log(cv2.blur(_pooled(fine, inner), (5, 1)) + 1e-5))
    signs = [
        np.log1p(strong), np.log1p(_crest(strong, 2, 1)), np.log1p(blocks), np.log1p(_crest(blocks, 4, 2)),
        np.log1p(_usual(np.abs(grain), seen, 0.1)), _tones(log, inner, seen),
    ]  # fmt: skip
    return strong, np.stack([*(sign * seen for sign in signs), -_left_behind(strong, seen)])


def _crest(size: Array, apart: int, wide: int) -> Array:
    """A strength where it is the greatest of `apart` rows on either side, spread over `wide` rows; 0 elsewhere."""
    top = cv2.dilate(size, np.ones((2 * apart + 1, 1), np.uint8))
    return np.asarray(cv2.dilate(np.where(size >= top, size, 0.0), np.ones((2 * wide + 1, 1), np.uint8)))


def _rolled_out(gray: Image, plane: Plane, lead: Lead, exclude_px: tuple[Array, ...]) -> Patch:
    """The band in samples of `STEP_MM`, each a mean over what is finer."""
    across = (lead.right_mm - lead.left_mm) / lead.length_mm
    down = np.array([-across[1], across[0]])
    origin = lead.left_mm - BESIDE_MM * across - ABOVE_MM * down
    size = (lead.length_mm + 2 * BESIDE_MM, ABOVE_MM + BELOW_MM)
    parts = int(np.ceil(STEP_MM / (1.5 * scale_at(plane, plane.to_px((lead.left_mm + lead.right_mm) / 2)))))
    step = STEP_MM / parts
    patch = patch_of(gray, plane, origin, across, size, step_mm=step, exclude_px=exclude_px)
    rows, columns = (n // parts for n in patch.values.shape)
    whole = slice(0, rows * parts), slice(0, columns * parts)
    values = cv2.resize(patch.values[whole], (columns, rows), interpolation=cv2.INTER_AREA)
    middle = origin + (parts - 1) / 2 * step * (across + down)
    return replace(
        patch, values=np.asarray(values), valid=patch.valid[whole][::parts, ::parts], origin_mm=middle, step_mm=STEP_MM
    )  # fmt: skip


def _ends(log: Grid, length_mm: float, stated_mm: float | None) -> tuple[float, float]:
    """Columns of both corners: strong upright steps of the opening's sides, as far apart as is stated."""
    line = ABOVE_MM / STEP_MM
    rows = slice(round(line - 4.5 / STEP_MM), round(line - 0.8 / STEP_MM))
    size = np.abs(slope(log[rows].mean(axis=0, keepdims=True), 1.5).ravel().astype(np.float64))
    reach = np.arange(-round(CORNER_MM / STEP_MM), round(CORNER_MM / STEP_MM) + 1)
    places = [
        np.clip(round(at / STEP_MM) + reach, 1, len(size) - 2) for at in (BESIDE_MM, BESIDE_MM + length_mm)
    ]  # fmt: skip
    worth = [size[at] / (size[at].max() + 1e-9) for at in places]
    both = worth[0][:, None] + worth[1][None, :]
    if stated_mm is not None:
        off = (places[1][None, :] - places[0][:, None]) * STEP_MM - stated_mm
        both = both - 0.5 * (off / (LENGTH_OFF[0] + LENGTH_OFF[1] * stated_mm)) ** 2
    best = [int(at[k]) for at, k in zip(places, np.unravel_index(int(np.argmax(both)), both.shape), strict=True)]
    first, last = (at + float(peak_offset(*(size[at + k] for k in (-1, 0, 1)))) for at in best)
    return first, last


def _pooled(values: Grid, inner: slice) -> Array:
    """Means over runs of columns, (R, C)."""
    part = values[:, inner]
    return np.asarray(part.reshape(len(part), -1, RUN).mean(axis=2), dtype=np.float64)


def _usual(size: Array, seen: NDArray[np.bool_], least: float) -> Array:
    """In units of what is usual in the band."""
    return np.asarray(size / (1.4826 * float(np.median(size[seen])) + least))


def _going_on(steep: Array) -> Array:
    """Size of the mean step over three runs, at the best slant."""
    rows, columns = steep.shape
    wide = np.pad(steep, ((SLANT_ROWS, SLANT_ROWS), (1, 1)), mode="edge")
    best = np.zeros_like(steep)
    for aside in range(-SLANT_ROWS, SLANT_ROWS + 1):
        before, after = (wide[SLANT_ROWS + k : SLANT_ROWS + k + rows] for k in (-aside, aside))
        np.maximum(best, np.abs(before[:, :columns] + steep + after[:, 2:]), out=best)
    return best / 3


def _block_step(values: Array) -> Array:
    """Mean over the rows of a block below less that of one above, (R, C)."""
    rows, size = np.arange(len(values)), round(BLOCK_MM / STEP_MM)
    sums = np.vstack([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
    low, high = np.maximum(rows - size, 0), np.minimum(rows + size, len(values))
    above = (sums[rows] - sums[low]) / np.maximum(rows - low, 1)[:, None]
    return np.asarray((sums[high] - sums[rows]) / (high - rows)[:, None] - above)


def _tones(log: Grid, inner: slice, seen: NDArray[np.bool_]) -> Array:
    """How much better greys above a place fit the opening and those below it the metal, (R, C), mm, 0 at the line.

    Greys are taken relative to the metal at each place, those of the opening as a whole: floor, wall and shadow in it
    may look like anything.
    """
    line = round(ABOVE_MM / STEP_MM)
    metal, opening = slice(min(len(log) - 4, line + 70), len(log)), slice(line - 40, line - 6)
    level = cv2.blur(np.median(log[metal], axis=0).reshape(1, -1).astype(np.float32), (101, 1))
    rest = _pooled(log - level, inner)
    low, high = np.percentile(rest[seen], (1, 99))
    bin_of = np.clip(((rest - low) / max(high - low, 1e-3) * BINS).astype(np.int32), 0, BINS - 1)
    bell = np.exp(-0.5 * (np.arange(-4, 5) / 1.5) ** 2)
    share = []
    for rows in (metal, opening):
        count = np.bincount(bin_of[rows][seen[rows]], minlength=BINS).astype(np.float64)
        calm = np.convolve(count, bell / bell.sum(), "same")
        share.append((calm + 0.01 * calm.sum() + 1e-9) / (1.25 * calm.sum() + 1e-6))
    like = np.where(seen, np.clip(np.log(share[0] / share[1]), -TONE_CLIP, TONE_CLIP)[bin_of], 0.0)
    sums = np.cumsum(like, axis=0) * STEP_MM
    return np.asarray(2 * (sums[line] - sums))


def _left_behind(strong: Array, seen: NDArray[np.bool_]) -> Array:
    """Clear steps below a place, summed over their width, (R, C), mm."""
    near = np.arange(len(strong)) <= (ABOVE_MM + DEEP_MM) / STEP_MM
    left = np.where(near[:, None] & seen, np.clip(strong, *LEFT) - LEFT[0], 0)
    return np.asarray(np.cumsum(left[::-1], axis=0)[::-1] * STEP_MM)
