"""Dirt and rust in and round pits and cracks, and spots that look like them: oil, paint, scratches."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.spec import Part
from wearvision.scenes.spot_shape import Crack, Pit, draw_pit
from wearvision.scenes.textures import RUST_DARK, RUST_LIGHT, Maps

Array = NDArray[np.float64]
Rng = np.random.Generator

RUST = 0.5 * (RUST_DARK + RUST_LIGHT).astype(np.float64)
DECOYS = 10


@dataclass(frozen=True, kw_only=True, eq=False)
class Canvas:
    """Maps of a face, over the square of half side ``half_mm``, that are painted on in place."""

    maps: Maps
    half_mm: float

    def lay(self, outline_mm: Array, soft_mm: float, strength: float, hue: Array, rough: float) -> None:
        """Cover what lies within an outline (N, 2), its edge softened, with something dull of a colour."""
        size = len(self.maps.color)
        scale = size / (2 * self.half_mm)
        px = (outline_mm * [1, -1] + self.half_mm) * scale - 0.5
        sigma = max(0.6, soft_mm * scale)
        low = np.clip(np.floor(px.min(axis=0) - 4 * sigma), 0, size).astype(int)
        high = np.clip(np.ceil(px.max(axis=0) + 4 * sigma), 0, size).astype(int)
        if (high <= low).any():
            return
        mask = np.zeros((high - low)[::-1], dtype=np.uint8)
        cv2.fillPoly(mask, [np.round((px - low) * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        weight = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), sigma) * np.float32(strength / 255)
        here = (slice(low[1], high[1]), slice(low[0], high[0]))
        self.maps.color[here] += weight[..., None] * (hue.astype(np.float32) - self.maps.color[here])
        self.maps.rough[here] += weight * (np.float32(rough) - self.maps.rough[here])
        self.maps.metal[here] *= 1 - weight


def soiled(seed: int, part: Part, pits: Sequence[Pit], cracks: Sequence[Crack], maps: Maps, half_mm: float) -> Maps:
    """Maps of the face with what lies in its openings, and with decoys on it."""
    rng = np.random.default_rng([32, seed])
    usual = maps.color.reshape(-1, 3)[::97].mean(axis=0).astype(np.float64)
    canvas = Canvas(
        maps=Maps(color=maps.color.copy(), rough=maps.rough.copy(), metal=maps.metal.copy(), bump=maps.bump),
        half_mm=half_mm,
    )
    for pit in pits:
        _fill(rng, canvas, pit, usual)
    for crack in cracks:
        if rng.random() < 0.35:
            edge = crack.normals * float(rng.uniform(0.2, 0.8))
            around = np.vstack([crack.line_mm + edge, (crack.line_mm - edge)[::-1]])
            canvas.lay(around, 0.4, float(rng.uniform(0.2, 0.7)), RUST, 0.8)
    for kind in rng.choice(["oil", "paint", "scratch", "none"], DECOYS):
        _decoy(rng, canvas, str(kind), part, usual)
    out = canvas.maps
    return replace(out, color=np.clip(out.color, 0.01, 0.92), rough=np.clip(out.rough, 0.12, 1.0))


def _fill(rng: Rng, canvas: Canvas, pit: Pit, usual: Array) -> None:
    """Dirt or rust in a pit; rust also stains what is round it."""
    dirt = 0.2 * usual + pit.rusty * (RUST - 0.2 * usual)
    if pit.rusty:
        halo = replace(pit, radius_mm=pit.radius_mm * float(rng.uniform(1.0, 1.5)))
        canvas.lay(halo.outline(), 0.2 * pit.radius_mm, 0.6 * pit.rusty, dirt, 0.7)
    canvas.lay(pit.outline(), 0.05, float(rng.uniform(0.4, 0.95)), dirt, 0.8)


def _decoy(rng: Rng, canvas: Canvas, kind: str, part: Part, usual: Array) -> None:
    r, a = float(rng.uniform(part.inner_mm, part.outer_mm)), float(rng.uniform(0, 6.28))
    at = r * np.array([math.cos(a), math.sin(a)])
    spot = draw_pit(rng, at[0], at[1], float(rng.uniform(1.0, 5.0)))
    if kind == "oil":
        canvas.lay(spot.outline(), float(rng.uniform(0.1, 0.5)), 0.6, 0.45 * usual, 0.2)
    elif kind == "paint":
        hue = np.array([0.5, 0.5, 0.48]) * rng.uniform(0.25, 1.4, 3)
        canvas.lay(spot.outline(7), 0.04, 0.9, hue, 0.5)
    elif kind == "scratch":
        turn, length = float(rng.uniform(0, 6.28)), float(rng.uniform(10, 60))
        way, wide = np.array([math.cos(turn), math.sin(turn)]), float(rng.uniform(0.05, 0.15))
        side = np.array([-way[1], way[0]]) * wide
        strip = np.array([at - side, at + way * length - side, at + way * length + side, at + side])
        canvas.lay(strip, 0.03, 0.7, usual * float(rng.choice([0.35, 1.5])), 0.3)
