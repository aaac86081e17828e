"""A gasket land as a stage: the land on its ground, what is bitten out of it, bolt holes, cracks, and the truth."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.scenes import mesh as meshes
from wearvision.scenes.chance import draw_finish, draw_lights, draw_part, draw_shot
from wearvision.scenes.face_stage import planar
from wearvision.scenes.gasket_shape import Bite, Land, bite_outline, bite_truth, land_mesh, least_width
from wearvision.scenes.lens import project
from wearvision.scenes.placing import beside, draw_card, place_camera
from wearvision.scenes.spec import Camera, Card, Finish, Part
from wearvision.scenes.stage import FACE, HOLE, OTHER, Bench, Body, Codes, Floats, Stage, level
from wearvision.scenes.textures import Image, Maps, bench_map, face_maps, fractal, rim_maps

Array = NDArray[np.float64]
Rng = np.random.Generator
TEXEL_MM = 0.12
SOUND_SHARE = 0.3
"""Share of lands that nothing has bitten into."""
COLORS = (
    (0.36, 0.055, 0.035), (0.30, 0.26, 0.21), (0.055, 0.055, 0.06), (0.16, 0.15, 0.14), (0.42, 0.41, 0.38),
    (0.06, 0.14, 0.09), (0.22, 0.12, 0.07),
)  # fmt: skip
"""Colours of sheet gaskets, linear."""
BARE_SHARE = 0.12
"""Share of lands that are of the same metal as what they lie on: only their step shows."""
STAINED = 0.25
"""Share of sheets that are stained or have lost colour in spots, also at their edges."""
APART, APART_SHARE = 0.35, 0.85
"""Logarithm by which a sheet is usually brighter or darker than its ground (linear light), and on how many at least."""


@dataclass(frozen=True, kw_only=True)
class Crack:
    """A dark thin path across the land: points (N, 2) mm and its width."""

    line_mm: Array
    width_mm: float


def draw_stage(seed: int, width_px: int | None = None) -> Stage:
    """A random `gasket-land` stage; by default 2000 to 2480 px wide."""
    rng = np.random.default_rng([41, seed])
    land = draw_land(rng)
    cracks = draw_cracks(rng, land)
    finish, shot, turn = draw_finish(rng, seed), draw_shot(rng), float(rng.uniform(0, 360))
    ground_mm = land.outer_mm + float(rng.uniform(3, 35))
    card = _card(rng, land, turn)
    part = _plain(rng, ground_mm, seed, finish)
    camera = place_camera(rng, card, turn, width_px, lambda r: _aim(land, card))
    lights, room = draw_lights(rng)
    bench = bench_map(finish, 2048)
    return Stage(
        name=f"gasket_{seed:04d}", seed=seed, view="gasket-land",
        part_kind=str(rng.choice(["casing", "box-cover", "side-plate"])),
        bodies=bodies(rng, land, cracks, part, card, ground_mm),
        benches=(Bench(color=bench, pose=level(-land.thick_mm - 20.0, 900.0)),), card=card, lights=lights, room=room,
        camera=camera, shot=shot, truth=LandTruth(land, cracks, bool(rng.random() < 0.75)),
    )  # fmt: skip


def draw_land(rng: Rng) -> Land:
    """A land of 90 to 260 mm, sound or bitten into at either edge, now and then right through."""
    outer = float(math.exp(rng.uniform(math.log(45), math.log(130))))
    width = min(float(rng.uniform(6, 25)), 0.45 * outer)
    thick = float(math.exp(rng.uniform(math.log(0.5), math.log(4.0))))
    land = Land(inner_mm=outer - width, outer_mm=outer, thick_mm=round(thick, 2), bites=())
    if rng.random() < SOUND_SHARE:
        return land
    count = int(rng.choice([1, 1, 2, 3]))
    first = float(rng.uniform(0, 360))
    bites = [_bite(rng, land, first + 360 * i / count + float(rng.uniform(-25, 25))) for i in range(count)]
    return replace(land, bites=tuple(bites))


def _bite(rng: Rng, land: Land, middle_deg: float) -> Bite:
    through = rng.random() < 0.08
    partial = 0.0 if through else rng.uniform(math.log(0.5), math.log(land.width_mm * 0.9))
    loss = land.width_mm * 1.05 if through else math.exp(partial)
    arc = float(math.exp(rng.uniform(math.log(3), math.log(40))))
    least = math.degrees(0.5 * loss / land.outer_mm)
    return Bite(
        edge=str(rng.choice(["inner", "outer"])), middle_deg=middle_deg, arc_deg=max(arc, least), loss_mm=loss,
        steep=float(rng.uniform(0.5, 1.3)), ragged=float(rng.uniform(0, 0.35)), phase=float(rng.uniform(0, 6.28)),
    )  # fmt: skip


def draw_cracks(rng: Rng, land: Land) -> tuple[Crack, ...]:
    """None most often; else a crooked line from edge to edge where nothing is bitten out."""
    if rng.random() < 0.75:
        return ()
    for _ in range(40):
        angle = float(rng.uniform(0, 360))
        if all(abs((angle - b.middle_deg + 180) % 360 - 180) > b.arc_deg / 2 + 12 for b in land.bites):
            break
    radius = np.linspace(land.inner_mm + 0.1, land.outer_mm - 0.1, 24)
    drift = np.cumsum(rng.normal(0, 0.35, 24)) + np.linspace(0, float(rng.normal(0, 4)), 24)
    turn = np.radians(angle) + drift / land.outer_mm
    line = np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])
    return (Crack(line_mm=line, width_mm=float(rng.uniform(0.25, 0.6))),)


def _card(rng: Rng, land: Land, turn: float) -> Card:
    """On the ground inside the land where it fits, else beside it on the bench's height of the ground."""
    card = draw_card(rng, None if rng.random() < 0.5 else "small")
    stated = -round(land.thick_mm, 1)
    card = replace(card, height_mm=stated, error_mm=-land.thick_mm - stated)
    reach = math.hypot(card.width_mm, card.length_mm) / 2
    if reach + 2 < land.inner_mm and rng.random() < 0.9:
        free = land.inner_mm - reach - 2
        away, angle = free * float(rng.uniform(0, 1)), float(rng.uniform(0, 2 * math.pi))
        return replace(card, x_mm=away * math.cos(angle), y_mm=away * math.sin(angle),
                       turn_deg=float(rng.uniform(0, 360)), support="face")  # fmt: skip
    return beside(rng, card, turn, land.outer_mm)


def _plain(rng: Rng, ground_mm: float, seed: int, finish: Finish) -> Part:
    part = draw_part(rng, seed, kind="casing", wear="clean", outer_mm=ground_mm)
    rim = replace(part.rim, outer_mm=ground_mm)
    return replace(part, grooves=(), holes=(), bands=(), finish=finish, rim=rim, outer_mm=ground_mm)


def _aim(land: Land, card: Card) -> Array:
    around = np.linspace(0, 2 * math.pi, 73)
    radius = land.outer_mm + 3
    ring = np.column_stack([radius * np.cos(around), radius * np.sin(around), np.zeros(73)])
    return np.vstack([ring, [[x, y, card.printed_mm] for x, y in card.corners(2.0)]])


def bodies(
    rng: Rng, land: Land, cracks: tuple[Crack, ...], part: Part, card: Card, ground_mm: float
) -> tuple[Body, ...]:
    """Ground, land, bolt holes, and the block under a card beside."""
    reach = float(np.hypot(*np.array(card.corners(6.0)).T).max())
    wide = ground_mm if card.support == "face" else max(ground_mm, reach if rng.random() < 0.5 else 0.0)
    half = wide + 2
    texels = int(np.clip(2 * half / TEXEL_MM, 1024, 2400))
    cast, turned = rim_maps(part, texels // 2, half), face_maps(part, texels, half)
    base = turned if rng.random() < 0.6 else cast
    bore = 0.01 if card.support == "face" else land.inner_mm * float(rng.choice([0.01, rng.uniform(0.4, 0.9)]))
    floor = -land.thick_mm
    ground = meshes.revolve([(bore, floor - 15), (bore, floor), (wide, floor), (wide, floor - 19)])
    out = [Body(name="ground", mesh=ground, uv=planar(ground, half), look=base, code=OTHER, bumpy=base is cast)]
    holes = _holes(rng, land, ground_mm, floor)
    if holes:
        mesh = meshes.join(holes)
        dark: Image = np.full((4, 4, 3), 0.015, dtype=np.float32)
        out.append(Body(name="holes", mesh=mesh, uv=planar(mesh, half), look=dark, code=HOLE, bumpy=False))
    if card.support != "face" and reach > wide:
        support = meshes.support_mesh(land.thick_mm + 20.0, card, 3.0)
        assert support is not None
        plain: Image = np.full((4, 4, 3), 0.3, dtype=np.float32)
        out.append(Body(name="block", mesh=support, uv=planar(support, half), look=plain, code=0, bumpy=False))
    mesh = land_mesh(land)
    own = land.outer_mm + 2
    look: Maps | Image
    if rng.random() < BARE_SHARE:
        maps = face_maps(replace(part, outer_mm=land.outer_mm), 2400, own)
        look = replace(maps, color=_slit(maps.color, cracks, own))
    else:
        look = _slit(sheet(rng, land, own, _tone(base.color, land, half)), cracks, own)
    out.append(Body(name="land", mesh=mesh, uv=planar(mesh, own), look=look, code=FACE, bumpy=False))
    return tuple(out)


def _holes(rng: Rng, land: Land, ground_mm: float, floor_mm: float) -> list[meshes.Mesh]:
    """Bolt holes beside the outer edge."""
    room = ground_mm - land.outer_mm
    if room < 9 or rng.random() < 0.4:
        return []
    radius = float(rng.uniform(2.5, min(6.5, room / 2 - 1.2)))
    away, count, first = land.outer_mm + room / 2, int(rng.integers(4, 13)), float(rng.uniform(0, 6.28))
    turns = first + 2 * math.pi * np.arange(count) / count
    return [
        meshes.prism(meshes.hexagon(away * math.cos(a), away * math.sin(a), 2 * radius, 0.0, 40), floor_mm,
                     floor_mm + 0.03) for a in turns.tolist()
    ]  # fmt: skip


def _tone(color: Image, land: Land, half_mm: float) -> float:
    """Mean linear light of what lies about a land."""
    axis = np.linspace(-half_mm, half_mm, len(color))
    far = np.hypot(axis[None, :], axis[:, None])
    return float(color[np.abs(far - (land.inner_mm + land.outer_mm) / 2) < land.width_mm / 2 + 6].mean())


def _color(rng: Rng, ground: float) -> Array:
    """Colour of a sheet, on most lands another tone than the ground's."""
    free = rng.random() > APART_SHARE
    while True:
        color = np.array(COLORS[int(rng.integers(len(COLORS)))]) * float(rng.uniform(0.7, 1.4))
        if free or abs(math.log(float(color.mean()) / max(ground, 1e-3))) > APART:
            return color


def sheet(rng: Rng, land: Land, half_mm: float, ground: float) -> Image:
    """Colour map of a sheet gasket or a dull land: mottled, stained from its edges."""
    size = 2400
    color = _color(rng, ground)
    mottle = float(rng.uniform(0.02, 0.16))
    noise = fractal(rng, size, 60.0, 4)
    noise = (noise - noise.mean()) / max(float(noise.std()), 1e-6)
    out = np.clip(color[None, None, :] * (1 + mottle * noise[..., None]), 0.01, 0.9)
    if rng.random() < STAINED:
        spots = fractal(rng, size, 14.0, 4)
        cover = np.clip((spots - np.quantile(spots, 1 - float(rng.uniform(0.02, 0.15)))) / 0.05, 0, 1)[..., None]
        stain = np.array([0.2, 0.1, 0.05]) if rng.random() < 0.5 else np.full(3, float(rng.uniform(0.1, 0.5)))
        out = out * (1 - 0.8 * cover) + 0.8 * cover * stain
    return np.asarray(out, dtype=np.float32)


def _slit(color: Image, cracks: tuple[Crack, ...], half_mm: float) -> Image:
    """A colour map with the cracks in it, dark."""
    out = np.array(color, dtype=np.float32, order="C")
    per_mm = len(out) / (2 * half_mm)
    for crack in cracks:
        px = np.column_stack([crack.line_mm[:, 0] + half_mm, half_mm - crack.line_mm[:, 1]]) * per_mm
        cv2.polylines(out, [np.round(px * 16).astype(np.int32)], False, (0.012, 0.012, 0.012),
                      max(1, round(crack.width_mm * per_mm)), cv2.LINE_AA, 4)  # fmt: skip
    return out


@dataclass(frozen=True)
class LandTruth:
    """Truth of a gasket land; definitions in `gasket_shape`."""

    land: Land
    cracks: tuple[Crack, ...]
    sizes_known: bool

    def paint(self, codes: Codes, hit_mm: Floats) -> Codes:
        """The pieces' own codes."""
        return codes

    def findings(self, camera: Camera, mask: Codes) -> Sequence[Mapping[str, Any]]:
        """Notches, then cracks."""
        return [*[self._notch(b, camera) for b in self.land.bites], *[_crack(c, camera) for c in self.cracks]]

    def _notch(self, bite: Bite, camera: Camera) -> dict[str, Any]:
        truth = {name: round(value, 4) for name, value in bite_truth(self.land, bite).items()}
        outline = project(camera, _level(bite_outline(self.land, bite))).round(1).tolist()
        return {"kind": "notch", "edge": bite.edge, "truth": truth, "outline_px": outline}

    def summary(self) -> Mapping[str, Any]:
        """Sound width and the least that is left."""
        width, deg = least_width(self.land)
        return {
            "nominal_width_mm": round(self.land.width_mm, 4), "min_remaining_width_mm": round(width, 4),
            "min_at_deg": round(deg, 2), "thickness_mm": self.land.thick_mm,
        }  # fmt: skip

    def stated(self) -> Mapping[str, float]:
        """Drawing diameters, or nothing where nobody knows them."""
        if not self.sizes_known:
            return {}
        return {
            "land_inner_diameter_mm": round(2 * self.land.inner_mm, 1),
            "land_outer_diameter_mm": round(2 * self.land.outer_mm, 1),
        }

    def at_mm(self, camera: Camera) -> tuple[float, float]:
        """The land's centre."""
        return 0.0, 0.0

    def plane_mm(self, camera: Camera) -> Array:
        """Four points half way out."""
        return np.asarray(self.land.outer_mm / 2 * np.array([[1.0, 0], [0, 1], [-1, 0], [0, -1]]))


def _crack(crack: Crack, camera: Camera) -> dict[str, Any]:
    length = float(np.hypot(*np.diff(crack.line_mm, axis=0).T).sum())
    outline = project(camera, _level(crack.line_mm)).round(1).tolist()
    truth = {"length": round(length, 3), "width": round(crack.width_mm, 3)}
    return {"kind": "crack", "truth": truth, "outline_px": outline}


def _level(points: Array) -> Array:
    return np.column_stack([points, np.zeros(len(points))])
