"""A scene as the path tracer's own objects; the tracer's module is handed in, never imported here."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes import mesh as meshes
from wearvision.scenes.drawing import sheet_bitmap
from wearvision.scenes.lens import project
from wearvision.scenes.spec import Camera, Light, Room, Scene
from wearvision.scenes.textures import Maps, bench_map, face_maps, rim_maps

Floats = NDArray[np.float32]

TEXEL_MM = 0.06
"""Size of a texel on the face; the photo's pixels are about 0.06 to 0.16 mm."""
INK, PAPER = 0.035, 0.795
"""Reflectance of print and paper (from memory: laser print on office paper)."""


def build(mi: Any, scene: Scene) -> Any:
    """The tracer's scene: part, card, bench, lamps and room (no camera)."""
    half = scene.part.rim.outer_mm + 2.0
    world: dict[str, Any] = {"type": "scene", **_part(mi, scene, half)}
    bench = bench_map(scene.part.finish, 2048)
    block = meshes.support_mesh(scene.part, scene.card, 2.0 + 4.0 * (scene.seed % 7) / 7)
    if block is not None:
        look = _diffuse(mi, np.clip(bench[:512, :512] * 0.5 + 0.2, 0, 1))
        world["block"] = _shape(mi, "block", block, _planar(block, 120.0), mi.load_dict(look))
    world["card"] = _card(mi, scene)
    world["bench"] = {
        "type": "rectangle",
        "to_world": mi.ScalarTransform4f().translate([0, 0, -scene.part.bench_mm]).scale(900.0),
        "bsdf": _diffuse(mi, bench, repeat=4.0),
    }
    for i, light in enumerate(scene.lights):
        world[f"lamp{i}"] = _lamp(mi, light)
    world |= _shadow_bar(mi, scene)
    turn = mi.ScalarTransform4f().rotate([1, 0, 0], 90)
    world["room"] = {"type": "envmap", "bitmap": mi.Bitmap(_surroundings(scene.room)), "to_world": turn}
    return mi.load_dict(world)


def _part(mi: Any, scene: Scene, half_mm: float) -> dict[str, Any]:
    """Face, walls, rim and bolts with their materials."""
    part = scene.part
    texels = int(np.clip(2 * half_mm / TEXEL_MM, 1024, 3072))
    turned, rough = face_maps(part, texels, half_mm), rim_maps(part, texels // 2, half_mm)
    wall = mi.load_dict(_metal(mi, turned, bumpy=False))
    cast = mi.load_dict(_metal(mi, rough, bumpy=True))
    looks = {"wall": wall, "rim": cast, "bolt": cast if scene.seed % 3 == 0 else wall}
    face = meshes.face_mesh(part)
    look = mi.load_dict(_metal(mi, turned, bumpy=True))
    shapes = {"face": _shape(mi, "face", face, _planar(face, half_mm), look, smooth=True)}
    for name, mesh in meshes.body_meshes(part).items():
        shapes[name] = _shape(mi, name, mesh, _planar(mesh, half_mm), looks[name])
    return shapes


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


def _planar(mesh: meshes.Mesh, half_mm: float) -> NDArray[np.float64]:
    """Texture coordinates from x, y: (0, 0), the bitmap's first row, at (-half, half)."""
    return np.asarray(mesh.points[:, :2] * [1, -1] / (2 * half_mm) + 0.5)


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


def _card(mi: Any, scene: Scene) -> Any:
    """The sheet with its print on the upper side."""
    sheet = meshes.card_mesh(scene.card)
    tone = INK + (PAPER - INK) * (sheet_bitmap(scene.card) / np.float32(255))
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


def _shadow_bar(mi: Any, scene: Scene) -> dict[str, Any]:
    """A bar between the main lamp and the part, at the nearest place that is out of the picture."""
    if not scene.room.shadow_bar:
        return {}
    toward = _toward(scene.lights[0])
    turn = math.radians(scene.lights[0].azimuth_deg)
    side = np.array([-math.sin(turn), math.cos(turn), 0.0])
    up = np.cross(side, toward)
    for away in (170.0, 230.0, 320.0, 430.0):
        middle = toward * away + side * scene.room.bar_shift_mm
        if _seen(scene.camera, middle + np.outer(np.linspace(-1, 1, 9) * 120, up)):
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
