"""A stage as the path tracer's own objects; the tracer's module is handed in, never imported here."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes import mesh as meshes
from wearvision.scenes.drawing import sheet_bitmap
from wearvision.scenes.lens import project
from wearvision.scenes.spec import Camera, Light, Room
from wearvision.scenes.stage import Bench, Body, Stage
from wearvision.scenes.textures import Maps

Floats = NDArray[np.float32]

INK, PAPER = 0.035, 0.795
"""Reflectance of print and paper (from memory: laser print on office paper)."""


def build(mi: Any, stage: Stage) -> Any:
    """The tracer's scene: pieces, card, benches, lamps and room (no camera)."""
    world: dict[str, Any] = {"type": "scene", **_bodies(mi, stage.bodies), "card": _card(mi, stage)}
    world |= {f"bench{i}": _bench(mi, bench) for i, bench in enumerate(stage.benches)}
    world |= {f"lamp{i}": _lamp(mi, light) for i, light in enumerate(stage.lights)}
    world |= _shadow_bar(mi, stage) | stage.lit(mi)
    world["room"] = _room(mi, stage)
    return mi.load_dict(world)


def _bodies(mi: Any, bodies: tuple[Body, ...]) -> dict[str, Any]:
    """Pieces with their materials; pieces that share a look share its bitmaps."""
    looks: dict[tuple[int, bool], Any] = {}
    shapes = {}
    for body in bodies:
        key = (id(body.look), body.bumpy)
        if key not in looks:
            look = body.look
            metal = _metal(mi, look, body.bumpy) if isinstance(look, Maps) else _diffuse(mi, look)
            looks[key] = mi.load_dict(metal)
        shapes[body.name] = _shape(mi, body.name, body.mesh, body.uv, looks[key], body.smooth)
    return shapes


def _bench(mi: Any, bench: Bench) -> dict[str, Any]:
    look = {"type": "twosided", "bsdf": _diffuse(mi, bench.color, repeat=bench.repeat)}
    return {"type": "rectangle", "to_world": mi.ScalarTransform4f(bench.pose), "bsdf": look}


def _room(mi: Any, stage: Stage) -> dict[str, Any]:
    turn = mi.ScalarTransform4f()
    turn = turn.rotate([1, 0, 0], 90) if stage.up == "z" else turn
    return {"type": "envmap", "bitmap": mi.Bitmap(_surroundings(stage.room)), "to_world": turn}


def _bitmap(mi: Any, values: Floats) -> dict[str, Any]:
    pixels = np.ascontiguousarray(values if values.ndim == 3 else values[..., None], dtype=np.float32)
    return {"type": "bitmap", "bitmap": mi.Bitmap(pixels), "raw": True, "wrap_mode": "mirror"}


def _diffuse(mi: Any, color: Floats, repeat: float = 1.0) -> dict[str, Any]:
    texture = {**_bitmap(mi, color), "to_uv": mi.ScalarTransform4f().scale(repeat)}
    return {"type": "diffuse", "reflectance": texture}


def _metal(mi: Any, maps: Maps, bumpy: bool) -> dict[str, Any]:
    """Two-sided principled metal, if wanted under a bump map (heights in mm, planar uv)."""
    bsdf: dict[str, Any] = {
        "type": "principled",
        "base_color": _bitmap(mi, maps.color),
        "roughness": _bitmap(mi, maps.rough),
        "metallic": _bitmap(mi, maps.metal),
        "specular": 0.5,
    }
    bsdf = {"type": "twosided", "bsdf": bsdf}
    return {"type": "bumpmap", "height": _bitmap(mi, maps.bump), "bsdf": bsdf} if bumpy else bsdf


def _shape(
    mi: Any, name: str, mesh: meshes.Mesh, uv: NDArray[np.float64], bsdf: Any, smooth: bool = False
) -> Any:
    props = mi.Properties()
    props["bsdf"] = bsdf
    sizes = (len(mesh.points), len(mesh.faces))
    shape = mi.Mesh(name, *sizes, has_vertex_normals=smooth, has_vertex_texcoords=True, props=props)
    values = mi.traverse(shape)
    values["vertex_positions"] = mesh.points.astype(np.float32).ravel()
    values["vertex_texcoords"] = uv.astype(np.float32).ravel()
    values["faces"] = mesh.faces.astype(np.uint32).ravel()
    values.update()
    return shape


def _card(mi: Any, stage: Stage) -> Any:
    """The sheet with its print on the upper side."""
    sheet = meshes.card_mesh(stage.card)
    tone = INK + (PAPER - INK) * (sheet_bitmap(stage.card, stage.view) / np.float32(255))
    uv = np.full((len(sheet.points), 2), 0.001)
    uv[:4] = [[0, 1], [1, 1], [1, 0], [0, 0]]
    look = mi.load_dict(_diffuse(mi, tone.astype(np.float32)[..., None].repeat(3, 2)))
    return _shape(mi, "card", sheet, uv, look)


def _warmth(level: float, warm: float) -> list[float]:
    return [level * (1 + warm), level, level * (1 - warm)]


def _toward(light: Light) -> NDArray[np.float64]:
    """Unit vector from the part to a lamp."""
    high, turn = math.radians(light.elevation_deg), math.radians(light.azimuth_deg)
    return np.array([math.cos(high) * math.cos(turn), math.cos(high) * math.sin(turn), math.sin(high)])


def _lamp(mi: Any, light: Light) -> dict[str, Any]:
    """A rectangle whose light on a level face is the same at every distance and size."""
    place = (_toward(light) * light.distance_mm).tolist()
    pose = mi.ScalarTransform4f().look_at(origin=place, target=[0, 0, 0], up=[0.01, 0.02, 1])
    spread = (light.distance_mm / light.size_mm) ** 2 / max(0.3, math.sin(math.radians(light.elevation_deg)))
    color = {"type": "rgb", "value": _warmth(3.0 * light.power * spread, light.warm)}
    return {
        "type": "rectangle",
        "to_world": pose @ mi.ScalarTransform4f().scale(light.size_mm / 2),
        "emitter": {"type": "area", "radiance": color},
    }


def _surroundings(room: Room) -> Floats:
    """Environment (128, 256, 3): pale ceiling with lamps, darker walls, bright windows. Row 0 is overhead."""
    rows = np.linspace(0, math.pi, 128)[:, None]
    around = np.linspace(0, 360, 256, endpoint=False)[None, :]
    sky = np.where(rows < 1.2, 0.7 + 0.5 * np.cos(rows), 0.28) * np.ones((1, 256))
    for i in range(room.windows):
        off = np.abs((around - room.window_azimuth_deg - 140 * i + 180) % 360 - 180)
        pane = (off < 16) & (np.abs(off - 8) > 0.8) & (rows > 0.85) & (rows < 1.35)
        sky = np.where(pane, room.window_power, sky)
    strips = (np.abs(rows - 0.35) < 0.06) & (np.abs((around % 90) - 45) < 25)
    sky = np.where(strips, 3.0, sky)
    return np.asarray(sky[..., None] * np.array(_warmth(room.fill, room.warm)), dtype=np.float32)


def _shadow_bar(mi: Any, stage: Stage) -> dict[str, Any]:
    """A bar between the main lamp and the part, at the nearest place that is out of the picture."""
    if not stage.room.shadow_bar:
        return {}
    toward = _toward(stage.lights[0])
    turn = math.radians(stage.lights[0].azimuth_deg)
    side = np.array([-math.sin(turn), math.cos(turn), 0.0])
    up = np.cross(side, toward)
    for away in (170.0, 230.0, 320.0, 430.0):
        middle = toward * away + side * stage.room.bar_shift_mm
        if _seen(stage.camera, middle + np.outer(np.linspace(-1, 1, 9) * 120, up)):
            continue
        pose = mi.ScalarTransform4f().look_at(origin=middle.tolist(), target=[0, 0, 0], up=up.tolist())
        gray = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.2}}
        shape = {
            "type": "rectangle",
            "to_world": pose @ mi.ScalarTransform4f().scale([9.0, 120.0, 1.0]),
            "bsdf": {"type": "twosided", "bsdf": gray},
        }
        return {"bar": shape}
    return {}


def _seen(camera: Camera, points_mm: NDArray[np.float64]) -> bool:
    """Whether any of the points could show in the picture (with room to spare)."""
    ahead = (points_mm - np.asarray(camera.position_mm)) @ np.asarray(camera.rotation)[2] > 20
    off = np.abs(project(camera, points_mm) - np.array([camera.cx_px, camera.cy_px])).max(axis=1)
    return bool((ahead & (off < 0.75 * camera.width_px)).any())
