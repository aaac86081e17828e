"""A vane seen along itself: it stands on the rim of its shroud, the card in the plane of its end section.

World: the end section is the plane z = 0, the shroud's edge the line y = 0, the vane's middle x = 0, y up.
Left and right are those of the vane standing upright.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from wearvision.scenes import mesh as meshes
from wearvision.scenes.chance import draw_lights, draw_part, draw_shot
from wearvision.scenes.face_stage import planar
from wearvision.scenes.lens import project
from wearvision.scenes.placing import draw_card, place_camera
from wearvision.scenes.spec import Camera, Card
from wearvision.scenes.stage import OTHER, ROUNDED, VANE, Array, Bench, Body, Codes, Floats, Stage
from wearvision.scenes.textures import Image, Maps, bench_map, face_maps, rim_maps
from wearvision.scenes.vane_profile import Section, extruded

Rng = np.random.Generator
WIDTH_PX, HALF_MM = 2000, 75.0
BACKDROPS = ("black", "black", "black", "light", "light", "light", "gray", "clutter", "clutter")


@dataclass(frozen=True, kw_only=True)
class Vane:
    """What was drawn: the section, the sizes of a new vane, and the bar it stands on (left, right, depth, mm)."""

    section: Section
    new_height_mm: float
    new_thickness_mm: float
    bar_mm: tuple[float, float, float]
    backdrop: str
    told: bool


def draw_stage(seed: int, width_px: int | None = None) -> Stage:
    """A random stage of this view: radii 0 to 3 mm, heights 4 to 15 mm, losses 0 to 3 mm, tilt to 15 degrees.

    Paper behind is chosen by a person: light behind dark metal, black behind any; gray walls and clutter are not.
    """
    rng = np.random.default_rng([41, seed])
    vane = draw_vane(rng, seed)
    card = _lay_card(rng, vane)
    camera = place_camera(
        rng, card, 0.0, width_px or WIDTH_PX, lambda _: _aim(vane, card),
        steep_deg=float(min(15.0, abs(rng.normal(0, 7)))),
    )  # fmt: skip
    part = replace(draw_part(rng, seed, kind="impeller", wear="clean"), bands=(), holes=(), step_mm=0.0)
    if vane.backdrop == "light":
        part = replace(part, finish=replace(part.finish, gray=0.5 * part.finish.gray))
    rough, turned = rim_maps(part, 1400, HALF_MM), face_maps(part, 1400, HALF_MM)
    rough = replace(rough, bump=rough.bump * np.float32(0.3))
    looks = (rough, turned) if rng.random() < 0.6 else (rough, rough)
    lights, room = draw_lights(rng)
    path = _path(rng)
    bench = bench_map(part.finish, 1024)
    return Stage(
        name=f"vane_edge_{seed:04d}", seed=seed, view="vane-edge", part_kind="impeller",
        bodies=(*_vane_bodies(vane, path, looks), *_bar(vane, looks, float(rng.uniform(6, 16))),
                *_sibling(rng, vane, path, looks), *_clutter(rng, vane, bench)),
        benches=_benches(rng, vane, card, camera, bench), card=card, lights=lights,
        room=replace(room, shadow_bar=False), camera=camera, shot=draw_shot(rng), truth=VaneTruth(vane), up="y",
    )  # fmt: skip


def draw_vane(rng: Rng, seed: int) -> Vane:
    """A vane, new or worn."""
    new_height, new_thickness = float(rng.uniform(5, 15)), float(rng.uniform(3, 10))
    loss = float(rng.uniform(0, min(3.0, new_height - 4.0))) if rng.random() < 0.7 else 0.0
    thickness = new_thickness * (1 - float(rng.uniform(0, 0.1)) * (rng.random() < 0.4))
    most = min(3.0, 0.47 * thickness, 0.6 * (new_height - loss))
    radius = [float(rng.uniform(0.02, most)) if rng.random() < 0.75 else float(rng.uniform(0, 0.3)) for _ in range(2)]
    chips = tuple(
        (float(rng.uniform(0.05, 0.95)), float(rng.uniform(0.15, 0.6))) for _ in range(int(rng.choice([0, 0, 0, 1, 2])))
    )
    section = Section(
        height_mm=new_height - loss, thickness_mm=thickness, radius_mm=(radius[0], radius[1]),
        draft_deg=(float(rng.uniform(0, 4)), float(rng.uniform(0, 4))) if rng.random() < 0.6 else (0.0, 0.0),
        slope_deg=float(rng.choice([0.0, rng.normal(0, 1.0)])),
        fillet_mm=float(rng.choice([0.0, rng.uniform(0.3, 1.8)])),
        rough_mm=float(rng.choice([0.0, rng.uniform(0.0, 0.05)])), chips=chips, seed=seed,
    )  # fmt: skip
    return Vane(
        section=section, new_height_mm=new_height, new_thickness_mm=new_thickness,
        bar_mm=(-float(rng.uniform(25, 65)), float(rng.uniform(25, 65)), float(rng.uniform(20, 70))),
        backdrop=str(rng.choice(BACKDROPS)), told=bool(rng.random() < 0.8),
    )  # fmt: skip


def _lay_card(rng: Rng, vane: Vane) -> Card:
    """The card upright in the plane of the section: under the bar, or beside the vane on it."""
    card = draw_card(rng, str(rng.choice(["standard", "small"], p=[0.25, 0.75])))
    turn = float(rng.choice([0.0, 0.0, 0.0, 90.0, 180.0])) + float(rng.normal(0, 2.5))
    card = replace(
        card, turn_deg=turn % 360, error_mm=float(np.clip(rng.normal(0, 0.3), -1, 1)), support="stand",
        height_mm=0.0 if rng.random() < 0.8 else round(float(rng.uniform(-6, 6)), 1),
    )  # fmt: skip
    reach = np.abs(np.array(card.corners(2.0))).max(axis=0)
    if rng.random() < 0.75:
        return replace(card, x_mm=float(rng.uniform(-25, 25)), y_mm=-float(rng.uniform(18, 26)) - float(reach[1]))
    side = float(rng.choice([-1, 1]))
    away = vane.section.thickness_mm / 2 + float(rng.uniform(8, 16)) + float(reach[0])
    return replace(card, x_mm=side * away, y_mm=float(reach[1]) + float(rng.uniform(-1, 6)))


def _aim(vane: Vane, card: Card) -> Array:
    reach = vane.section.thickness_mm / 2 + 9
    around = [[-reach, -4, 0], [reach, -4, 0], [reach, vane.new_height_mm + 4, 0], [-reach, vane.new_height_mm + 4, 0]]
    sheet = [[x, y, card.printed_mm] for x, y in card.corners(2.0)]
    return np.array(around + sheet, dtype=np.float64)


def _path(rng: Rng) -> Array:
    """How the vane runs away behind its end: straight, slanting or curved."""
    depth = np.linspace(0, float(rng.uniform(15, 60)), 13)
    slant, bend = float(rng.normal(0, 0.15)), float(rng.normal(0, 0.003))
    return np.column_stack([slant * depth + bend * depth**2, np.zeros(13), depth])


def _mapped(mesh: meshes.Mesh, low_mm: float = 0.0) -> Array:
    """Texture places: front as seen, sides without streaks."""
    x, y, z = mesh.points.T
    flat = np.column_stack([x + 0.61 * z + low_mm, y + 0.47 * z, 0 * z])
    return planar(meshes.Mesh(points=flat, faces=mesh.faces), HALF_MM)


def _vane_bodies(vane: Vane, path: Array, looks: tuple[Maps, Maps]) -> tuple[Body, ...]:
    section = vane.section
    mesh = extruded(section.outline(), (0.0, 0.4 * section.height_mm), path)
    front = meshes.Mesh(points=mesh.points, faces=mesh.faces[: len(section.outline())])
    skin = meshes.Mesh(points=mesh.points, faces=mesh.faces[len(section.outline()) :])
    bodies = [
        Body(name="vane", mesh=front, uv=_mapped(front), look=looks[1], code=VANE, bumpy=looks[1] is looks[0]),
        Body(name="flanks", mesh=skin, uv=_mapped(skin, 20.0), look=looks[0], code=VANE),
    ]
    if section.fillet_mm:
        feet = section.corners()[[0, 3]]
        parts = [extruded(*_fillet(section.fillet_mm, foot, s), path) for foot, s in zip(feet, (-1, 1), strict=True)]
        fillet = meshes.join(parts)
        bodies.append(Body(name="fillet", mesh=fillet, uv=_mapped(fillet), look=looks[0], code=VANE))
    return tuple(bodies)


def _fillet(radius: float, foot: Array, side: int) -> tuple[Array, tuple[float, float]]:
    angles = np.linspace(0, math.pi / 2, 16)
    curve = np.column_stack([side * radius * (1 - np.sin(angles)), radius * (1 - np.cos(angles))]) + foot
    inner = np.array([[foot[0] - side * 0.3, radius * 1.02], [foot[0] - side * 0.3, -0.02]])
    whole = np.vstack([inner[1:], curve[:1], curve[1:], inner[:1]])
    return whole, (float(foot[0] - side * 0.1), 0.05 * radius)


def _bar(vane: Vane, looks: tuple[Maps, Maps], thick_mm: float) -> tuple[Body, ...]:
    left, right, depth = vane.bar_mm
    box = np.array([[left, 0.0], [right, 0.0], [right, -thick_mm], [left, -thick_mm], [left, 0.0]])
    back = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, depth]])
    mesh = extruded(box, (0.0, -thick_mm / 2), back)
    front, skin = mesh.faces[:5], mesh.faces[5:]
    out = []
    for name, faces, look in (("bar", front, looks[1]), ("shroud", skin, looks[0])):
        piece = meshes.Mesh(points=mesh.points, faces=faces)
        out.append(Body(name=name, mesh=piece, uv=_mapped(piece), look=look, code=OTHER, bumpy=look is looks[0]))
    return tuple(out)


def _sibling(rng: Rng, vane: Vane, path: Array, looks: tuple[Maps, Maps]) -> tuple[Body, ...]:
    """Another vane of the same impeller, further back on the shroud: not in the plane of the card."""
    if rng.random() > 0.2:
        return ()
    section = replace(vane.section, seed=vane.section.seed + 1, chips=())
    side = float(rng.choice([-1, 1]))
    behind = float(rng.uniform(6, 0.5 * vane.bar_mm[2]))
    x = side * float(rng.uniform(14, 22))
    outline = section.outline() + np.array([x, 0.0])
    mesh = extruded(outline, (x, 0.4 * section.height_mm), path * 0.5, -behind)
    return (Body(name="sibling", mesh=mesh, uv=_mapped(mesh), look=looks[0], code=OTHER),)


def _clutter(rng: Rng, vane: Vane, bench: Image) -> tuple[Body, ...]:
    """Boxes that stand about behind the part."""
    if vane.backdrop != "clutter":
        return ()
    out = []
    for number in range(int(rng.integers(4, 9))):
        x, y = rng.uniform(-90, 90), rng.uniform(-60, 30)
        half = rng.uniform(4, 30, 2)
        box = np.array([[-1, -1], [-1, 1], [1, 1], [1, -1], [-1, -1]]) * half + [x, y]
        mesh = extruded(box, (float(x), float(y)), np.array([[0.0, 0, 0], [0, 0, 20.0]]), -float(rng.uniform(80, 160)))
        shade = np.clip(bench[:256, :256] * rng.uniform(0.3, 2.0) * rng.uniform(0.6, 1.2, 3), 0.01, 0.9)
        look = shade.astype(np.float32)
        out.append(Body(name=f"box{number}", mesh=mesh, uv=_mapped(mesh), look=look, code=0, bumpy=False))
    return tuple(out)


def _benches(rng: Rng, vane: Vane, card: Card, camera: Camera, bench: Image) -> tuple[Bench, ...]:
    """The wall behind and the bench below, never between camera and part."""
    tone = {"black": 0.03, "light": float(rng.uniform(0.65, 0.88)), "gray": 0.25}.get(vane.backdrop)
    wall = bench if tone is None else np.clip(bench / bench.mean() * tone, 0.01, 0.9).astype(np.float32)
    back = np.diag([900.0, 900.0, 900.0, 1.0])
    back[2, 3] = -float(rng.uniform(170, 420))
    low = min(float(np.array(card.corners())[:, 1].min()) - 1, camera.position_mm[1] - 40.0, -20.0)
    floor = np.array([[900.0, 0, 0, 0], [0, 0, 900, low], [0, -900, 0, 0], [0, 0, 0, 1]])
    return (Bench(color=wall, pose=back), Bench(color=bench, pose=floor))


@dataclass(frozen=True)
class VaneTruth:
    """Truth of a vane's section: the sizes it was drawn with."""

    vane: Vane

    def paint(self, codes: Codes, hit_mm: Floats) -> Codes:
        """The rounded-off corners told apart on the front: what lies beyond the arcs' ends."""
        out, section = codes.copy(), self.vane.section
        front = (codes == VANE) & (np.abs(hit_mm[..., 2]) < 0.05)
        for side in range(2):
            arc = section.arc(side)
            inward = hit_mm[..., 0] < arc[:, 0].max() if side == 0 else hit_mm[..., 0] > arc[:, 0].min()
            out[front & inward & (hit_mm[..., 1] > arc[:, 1].min())] = ROUNDED
        return out

    def findings(self, camera: Camera, mask: Codes) -> Sequence[Mapping[str, Any]]:
        """Both top corners and the section."""
        section = self.vane.section
        found: list[dict[str, Any]] = [
            {"kind": "vane-edge", "side": name, "truth": {"edge_radius": round(section.radius_mm[side], 4)},
             "outline_px": _px(camera, section.arc(side))}
            for side, name in enumerate(("left", "right"))
        ]  # fmt: skip
        sizes = {
            "height": section.height_mm, "thickness": section.thickness_mm,
            "height_loss": self.vane.new_height_mm - section.height_mm,
        }
        found.append({
            "kind": "vane-section", "truth": {name: round(size, 4) for name, size in sizes.items()},
            "outline_px": _px(camera, section.outline()),
        })  # fmt: skip
        return found

    def summary(self) -> Mapping[str, Any]:
        """What stood behind."""
        return {"backdrop": self.vane.backdrop}

    def stated(self) -> Mapping[str, float]:
        """Drawing sizes, to the tenth of a millimetre as drawings give them; not always at hand."""
        if not self.vane.told:
            return {}
        sizes = {"vane_height_mm": self.vane.new_height_mm, "vane_thickness_mm": self.vane.new_thickness_mm}
        return {name: round(size, 1) for name, size in sizes.items()}

    def at_mm(self, camera: Camera) -> tuple[float, float]:
        """The vane's middle."""
        return 0.0, self.vane.section.height_mm / 2

    def plane_mm(self, camera: Camera) -> Array:
        """Four points round the vane."""
        return np.array([[-15.0, 0.0], [15.0, 0.0], [15.0, 12.0], [-15.0, 12.0]])


def _px(camera: Camera, points: Array) -> list[list[float]]:
    seen = project(camera, np.column_stack([points, np.zeros(len(points))]))
    rounded_px: list[list[float]] = seen.round(1).tolist()
    return rounded_px
