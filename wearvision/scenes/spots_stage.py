"""A wear face with pits and cracks, and with much that looks like them: what stands before the camera, and its truth.

Pits are hollows of the mesh; a crack is a slit far deeper than wide, which sends no light back, so it is drawn as a
black ribbon of its width on the face. Decoys: drilled holes, oil drops, dark chips of paint, scratches, lathe lines.
The part, card, camera, lamps and finish are those of the wear-face stage.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.scenes import mesh as meshes
from wearvision.scenes import truth
from wearvision.scenes.chance import draw_scene
from wearvision.scenes.face_stage import TEXEL_MM, FaceTruth, block, planar
from wearvision.scenes.lens import inside, project
from wearvision.scenes.shape import face_height
from wearvision.scenes.spec import Camera, Hole, Part, Scene
from wearvision.scenes.spot_shape import Crack, Pit, draw_crack, draw_pit
from wearvision.scenes.stage import CRACK, FACE, HOLE, PIT, Bench, Body, Codes, Floats, Stage, level
from wearvision.scenes.textures import RUST_DARK, RUST_LIGHT, Maps, bench_map, face_maps, rim_maps

Array = NDArray[np.float64]
Rng = np.random.Generator

DRAWN_AS = "wear-face-spots"
STEP_MM = 0.16
"""Of the face's mesh; vertices near a rim are moved onto it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Wear:
    """What is on the face beside what the part itself carries."""

    pits: tuple[Pit, ...]
    cracks: tuple[Crack, ...]


def draw_stage(seed: int, width_px: int | None = None) -> Stage:
    """A random face: a field of pits, a few, or none; cracks on four in ten; holes on four in ten."""
    rng = np.random.default_rng([31, seed])
    scene = draw_scene(seed, width_px, name=f"spots_{seed:04d}")
    part = scene.part
    grooved = rng.random() < 0.2
    holes = _holes(rng, part)
    part = replace(part, grooves=part.grooves if grooved else (), holes=() if grooved else holes)
    scene = replace(scene, part=part)
    cracks = () if grooved or rng.random() < 0.55 else _cracks(rng, part)
    return spots_stage(scene, Wear(pits=_pits(rng, part, cracks), cracks=cracks))


def spots_stage(scene: Scene, wear: Wear) -> Stage:
    """The stage of a scene with its wear."""
    bench = bench_map(scene.part.finish, 2048)
    part, half = scene.part, scene.part.rim.outer_mm + 2.0
    texels = int(np.clip(2 * half / TEXEL_MM, 1024, 3072))
    turned = _soiled(scene, wear, face_maps(part, texels, half), half)
    face = spotted_mesh(part, wear.pits)
    bodies = [Body(name="face", mesh=face, uv=planar(face, half), look=turned, code=FACE, smooth=True)]
    rough = rim_maps(part, texels // 2, half)
    for name, mesh in meshes.body_meshes(part).items():
        bodies.append(Body(
            name=name, mesh=mesh, uv=planar(mesh, half), look=rough if name == "rim" else turned, bumpy=name == "rim"
        ))  # fmt: skip
    black = np.full((4, 4, 3), 0.012, dtype=np.float32)
    for k, crack in enumerate(wear.cracks):
        slit = ribbon(crack)
        bodies.append(Body(name=f"crack{k}", mesh=slit, uv=planar(slit, half), look=black, code=CRACK, bumpy=False))
    return Stage(
        name=scene.name, seed=scene.seed, view=scene.view, part_kind=part.kind,
        bodies=(*bodies, *block(scene.card, part.bench_mm, scene.seed, bench)),
        benches=(Bench(color=bench, pose=level(-part.bench_mm, 900.0)),),
        card=scene.card, lights=scene.lights, room=scene.room, camera=scene.camera, shot=scene.shot,
        truth=SpotsTruth(scene, wear),
    )  # fmt: skip


def spotted_mesh(part: Part, pits: tuple[Pit, ...]) -> meshes.Mesh:
    """The face as a fine polar mesh with its grooves, pits and holes."""
    radii = np.linspace(part.inner_mm, part.outer_mm, 1 + math.ceil((part.outer_mm - part.inner_mm) / STEP_MM))
    angles = np.linspace(0, 2 * math.pi, math.ceil(2 * math.pi * part.outer_mm / STEP_MM), endpoint=False)
    x, y = radii[:, None] * np.cos(angles), radii[:, None] * np.sin(angles)
    z = face_height(part, x, y)
    rounds = [*pits, *[_as_pit(hole) for hole in part.holes]]
    for pit in rounds:
        near = np.hypot(x - pit.x_mm, y - pit.y_mm) < 1.8 * pit.radius_mm + 1
        px, py = x[near], y[near]
        t = pit.ratio(px, py)
        pull = np.where(np.abs(t - 1) * pit.radius_mm < 0.55 * STEP_MM, 1 / np.maximum(t, 1e-6), 1.0)
        drilled = pit.depth_mm > 9
        inner = np.where(t * pull < 1 - 1e-6, -pit.depth_mm, 0.0) if drilled else -pit.depth(t * pull)
        x[near], y[near] = pit.x_mm + (px - pit.x_mm) * pull, pit.y_mm + (py - pit.y_mm) * pull
        z[near] = np.where(t < 1.2, inner + np.where(t < 1, 0.0, z[near]), z[near])
    points = np.stack([x, y, z], -1).reshape(-1, 3)
    return meshes.Mesh(points=points, faces=meshes.grid_faces(len(radii), len(angles), wrap=True))


def ribbon(crack: Crack) -> meshes.Mesh:
    """The opening of a crack as a strip just above the face."""
    left, right = crack.sides()
    flat = np.stack([right, left], axis=1).reshape(-1, 2)
    points = np.column_stack([flat, np.full(len(flat), 0.004)])
    k = np.arange(len(left) - 1) * 2
    faces = np.concatenate([np.stack([k, k + 2, k + 1], -1), np.stack([k + 2, k + 3, k + 1], -1)])
    return meshes.Mesh(points=points, faces=faces)


def _as_pit(hole: Hole) -> Pit:
    return Pit(
        x_mm=hole.x_mm, y_mm=hole.y_mm, radius_mm=hole.diameter_mm / 2, waves=(), depth_mm=max(hole.depth_mm, 10.0),
        bowl=False, rusty=0.0,
    )  # fmt: skip


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
    taken = [(h.x_mm, h.y_mm, h.diameter_mm / 2 + 0.8) for h in part.holes]
    taken += [(x, y, 0.6) for c in cracks for x, y in c.line_mm[::4]]
    out: list[Pit] = []
    for _ in range(4 * count):
        size = float(np.clip(usual * np.exp(rng.normal(0, 0.4)), 0.6, 5.0))
        r, a = math.sqrt(rng.uniform(part.inner_mm**2, part.outer_mm**2)), float(rng.uniform(0, 6.2832))
        x, y = r * math.cos(a), r * math.sin(a)
        free = part.inner_mm + 0.7 * size + 0.7 < r < part.outer_mm - 0.7 * size - 0.7
        free = free and all(abs(g.radius_mm - r) > g.width_mm + g.wander_mm + size for g in part.grooves)
        if free and all(math.hypot(x - u, y - v) > w + 0.62 * size for u, v, w in taken):
            out.append(draw_pit(rng, x, y, size))
            taken.append((x, y, 0.62 * size))
        if len(out) == count:
            break
    return tuple(out)


def _cracks(rng: Rng, part: Part) -> tuple[Crack, ...]:
    """One or two cracks, a third of them with a branch, wholly on the face and clear of holes."""
    out: list[Crack] = []
    wanted = int(rng.choice([1, 1, 2]))
    for _ in range(200):
        r, a = float(rng.uniform(part.inner_mm + 2, part.outer_mm - 2)), float(rng.uniform(0, 6.28))
        length, width = float(rng.uniform(15, 80)), float(rng.uniform(0.1, 0.4))
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


def _soiled(scene: Scene, wear: Wear, maps: Maps, half: float) -> Maps:
    """Dirt and rust in the pits; oil drops, dark chips of paint and long straight scratches as decoys."""
    rng = np.random.default_rng([32, scene.seed])
    color, rough, metal = maps.color.copy(), maps.rough.copy(), maps.metal.copy()
    size = len(color)
    scale = size / (2 * half)

    def blot(outline: Array, soft_mm: float) -> NDArray[np.float32]:
        px = (outline * [1, -1] + half) * scale - 0.5
        mask = np.zeros((size, size), dtype=np.uint8)
        cv2.fillPoly(mask, [np.round(px * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        return np.asarray(cv2.GaussianBlur(mask, (0, 0), max(0.6, soft_mm * scale)) / np.float32(255))

    def lay(mask: NDArray[np.float32], hue: Array, shine: float) -> None:
        on = mask > 0.004
        weight = mask[on]
        color[on] += weight[:, None] * (hue.astype(np.float32) - color[on])
        rough[on] += weight * np.float32(shine - rough[on])
        metal[on] *= 1 - weight

    usual = color.reshape(-1, 3)[::97].mean(axis=0)
    for pit in wear.pits:
        dirt = 0.2 * usual + pit.rusty * (0.5 * (RUST_DARK + RUST_LIGHT) - 0.2 * usual)
        lay(blot(pit.outline(), 0.05) * np.float32(rng.uniform(0.4, 0.95)), dirt, 0.8)
    for kind in rng.choice(["oil", "paint", "scratch", "none"], 10):
        r, a = float(rng.uniform(scene.part.inner_mm, scene.part.outer_mm)), float(rng.uniform(0, 6.28))
        at = r * np.array([math.cos(a), math.sin(a)])
        spot = replace(draw_pit(rng, at[0], at[1], float(rng.uniform(1.0, 5.0))), rusty=0.0)
        if kind == "oil":
            lay(blot(spot.outline(), float(rng.uniform(0.1, 0.5))) * np.float32(0.6), 0.45 * usual, 0.2)
        elif kind == "paint":
            hue = np.array([0.5, 0.5, 0.48]) * rng.uniform(0.25, 1.4, 3)
            lay(blot(spot.outline(7), 0.04) * np.float32(0.9), hue, 0.5)
        elif kind == "scratch":
            turn, length = float(rng.uniform(0, 6.28)), float(rng.uniform(10, 60))
            way, wide = np.array([math.cos(turn), math.sin(turn)]), float(rng.uniform(0.05, 0.15))
            side = np.array([-way[1], way[0]]) * wide
            lay(blot(np.array([at - side, at + way * length - side, at + way * length + side, at + side]), 0.03)
                * np.float32(0.7), usual * float(rng.choice([0.35, 1.5])), 0.3)  # fmt: skip
    return Maps(color=np.clip(color, 0.01, 0.92), rough=np.clip(rough, 0.12, 1.0), metal=metal, bump=maps.bump)


@dataclass(frozen=True)
class SpotsTruth(FaceTruth):
    """Truth of a spotted face: that of the face itself, with pits and cracks."""

    wear: Wear

    def paint(self, codes: Codes, hit_mm: Floats) -> Codes:
        """Pits told apart on the face, on top of grooves, bands and holes."""
        mask = truth.paint_mask(self.scene, codes, hit_mm)
        on_face = np.isin(mask, (FACE, HOLE, 6))
        x, y = hit_mm[on_face][:, :2].astype(np.float64).T
        found = mask[on_face]
        for pit in self.wear.pits:
            off = np.maximum(np.abs(x - pit.x_mm), np.abs(y - pit.y_mm))
            near = np.nonzero(off < 2 * pit.radius_mm)[0]
            found[near[pit.ratio(x[near], y[near]) < 1]] = PIT
        mask[on_face] = found
        return mask

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
