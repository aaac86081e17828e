"""The whole face rolled flat once, for all that is sought on it in small: pits and cracks."""

from __future__ import annotations

import cv2
import numpy as np

from wearvision.measure.edges import Grid
from wearvision.measure.face import Face
from wearvision.measure.patch import Patch, patch_of
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

MAP_MM = 0.12


def face_map(gray: Image, plane: Plane, face: Face, exclude_px: tuple[Array, ...]) -> Patch:
    """A square map about the face's axis, 2 mm wider than the face on all sides, `MAP_MM` a sample."""
    size = 2 * face.flat_mm[1] + 4
    return patch_of(
        gray, plane, face.centre_mm - size / 2, np.array([1.0, 0.0]), (size, size), step_mm=MAP_MM,
        down=np.array([0.0, 1.0]), exclude_px=exclude_px,
    )  # fmt: skip


def coarser(patch: Patch, step_mm: float) -> Patch:
    """The map at a larger step, averaged down; a sample counts where all that went into it does."""
    wide, tall = (round(n * patch.step_mm / step_mm) for n in patch.values.shape[::-1])
    step = patch.values.shape[1] * patch.step_mm / wide
    values = cv2.resize(patch.values, (wide, tall), interpolation=cv2.INTER_AREA)
    valid = cv2.resize(patch.valid.astype(np.uint8), (wide, tall), interpolation=cv2.INTER_NEAREST) > 0
    shift = (step - patch.step_mm) / 2
    return Patch(
        values=np.asarray(values, dtype=np.float32), valid=valid, across=patch.across, down=patch.down, step_mm=step,
        origin_mm=patch.origin_mm + shift * (patch.across + patch.down), px_mm=patch.px_mm,
    )  # fmt: skip


def far_mm2(patch: Patch, face: Face) -> Grid:
    """Squared distance of each sample from the axis, mm2."""
    off = (patch.origin_mm - face.centre_mm).astype(np.float32)
    step, (tall, wide) = np.float32(patch.step_mm), patch.values.shape
    x, y = np.arange(wide, dtype=np.float32) * step + off[0], np.arange(tall, dtype=np.float32) * step + off[1]
    return np.asarray(x[None] ** 2 + y[:, None] ** 2, dtype=np.float32)
