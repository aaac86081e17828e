"""One photo to be, of any view: what stands before the camera, and who tells the truth about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.mesh import Mesh
from wearvision.scenes.spec import Camera, Card, Light, Room, Shot
from wearvision.scenes.textures import Image, Maps

Array = NDArray[np.float64]
Codes = NDArray[np.uint8]
Floats = NDArray[np.float32]

FACE, GROOVE, PIT, CRACK, WASHOUT, RUB, CARD, VANE = 1, 2, 3, 4, 5, 6, 7, 8
ROUNDED, HOLE, OTHER, BENT, WORN = 10, 11, 12, 13, 14
"""Codes of the mask; 0 is background."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Body:
    """One piece with one material.

    ``look`` is a metal (`Maps`) or the colour (N, N, 3) of something dull. ``uv`` (N, 2) places its bitmap, whose
    first row lies at v = 0. ``bumpy`` uses the map's heights, ``smooth`` rounds the mesh's shading.
    """

    name: str
    mesh: Mesh
    uv: Array
    look: Maps | Image
    code: int = OTHER
    bumpy: bool = True
    smooth: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Bench:
    """A flat square behind or under everything: ``color`` (N, N, 3); ``pose`` (4, 4) moves +-1 into the world."""

    color: Image
    pose: Array
    repeat: float = 4.0


class Truth(Protocol):
    """Tells what a photo of this stage shows."""

    def paint(self, codes: Codes, hit_mm: Floats) -> Codes:
        """Mask (H, W) from the bodies' codes and the point (H, W, 3) that each pixel sees."""

    def findings(self, camera: Camera, mask: Codes) -> Sequence[Mapping[str, Any]]:
        """Findings of the truth record."""

    def summary(self) -> Mapping[str, Any]:
        """Figures of the whole part."""

    def stated(self) -> Mapping[str, float | str]:
        """What a technician would state: drawing sizes, under the names of `stated.NOMINALS`, and `light_kind`."""

    def at_mm(self, camera: Camera) -> tuple[float, float]:
        """Where on the plane the scale is told."""

    def plane_mm(self, camera: Camera) -> Array:
        """Four points (4, 2) of the plane, in frame."""


def level(height_mm: float, half_mm: float) -> Array:
    """Pose of a bench under the part."""
    pose = np.diag([half_mm, half_mm, half_mm, 1.0])
    pose[2, 3] = height_mm
    return pose


@dataclass(frozen=True, kw_only=True, eq=False)
class Stage:
    """What is before the camera. World as in `spec`: the measured plane is z = 0; ``up`` is ``z`` or ``y``.

    ``lit(mi)`` gives further objects of the tracer, such as a line of light.
    """

    name: str
    seed: int
    view: str
    part_kind: str
    bodies: tuple[Body, ...]
    benches: tuple[Bench, ...]
    card: Card
    lights: tuple[Light, ...]
    room: Room
    camera: Camera
    shot: Shot
    truth: Truth
    up: str = "z"
    lit: Any = field(default=lambda mi: {})

    @property
    def codes(self) -> dict[str, int]:
        """Mask code of each piece by its name in the tracer."""
        return {body.name: body.code for body in self.bodies} | {"card": CARD}
