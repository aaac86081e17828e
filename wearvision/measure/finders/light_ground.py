"""The ground on which a line of light or the edge of a shadow is sought: the photo, its plane, what of it is open."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.chart import scale_at, shrunk
from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid
from wearvision.measure.patch import Patch, patch_of
from wearvision.measure.plane import Array, Plane, shrunk_px
from wearvision.measure.unwrap import Image

Flags = NDArray[np.bool_]
MAP_MM, MARGIN = 0.4, 9
"""Samples of the coarse map, and how far from what is hidden they must lie."""
REACH_MM, BESIDE = 110.0, 9
"""How far a band runs to either side of its middle at most; places across it at which it is asked what is open."""
COVER_PX = 8
"""Photo pixels of a pixel of the mask that tells roughly what is open."""
ASKEW_DEG = 50.0
"""What runs across a face runs within this angle of straight through the axis."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ground:
    """Where to look.

    Attributes
    ----------
    gray : (H, W) uint8
    plane : Plane
    exclude_px : tuple of (N, 2) arrays
        Outlines of what hides the part, photo px.
    within_px : (N, 2) array or None
        Outline to look within, photo px; all of the picture when left out.
    axis_mm : (2,) array or None
        The part's axis; grooves run round it, so what is sought is what runs across.
    step_px : float
        Distance of a band's samples.
    """

    gray: Image
    plane: Plane
    exclude_px: tuple[Array, ...] = ()
    within_px: Array | None = None
    axis_mm: Array | None = None
    step_px: float = 0.7

    def smaller(self, px_mm: float) -> Ground:
        """The same in a copy of the photo that is shrunk by a whole number, its pixels no larger than this."""
        width, height = self.plane.size_px
        middle = np.array([[(width - 1) / 2, (height - 1) / 2]])
        factor = int(min(px_mm / scale_at(self.plane, middle), min(width, height) / 64))
        if factor < 2:
            return self
        return self._shrunk(shrunk(self.gray, factor), factor, (width // factor, height // factor))

    def on(self, image: Image) -> Ground:
        """The same in another picture of the photo, as large or a whole number of times smaller, sampled as finely."""
        factor = round(self.plane.size_px[0] / image.shape[1])
        same = self._shrunk(image, factor, (image.shape[1], image.shape[0]))
        return replace(same, step_px=self.step_px / factor)

    def _shrunk(self, gray: Image, factor: int, size_px: tuple[int, int]) -> Ground:
        return replace(
            self, gray=gray, plane=self.plane.shrunk(factor, size_px),
            exclude_px=tuple(shrunk_px(outline, factor) for outline in self.exclude_px),
            within_px=None if self.within_px is None else shrunk_px(self.within_px, factor),
        )  # fmt: skip

    def map(self) -> tuple[Patch, Flags]:
        """A coarse map of all there is, and what of it is open."""
        small = self.smaller(MAP_MM)
        width, height = small.plane.size_px
        frame = np.array([[0.0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]])
        around = frame if small.within_px is None else np.clip(small.within_px, 0, [width - 1, height - 1])
        mm = small.plane.to_mm(around)
        low, (wide, high) = mm.min(axis=0), np.ptp(mm, axis=0)
        patch = patch_of(
            small.gray, small.plane, low, np.array([1.0, 0.0]), (float(wide), float(high)), step_mm=MAP_MM,
            exclude_px=small.exclude_px,
        )  # fmt: skip
        free = cv2.erode(patch.valid.astype(np.uint8), np.ones((MARGIN, MARGIN), np.uint8)) > 0
        return patch, np.asarray(free & small._inside(patch))

    def across(self, patch: Patch, every: int) -> tuple[Grid, Grid] | None:
        """Direction from the axis (cosine, sine) at every so many samples of a patch; `None` without an axis."""
        if self.axis_mm is None:
            return None
        x, y = patch.to_grid(self.axis_mm.reshape(1, 2))[0]
        height, width = patch.values.shape
        columns = np.arange(0, width, every, dtype=np.float32)[None, :] - np.float32(x)
        rows = np.arange(0, height, every, dtype=np.float32)[:, None] - np.float32(y)
        away = np.sqrt(columns**2 + rows**2) + np.float32(1e-6)
        return columns / away, rows / away

    def band(self, middle_mm: Array, along: Array, half_mm: float) -> tuple[Patch, Flags] | None:
        """A band about a straight line, as long as any of it is open, and what of it is; `None` when nothing is."""
        normal = np.array([-along[1], along[0]])
        at, aside = np.arange(-REACH_MM, REACH_MM + 1), np.linspace(-half_mm, half_mm, BESIDE)
        mm = middle_mm + at[:, None, None] * along + aside[None, :, None] * normal
        rows = np.flatnonzero(self._open(mm.reshape(-1, 2)).reshape(len(at), -1).any(axis=1))
        if not len(rows):
            return None
        start, end = at[rows[0]] - 1.0, at[rows[-1]] + 1.0
        patch = patch_of(
            self.gray, self.plane, middle_mm + along * start - normal * half_mm, along, (end - start, 2 * half_mm),
            down=normal, exclude_px=self.exclude_px, step_px=self.step_px,
        )  # fmt: skip
        return patch, np.asarray(patch.valid & self._inside(patch))

    def _open(self, mm: Array) -> Flags:
        """Which places (N, 2) of the plane are open, to some pixels."""
        width, height = self.plane.size_px
        cover = np.zeros((height // COVER_PX + 1, width // COVER_PX + 1), np.uint8)
        if self.within_px is None:
            cover[:] = 1
        else:
            cv2.fillPoly(cover, [np.round(self.within_px / COVER_PX).astype(np.int32)], 1)
        for outline in self.exclude_px:
            cv2.fillPoly(cover, [np.round(outline / COVER_PX).astype(np.int32)], 0)
        x, y = np.clip(self.plane.to_px(mm), -COVER_PX, [width + COVER_PX, height + COVER_PX]).T
        seen = (x >= 0) & (y >= 0) & (x < width) & (y < height)
        at = np.clip(np.stack([y, x]) / COVER_PX, 0, [[cover.shape[0] - 1], [cover.shape[1] - 1]]).astype(int)
        return np.asarray(seen & (cover[at[0], at[1]] > 0))

    def _inside(self, patch: Patch) -> Flags:
        """Which samples of a patch lie within the outline; all without one."""
        if self.within_px is None:
            return np.ones(patch.valid.shape, dtype=np.bool_)
        cover = np.zeros(patch.valid.shape, np.uint8)
        cv2.fillPoly(cover, [np.round(patch.to_grid(self.plane.to_mm(self.within_px))).astype(np.int32)], 1)
        return np.asarray(cover > 0)


def askew(bearing: tuple[Grid, Grid] | None, turn_deg: float, size: Grid) -> Grid:
    """What of a map (H, W) may belong to a line of this direction that runs across the part; 0 elsewhere."""
    if bearing is None:
        return size
    rad, least = np.radians(turn_deg), np.float32(np.cos(np.radians(ASKEW_DEG)))
    return _across_only(*bearing, np.float32(np.cos(rad)), np.float32(np.sin(rad)), least, size)


@compiled
def _across_only(right: Grid, down: Grid, cosine: np.float32, sine: np.float32, least: np.float32, size: Grid) -> Grid:
    """Sizes (H, W) where a direction leads away from the axis, to an angle of this cosine; 0 elsewhere."""
    kept = np.zeros_like(size)
    for row in range(size.shape[0]):
        for column in range(size.shape[1]):
            if abs(right[row, column] * cosine + down[row, column] * sine) > least:
                kept[row, column] = size[row, column]
    return kept
