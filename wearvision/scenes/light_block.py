"""A flat block of known height on a face under a plane of light: a step that tells how steep the light is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.beam import Beam, on_face
from wearvision.scenes.face_stage import planar
from wearvision.scenes.mesh import prism
from wearvision.scenes.shape import face_height
from wearvision.scenes.spec import Part
from wearvision.scenes.stage import Body

Array = NDArray[np.float64]
Rng = np.random.Generator
BLOCKS_MM = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0)
"""Heights of steps at hand: feeler, gauge block, parallel."""


@dataclass(frozen=True, kw_only=True)
class Block:
    """A flat block on the face: a place of the line, its length along the line and turn (degrees of the world's x, y),
    how far it reaches against the light and with it, its true and its stated height."""

    x_mm: float
    y_mm: float
    along_deg: float
    long_mm: float
    before_mm: float
    after_mm: float
    towards: float
    height_mm: float
    stated_mm: float

    def corners(self) -> Array:
        """Outline (4, 2) on the face, counter-clockwise."""
        turn = math.radians(self.along_deg)
        along, side = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
        low, high = sorted((-self.towards * self.before_mm, self.towards * self.after_mm))
        half = self.long_mm / 2
        ends = [(-half, low), (half, low), (half, high), (-half, high)]
        return np.asarray(np.array([self.x_mm, self.y_mm]) + np.array(ends) @ np.stack([along, side]))


def draw_block(rng: Rng, part: Part, beam: Beam, low_mm: float = 0.5, most_mm: float = 4.0) -> Block | None:
    """A block on sound metal under the line, where there is room for one."""
    reach = np.arange(-beam.length_mm / 2, beam.length_mm / 2, 0.25)
    base = beam.middle + reach[:, None] * beam.along
    sound = on_face(part, base) & (np.abs(face_height(part, base[:, 0], base[:, 1])) < 1e-6)
    long = float(rng.uniform(6.0, 11.0))
    wide = cv2.erode(sound.astype(np.uint8)[None], np.ones((1, round(long / 0.25) + 5), np.uint8), borderValue=0)[0] > 0
    sizes = [h for h in BLOCKS_MM if low_mm <= h <= most_mm]
    if not wide.any() or not sizes:
        return None
    height = float(rng.choice(sizes))
    x, y, _ = base[int(rng.choice(np.flatnonzero(wide)))]
    return Block(
        x_mm=float(x), y_mm=float(y), along_deg=beam.along_deg + float(rng.normal(0, 3)), long_mm=long,
        before_mm=12.0, after_mm=8.0, towards=beam.towards, height_mm=height + float(rng.normal(0, 0.012)),
        stated_mm=height,
    )  # fmt: skip


def block_body(block: Block, seed: int) -> Body:
    """The block as a piece: ground steel or dull paint, even in tone."""
    rng = np.random.default_rng([32, seed])
    look = np.clip(rng.uniform(0.2, 0.5) + rng.normal(0, 0.02, (64, 64, 1)) * np.ones(3), 0.02, 0.9)
    mesh = prism(block.corners(), 0.0, block.height_mm)
    return Body(name="step", mesh=mesh, uv=planar(mesh, 60.0), look=look.astype(np.float32), bumpy=False)
