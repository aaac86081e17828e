"""A wear face with pits and cracks, and with much that looks like them: what stands before the camera, and its truth.

Pits are hollows from saucers to undercut ones, cracks are slits that close to an edge: both are openings of the mesh,
dark only because little light comes back out of them. Decoys: drilled holes, oil drops, dark chips of paint,
scratches, lathe lines. The part, card, camera, lamps and finish are those of the wear-face stage.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes import mesh as meshes
from wearvision.scenes import truth
from wearvision.scenes.chance import draw_scene
from wearvision.scenes.face_stage import TEXEL_MM, FaceTruth, block, planar
from wearvision.scenes.lens import inside, mm_per_px, project
from wearvision.scenes.spec import Camera, Hole, Part, Scene
from wearvision.scenes.spot_mesh import spotted_meshes
from wearvision.scenes.spot_shape import Crack, Pit, draw_crack, draw_pit
from wearvision.scenes.spot_soil import soiled
from wearvision.scenes.stage import CRACK, FACE, HOLE, PIT, Bench, Body, Codes, Floats, Stage, level
from wearvision.scenes.textures import bench_map, face_maps, rim_maps

Array = NDArray[np.float64]
Rng = np.random.Generator

DRAWN_AS = "wear-face-spots"
WIDTH_PX = 2400
PIXEL_MM = (0.085, 0.14)
LEAST_MOST_PX = (1800, 3400)
"""What a pixel spans on faces photographed whole; and how wide a picture is made for it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Wear:
    """What is on the face beside what the part itself carries."""

    pits: tuple[Pit, ...]
    cracks: tuple[Crack, ...]


def draw_stage(seed: int, width_px: int | None = None) -> Stage:
    """A random face: a field of pits, a few, or none; cracks on half of them; holes on four in ten."""
    rng = np.random.default_rng([31, seed])
    scene = _framed(rng, seed, width_px)
    part = scene.part
    grooved = rng.random() < 0.2
    holes = _holes(rng, part)
    part = replace(part, grooves=part.grooves if grooved else (), holes=() if grooved else holes)
    scene = replace(scene, part=part)
    cracks = () if grooved or rng.random() < 0.4 else _cracks(rng, part)
    return spots_stage(scene, Wear(pits=_pits(rng, part, cracks), cracks=cracks))


def spots_stage(scene: Scene, wear: Wear) -> Stage:
    """The stage of a scene with its wear."""
    bench = bench_map(scene.part.finish, 2048)
    part, half = scene.part, scene.part.rim.outer_mm + 2.0
    texels = int(np.clip(2 * half / TEXEL_MM, 1024, 3072))
    clean = face_maps(part, texels, half)
    turned = soiled(scene.seed, part, wear.pits, wear.cracks, clean, half)
    spotted = spotted_meshes(part, wear.pits, wear.cracks)
    pieces = (("face", spotted.face, FACE), ("lips", spotted.lips, FACE), ("pits", spotted.pits, PIT),
              ("cracks", spotted.cracks, CRACK), ("holes", spotted.holes, HOLE))  # fmt: skip
    bodies = [
        Body(name=name, mesh=mesh, uv=planar(mesh, half), look=turned, code=code, smooth=name in ("face", "pits"))
        for name, mesh, code in pieces if mesh is not None
    ]  # fmt: skip
    rough = rim_maps(part, texels // 2, half)
    for name, mesh in meshes.body_meshes(part).items():
        bodies.append(Body(
            name=name, mesh=mesh, uv=planar(mesh, half), look=rough if name == "rim" else turned, bumpy=name == "rim"
        ))  # fmt: skip
    return Stage(
        name=scene.name, seed=scene.seed, view=scene.view, part_kind=part.kind,
        bodies=(*bodies, *block(scene.card, part.bench_mm, scene.seed, bench)),
        benches=(Bench(color=bench, pose=level(-part.bench_mm, 900.0)),),
        card=scene.card, lights=scene.lights, room=scene.room, camera=scene.camera, shot=scene.shot,
        truth=SpotsTruth(scene, wear),
    )  # fmt: skip


def _framed(rng: Rng, seed: int, width_px: int | None) -> Scene:
    """The wear-face scene of this number, in so many pixels that one spans what it does on photos."""
    scene = draw_scene(seed, width_px or WIDTH_PX, name=f"spots_{seed:04d}")
    wanted = math.exp(rng.uniform(*np.log(PIXEL_MM)))
    if width_px is not None:
        return scene
    shrink = mm_per_px(scene.camera, (0.0, 0.0)) / wanted
    return draw_scene(seed, 4 * round(float(np.clip(WIDTH_PX * shrink, *LEAST_MOST_PX)) / 4), name=scene.name)


def _holes(rng: Rng, part: Part) -> tuple[Hole, ...]:
    """None, a circle of bolt holes, or a lone one."""
    if rng.random() > 0.4:
        return ()
    diameter = float(rng.uniform(2.5, 8))
    low, high = part.inner_mm + diameter, part.outer_mm - diameter
    if low > high:
        return ()
    radius, first = float(rng.uniform(low, high)), float(rng.uniform(0, 6.28))
    count = int(rng.choice([1, 2, 3, 4, 6, 8]))
    turns = first + np.arange(count) * 2 * math.pi / count
    return tuple(
        Hole(x_mm=radius * math.cos(a), y_mm=radius * math.sin(a), diameter_mm=diameter, depth_mm=12.0) for a in turns
    )


def _pits(rng: Rng, part: Part, cracks: tuple[Crack, ...]) -> tuple[Pit, ...]:
    """A field (half of the faces), one to five (a quarter), none; apart from each other, holes and cracks."""
    draw = rng.random()
    count = 0 if draw > 0.75 else int(rng.integers(1, 6)) if draw > 0.5 else int(np.exp(rng.uniform(2.5, 5.2)))
    usual = float(rng.uniform(0.9, 2.6))
    taken = [(h.x_mm, h.y_mm, h.diameter_mm / 2 + 1.0) for h in part.holes]
    taken += [(x, y, 0.9) for c in cracks for x, y in c.line_mm[::4]]
    out: list[Pit] = []
    for _ in range(4 * count):
        size = float(np.clip(usual * np.exp(rng.normal(0, 0.4)), 0.6, 5.0))
        r, a = math.sqrt(rng.uniform(part.inner_mm**2, part.outer_mm**2)), float(rng.uniform(0, 6.2832))
        x, y = r * math.cos(a), r * math.sin(a)
        free = part.inner_mm + 0.7 * size + 0.7 < r < part.outer_mm - 0.7 * size - 0.7
        free = free and all(abs(g.radius_mm - r) > g.width_mm + g.wander_mm + size for g in part.grooves)
        if free and all(math.hypot(x - u, y - v) > w + 0.6 * size + 0.2 for u, v, w in taken):
            out.append(draw_pit(rng, x, y, size))
            taken.append((x, y, 0.6 * size + 0.2))
        if len(out) == count:
            break
    return tuple(out)


def _cracks(rng: Rng, part: Part) -> tuple[Crack, ...]:
    """One or two cracks, a third of them with a branch, wholly on the face and clear of holes."""
    out: list[Crack] = []
    wanted = int(rng.choice([1, 1, 2]))
    for _ in range(200):
        r, a = float(rng.uniform(part.inner_mm + 2, part.outer_mm - 2)), float(rng.uniform(0, 6.28))
        length, width = float(rng.uniform(10, 45)), float(np.exp(rng.uniform(math.log(0.08), math.log(0.4))))
        crack = draw_crack(rng, r * np.array([math.cos(a), math.sin(a)]), float(rng.uniform(0, 6.28)), length, width)
        if not _fits(part, crack) or any(_near(crack, other) < 8 for other in out):
            continue
        out.append(crack)
        if rng.random() < 0.33:
            k = len(crack.line_mm) // 2
            way = crack.line_mm[k + 5] - crack.line_mm[k - 5]
            turn = math.atan2(way[1], way[0]) + float(rng.choice([-0.7, 0.7]))
            branch = draw_crack(rng, crack.line_mm[k], turn, 0.3 * length, 0.6 * width)
            out += [branch] if _fits(part, branch) else []
        wanted -= 1
        if not wanted:
            break
    return tuple(out)


def _near(one: Crack, other: Crack) -> float:
    return float(np.hypot(*(one.line_mm[::5, None] - other.line_mm[None, ::5]).transpose(2, 0, 1)).min())


def _fits(part: Part, crack: Crack) -> bool:
    r = np.hypot(*crack.line_mm.T)
    free = all(np.hypot(*(crack.line_mm - [h.x_mm, h.y_mm]).T).min() > h.diameter_mm / 2 + 1 for h in part.holes)
    return bool(r.min() > part.inner_mm + 1 and r.max() < part.outer_mm - 1 and free)


@dataclass(frozen=True)
class SpotsTruth(FaceTruth):
    """Truth of a spotted face: that of the face itself, with pits and cracks."""

    wear: Wear

    def paint(self, codes: Codes, hit_mm: Floats) -> Codes:
        """Grooves, bands and holes told apart on the face; pits and cracks are bodies of their own."""
        return truth.paint_mask(self.scene, codes, hit_mm)

    def findings(self, camera: Camera, mask: Codes) -> Sequence[Mapping[str, Any]]:
        """Grooves, rub bands, holes, pits and cracks; ``in_view`` is the share that is seen."""
        face = truth.face_findings(self.scene, mask)
        pits = [_pit_finding(pit, camera, mask) for pit in self.wear.pits]
        return [*face, *pits, *[_crack_finding(crack, camera, mask) for crack in self.wear.cracks]]

    def summary(self) -> Mapping[str, Any]:
        """Area of the ring, and the field of pits of 0.6 mm and more."""
        area, pits = truth.face_area_mm2(self.scene.part), self.wear.pits
        total = sum(truth.polygon_area(pit.outline(180)) for pit in pits)
        return {
            "face_area_mm2": round(area, 3), "pit_count": len(pits),
            "pit_density_per_m2": round(1e6 * len(pits) / area, 3), "pit_area_fraction": round(total / area, 5),
            "drawn_as": DRAWN_AS,
        }  # fmt: skip


def _seen(points_mm: Array, camera: Camera, mask: Codes, codes: tuple[int, ...]) -> float:
    px = project(camera, np.column_stack([points_mm, np.zeros(len(points_mm))]))
    ok = inside(camera, px)
    column, row = px[ok].round().astype(int).T
    return float(np.isin(mask[row, column], codes).sum() / len(px))


def _pit_finding(pit: Pit, camera: Camera, mask: Codes) -> dict[str, Any]:
    outline, middle = pit.outline(), np.array([pit.x_mm, pit.y_mm])
    area = truth.polygon_area(pit.outline(180))
    figures = {"diameter": 2 * math.sqrt(area / math.pi), "area": area, "true_depth": pit.depth_mm,
               "in_view": _seen(middle + 0.7 * (outline - middle), camera, mask, (PIT,))}  # fmt: skip
    px = project(camera, np.column_stack([outline, np.zeros(len(outline))]))
    return {"kind": "pit", "truth": {k: round(v, 3) for k, v in figures.items()}, "outline_px": px.round(1).tolist()}


def _crack_finding(crack: Crack, camera: Camera, mask: Codes) -> dict[str, Any]:
    line = crack.line_mm[::5]
    figures = {"length": crack.length_mm, "width": float(np.median(crack.width_mm)),
               "in_view": _seen(line, camera, mask, (CRACK, FACE, 6))}  # fmt: skip
    px = project(camera, np.column_stack([line, np.zeros(len(line))]))
    return {"kind": "crack", "truth": {k: round(v, 3) for k, v in figures.items()}, "outline_px": px.round(1).tolist()}
