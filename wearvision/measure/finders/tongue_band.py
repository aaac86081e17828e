"""The band along a lip, rolled out as coarsely as a lip needs, with what each sample shows: tone, colour, grain, steps.

Rust and paint cross a lip, light does not: bright rust on the face and dark rust in the passage are told apart by tone
and colour together, where neither alone does it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import Copies, scale_at
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, log_gray, slope
from wearvision.measure.finders.tongue_clear import percentile
from wearvision.measure.look import Look
from wearvision.measure.patch import Patch, patch_of
from wearvision.measure.plane import Array, Plane, shrunk_px
from wearvision.measure.roughness import strays
from wearvision.measure.unwrap import Image
from wearvision.measure.warmth import Warmth, warmth_of

Classes = NDArray[np.uint8]
STEP_MM, ROUGH_MM = 0.12, 0.24
"""Sample distance of the band a lip is followed in, and of one in which leads are told apart."""
ABOVE_MM, BELOW_MM, BESIDE_MM = 5.0, 11.0, 3.0
"""The band reaches so far into the opening, into the metal, and beyond the ends."""
TONES, COLOURS, GRAINS = 14, 6, 8
"""Classes, equally many samples in each."""
GRAIN_MM = 0.35
"""Grain is what is finer than this, its size taken over as much."""
GRAIN_LEVELS = 500.0
"""Levels of a grain of one natural logarithm of grey."""
TONE_SAMPLES, COLOUR_SAMPLES = 1.2, 1.5
"""Tones and colours are smoothed so: a photo keeps colours coarser than its greys."""
SLANTS = (-0.8, -0.35, 0.0, 0.35, 0.8)
"""A step is summed over a run at the best of these slants (rows per column)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Copy:
    """The photo shrunk by a whole number.

    Attributes
    ----------
    gray : (H, W) uint8
    plane : Plane
        Of this copy, as are the pixels of all else here.
    hidden_px : outlines of what hides the part
    blur_px : float
        Standard deviation of its edges.
    """

    gray: Image
    plane: Plane
    hidden_px: tuple[Array, ...]
    blur_px: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Sight:
    """The photo as finely as a lip needs it.

    Attributes
    ----------
    fine, rough : Copy
        For a band of `STEP_MM`, and of `ROUGH_MM`.
    warmth : Warmth or None
    """

    fine: Copy
    rough: Copy
    warmth: Warmth | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Band:
    """What a band shows, metal below.

    Attributes
    ----------
    patch : Patch
    length_mm : float
        Distance of the corners it was laid along.
    steep : (H, W) float32
        Slope of the logarithm of grey downwards, per sample.
    look, grain : (H, W) uint8
        Classes, 0 upwards; a look is a tone (counted in `COLOURS`) and a colour.
    wall : float
        Tangent of the angle at which the camera sees the wall below the rim; 0 and less: it is hidden.
    """

    patch: Patch
    length_mm: float
    steep: Grid
    look: Classes
    grain: Classes
    wall: float

    @cached_property
    def off_mm(self) -> Array:
        """Rows (H,): distance behind the line between the corners."""
        return np.asarray(np.arange(len(self.steep)) * self.patch.step_mm - ABOVE_MM)

    @cached_property
    def along_mm(self) -> Array:
        """Columns (W,): distance along the line from its first corner."""
        return np.asarray(np.arange(self.steep.shape[1]) * self.patch.step_mm - BESIDE_MM)

    def strength(self, run_mm: float) -> Grid:
        """Size of the mean step over a run of columns at the best of several slants, in usual steps of the band."""
        run = max(3, round(run_mm / self.patch.step_mm) | 1)
        whole = np.zeros_like(self.steep)
        for slant in SLANTS:
            mean = cv2.filter2D(self.steep, cv2.CV_32F, _kernel(slant, run))
            np.maximum(whole, np.abs(mean, out=mean), out=whole)
        usual = percentile(whole[self.patch.valid], 50.0) if self.patch.valid.any() else 1.0
        return np.asarray(whole / np.float32(1.4826 * usual + 2e-3), dtype=np.float32)


def sight_of(look: Look) -> Sight:
    """Two copies of the photo, and its colours."""
    whole = Copy(gray=look.gray, plane=look.plane, hidden_px=look.cards_px, blur_px=look.blur_px)
    fine = _copy(whole, STEP_MM, look.copies)
    warmth = None if look.colour is None else warmth_of(look.colour, look.plane)
    return Sight(fine=fine, rough=_copy(fine, ROUGH_MM), warmth=warmth)


def _copy(of: Copy, step_mm: float, made: Copies | None = None) -> Copy:
    """A copy with pixels as large as a sample distance, or a little smaller; ``made`` are smaller ones there are."""
    factor = max(1, int(step_mm / scale_at(of.plane, (np.array([of.plane.size_px]) - 1) / 2)))
    if factor == 1:
        return of
    gray = (made or Copies(of.gray)).shrunk(factor)
    high, wide = gray.shape
    return Copy(
        gray=gray, plane=of.plane.shrunk(factor, (wide, high)), blur_px=float(np.hypot(of.blur_px / factor, 0.3)),
        hidden_px=tuple(shrunk_px(outline, factor) for outline in of.hidden_px),
    )  # fmt: skip


def band_of(sight: Sight, left_mm: Array, right_mm: Array, step_mm: float = STEP_MM) -> Band:
    """Roll out the band along the line between two corners; metal lies a quarter turn (x to y) from it."""
    copy = sight.fine if step_mm < ROUGH_MM else sight.rough
    length = float(np.hypot(*(right_mm - left_mm)))
    across = (right_mm - left_mm) / length
    down = np.array([-across[1], across[0]])
    origin = left_mm - BESIDE_MM * across - ABOVE_MM * down
    size = (length + 2 * BESIDE_MM, ABOVE_MM + BELOW_MM)
    patch = patch_of(copy.gray, copy.plane, origin, across, size, step_mm=step_mm, exclude_px=copy.hidden_px)
    look = np.uint8(COLOURS) * _classes(_soft(patch.values, TONE_SAMPLES), patch.valid, TONES)
    if sight.warmth is not None:
        warm = patch_of(sight.warmth.image, sight.warmth.plane, origin, across, size, step_mm=step_mm).values
        look += _classes(_soft(warm, COLOUR_SAMPLES), patch.valid, COLOURS)
    log = log_gray(patch.values)
    wide = (max(1.0, GRAIN_MM / step_mm),) * 2
    fine = strays(log, wide, wide)
    sigma = max(0.8, 0.9 * copy.blur_px * patch.px_mm / step_mm)
    soft = _soft(log, 0.7)
    return Band(
        patch=patch, length_mm=length, steep=np.ascontiguousarray(slope(np.ascontiguousarray(soft.T), sigma).T),
        look=look, grain=_classes(GRAIN_LEVELS * fine, patch.valid, GRAINS),
        wall=_wall(copy.plane, (left_mm + right_mm) / 2, down),
    )  # fmt: skip


def _soft(values: Grid, samples: float) -> Grid:
    """Smoothed by a Gaussian of so many samples (standard deviation)."""
    return np.asarray(cv2.GaussianBlur(values, (0, 0), samples), dtype=np.float32)


@compiled
def _classes(values: Grid, valid: NDArray[np.bool_], count: int) -> Classes:
    """Class of each sample of 0 to 255, from 0 to count - 1, equally many seen ones in each."""
    level, met = np.empty(values.shape, dtype=np.uint8), np.zeros(256)
    for row in range(values.shape[0]):
        for column in range(values.shape[1]):
            level[row, column] = min(max(values[row, column], 0), 255)
            met[level[row, column]] += valid[row, column]
    share = np.cumsum(met)
    middle = (share - met / 2) / max(share[-1], 1.0)
    named = np.minimum(middle * count, count - 1).astype(np.uint8)
    for row in range(values.shape[0]):
        for column in range(values.shape[1]):
            level[row, column] = named[level[row, column]]
    return level


def _wall(plane: Plane, place_mm: Array, down: Array) -> float:
    """Tangent of the camera's angle at a place, towards the opening."""
    rotation, shift = plane.pose
    camera = -rotation.T @ shift
    return float(-(camera[:2] - place_mm) @ down / abs(camera[2]))


@lru_cache(maxsize=32)
def _kernel(slant: float, run: int) -> Grid:
    """Mean over a run of columns along a slant."""
    half = run // 2
    reach = int(np.ceil(abs(slant) * half))
    kernel = np.zeros((2 * reach + 1, run), dtype=np.float32)
    at = reach + slant * np.arange(-half, half + 1)
    low = np.floor(at).astype(int)
    kernel[low, np.arange(run)] += (1 - (at - low)).astype(np.float32)
    kernel[np.minimum(low + 1, 2 * reach), np.arange(run)] += (at - low).astype(np.float32)
    return np.asarray(kernel / kernel.sum(), dtype=np.float32)
