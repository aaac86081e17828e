"""A face under a straightedge's shadow: a lamp of finite size, a bar, and the truth where their plane is cut.

The plane of light goes through the lamp's middle and the bar's far upper edge; half of the lamp is seen where it meets
the metal, so that is the middle of the shadow's soft edge. How soft it is follows from the lamp's size.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.beam import Beam
from wearvision.scenes.face_stage import face_stage, planar
from wearvision.scenes.light_block import block_body, draw_block
from wearvision.scenes.light_stage import LightTruth, draw_scene, usual_light
from wearvision.scenes.mesh import prism
from wearvision.scenes.spec import Camera, Part
from wearvision.scenes.stage import Body, Stage

Array = NDArray[np.float64]
Rng = np.random.Generator


@dataclass(frozen=True, kw_only=True)
class Bar:
    """A straightedge: its far upper edge lies in the plane of light at a height, its body reaches from there towards
    the lamp and down to `low_mm`; from `first_mm` to `last_mm` along the line's middle."""

    beam: Beam
    height_mm: float
    low_mm: float
    wide_mm: float
    first_mm: float
    last_mm: float

    @property
    def axes(self) -> Array:
        """Rows: along the bar, with the light across it, up."""
        side = self.beam.towards * np.array([-self.beam.along[1], self.beam.along[0], 0.0])
        return np.stack([self.beam.along, side, np.array([0.0, 0.0, 1.0])])

    @property
    def box(self) -> tuple[Array, Array]:
        """Least and greatest corner along the axes, from the line's middle."""
        edge = -self.height_mm / math.tan(math.radians(self.beam.elevation_deg))
        return (np.array([self.first_mm, edge - self.wide_mm, self.low_mm]),
                np.array([self.last_mm, edge, self.height_mm]))  # fmt: skip

    def body(self, seed: int) -> Body:
        """The bar as a piece of dull steel."""
        (a, b, low), (c, d, high) = self.box
        corners = np.array([[a, b], [c, b], [c, d], [a, d]]) @ self.axes[:2, :2] + self.beam.middle[:2]
        corners = corners if self.beam.towards > 0 else corners[::-1]
        rng = np.random.default_rng([33, seed])
        look = np.clip(rng.uniform(0.1, 0.5) + rng.normal(0, 0.03, (128, 1, 1)) * np.ones((1, 128, 3)), 0.02, 0.9)
        mesh = prism(corners, low, high)
        return Body(name="straightedge", mesh=mesh, uv=planar(mesh, 150.0), look=look.astype(np.float32), bumpy=False)

    def hides(self, points: Array, eye: Array) -> NDArray[np.bool_]:
        """Which points (N, 3) an eye does not see past the bar (slabs)."""
        start, end = ((np.atleast_2d(p) - self.beam.middle) @ self.axes.T for p in (points, eye))
        step = np.where(np.abs(end - start) < 1e-9, 1e-9, end - start)
        cuts = np.sort(np.stack([(side - start) / step for side in self.box]), axis=0)
        return np.asarray(np.minimum(cuts[1].min(axis=1), 1.0) > np.maximum(cuts[0].max(axis=1), 1e-6))


@dataclass(frozen=True)
class ShadowTruth(LightTruth):
    """Truth of a shadow's edge: that of a line of light, less what the bar hides."""

    bar: Bar | None = None
    lamp_mm: float = 0.0

    def _seen(self, camera: Camera, lit: Array) -> NDArray[np.bool_]:
        hidden = self.bar.hides(lit, np.array(camera.position_mm)) if self.bar is not None else False
        return np.asarray(super()._seen(camera, lit) & ~np.asarray(hidden))

    def summary(self) -> Mapping[str, Any]:
        """As for a line, with the size of the lamp and the width of the soft edge on the level face."""
        high = math.sin(math.radians(self.beam.elevation_deg))
        edge = 0.0 if self.bar is None else self.bar.height_mm
        soft = self.lamp_mm * edge / high**2 / self.beam.distance_mm
        return {**super().summary(), "lamp_mm": round(self.lamp_mm, 1), "soft_mm": round(soft, 2),
                "edge_mm": round(edge, 2)}  # fmt: skip

    def stated(self) -> Mapping[str, float | str]:
        """As for a line, and that it is a shadow."""
        return {**super().stated(), "light_kind": "shadow"}


def draw_stage(seed: int, width_px: int | None = None) -> Stage:
    """A random face under the shadow of a straightedge; a step of known height lies in two of five."""
    scene, beam = draw_scene(np.random.default_rng([34, seed]), seed, width_px)
    rng = np.random.default_rng([35, seed])
    scene = replace(scene, name=f"shadow_{seed:04d}")
    distance = float(rng.uniform(250, 800))
    beam = replace(
        beam, elevation_deg=float(rng.uniform(22, 52)), distance_mm=distance, width_mm=0.0, grain=0.0,
        aside_mm=distance * float(rng.uniform(-0.4, 0.4)), color=(1.0, 1.0, 1.0),
        strength=float(np.exp(rng.uniform(math.log(1.2), math.log(6.0)))),
    )  # fmt: skip
    bar = _draw_bar(rng, scene.part, beam)
    beam = replace(beam, length_mm=bar.last_mm - bar.first_mm + 20.0)
    lamp = float(np.exp(rng.uniform(math.log(5.0), math.log(60.0))))
    stepped = seed % 5 in (1, 3)
    block = draw_block(rng, scene.part, beam, 0.9, 0.6 * bar.height_mm) if stepped else None
    block = None if block is None else replace(block, before_mm=-float(bar.box[1][1]) - 0.4)
    stage, room = face_stage(scene), usual_light(scene.lights, scene.room)
    extra = [bar.body(seed), *([] if block is None else [block_body(block, seed)])]
    return replace(
        stage, truth=ShadowTruth(scene, beam, block, bar, lamp), bodies=(*stage.bodies, *extra),
        lit=lambda mi: {"spot": _lamp(mi, beam, lamp, room)},
    )  # fmt: skip


def _draw_bar(rng: Rng, part: Part, beam: Beam) -> Bar:
    """A rule or straightedge laid across the face on its rim, or held over it."""
    radius = math.hypot(beam.x_mm, beam.y_mm)
    lies = max(0.0, part.rim.step_mm) if rng.random() < 0.65 else float(rng.uniform(1.0, 6.0))
    low = max(lies, part.rim.step_mm)
    return Bar(
        beam=beam, low_mm=low, height_mm=low + float(rng.uniform(1.0, 6.0)), wide_mm=float(rng.uniform(15, 32)),
        first_mm=part.inner_mm - radius - float(rng.uniform(-1, 4)),
        last_mm=part.rim.outer_mm - radius + float(rng.uniform(-2, 25)),
    )  # fmt: skip


def _lamp(mi: Any, beam: Beam, size_mm: float, room: float) -> dict[str, Any]:
    """A round lamp, so strong that its light on the level face is `strength` times the room's."""
    away = beam.source - beam.middle
    far = float(np.linalg.norm(away))
    spread = math.pi * (size_mm / 2) ** 2 / far**2 * away[2] / far
    pose = mi.ScalarTransform4f().look_at(
        origin=beam.source.tolist(), target=beam.middle.tolist(), up=beam.along.tolist()
    )
    level = beam.strength * room / spread
    return {"type": "disk", "to_world": pose @ mi.ScalarTransform4f().scale(size_mm / 2),
            "emitter": {"type": "area", "radiance": {"type": "rgb", "value": [level] * 3}}}  # fmt: skip
