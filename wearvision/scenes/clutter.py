"""What lies about a rule, or is taken for one: turned metal, gratings, threads, knurls, print."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Rng = np.random.Generator

BENCHES = ("lathe", "concrete", "wood", "planed")
PATTERNS = ("grating", "thread", "knurl", "fins", "print", "chequer", "gear")


def bench(rng: Rng, kind: str, shape: tuple[int, int]) -> Floats:
    """A background, grey 0 to 1."""
    base = float(rng.uniform(0.22, 0.6))
    field = base * (1 + 0.12 * clouds(rng, shape, 6) + 0.05 * clouds(rng, shape, 60))
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    pitch = float(rng.uniform(3, 22))
    if kind == "lathe":
        centre = rng.uniform(-0.4, 1.4, 2) * shape[::-1]
        far = np.hypot(x - centre[0], y - centre[1])
        field = field * (1 + rng.uniform(0.03, 0.15) * _ridges(rng, far / pitch))
    elif kind == "planed":
        turn = rng.uniform(0, np.pi)
        field = field * (1 + rng.uniform(0.03, 0.15) * _ridges(rng, (x * np.cos(turn) + y * np.sin(turn)) / pitch))
    elif kind == "wood":
        turn = rng.uniform(0, np.pi)
        grain = x * np.cos(turn) + y * np.sin(turn) + 25 * clouds(rng, shape, 4)
        field = field * (1 + 0.12 * np.sin(grain / rng.uniform(2, 9)) * (0.6 + 0.4 * clouds(rng, shape, 20)))
    field = field + 0.03 * rng.standard_normal(shape).astype(np.float32)
    return np.asarray(field, dtype=np.float32)


def pattern(rng: Rng, kind: str, image: Floats) -> Floats:
    """The image with a regular thing on it, turned anyhow, of a third to all of its width."""
    height, width = image.shape
    long, wide = int(width * rng.uniform(0.35, 1.0)), int(height * rng.uniform(0.05, 0.45))
    pitch = float(rng.uniform(4, 40))
    y, x = np.mgrid[:wide, :long].astype(np.float32)
    base = float(rng.uniform(0.3, 0.7))
    patch = _patch(rng, kind, x, y, pitch, base)
    turn = float(rng.uniform(0, 180))
    at = np.array([width, height]) * rng.uniform(0.3, 0.7, 2)
    m = cv2.getRotationMatrix2D(((long - 1) / 2, (wide - 1) / 2), turn, 1.0)
    shift = np.eye(3)
    shift[:2, 2] = at - np.array([long - 1, wide - 1]) / 2
    lean = np.array([[1, 0, 0], [0, 1, 0], [*rng.uniform(-2e-4, 2e-4, 2), 1]])
    m = lean @ shift @ np.vstack([m, [0, 0, 1]])
    laid = cv2.warpPerspective(patch, m, (width, height), flags=cv2.INTER_AREA)
    cover = cv2.warpPerspective(np.ones_like(patch), m, (width, height))
    return np.asarray(image * (1 - cover) + laid * cover, dtype=np.float32)


def _patch(rng: Rng, kind: str, x: Floats, y: Floats, pitch: float, base: float) -> Floats:
    depth = float(rng.uniform(0.2, 0.8))
    if kind == "grating":
        patch = base * (1 - depth * (np.mod(x, pitch) < 0.3 * pitch))
    elif kind == "thread":
        wave = 1 + 0.6 * depth * np.sin(2 * np.pi * (x + 0.15 * y) / pitch)
        patch = base * wave * (0.4 + np.sin(np.pi * y / len(y)))
    elif kind == "knurl":
        patch = base * (1 + 0.4 * depth * (np.sin(2 * np.pi * (x + y) / pitch) + np.sin(2 * np.pi * (x - y) / pitch)))
    elif kind == "fins":
        tall = np.where(np.mod(np.floor(x / pitch), 2) > 0, 0.55, 0.8) * len(y)
        patch = base * (1 - depth * ((np.mod(x, pitch) < 0.35 * pitch) & (y < tall)))
    elif kind == "chequer":
        patch = base * (0.4 + 1.2 * ((np.floor(x / pitch) + np.floor(y / pitch)) % 2))
    elif kind == "gear":
        patch = base * (1 - depth * ((np.mod(x, pitch) < 0.5 * pitch) & (y < rng.uniform(0.2, 0.8) * len(y))))
    else:
        bars = np.repeat(rng.random(int(x.shape[1] / pitch * 3) + 2) < 0.45, max(1, int(pitch / 3)))[: x.shape[1]]
        patch = np.full(x.shape, base)
        patch[: int(0.8 * len(y)), : len(bars)] *= 1 - depth * bars
    return np.asarray(patch, dtype=np.float32)


def clouds(rng: Rng, shape: tuple[int, int], cells: int) -> Floats:
    """Smooth noise, about -1 to 1, so many cells across."""
    coarse = rng.uniform(-1, 1, (max(2, int(cells * shape[0] / shape[1]) + 2), cells + 2)).astype(np.float32)
    return np.asarray(cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC), dtype=np.float32)


def _ridges(rng: Rng, turns: Floats) -> Floats:
    """Feed marks: alike but not quite, -1 to 1."""
    heights = rng.uniform(0.5, 1.0, 8192)
    return np.asarray(np.sin(2 * np.pi * turns) * heights[np.mod(turns.astype(np.int64), 8192)], dtype=np.float32)
