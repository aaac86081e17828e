"""A volute lip seen square on: one straight edge of an opening in a casing's wall, washed out or sound.

World: the wall's face is z = 0, the lip runs along y = 0 with the opening above it (y > 0) and metal below.
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
from wearvision.scenes.stage import FACE, OTHER, WASHOUT, Array, Bench, Body, Codes, Floats, Stage, level
from wearvision.scenes.textures import Maps, bench_map, face_maps, rim_maps

Rng = np.random.Generator
WIDTH_PX, HALF_MM = 1600, 110.0
STEP_MM = 0.1
"""Distance of the mesh's columns along the lip."""
TRUTH_POINTS = 401
EVEN_MM = 0.1
"""Where the lip lies further back than this it is eroded."""


@dataclass(frozen=True, kw_only=True)
class Bay:
    """One washed place: middle, half length and depth, mm; ``power`` sharpens, ``ragged`` roughens it."""

    middle_mm: float
    half_mm: float
    depth_mm: float
    power: float
    ragged: float


@dataclass(frozen=True, kw_only=True)
class Lip:
    """What was drawn. ``edge_mm`` is the radius of the rounded edge; ``pocket`` a second opening: x, y, sizes."""

    length_mm: float
    bays: tuple[Bay, ...]
    wavy_mm: float
    edge_mm: float
    height_mm: float
    deep_mm: float
    plate_mm: tuple[float, float, float, float]
    pocket: tuple[float, float, float, float] | None
    floor: str
    told: bool
    seed: int

    def deviation(self, x: Array) -> Array:
        """Distance (N,) of the lip behind the straight line at x (N,), mm."""
        rng = np.random.default_rng([61, self.seed])
        phases = rng.uniform(0, 2 * math.pi, (2, 4))
        periods = (0.9 * self.length_mm, 7.0, 3.1, 1.3)
        waves = [np.sin(2 * math.pi * x / p + f) for p, f in zip(periods, phases[0], strict=True)]
        out = self.wavy_mm * np.sum(waves, axis=0) / 2
        for bay in self.bays:
            near = np.clip(1 - np.abs(x - bay.middle_mm) / bay.half_mm, 0, 1)
            bump = np.sin(near * math.pi / 2) ** (2 * bay.power)
            teeth = [np.sin(2 * math.pi * x / p + f) for p, f in zip((4.3, 2.3, 1.1, 0.6), phases[1], strict=True)]
            rough = 1 + bay.ragged * np.tensordot([0.5, 0.3, 0.2, 0.1], np.array(teeth), 1)
            out = np.maximum(out, bay.depth_mm * bump * rough)
        return np.asarray(out)

    @property
    def line(self) -> tuple[Array, Array]:
        """Places along the lip and the deviation there, (N,) each."""
        x = np.linspace(-self.length_mm / 2, self.length_mm / 2, max(TRUTH_POINTS, round(self.length_mm / STEP_MM)))
        return x, self.deviation(x)


def draw_stage(seed: int, width_px: int | None = None) -> Stage:
    """A random stage of this view: lips of 25 to 90 mm, washed 0 to 6 mm deep, sound one in four."""
    rng = np.random.default_rng([51, seed])
    lip = draw_lip(rng, seed)
    card = _lay_card(rng, lip)
    camera = _place(rng, lip, card, width_px or WIDTH_PX)
    part = replace(draw_part(rng, seed, kind="casing", wear="clean"), bands=(), holes=(), step_mm=0.0)
    part = replace(part, finish=replace(part.finish, lathe_um=0.0, lathe_rings=0))
    cast, milled = rim_maps(part, 1600, HALF_MM), face_maps(part, 1600, HALF_MM)
    cast = replace(cast, bump=cast.bump * np.float32(rng.uniform(0.2, 1.0)))
    looks = (cast, cast) if rng.random() < 0.5 else (milled, cast)
    lights, room = draw_lights(rng)
    bench = bench_map(part.finish, 1024)
    return Stage(
        name=f"tongue_{seed:04d}", seed=seed, view="tongue", part_kind="casing",
        bodies=wall_bodies(lip, looks),
        benches=(Bench(color=bench, pose=level(-max(lip.deep_mm, 12.0) - 40.0, 900.0)),),
        card=card, lights=lights, room=room, camera=camera, shot=draw_shot(rng), truth=LipTruth(lip),
    )  # fmt: skip


def _place(rng: Rng, lip: Lip, card: Card, width_px: int) -> Camera:
    """A camera that has the lip across its picture, to within 45 degrees, and the opening above it."""
    while True:
        steep, turn = float(min(25.0, abs(rng.normal(0, 11)))), float(rng.uniform(-35, 35))
        camera = place_camera(rng, card, turn, width_px, lambda _: _aim(lip, card), steep_deg=steep)
        middle, metal = project(camera, np.array([[0.0, 0.0, 0.0], [0.0, -5.0, 0.0]]))
        if metal[1] - middle[1] > abs(metal[0] - middle[0]):
            return camera


def draw_lip(rng: Rng, seed: int) -> Lip:
    """A lip, sound or washed out in one or two bays, some of them to an end."""
    length = float(np.exp(rng.uniform(math.log(25), math.log(90))))
    worn = rng.random() < 0.75
    bays = _draw_bays(rng, length) if worn else ()
    height = float(rng.uniform(16, 60))
    near = 14.0 if rng.random() < 0.3 else 90.0
    far = [float(rng.uniform(near, 150)) for _ in range(4)]
    plate = (-length / 2 - far[0], -15 - far[1], length / 2 + far[2], height + far[3])
    pocket = None
    if rng.random() < 0.25:
        wide, tall = rng.uniform(6, 0.6 * length), rng.uniform(5, 15)
        pocket = (float(rng.uniform(-length / 4, length / 4)), -float(rng.uniform(18, 26)), float(wide), float(tall))
        plate = (plate[0], min(plate[1], pocket[1] - pocket[3] - 5), plate[2], plate[3])
    return Lip(
        length_mm=length, bays=bays, wavy_mm=float(rng.uniform(0.01, 0.04)),
        edge_mm=float(rng.choice([0.0, rng.uniform(0.1, 1.5)], p=[0.4, 0.6])), height_mm=height,
        deep_mm=float(np.exp(rng.uniform(math.log(7), math.log(45)))), plate_mm=plate, pocket=pocket,
        floor=str(rng.choice(["cast", "cast", "none"])), told=bool(rng.random() < 0.8), seed=seed,
    )  # fmt: skip


def _draw_bays(rng: Rng, length: float) -> tuple[Bay, ...]:
    out, left = [], length * float(rng.uniform(0.3, 0.65))
    for _ in range(int(rng.choice([1, 1, 2]))):
        half = left / 2 * float(rng.uniform(0.5, 1.0))
        depth = min(float(np.exp(rng.uniform(math.log(0.35), math.log(6.0)))), 0.8 * half)
        to_end = rng.random() < 0.25
        reach = length / 2 - half * 1.1
        middle = math.copysign(length / 2 - 0.4 * half, rng.normal()) if to_end else float(rng.uniform(-reach, reach))
        out.append(Bay(middle_mm=middle, half_mm=half, depth_mm=depth, power=float(rng.uniform(0.4, 1.2)),
                       ragged=float(rng.uniform(0.02, 0.3))))  # fmt: skip
        left -= 1.6 * half
        if left < 5:
            break
    return tuple(out)


def _lay_card(rng: Rng, lip: Lip) -> Card:
    """The card on the wall beside the opening or below the lip, curled a little."""
    card = draw_card(rng, str(rng.choice(["standard", "small"], p=[0.1, 0.9])))
    turn = float(rng.choice([0.0, 90.0, 180.0, 270.0])) + float(rng.normal(0, 7))
    card = replace(card, turn_deg=turn % 360, error_mm=float(rng.uniform(0.0, 0.6)), height_mm=0.0, support="face")
    reach = np.abs(np.array(card.corners(2.0))).max(axis=0)
    if rng.random() < 0.7 or lip.pocket is not None:
        away = lip.length_mm / 2 + float(rng.uniform(5, 14)) + float(reach[0])
        return replace(card, x_mm=float(rng.choice([-1, 1])) * away, y_mm=float(rng.uniform(-20, 20)))
    return replace(card, x_mm=float(rng.uniform(-10, 10)), y_mm=-float(rng.uniform(12, 20)) - float(reach[1]))


def _aim(lip: Lip, card: Card) -> Array:
    half, up = lip.length_mm / 2 + 6, min(lip.height_mm, 14.0)
    around = [[-half, -9, 0], [half, -9, 0], [half, up, 0], [-half, up, 0]]
    sheet = [[x, y, card.printed_mm] for x, y in card.corners(2.0)]
    return np.array(around + sheet, dtype=np.float64)


def wall_bodies(lip: Lip, looks: tuple[Maps, Maps]) -> tuple[Body, ...]:
    """The wall's face with its lip, the opening's sides and its floor."""
    half, (left, low, right, top) = lip.length_mm / 2, lip.plate_mm
    pieces = [_flat(left, min(low, -40.0), -half, max(top, lip.height_mm + 5)),
              _flat(half, min(low, -40.0), right, max(top, lip.height_mm + 5)),
              _flat(-half, lip.height_mm, half, max(top, lip.height_mm + 5))]  # fmt: skip
    face = meshes.join([*pieces, *_below(lip, min(low, -40.0))])
    sides = meshes.join([
        _side([(-half, -9.0), (-half, lip.height_mm)], lip.deep_mm),
        _side([(-half, lip.height_mm), (half, lip.height_mm)], lip.deep_mm),
        _side([(half, lip.height_mm), (half, -9.0)], lip.deep_mm),
    ])  # fmt: skip
    bodies = [
        Body(name="wall", mesh=face, uv=planar(face, HALF_MM), look=looks[0], code=FACE),
        Body(name="lip", mesh=_edge(lip), uv=_around(_edge(lip)), look=looks[0], code=FACE, smooth=True),
        Body(name="sides", mesh=sides, uv=_around(sides), look=looks[1], code=OTHER),
    ]
    if lip.floor == "cast":
        floor = _flat(-half - 1, -9, half + 1, lip.height_mm + 1, -lip.deep_mm)
        bodies.append(Body(name="floor", mesh=floor, uv=_around(floor), look=looks[1], code=OTHER))
    if lip.pocket is not None:
        bodies.append(_pocket(lip.pocket, looks[1]))
    return tuple(bodies)


def _flat(x0: float, y0: float, x1: float, y1: float, z: float = 0.0) -> meshes.Mesh:
    points = np.array([[x0, y0, z], [x1, y0, z], [x1, y1, z], [x0, y1, z]])
    return meshes.Mesh(points=points, faces=np.array([[0, 1, 2], [0, 2, 3]]))


def _side(line: list[tuple[float, float]], deep: float) -> meshes.Mesh:
    (ax, ay), (bx, by) = line
    points = np.array([[ax, ay, 0.0], [bx, by, 0.0], [bx, by, -deep], [ax, ay, -deep]])
    return meshes.Mesh(points=points, faces=np.array([[0, 1, 2], [0, 2, 3]]))


def _sheet(rows: list[Array]) -> meshes.Mesh:
    """Mesh over equally long lines of points (N, 3), each row above the one before."""
    return meshes.Mesh(points=np.concatenate(rows), faces=meshes.grid_faces(len(rows), len(rows[0]), wrap=False))


def _below(lip: Lip, low: float) -> list[meshes.Mesh]:
    """The face below the lip, up to where its edge begins to round; with a hole where the pocket is."""
    x, away = lip.line
    zero = np.zeros(len(x))
    crest = np.column_stack([x, -away - lip.edge_mm, zero])
    half = lip.length_mm / 2
    foot = -12.0
    out = [_sheet([np.column_stack([x, zero + foot, zero]), crest])]
    if lip.pocket is None:
        return [*out, _flat(-half, low, half, foot)]
    px, py, wide, tall = lip.pocket
    a, b, c, d = px - wide / 2, py - tall, px + wide / 2, py
    return [*out, _flat(-half, d, half, foot), _flat(-half, low, half, b), _flat(-half, b, a, d), _flat(c, b, half, d)]


def _edge(lip: Lip) -> meshes.Mesh:
    """The rounded edge and the wall below it."""
    x, away = lip.line
    angles = np.linspace(0, math.pi / 2, 9) if lip.edge_mm else np.array([math.pi / 2])
    rows = [
        np.column_stack([x, -away - lip.edge_mm * (1 - math.sin(a)), np.full(len(x), -lip.edge_mm * (1 - math.cos(a)))])
        for a in angles
    ]
    return _sheet([*rows, np.column_stack([x, -away, np.full(len(x), -lip.deep_mm)])])


def _around(mesh: meshes.Mesh) -> Array:
    """Texture places on upright walls too."""
    x, y, z = mesh.points.T
    return planar(meshes.Mesh(points=np.column_stack([x + 0.6 * z, y + 0.8 * z, z]), faces=mesh.faces), HALF_MM)


def _pocket(pocket: tuple[float, float, float, float], look: Maps) -> Body:
    x, y, wide, tall = pocket
    a, b, c, d, deep = x - wide / 2, y - tall, x + wide / 2, y, 6.0
    mesh = meshes.join([
        _side([(a, b), (a, d)], deep), _side([(a, d), (c, d)], deep), _side([(c, d), (c, b)], deep),
        _side([(c, b), (a, b)], deep), _flat(a, b, c, d, -deep),
    ])  # fmt: skip
    return Body(name="pocket", mesh=mesh, uv=_around(mesh), look=look, code=OTHER)


@dataclass(frozen=True)
class LipTruth:
    """Truth of a lip: how far it lies behind the straight line y = 0."""

    lip: Lip

    def paint(self, codes: Codes, hit_mm: Floats) -> Codes:
        """What was washed away: where the picture shows something below the face between the line and the lip."""
        out = codes.copy()
        x, y, z = (hit_mm[..., k].astype(np.float64) for k in range(3))
        seen = (np.abs(x) < self.lip.length_mm / 2) & (y < 0) & (y > -9) & (z < -self.lip.edge_mm - 1e-3)
        seen &= (codes == OTHER) | (codes == FACE)
        out[seen & (self.lip.deviation(x) > EVEN_MM)] = WASHOUT
        return out

    def findings(self, camera: Camera, mask: Codes) -> Sequence[Mapping[str, Any]]:
        """The lip: `washout`, or `clean_lip` when it is sound."""
        x = np.linspace(-self.lip.length_mm / 2, self.lip.length_mm / 2, TRUTH_POINTS)
        away = self.lip.deviation(x)
        zero = np.zeros(len(x))
        line = np.vstack([np.column_stack([x, -away, zero]), np.column_stack([x, zero, zero])[::-1]])
        truth = {name: round(v, 4) for name, v in self._figures().items()}
        kind = "washout" if self.lip.bays else "clean_lip"
        return [{"kind": kind, "truth": truth, "outline_px": project(camera, line).round(1).tolist()}]

    def _figures(self) -> dict[str, float]:
        x, away = self.lip.line
        square = np.trapezoid(away**2, x) / self.lip.length_mm
        area = np.trapezoid(np.clip(away, 0, None), x)
        return {
            "max_deviation": float(away.max()), "rms_deviation": float(np.sqrt(square)), "area": float(area)
        }  # fmt: skip

    def summary(self) -> Mapping[str, Any]:
        """Lengths."""
        away = self.lip.line[1]
        eroded = float(np.mean(away > EVEN_MM)) * self.lip.length_mm if self.lip.bays else 0.0
        return {"lip_length_mm": round(self.lip.length_mm, 3), "eroded_length_mm": round(eroded, 3)}

    def stated(self) -> Mapping[str, float]:
        """The lip's length as the drawing gives it; not always at hand."""
        return {"lip_length_mm": round(self.lip.length_mm, 1)} if self.lip.told else {}

    def at_mm(self, camera: Camera) -> tuple[float, float]:
        """The lip's middle."""
        return 0.0, 0.0

    def plane_mm(self, camera: Camera) -> Array:
        """Four points below the lip."""
        half = self.lip.length_mm / 2
        return np.array([[-half, 0.0], [half, 0.0], [half, -9.0], [-half, -9.0]])
