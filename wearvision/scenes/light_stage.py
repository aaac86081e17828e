"""A face under a line of laser light: the lamp is a projector in the tracer, the truth is where its plane is cut.

The emitter stands in the plane of light, throws a bright line of Gaussian width with grain in it, and is traced like
any other lamp: walls shade it, rust drinks it, oil throws it back, saturation and lens come after.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.beam import DEEP_MM, HIGH_MM, STEP_MM, Beam, lit_points, march
from wearvision.scenes.chance import draw_lights, draw_part, draw_shot
from wearvision.scenes.face_stage import FaceTruth, face_stage
from wearvision.scenes.lens import mm_per_px, project
from wearvision.scenes.light_block import Block, block_body, draw_block
from wearvision.scenes.placing import beside, draw_card, place_camera
from wearvision.scenes.shape import across
from wearvision.scenes.spec import Camera, Card, Light, Part, Room, Scene
from wearvision.scenes.stage import Codes, Floats, Stage
from wearvision.scenes.truth import face_findings

Array = NDArray[np.float64]
Rng = np.random.Generator
WIDTH_PX = 1840
SLIGHT_MM = 0.05
"""What lies less deep is no section."""


def draw_stage(seed: int, width_px: int | None = None) -> Stage:
    """A random face under a line of light; about one in six is without wear."""
    return light_stage(*draw_scene(np.random.default_rng([27, seed]), seed, width_px))


def draw_stepped(seed: int, width_px: int | None = None) -> Stage:
    """The same with a flat block of known height under the line, from which the light's elevation follows."""
    scene, beam = draw_scene(np.random.default_rng([30, seed]), seed, width_px)
    scene = replace(scene, name=f"step_{seed:04d}")
    return light_stage(scene, beam, draw_block(np.random.default_rng([31, seed]), scene.part, beam))


def draw_scene(rng: Rng, seed: int, width_px: int | None = None) -> tuple[Scene, Beam]:
    """A random face with its card, and a beam across it."""
    part = draw_part(rng, seed)
    turn = float(rng.uniform(0, 360))
    size = str(rng.choice(["small", "standard"], p=[0.8, 0.2]))
    card = beside(rng, draw_card(rng, size), turn, part.rim.outer_mm)
    beam = draw_beam(rng, part, card)
    aim = _aim(part, card, beam)
    camera = place_camera(rng, card, turn, width_px or WIDTH_PX, lambda _: aim)
    lights, room = draw_lights(rng)
    shot = draw_shot(rng)
    scene = Scene(name=f"light_{seed:04d}", seed=seed, view="line-light", part=part, card=card, lights=lights,
                  room=replace(room, shadow_bar=False), camera=camera, shot=shot)  # fmt: skip
    return scene, beam


def light_stage(scene: Scene, beam: Beam, block: Block | None = None) -> Stage:
    """The stage of a face under a beam, a block on it or none."""
    stage = face_stage(scene)
    room = usual_light(scene.lights, scene.room)
    bodies = stage.bodies if block is None else (*stage.bodies, block_body(block, scene.seed))
    return replace(
        stage, truth=LightTruth(scene, beam, block), bodies=bodies,
        lit=lambda mi: {"beam": _emitter(mi, beam, room, scene.seed)},
    )  # fmt: skip


def draw_beam(rng: Rng, part: Part, card: Card) -> Beam:
    """A beam across the face on the card's side, where it meets most grooves; a class 2 pointer, mostly red."""
    toward = math.atan2(card.y_mm, card.x_mm)
    angles = toward + np.radians(rng.uniform(-45, 45, 9))
    reach = np.linspace(part.inner_mm + 2, part.outer_mm - 2, 200)
    met = [sum(bool((across(g, reach, np.full(200, a)) < 0.5).any()) for g in part.grooves) for a in angles]
    angle = float(angles[int(np.argmax(met))])
    width = float(rng.uniform(0.3, 1.0))
    radius = (part.inner_mm + part.outer_mm) / 2 + float(rng.uniform(-3, 3))
    green = rng.random() < 0.15
    return Beam(
        x_mm=radius * math.cos(angle), y_mm=radius * math.sin(angle),
        along_deg=math.degrees(angle) + float(rng.normal(0, 6)), towards=float(rng.choice([-1, 1])),
        elevation_deg=float(rng.uniform(25, 60)), distance_mm=float(rng.uniform(180, 420)),
        length_mm=(part.outer_mm - part.inner_mm) * float(rng.uniform(0.95, 1.6)), width_mm=width,
        strength=float(np.exp(rng.uniform(math.log(0.8), math.log(14)))), grain=float(rng.uniform(0.1, 0.5)),
        color=(0.03, 1.0, 0.08) if green else (1.0, 0.04, 0.03),
    )  # fmt: skip


def _aim(part: Part, card: Card, beam: Beam) -> Array:
    """The line, the face beside it and the card."""
    angle = math.atan2(beam.y_mm, beam.x_mm)
    around = angle + np.radians([-12, 0, 12])
    rings = [np.column_stack([r * np.cos(around), r * np.sin(around), 0 * around]) for r in
             (part.inner_mm - 2, part.outer_mm + 2)]  # fmt: skip
    return np.vstack([*rings, np.array([[x, y, card.printed_mm] for x, y in card.corners(2.0)])])


def usual_light(lights: tuple[Light, ...], room: Room) -> float:
    """Light of lamps and room on the face, in the tracer's unit."""
    return 3.0 * sum(light.power for light in lights) + 2.0 * room.fill


def _emitter(mi: Any, beam: Beam, room: float, seed: int) -> dict[str, Any]:
    """The projector: a bright line in the middle of a thin picture, as strong as said where it meets the face."""
    rng = np.random.default_rng([28, seed])
    wide, tall = 1536, 96
    texel = beam.length_mm / wide
    sigma = beam.width_mm / 2.3548 * math.sin(math.radians(beam.elevation_deg)) / texel
    tall = max(tall, 2 * math.ceil(4 * sigma))
    off = np.arange(tall)[:, None] - (tall - 1) / 2
    line = np.exp(-0.5 * (off / sigma) ** 2) * np.ones((1, wide))
    ends = np.clip((wide / 2 - np.abs(np.arange(wide) - wide / 2)) / 25, 0, 1)
    grain = rng.gamma(1 / beam.grain**2, beam.grain**2, (tall, wide))
    picture = (line * ends * grain)[..., None] * np.array(beam.color)
    peak = beam.strength * room * beam.distance_mm**2 / math.sin(math.radians(beam.elevation_deg))
    pose = mi.ScalarTransform4f().look_at(
        origin=beam.source.tolist(), target=beam.middle.tolist(), up=np.cross(beam.along, beam.down).tolist()
    )
    bitmap = {"type": "bitmap", "bitmap": mi.Bitmap(np.ascontiguousarray(picture, dtype=np.float32)), "raw": True}
    fov = 2 * math.degrees(math.atan(beam.length_mm / 2 / beam.distance_mm))
    return {"type": "projector", "irradiance": bitmap, "scale": peak, "fov": fov, "fov_axis": "x", "to_world": pose}


@dataclass(frozen=True)
class LightTruth:
    """Truth of the line: one section for each groove it meets, and the profile."""

    scene: Scene
    beam: Beam
    block: Block | None = None

    @property
    def face(self) -> FaceTruth:
        """Truth of the face below."""
        return FaceTruth(self.scene)

    def paint(self, codes: Codes, hit_mm: Floats) -> Codes:
        """As for a face; light is no piece."""
        return self.face.paint(codes, hit_mm)

    def findings(self, camera: Camera, mask: Codes) -> Sequence[Mapping[str, Any]]:
        """Sections under the line, then what the face has."""
        along, lit = lit_points(self.scene.part, self.beam)
        radius, angle = np.hypot(lit[:, 0], lit[:, 1]), np.arctan2(lit[:, 1], lit[:, 0])
        found: list[Mapping[str, Any]] = []
        for groove in self.scene.part.grooves:
            rows = np.flatnonzero((across(groove, radius, angle) < 1) & (lit[:, 2] < -SLIGHT_MM))
            if len(rows) > 1:
                found.append(self._section(camera, along[rows], lit[rows]))
        return [*found, *face_findings(self.scene, mask)]

    def _section(self, camera: Camera, along: Array, lit: Array) -> Mapping[str, Any]:
        deepest = int(np.argmin(lit[:, 2]))
        seen = self._seen(camera, lit)
        at = (float(lit[deepest, 0]), float(lit[deepest, 1]))
        width = float(np.ptp(along)) + STEP_MM
        truth = {"depth": -float(lit[deepest, 2]), "width": width, "in_view": float(seen.mean())}
        return {
            "kind": "depth-section", "truth": {name: round(value, 3) for name, value in truth.items()},
            "width_px": round(truth["width"] / mm_per_px(camera, at), 2),
            "outline_px": project(camera, lit).round(2).tolist(), "places_px": project(camera, lit[[deepest]]).tolist(),
        }  # fmt: skip

    def _seen(self, camera: Camera, lit: Array) -> NDArray[np.bool_]:
        """Which lit points the camera sees past the groove's own walls."""
        ray = lit - np.asarray(camera.position_mm)
        ray = ray / -ray[:, 2:]
        base = lit + lit[:, 2:] * ray
        met = march(self.scene.part, base, ray, HIGH_MM, DEEP_MM)
        return np.asarray(np.abs(met[:, 2] - lit[:, 2]) < 0.05)

    def section(self) -> Mapping[str, Any]:
        """The profile: distance from the axis and depth along the line."""
        _, lit = lit_points(self.scene.part, self.beam)
        return {
            "line_angle_deg": round(self.beam.along_deg, 3), "elevation_deg": round(self.beam.elevation_deg, 3),
            "r_mm": np.hypot(lit[:, 0], lit[:, 1]).round(3).tolist(), "depth_mm": (-lit[:, 2]).round(3).tolist(),
        }  # fmt: skip

    def summary(self) -> Mapping[str, Any]:
        """Figures of the face, the profile, and how strong the light is."""
        return {**self.face.summary(), "section": self.section(), "strength": round(self.beam.strength, 2),
                "width_mm": round(self.beam.width_mm, 2), "green": self.beam.color[1] > 0.5}  # fmt: skip

    def stated(self) -> Mapping[str, float | str]:
        """Drawing diameters, and the elevation as an angle gauge reads it, to 0.5 degrees at one sigma or less.

        With a block under the line its height; then only one in four measures the elevation as well.
        """
        error = float(np.clip(np.random.default_rng([29, self.scene.seed]).normal(0, 0.3), -0.8, 0.8))
        facts = {**self.face.stated(), "light_elevation_deg": round(self.beam.elevation_deg + error, 1)}
        if self.block is None:
            return facts
        if self.scene.seed % 4:
            del facts["light_elevation_deg"]
        return {**facts, "light_step_mm": self.block.stated_mm}

    def at_mm(self, camera: Camera) -> tuple[float, float]:
        """Middle of the line."""
        return self.beam.x_mm, self.beam.y_mm

    def plane_mm(self, camera: Camera) -> Array:
        """Four points of the plane around the line."""
        return self.face.plane_mm(camera)
