"""Bitmaps of worn metal and of benches, drawn from noise: float32 arrays, row 0 at +y."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.shape import across
from wearvision.scenes.spec import Finish, Part

Image = NDArray[np.float32]
Rng = np.random.Generator

RUST_DARK = np.array([0.115, 0.05, 0.032], dtype=np.float32)
RUST_LIGHT = np.array([0.40, 0.20, 0.085], dtype=np.float32)


@dataclass(frozen=True, kw_only=True, eq=False)
class Maps:
    """``color`` (N, N, 3), ``rough``, ``metal`` and ``bump`` (N, N); ``bump`` in mm."""

    color: Image
    rough: Image
    metal: Image
    bump: Image


def fractal(rng: Rng, size: int, cells: float, octaves: int, keep: float = 0.55, stretch: float = 1.0) -> Image:
    """Cloud noise (size, size), mean about 0, standard deviation about 1.

    ``cells`` noise cells across the picture at the coarsest of ``octaves``; ``keep`` is the gain per octave.
    """
    total = np.zeros((size, size), dtype=np.float32)
    gain = 1.0
    for _ in range(octaves):
        rows, columns = max(2, int(cells)), max(2, int(cells / stretch))
        small = rng.standard_normal((min(rows, size), min(columns, size))).astype(np.float32)
        total += gain * cv2.resize(small, (size, size), interpolation=cv2.INTER_CUBIC)
        gain *= keep
        cells *= 2.03
        if cells > size:
            break
    return np.asarray((total - total.mean()) / total.std(), dtype=np.float32)


def _cover(noise: Image, share: float, soft: float) -> Image:
    """Mask that covers ``share`` of the area where the noise is highest, with a soft edge."""
    sample = noise[::7, ::7]
    return np.asarray(np.clip((noise - np.quantile(sample, 1 - share)) / soft, 0, 1), dtype=np.float32)


def _mix(color: Image, mask: Image, other: Image | NDArray[np.float32]) -> Image:
    return np.asarray(color + mask[..., None] * (other - color), dtype=np.float32)


def _polar(size: int, extent_mm: float) -> tuple[Image, Image]:
    """Radius (mm) and angle (rad) of every texel's centre."""
    axis = ((np.arange(size) + 0.5) / size * 2 - 1).astype(np.float32) * np.float32(extent_mm)
    x, y = np.meshgrid(axis, -axis)
    return np.hypot(x, y), np.arctan2(y, x)


def _rust_colors(rng: Rng, size: int) -> Image:
    blend = np.clip(fractal(rng, size, 50, 5, 0.75) * 0.28 + 0.42, 0, 1)
    return np.asarray(RUST_DARK + blend[..., None] * (RUST_LIGHT - RUST_DARK), dtype=np.float32)


def face_maps(part: Part, size: int, extent_mm: float) -> Maps:
    """Maps of the face over the square of half side ``extent_mm`` centred on the axis."""
    finish = part.finish
    rng = np.random.default_rng([21, finish.seed])
    radius, angle = _polar(size, extent_mm)
    tone = 1 + finish.mottle * fractal(rng, size, 12, 7, 0.62)
    bump = fractal(rng, size, size / 8, 3, 0.7) * np.float32(0.0007)
    lathe, groove_cut = _lathe(rng, finish, radius)
    tone += 0.5 * finish.mottle * lathe
    bump += groove_cut
    color = np.asarray(finish.gray * tone[..., None] * np.array(finish.tint, dtype=np.float32), dtype=np.float32)
    rough = np.asarray(finish.roughness * (1 + 0.15 * fractal(rng, size, 24, 5)), dtype=np.float32)
    metal = np.full((size, size), finish.metallic, dtype=np.float32)
    maps = Maps(color=color, rough=rough, metal=metal, bump=bump)
    maps = _bands(rng, part, maps, radius, angle)
    maps = _soil(rng, finish, maps, size, extent_mm)
    maps = _in_grooves(rng, part, maps, radius, angle)
    _marks(rng, finish, maps, size, extent_mm)
    return Maps(
        color=np.clip(maps.color, 0.01, 0.92),
        rough=np.clip(maps.rough, 0.12, 1.0),
        metal=np.clip(maps.metal, 0.0, 1.0),
        bump=maps.bump,
    )


def _lathe(rng: Rng, finish: Finish, radius: Image) -> tuple[Image, Image]:
    """Tone (about -1..1) and height (mm) of turning marks, the same all the way round."""
    span = float(radius.max())
    line = np.arange(0, span, 0.04)
    noise = rng.standard_normal(len(line))
    tone = np.interp(radius, line, cv2.GaussianBlur(noise[None], (0, 0), 3.0).ravel() * 2).astype(np.float32)
    phase = 2 * math.pi * line / finish.lathe_pitch_mm + np.cumsum(noise) * 0.02
    height = finish.lathe_um * 1e-3 * np.sin(phase)
    for _ in range(finish.lathe_rings):
        at, half = rng.uniform(0.3 * span, span), rng.uniform(0.05, 0.14)
        height -= 0.03 * np.exp(-(((line - at) / half) ** 2))
    return tone, np.interp(radius, line, height).astype(np.float32)


def _bands(rng: Rng, part: Part, maps: Maps, radius: Image, angle: Image) -> Maps:
    color, rough, bump = maps.color, maps.rough, maps.bump
    for band in part.bands:
        half = band.width_mm / 2
        mask = np.clip((half - np.abs(radius - band.radius_mm)) / 0.25, 0, 1).astype(np.float32)
        if band.kind == "rub":
            streak = 1 + 0.3 * fractal(rng, radius.shape[0], 30, 3)
            rough = rough * (1 - mask * 0.55 * band.strength)
            color = _mix(color, mask * 0.35 * band.strength * np.clip(streak, 0, 2), np.float32(0.75) + 0 * color)
        else:
            waves = np.sin(angle * 90 + 0.15 * radius) * np.float32(0.004 * band.strength)
            bump = bump + mask * waves.astype(np.float32)
    return Maps(color=color, rough=rough, metal=maps.metal, bump=bump)


def _soil(rng: Rng, finish: Finish, maps: Maps, size: int, extent_mm: float) -> Maps:
    """Stains, rust and oil over the metal."""
    color, rough, metal, bump = maps.color, maps.rough, maps.metal, maps.bump
    patch = 2 * extent_mm / 22
    if finish.stain:
        mask = _cover(fractal(rng, size, patch * 0.7, 3, 0.4), finish.stain, 0.06)
        color = _mix(color, mask * 0.8, color * rng.uniform(0.6, 0.85))
        rough = rough * (1 - 0.1 * mask)
    if finish.rust:
        mask = _cover(fractal(rng, size, patch, 8, 0.66), finish.rust_cover, 0.35) * finish.rust
        color = _mix(color, mask, _rust_colors(rng, size))
        rough, metal = rough + mask * (0.85 - rough), metal * (1 - mask)
        bump = bump + mask * fractal(rng, size, size / 12, 4, 0.7) * np.float32(0.012)
    if finish.oil:
        mask = _cover(fractal(rng, size, patch * 0.5, 3, 0.4), finish.oil, 0.15)
        color = _mix(color, mask, color * 0.6)
        rough, metal = rough * (1 - 0.6 * mask), metal * (1 - 0.3 * mask)
    return Maps(color=color, rough=rough, metal=metal, bump=bump)


def _in_grooves(rng: Rng, part: Part, maps: Maps, radius: Image, angle: Image) -> Maps:
    """Dirt and rust that sit in the grooves, mottled; a few grooves are clean and bright."""
    color, rough, metal = maps.color.copy(), maps.rough.copy(), maps.metal.copy()
    size = radius.shape[0]
    grain = fractal(rng, size, 60, 5, 0.8)
    for groove in part.grooves:
        reach = groove.width_mm * 0.7 + groove.wander_mm
        near = np.abs(radius - groove.radius_mm) < reach
        ratio = across(groove, radius[near].astype(np.float64), angle[near].astype(np.float64))
        inside = (ratio < 1).astype(np.float32) * np.clip(0.35 + 0.5 * grain[near], 0, 1)
        dirt = inside * np.float32(0.35 + 0.6 * groove.rusty)
        dark = np.float32(0.35) * color[near] + np.float32(0.5 * groove.rusty) * (RUST_DARK - 0.2 * color[near])
        color[near] += dirt[:, None] * (np.clip(dark, 0.01, 1) - color[near])
        rough[near] += dirt * (0.75 - rough[near])
        metal[near] *= 1 - 0.8 * dirt
    return Maps(color=color, rough=rough, metal=metal, bump=maps.bump)


def _marks(rng: Rng, finish: Finish, maps: Maps, size: int, extent_mm: float) -> None:
    """Scratches and paint strokes, laid over the maps in place."""
    per_mm = size / (2 * extent_mm)
    for shine in (0.55, 1.6):
        lines = np.zeros((size, size), dtype=np.uint8)
        for _ in range(finish.scratches // 2):
            _scratch(rng, lines, per_mm)
        weight = (lines / np.float32(255))[..., None]
        maps.color[...] *= 1 + weight * np.float32(shine - 1)
        maps.rough[...] += weight[..., 0] * (0.3 - maps.rough)
    paint = [(0.75, 0.6, 0.08), (0.7, 0.7, 0.68), (0.1, 0.2, 0.5), (0.55, 0.07, 0.05)]
    for _ in range(finish.paint):
        stroke = np.zeros((size, size), dtype=np.uint8)
        walk = rng.uniform(0.15, 0.85, 2) * size + np.cumsum(rng.normal(0, 4 * per_mm, (6, 2)), axis=0)
        line, width = walk.round().astype(np.int32), int(rng.uniform(1.5, 4) * per_mm)
        cv2.polylines(stroke, [line], False, 255, width, cv2.LINE_AA)
        weight = (stroke / np.float32(255))[..., None] * np.float32(0.9)
        hue = np.array(paint[int(rng.integers(len(paint)))], dtype=np.float32)
        maps.color[...] += weight * (hue - maps.color)
        maps.metal[...] *= 1 - weight[..., 0]


def _scratch(rng: Rng, lines: NDArray[np.uint8], per_mm: float) -> None:
    start = rng.uniform(0, lines.shape[0], 2)
    half, heading = rng.uniform(2, 30) * per_mm, rng.uniform(0, 2 * math.pi)
    bend = start + half * np.array([math.cos(heading), math.sin(heading)])
    stop = bend + half * np.array([math.cos(heading + 0.1), math.sin(heading + 0.1)])
    line = np.array([start, bend, stop]).round().astype(np.int32)
    width = int(max(1, round(rng.uniform(0.06, 0.2) * per_mm)))
    cv2.polylines(lines, [line], False, int(rng.integers(90, 255)), width, cv2.LINE_AA)


def rim_maps(part: Part, size: int, extent_mm: float) -> Maps:
    """Maps of the rough cast rim: grainy, and rustier than the face."""
    finish = part.finish
    rng = np.random.default_rng([22, finish.seed])
    cover = float(rng.uniform(0.25, 0.8))
    tone = finish.gray * (1 + 0.12 * fractal(rng, size, 40, 6, 0.7))
    color = np.asarray(tone[..., None] * np.array(finish.tint, dtype=np.float32), dtype=np.float32)
    mask = _cover(fractal(rng, size, extent_mm / 8, 8, 0.66), cover, 0.4)
    color = _mix(color, mask, _rust_colors(rng, size))
    grain = fractal(rng, size, 2 * extent_mm / 1.6, 3, 0.7)
    return Maps(
        color=np.clip(color, 0.01, 0.92),
        rough=np.clip(0.45 + 0.4 * mask, 0.12, 1),
        metal=(finish.metallic * (1 - mask)).astype(np.float32),
        bump=grain * np.float32(rng.uniform(0.03, 0.11)),
    )


def bench_map(finish: Finish, size: int) -> Image:
    """Colour (size, size, 3) of the bench under the part."""
    rng = np.random.default_rng([23, finish.seed])
    stretch = {"wood": 9.0, "board": 3.0}.get(finish.bench, 1.0)
    noise = fractal(rng, size, 14, 8, 0.72, stretch)
    hue = {
        "concrete": (1.0, 0.99, 0.96),
        "wood": (1.0, 0.82, 0.6),
        "mat": (0.55, 0.57, 0.6),
        "steel": (0.95, 1.0, 1.05),
        "board": (1.0, 0.9, 0.78),
    }[finish.bench]
    tone = finish.bench_gray * np.clip(1 + rng.uniform(0.05, 0.2) * noise, 0.2, 2.0)
    return np.asarray(np.clip(tone[..., None] * np.array(hue, dtype=np.float32), 0.01, 0.9), dtype=np.float32)
