"""An impeller in plan as a stage: disc, hub, vanes of which one may be bent, short or gone, and the truth."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes import mesh as meshes
from wearvision.scenes.chance import draw_finish, draw_lights, draw_part, draw_shot
from wearvision.scenes.face_stage import block, planar
from wearvision.scenes.lens import inside, project
from wearvision.scenes.placing import aim_at_part, beside, draw_card, place_camera
from wearvision.scenes.spec import Camera, Card, Part
from wearvision.scenes.stage import BENT, FACE, HOLE, OTHER, VANE, WORN, Bench, Body, Codes, Floats, Stage, level
from wearvision.scenes.textures import Image, bench_map, face_maps, rim_maps
from wearvision.scenes.vane_shape import Blade, Vane, bend_angle_deg, outline, sound_line, vane_line, vane_mesh

Array = NDArray[np.float64]
Rng = np.random.Generator
TEXEL_MM = 0.09
SOUND_SHARE = 0.35
"""Share of impellers on which nothing has happened to any vane."""


@dataclass(frozen=True, kw_only=True)
class Impeller:
    """Disc and vanes; the disc's surface lies ``blade.height_mm`` below the tops."""

    disc_mm: float
    thick_mm: float
    hub_mm: float
    hub_top_mm: float
    bore_mm: float
    nut: bool
    holes: tuple[tuple[float, float, float], ...]
    blade: Blade
    vanes: tuple[Vane, ...]


def draw_back(seed: int, width_px: int | None = None) -> Stage:
    """A random `vane-back` stage: pump-out vanes, straight ones among them."""
    return _draw(seed, width_px, "vane-back")


def draw_front(seed: int, width_px: int | None = None) -> Stage:
    """A random `vane-front` stage: higher vanes, always swept, now and then a nut on the hub."""
    return _draw(seed, width_px, "vane-front")


def _draw(seed: int, width_px: int | None, view: str) -> Stage:
    rng = np.random.default_rng([31, seed])
    impeller = draw_impeller(rng, view)
    finish = draw_finish(rng, seed)
    shot, turn = draw_shot(rng), float(rng.uniform(0, 360))
    card = _card(rng, impeller, turn)
    part = _plain(rng, impeller, seed, finish)
    whole = card.support == "face" or rng.random() < 0.85
    half = None if whole else float(rng.uniform(115, 160))
    camera = place_camera(rng, card, turn, width_px, lambda r: aim_at_part(part, card, half))
    lights, room = draw_lights(rng)
    bench, bench_mm = bench_map(finish, 2048), impeller.blade.height_mm + impeller.thick_mm
    support = () if card.support == "face" else block(card, bench_mm, seed, bench)
    return Stage(
        name=f"{view.replace('-', '_')}_{seed:04d}", seed=seed, view=view, part_kind="impeller",
        bodies=(*bodies(rng, impeller, part, seed), *support),
        benches=(Bench(color=bench, pose=level(-bench_mm, 900.0)),), card=card, lights=lights, room=room,
        camera=camera, shot=shot, truth=VaneTruth(impeller, camera),
    )  # fmt: skip


def draw_impeller(rng: Rng, view: str) -> Impeller:
    """Three to eight vanes, radial to strongly swept; what has happened to one or two of them."""
    disc, front = float(rng.uniform(60, 110)), view == "vane-front"
    count = int(rng.integers(3, 9))
    straight = not front and rng.random() < 0.35
    wrap = 0.0 if straight else float(rng.choice([-1, 1]) * rng.uniform(12, 75))
    hub = disc * float(rng.uniform(0.2, 0.36))
    root_t = float(rng.uniform(3.5, 8.0))
    blade = Blade(
        root_mm=hub * float(rng.uniform(1.05, 1.35)), tip_mm=disc - float(rng.uniform(0.3, 4.0)), wrap_deg=wrap,
        sweep=float(rng.uniform(-0.3, 0.4)), root_t_mm=root_t,
        tip_t_mm=root_t * (1.0 if rng.random() < 0.5 else float(rng.uniform(0.6, 1.1))),
        height_mm=float(rng.uniform(6, 16) if front else rng.uniform(4, 9)), edge_mm=float(rng.uniform(0.05, 0.45)),
    )  # fmt: skip
    holes = []
    if rng.random() < 0.4:
        many, away, first = int(rng.integers(2, 7)), hub * 1.2, float(rng.uniform(0, 360))
        for i in range(many):
            a = math.radians(first + 360 * i / many)
            holes.append((away * math.cos(a), away * math.sin(a), float(rng.uniform(2, 4))))
    return Impeller(
        disc_mm=disc, thick_mm=float(rng.uniform(5, 14)), hub_mm=hub, bore_mm=hub * float(rng.uniform(0.35, 0.6)),
        hub_top_mm=-blade.height_mm + float(rng.uniform(0.4, blade.height_mm + 3)), nut=front and rng.random() < 0.4,
        holes=tuple(holes), blade=blade, vanes=draw_vanes(rng, count, blade),
    )  # fmt: skip


def draw_vanes(rng: Rng, count: int, blade: Blade) -> tuple[Vane, ...]:
    """Vanes evenly round; one is bent, short or gone more often than not, sometimes two."""
    first = float(rng.uniform(0, 360))
    vanes = [Vane(index=i, turn_deg=first + 360.0 * i / count) for i in range(count)]
    if rng.random() < SOUND_SHARE:
        return tuple(vanes)
    hurt = rng.permutation(count)[: 2 if count > 4 and rng.random() < 0.25 else 1]
    for i in hurt.tolist():
        what = str(rng.choice(["bent", "short", "gone"], p=[0.68, 0.22, 0.10]))
        if what == "bent":
            shift = float(rng.choice([-1, 1]) * math.exp(rng.uniform(math.log(0.5), math.log(10))))
            start, power = float(rng.uniform(0.3, 0.67)), float(rng.uniform(1.3, 2.3))
            vanes[i] = replace(vanes[i], tip_shift_mm=shift, from_share=start, power=power)
        elif what == "short":
            vanes[i] = replace(vanes[i], shortening_mm=float(rng.uniform(0.5, 10)))
        else:
            vanes[i] = replace(vanes[i], missing=True)
    return tuple(vanes)


def _plain(rng: Rng, impeller: Impeller, seed: int, finish: Any) -> Part:
    """A part of the wear-face kind that lends its maps and its rim's size."""
    part = draw_part(rng, seed, kind="impeller", wear="clean", outer_mm=impeller.disc_mm)
    rim = replace(part.rim, outer_mm=impeller.disc_mm + 1.0)
    return replace(part, grooves=(), holes=(), bands=(), finish=finish, rim=rim, outer_mm=impeller.disc_mm)


def _card(rng: Rng, impeller: Impeller, turn: float) -> Card:
    """Beside the disc, or now and then a small one lying on the vanes."""
    if rng.random() < 0.1:
        card, angle = draw_card(rng, "small"), float(rng.uniform(0, 2 * math.pi))
        away = impeller.disc_mm * 0.75
        return replace(
            card, x_mm=away * math.cos(angle), y_mm=away * math.sin(angle), turn_deg=float(rng.uniform(0, 360)),
            height_mm=0.0, error_mm=0.0, support="face",
        )  # fmt: skip
    return beside(rng, draw_card(rng), turn, impeller.disc_mm)


def bodies(rng: Rng, impeller: Impeller, part: Part, seed: int) -> tuple[Body, ...]:
    """Disc, hub, holes and vanes with their materials; tops turned or as cast."""
    half = impeller.disc_mm + 2
    texels = int(np.clip(2 * half / TEXEL_MM, 1024, 2400))
    cast, turned = rim_maps(part, texels // 2, half), face_maps(part, texels, half)
    base = cast if rng.random() < 0.6 else turned
    tops = turned if rng.random() < 0.6 else base
    disc = _disc(impeller)
    out = [Body(name="disc", mesh=disc, uv=planar(disc, half), look=base, code=FACE, bumpy=base is cast)]
    dark: Image = np.full((4, 4, 3), 0.02, dtype=np.float32)
    floor = -impeller.blade.height_mm
    if impeller.holes:
        mesh = meshes.join([_hole(x, y, r, floor + 0.03) for x, y, r in impeller.holes])
        out.append(Body(name="holes", mesh=mesh, uv=planar(mesh, half), look=dark, code=HOLE, bumpy=False))
    if impeller.nut:
        flat = meshes.hexagon(0, 0, impeller.hub_mm * 1.4, 40.0 * (seed % 9))
        mesh = meshes.prism(flat, impeller.hub_top_mm - 0.5, impeller.hub_top_mm + 6)
        out.append(Body(name="nut", mesh=mesh, uv=planar(mesh, half), look=turned, code=OTHER, bumpy=False))
    for vane in impeller.vanes:
        if not vane.missing:
            mesh = vane_mesh(impeller.blade, vane)
            uv = np.mod(planar(mesh, half) + 0.13 * (vane.index % 3), 3.0)
            code = BENT if vane.tip_shift_mm else WORN if vane.shortening_mm else VANE
            name = f"vane{vane.index}"
            out.append(Body(name=name, mesh=mesh, uv=uv, look=tops, code=code, bumpy=tops is cast))
    return tuple(out)


def _disc(impeller: Impeller) -> meshes.Mesh:
    """Disc, hub and bore turned from one piece."""
    floor, low = -impeller.blade.height_mm, -impeller.blade.height_mm - impeller.thick_mm
    hub, bore, top, rim = impeller.hub_mm, impeller.bore_mm, impeller.hub_top_mm, impeller.disc_mm
    return meshes.revolve(
        [(bore, low), (bore, top - 0.6), (bore + 0.6, top), (hub - 0.5, top), (hub, max(floor, top - 0.5)),
         (hub, floor), (rim - 0.5, floor), (rim, floor - 0.5), (rim, low)]
    )  # fmt: skip


def _hole(x: float, y: float, radius: float, z: float) -> meshes.Mesh:
    """A dark round patch a hair above the disc."""
    return meshes.prism(meshes.hexagon(x, y, 2 * radius, 0.0, 36), z - 0.02, z)


@dataclass(frozen=True)
class VaneTruth:
    """Truth of an impeller in plan; definitions in `vane_shape`."""

    impeller: Impeller
    camera: Camera

    def paint(self, codes: Codes, hit_mm: Floats) -> Codes:
        """The pieces' own codes."""
        return codes

    def findings(self, camera: Camera, mask: Codes) -> Sequence[Mapping[str, Any]]:
        """Every vane, the missing one with its whole length as shortening."""
        return [self._finding(vane, camera, mask) for vane in self.impeller.vanes]

    def _finding(self, vane: Vane, camera: Camera, mask: Codes) -> dict[str, Any]:
        blade = self.impeller.blade
        line, thick = vane_line(blade, vane)
        _, _, along = sound_line(blade, vane.turn_deg)
        px = project(camera, _level(line))
        seen = _seen(px, camera, mask) if not vane.missing else np.zeros(len(px), dtype=bool)
        truth = {
            "tip_shift": round(vane.tip_shift_mm, 4), "bend_angle": round(bend_angle_deg(blade, vane), 3),
            "shortening": round(float(along[-1]) if vane.missing else vane.shortening_mm, 4),
            "edge_radius": round(blade.edge_mm, 3), "width": round(float(thick.mean()), 3), "missing": vane.missing,
        }  # fmt: skip
        return {
            "kind": "vane", "index": vane.index, "truth": truth, "outline_px": px.round(1).tolist(),
            "polygon_px": project(camera, _level(outline(blade, vane))).round(1).tolist(),
            "in_view": round(float(seen.mean()), 3), "tip_in_view": bool(seen[-24:].mean() > 0.9),
        }  # fmt: skip

    def summary(self) -> Mapping[str, Any]:
        """Counts; the sign of the shift."""
        vanes = self.impeller.vanes
        return {
            "vane_count": len(vanes), "bent_count": sum(v.tip_shift_mm != 0 for v in vanes),
            "worn_count": sum(v.shortening_mm > 0 or v.missing for v in vanes),
            "displacement_sign": "+ is to the left going outwards",
        }  # fmt: skip

    def stated(self) -> Mapping[str, float]:
        """Vane count and disc diameter."""
        return {"vane_count": len(self.impeller.vanes), "disc_diameter_mm": round(2 * self.impeller.disc_mm, 1)}

    def at_mm(self, camera: Camera) -> tuple[float, float]:
        """The axis, or a place in frame on the way from it to the picture's middle."""
        for share in np.linspace(0, 1, 11).tolist():
            x, y = (share * v for v in camera.position_mm[:2])
            if inside(camera, project(camera, np.array([[x, y, 0.0]]))).all():
                return x, y
        return 0.0, 0.0

    def plane_mm(self, camera: Camera) -> Array:
        """Four points about the place where the scale is told."""
        reach = np.array([[30.0, 0], [0, 30], [-30, 0], [0, -30]])
        return np.asarray(np.array(self.at_mm(camera)) + reach)


def _level(points: Array) -> Array:
    return np.column_stack([points, np.zeros(len(points))])


def _seen(px: Array, camera: Camera, mask: Codes) -> NDArray[np.bool_]:
    """Which points of a centreline are in the frame and not covered."""
    out = inside(camera, px, 2.0)
    column, row = px[out].round().astype(int).T
    out[out] = np.isin(mask[row, column], (VANE, BENT, WORN))
    return np.asarray(out, dtype=np.bool_)
