"""Draw a wear-face scene from a number. The same number always gives the same scene."""

from __future__ import annotations

import math

import numpy as np

from wearvision.scenes.placing import draw_aim, place_camera, place_card
from wearvision.scenes.spec import Band, Finish, Groove, Hole, Light, Part, Rim, Room, Scene, Shot

Rng = np.random.Generator

KINDS = ("casing", "impeller", "box-cover", "side-plate")
BENCHES = ("concrete", "wood", "mat", "steel", "board")


def draw_scene(seed: int, width_px: int | None = None, name: str | None = None) -> Scene:
    """A random wear-face scene.

    Parameters
    ----------
    seed : any non-negative integer.
    width_px : picture width; by default 2000 to 2480, so that 1 px is about 0.06 to 0.16 mm.
    """
    rng = np.random.default_rng([20, seed])
    part = draw_part(rng, seed)
    shot = draw_shot(rng)
    turn = float(rng.uniform(0, 360))
    card = place_card(rng, part, turn)
    camera = place_camera(rng, card, turn, width_px, lambda rng: draw_aim(rng, part, card))
    lights, room = draw_lights(rng)
    return Scene(
        name=name or f"face_{seed:04d}",
        seed=seed,
        view="wear-face",
        part=part,
        card=card,
        lights=lights,
        room=room,
        camera=camera,
        shot=shot,
    )


def draw_part(
    rng: Rng, seed: int, kind: str | None = None, wear: str | None = None, outer_mm: float | None = None
) -> Part:
    """A random part. ``wear``: ``clean``, ``worn`` or None (clean about 1 in 6)."""
    kind = kind or str(rng.choice(KINDS))
    outer = float(rng.uniform(45, 90))
    outer = outer if outer_mm is None else outer_mm
    share = {"casing": (0.45, 0.62), "impeller": (0.3, 0.5), "box-cover": (0.35, 0.55), "side-plate": (0.3, 0.6)}
    inner = outer * float(rng.uniform(*share[kind]))
    clean = wear == "clean" or (wear is None and rng.random() < 0.16)
    rim = _draw_rim(rng, kind, outer)
    step = float(rng.choice([-1, 1]) * rng.uniform(0.05, 0.4)) if rng.random() < 0.3 else 0.0
    step_radius = inner + float(rng.uniform(1.5, 5.0))
    low = step_radius + 0.6 if step else inner
    grooves = () if clean else draw_grooves(rng, low, outer)
    return Part(
        kind=kind,
        inner_mm=round(inner, 2),
        outer_mm=round(outer, 2),
        bench_mm=float(rng.uniform(18, 45)),
        bore_chamfer_mm=float(rng.choice([0.0, rng.uniform(0.3, 2.0)])),
        hub=kind == "impeller",
        step_radius_mm=step_radius,
        step_mm=step,
        rim=rim,
        grooves=grooves,
        holes=_draw_holes(rng, inner, outer, grooves),
        bands=_draw_bands(rng, inner, outer),
        finish=draw_finish(rng, seed),
    )


def _draw_rim(rng: Rng, kind: str, outer: float) -> Rim:
    plain = kind in ("impeller", "side-plate") and rng.random() < 0.6
    width = float(rng.uniform(1.0, 3.0)) if plain else float(rng.uniform(0.1, 0.2)) * outer
    step = -float(rng.uniform(1.5, 6)) if rng.random() < 0.6 else float(rng.uniform(0.8, 5))
    channel = float(rng.uniform(0.6, 3.0)) if rng.random() < 0.5 else 0.0
    return Rim(
        outer_mm=outer + channel + width,
        step_mm=step,
        channel_mm=channel,
        channel_depth_mm=max(0.0, -step) + float(rng.uniform(0.5, 3)),
        chamfer_mm=float(rng.choice([0.0, rng.uniform(0.15, 0.8)])),
        bolts=0 if plain else int(rng.choice([0, 4, 6, 8, 8, 8, 12])),
        bolt_mm=float(rng.uniform(0.5, 0.75)) * width,
        bolt_turn_deg=float(rng.uniform(0, 90)),
    )


def draw_grooves(rng: Rng, inner: float, outer: float) -> tuple[Groove, ...]:
    """One to four grooves at radii that do not touch each other nor the face's edges."""
    found: list[Groove] = []
    taken: list[tuple[float, float]] = []
    for _ in range(int(rng.choice([1, 1, 2, 2, 3, 4]))):
        groove = draw_groove(rng, inner, outer)
        reach = groove.width_mm * 0.6 * (1 + groove.swell) + groove.wander_mm + 0.4
        low, high = groove.radius_mm - reach, groove.radius_mm + reach
        if low > inner + 0.3 and high < outer - 0.3 and all(high < a or low > b for a, b in taken):
            found.append(groove)
            taken.append((low, high))
    return tuple(found) if found else draw_grooves(rng, inner, outer)


def draw_groove(rng: Rng, inner: float, outer: float) -> Groove:
    """One groove; widths are log-uniform 0.5 to 5 mm, one in four hugs an edge of the face."""
    width = float(np.exp(rng.uniform(math.log(0.5), math.log(4.5))))
    width = min(width, 0.3 * (outer - inner))
    hug = rng.random()
    if hug < 0.12:
        radius = outer - width * 0.75 - float(rng.uniform(0.8, 3))
    elif hug < 0.24:
        radius = inner + width * 0.75 + float(rng.uniform(0.8, 3))
    else:
        radius = float(rng.uniform(inner + width, outer - width))
    faint = rng.random() < 0.15
    depth = width * float(rng.uniform(0.05, 0.12) if faint else rng.uniform(0.2, 0.65))
    arc = 360.0 if rng.random() < 0.3 else float(rng.uniform(25, 330))
    short = math.degrees(4 * width / radius)
    return Groove(
        radius_mm=radius,
        width_mm=width,
        depth_mm=float(np.clip(depth, 0.05, 3.0)),
        profile=str(rng.choice(["u", "u", "v", "flat"])),
        start_deg=float(rng.uniform(0, 360)),
        arc_deg=max(arc, short),
        wander_mm=float(rng.choice([0.0, rng.uniform(0.02, 0.25)])) if width < 1 else float(rng.uniform(0, 0.5)),
        swell=float(rng.uniform(0, 0.12)),
        phases=(float(rng.uniform(0, 6.28)), float(rng.uniform(0, 6.28))),
        rusty=float(rng.choice([0.0, rng.uniform(0, 1)])),
    )


def _draw_holes(rng: Rng, inner: float, outer: float, grooves: tuple[Groove, ...]) -> tuple[Hole, ...]:
    if rng.random() > 0.3:
        return ()
    diameter = float(rng.uniform(3.5, 9))
    for _ in range(30):
        radius = float(rng.uniform(inner + diameter, outer - diameter)) if outer - inner > 2 * diameter else 0.0
        if radius and all(abs(g.radius_mm - radius) > diameter / 2 + g.width_mm + 1 for g in grooves):
            break
    else:
        return ()
    count, first = int(rng.choice([1, 2, 3, 4])), float(rng.uniform(0, 6.28))
    return tuple(
        Hole(
            x_mm=radius * math.cos(first + i * 2 * math.pi / count),
            y_mm=radius * math.sin(first + i * 2 * math.pi / count),
            diameter_mm=diameter,
            depth_mm=12.0,
        )
        for i in range(count)
    )


def _draw_bands(rng: Rng, inner: float, outer: float) -> tuple[Band, ...]:
    bands = []
    if rng.random() < 0.35:
        width = float(rng.uniform(2, min(10.0, 0.5 * (outer - inner))))
        radius = float(rng.uniform(inner + width / 2 + 0.5, outer - width / 2 - 0.5))
        bands.append(Band(kind="rub", radius_mm=radius, width_mm=width, strength=float(rng.uniform(0.3, 1))))
    if rng.random() < 0.2:
        width = float(rng.uniform(0.3, 0.7)) * (outer - inner)
        radius = float(rng.uniform(inner + width / 2, outer - width / 2))
        bands.append(Band(kind="chatter", radius_mm=radius, width_mm=width, strength=float(rng.uniform(0.2, 1))))
    return tuple(bands)


def draw_finish(rng: Rng, seed: int) -> Finish:
    """Look of the metal and of the bench under it."""
    warm = float(rng.uniform(-0.04, 0.05))
    sometimes = rng.random(6) < np.array([0.85, 0.6, 0.3, 0.5, 0.7, 0.12])
    return Finish(
        seed=seed,
        metallic=float(rng.choice([0.15, 0.4, 0.7, 0.9])),
        roughness=float(rng.uniform(0.28, 0.6)),
        gray=float(rng.uniform(0.3, 0.62)),
        tint=(1 + warm, 1.0, 1 - warm),
        mottle=float(rng.uniform(0.03, 0.15)),
        rust=float(rng.uniform(0.4, 1.0)) if sometimes[0] else 0.0,
        rust_cover=float(rng.uniform(0.03, 0.4)),
        stain=float(rng.uniform(0.1, 0.5)) if sometimes[1] else 0.0,
        oil=float(rng.uniform(0.05, 0.3)) if sometimes[2] else 0.0,
        scratches=int(rng.integers(3, 40)) if sometimes[3] else 0,
        lathe_pitch_mm=float(rng.uniform(0.25, 1.2)),
        lathe_um=float(rng.uniform(0.5, 6)) if sometimes[4] else 0.0,
        lathe_rings=int(rng.choice([0, 0, 1, 2, 4])),
        paint=int(rng.integers(1, 4)) if sometimes[5] else 0,
        bench=str(rng.choice(BENCHES)),
        bench_gray=float(rng.uniform(0.18, 0.55)),
    )


def draw_lights(rng: Rng) -> tuple[tuple[Light, ...], Room]:
    """One main lamp, raking more often than not, sometimes a second, and the room."""
    warm = float(rng.uniform(-0.15, 0.2))
    azimuth = float(rng.uniform(0, 360))
    low = rng.random() < 0.6
    lights = [_draw_light(rng, azimuth, float(rng.uniform(12, 35) if low else rng.uniform(35, 75)), 1.0, warm)]
    if rng.random() < 0.3:
        off = azimuth + float(rng.uniform(60, 300))
        lights.append(_draw_light(rng, off, float(rng.uniform(25, 70)), float(rng.uniform(0.2, 0.7)), -warm))
    room = Room(
        fill=float(np.exp(rng.uniform(math.log(0.25), math.log(2.5)))),
        windows=int(rng.choice([0, 1, 1, 2])),
        window_power=float(rng.uniform(3, 14)),
        window_azimuth_deg=float(rng.uniform(0, 360)),
        warm=float(rng.uniform(-0.1, 0.12)),
        shadow_bar=bool(rng.random() < 0.3),
        bar_shift_mm=float(rng.uniform(-60, 60)),
    )
    return tuple(lights), room


def _draw_light(rng: Rng, azimuth: float, elevation: float, power: float, warm: float) -> Light:
    return Light(
        azimuth_deg=azimuth % 360,
        elevation_deg=elevation,
        distance_mm=float(rng.uniform(600, 1500)),
        size_mm=float(np.exp(rng.uniform(math.log(60), math.log(500)))),
        power=power,
        warm=warm,
    )


def draw_shot(rng: Rng) -> Shot:
    """An ordinary usable phone shot; blur stays below what a quality gate should refuse."""
    white = 1 + rng.normal(0, 0.025, 3)
    return Shot(
        defocus_px=float(rng.uniform(0.45, 0.95)),
        motion_px=float(rng.uniform(0.5, 1.8)) if rng.random() < 0.2 else 0.0,
        motion_deg=float(rng.uniform(0, 180)),
        noise=float(np.exp(rng.uniform(math.log(0.5), math.log(2.2)))),
        exposure=float(rng.uniform(0.75, 1.15)),
        sharpen=float(rng.uniform(0.2, 0.9)),
        contrast=float(rng.uniform(0.0, 0.5)),
        vignette=float(rng.uniform(0.05, 0.3)),
        white=(float(white[0]), float(white[1]), float(white[2])),
        quality=int(rng.integers(86, 95)),
    )
