"""Drawn impellers in plan with known vanes: flat tones, a shadow on one side of every vane, rust; no path tracer."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.plane import Array, Plane
from wearvision.measure.vanes.strips import Line, Strips
from wearvision.measure.vanes.traces import Traces

CENTRE_MM = (4.0, -1.0)
DISC_MM = 55.0


@dataclass(frozen=True, kw_only=True)
class DrawnVane:
    """Shift of the tip to the left going outwards (y down), length cut off, both mm; whether it is there."""

    shift_mm: float = 0.0
    short_mm: float = 0.0
    there: bool = True


def vane_line(number: int, k: int, wrap_deg: float, vane: DrawnVane, first_deg: float = 12.0) -> Array:
    """Centreline (N, 2) about the centre, from root to tip; the bend grows with the square over the outer half."""
    u = np.linspace(0, 1, 400)
    radius, angle = 20 + 33.5 * u, np.radians(first_deg + 360 * k / number + wrap_deg * u)
    line = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    way = np.gradient(line, axis=0)
    way /= np.hypot(*way.T)[:, None]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    bend = vane.shift_mm * np.clip((along / along[-1] - 0.5) / 0.5, 0, None) ** 2
    bent = line + np.column_stack([way[:, 1], -way[:, 0]]) * bend[:, None]
    return np.asarray(bent[along <= along[-1] - vane.short_mm])


def draw_vanes(
    plane: Plane, vanes: tuple[DrawnVane, ...], *, wrap_deg: float = 40.0, width_mm: float = 4.5,
    shadow_deg: float = 70.0, rust: int = 25, noise: float = 2.0, seed: int = 1,
) -> NDArray[np.uint8]:  # fmt: skip
    """A grey photo of a disc with a bore and its vanes."""
    rng = np.random.default_rng(seed)
    image = np.full(plane.size_px[::-1], 70, dtype=np.uint8)
    turn = np.linspace(0, 2 * np.pi, 300)
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    centre = np.array(CENTRE_MM)

    def fill(mm: Array, tone: float) -> None:
        cv2.fillPoly(image, [np.round(plane.to_px(mm + centre) * 16).astype(np.int32)], tone, cv2.LINE_AA, 4)

    fill(ring * DISC_MM, 130)
    for _ in range(rust):
        a, r, size = rng.uniform(0, 2 * np.pi), rng.uniform(15, 52), rng.uniform(1, 4)
        wobble = 1 + 0.35 * np.sin(3 * turn + a) + 0.25 * np.sin(7 * turn + 2 * a)
        fill(ring * (size * wobble)[:, None] + r * np.array([math.cos(a), math.sin(a)]), float(rng.uniform(80, 115)))
    fill(ring * 14, 150)
    fill(ring * 7, 25)
    cast = 2.5 * np.array([math.cos(math.radians(shadow_deg)), math.sin(math.radians(shadow_deg))])
    for shaded in (True, False):
        for k, vane in enumerate(vanes):
            if vane.there:
                line = vane_line(len(vanes), k, wrap_deg, vane)
                way = np.gradient(line, axis=0)
                way /= np.hypot(*way.T)[:, None]
                off = np.column_stack([way[:, 1], -way[:, 0]]) * width_mm / 2
                fill(np.vstack([line + off, (line - off)[::-1]]) + (cast if shaded else 0), 55 if shaded else 165)
    soft = cv2.GaussianBlur(image.astype(np.float64), (0, 0), 0.8) + rng.normal(0, noise, image.shape)
    return np.clip(np.rint(soft), 0, 255).astype(np.uint8)


def traces_of(number: int, sweep_deg: float = 50.0) -> Traces:
    """Traces of nothing along swept vanes: only their line and normals are looked at."""
    radius, angle = np.linspace(20.0, 60.0, 200), np.radians(np.linspace(0.0, sweep_deg, 200))
    line = Line.through(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]), 0.75)
    _, left = line.turned(number)
    none = np.zeros(left.shape[:2])
    strips = Strips(
        values=none[..., None].astype(np.float32), seen=none[..., None] > 0, across_mm=np.zeros(1), left=left
    )
    return Traces(
        line=line, strips=strips, edge_mm=none, strength=none, path_mm=none, gain=none, pair_mm=none, ends=none,
        end_along_mm=line.along_mm, seen=none > 0, px_mm=0.1, clear=none, most_mm=none[0],
    )  # fmt: skip
