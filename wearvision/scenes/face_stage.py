"""A wear-face scene as a stage: the part's pieces with their materials, and its truth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes import mesh as meshes
from wearvision.scenes import truth
from wearvision.scenes.chance import draw_scene
from wearvision.scenes.spec import Camera, Card, Scene
from wearvision.scenes.stage import FACE, Bench, Body, Codes, Floats, Stage, level
from wearvision.scenes.textures import bench_map, face_maps, rim_maps

TEXEL_MM = 0.06
"""Size of a texel on the face; the photo's pixels are about 0.06 to 0.16 mm."""


def draw_stage(seed: int, width_px: int | None = None) -> Stage:
    """A random wear-face stage; see `chance.draw_scene`."""
    return face_stage(draw_scene(seed, width_px))


def face_stage(scene: Scene) -> Stage:
    """The stage of a wear-face scene."""
    bench = bench_map(scene.part.finish, 2048)
    return Stage(
        name=scene.name, seed=scene.seed, view=scene.view, part_kind=scene.part.kind,
        bodies=(*_part(scene), *block(scene.card, scene.part.bench_mm, scene.seed, bench)),
        benches=(Bench(color=bench, pose=level(-scene.part.bench_mm, 900.0)),),
        card=scene.card, lights=scene.lights, room=scene.room, camera=scene.camera, shot=scene.shot,
        truth=FaceTruth(scene),
    )  # fmt: skip


def _part(scene: Scene) -> tuple[Body, ...]:
    """Face, walls, rim and bolts."""
    part, half = scene.part, scene.part.rim.outer_mm + 2.0
    texels = int(np.clip(2 * half / TEXEL_MM, 1024, 3072))
    turned, rough = face_maps(part, texels, half), rim_maps(part, texels // 2, half)
    face = meshes.face_mesh(part)
    bodies = [Body(name="face", mesh=face, uv=planar(face, half), look=turned, code=FACE, smooth=True)]
    for name, mesh in meshes.body_meshes(part).items():
        cast = name == "rim" or (name == "bolt" and scene.seed % 3 == 0)
        look = rough if cast else turned
        bodies.append(Body(name=name, mesh=mesh, uv=planar(mesh, half), look=look, bumpy=cast))
    return tuple(bodies)


def block(card: Card, bench_mm: float, seed: int, bench: NDArray[np.float32]) -> tuple[Body, ...]:
    """The block under the card; none where the card lies on the part."""
    mesh = meshes.support_mesh(bench_mm, card, 2.0 + 4.0 * (seed % 7) / 7)
    if mesh is None:
        return ()
    look = np.clip(bench[:512, :512] * 0.5 + 0.2, 0, 1).astype(np.float32)
    return (Body(name="block", mesh=mesh, uv=planar(mesh, 120.0), look=look, code=0, bumpy=False),)


def planar(mesh: meshes.Mesh, half_mm: float) -> NDArray[np.float64]:
    """Texture coordinates from x, y: (0, 0), the bitmap's first row, at (-half, half)."""
    return np.asarray(mesh.points[:, :2] * [1, -1] / (2 * half_mm) + 0.5)


@dataclass(frozen=True)
class FaceTruth:
    """Truth of a wear face; see `truth` for the formulas."""

    scene: Scene

    def paint(self, codes: Codes, hit_mm: Floats) -> Codes:
        """Grooves, rub bands and holes told apart on the face."""
        return truth.paint_mask(self.scene, codes, hit_mm)

    def findings(self, camera: Camera, mask: Codes) -> Sequence[Mapping[str, Any]]:
        """Grooves, rub bands and holes."""
        return truth.face_findings(self.scene, mask)

    def summary(self) -> Mapping[str, Any]:
        """Area of the annulus."""
        return {"face_area_mm2": round(truth.face_area_mm2(self.scene.part), 3), "pit_count": 0}

    def stated(self) -> Mapping[str, float]:
        """Drawing diameters of the face."""
        return truth.stated_facts(self.scene)

    def at_mm(self, camera: Camera) -> tuple[float, float]:
        """The axis, or a place toward the card where the axis is out of the picture."""
        card = self.scene.card
        return (0.0, 0.0) if truth.axis_seen(self.scene) else (0.75 * card.x_mm, 0.75 * card.y_mm)

    def plane_mm(self, camera: Camera) -> NDArray[np.float64]:
        """Four points on the face, well apart."""
        return truth.plane_points_mm(self.scene)
