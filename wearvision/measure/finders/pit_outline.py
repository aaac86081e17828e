"""The edge of a dark spot in the photo itself: for each the best closed way round along rays from its middle."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, log_gray
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

RAYS, SAMPLES = 24, 26
NEAR, FAR = 0.2, 2.3
"""Ends of the rays, in the radius that a spot is sought with."""
SKIP = 2
"""Samples from an edge to what counts as inside and as outside."""
MOVES, NEAR_PRICE, FAR_PRICE = np.array([0, -1, 1, -2, 2]), 0.01, 0.02
"""Samples that an edge may move by from ray to ray, and what it costs: a straight way wins over a shaking one."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Spot:
    """A round dark spot: its outline (N, 2) on the plane, its middle, radius of equal area, and how it stands out.

    Attributes
    ----------
    dark : how much darker inside than the metal round it, log grey
    sharp : the edge's rise over its own blur in the photo, log grey
    uneven : standard deviation of the outline's distance from its middle over the mean
    closed : share of the rays that rise
    plain : darkness over the standard deviation of the metal round it
    """

    outline_mm: Array
    centre_mm: Array
    radius_mm: float
    dark: float
    sharp: float
    uneven: float
    closed: float
    plain: float


def outlined(gray: Image, plane: Plane, centres_mm: Array, radii_mm: Array) -> list[Spot]:
    """Outlines of spots about places (N, 2) on the plane, of radii (N,)."""
    count = len(centres_mm)
    if not count:
        return []
    tone, reach, px_mm = _rays(gray, plane, centres_mm, radii_mm)
    step = np.gradient(tone, axis=2)
    place = round_ways(step)
    who, ray = np.arange(count)[:, None], np.arange(RAYS)[None, :]
    far = reach[who, place]
    turn = np.arange(RAYS) * 2 * np.pi / RAYS
    rim = centres_mm[:, None] + far[..., None] * np.column_stack([np.cos(turn), np.sin(turn)])
    rise, rough = _levels(tone, place)
    usual = np.median(rise, axis=1)
    blur = 2.5 * 0.9 * px_mm
    width = np.maximum(reach[:, 1] - reach[:, 0], 1e-6)
    sharp = np.median(step[who, ray, place], axis=1) * np.maximum(blur / width, 2.5)
    area = np.abs(np.sum(far * np.roll(far, -1, axis=1), axis=1)) * np.sin(2 * np.pi / RAYS) / 2
    middle = rim.mean(axis=1)
    off = np.hypot(*(rim - middle[:, None]).transpose(2, 0, 1))
    traits = {
        "radius_mm": np.sqrt(area / np.pi), "dark": usual, "sharp": sharp, "uneven": off.std(axis=1) / off.mean(axis=1),
        "closed": (rise > 0.4 * usual[:, None]).mean(axis=1), "plain": usual / np.maximum(1e-3, rough),
    }  # fmt: skip
    rows = [dict(zip(traits, row, strict=True)) for row in np.column_stack(list(traits.values())).tolist()]
    return [Spot(outline_mm=rim[k], centre_mm=middle[k], **row) for k, row in enumerate(rows)]


def _rays(gray: Image, plane: Plane, centres: Array, radii: Array) -> tuple[Grid, Array, float]:
    """Log grey (N, RAYS, SAMPLES) along rays, their distances (N, SAMPLES), mm, and the length of a photo pixel."""
    count = len(centres)
    corners = centres[:, None] + radii[:, None, None] * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]])
    px = plane.to_px(corners.reshape(-1, 2)).reshape(count, 5, 2)
    along, down = (px[:, 1] - px[:, 2]) / 2, (px[:, 3] - px[:, 4]) / 2
    turn = np.arange(RAYS) * 2 * np.pi / RAYS
    way = along[:, None] * np.cos(turn)[None, :, None] + down[:, None] * np.sin(turn)[None, :, None]
    share = np.linspace(NEAR, FAR, SAMPLES)
    x, y = (
        (px[:, 0, k, None, None] + way[:, :, k, None] * share).reshape(-1, SAMPLES).astype(np.float32) for k in (0, 1)
    )
    seen = cv2.remap(gray, x, y, cv2.INTER_LINEAR)
    tone = cv2.GaussianBlur(log_gray(seen.astype(np.float32)), (5, 1), 1.0).reshape(count, RAYS, SAMPLES)
    area = np.abs(along[:, 0] * down[:, 1] - along[:, 1] * down[:, 0]) / radii**2
    return np.asarray(tone, dtype=np.float32), radii[:, None] * share, float(np.median(1 / np.sqrt(area)))


def _levels(tone: Grid, place: NDArray[np.int64]) -> tuple[Array, Array]:
    """Rise from the inside to the outside (N, RAYS) of the edges, and the roughness (N,) of what lies outside."""
    count = len(tone)
    who, ray = np.arange(count)[:, None], np.arange(RAYS)[None, :]
    sums = np.concatenate([np.zeros((count, RAYS, 1)), np.cumsum(tone, axis=2, dtype=np.float64)], axis=2)
    inside = sums[who, ray, place] / np.maximum(place, 1)
    start = np.minimum(place + SKIP, SAMPLES - 1)
    stop = np.minimum(start + SAMPLES // 4, SAMPLES)
    rise = (sums[who, ray, stop] - sums[who, ray, start]) / np.maximum(stop - start, 1) - inside
    outside = np.arange(SAMPLES) >= start[..., None]
    total = outside.sum(axis=(1, 2))
    level = (tone * outside).sum(axis=(1, 2)) / total
    rough = np.sqrt((((tone - level[:, None, None]) * outside) ** 2).sum(axis=(1, 2)) / total)
    return rise, rough


def round_ways(step: Grid) -> NDArray[np.int64]:
    """Best place on each ray of each spot, closed, neighbours at most two samples apart: (N, rays).

    Dynamic programming over two laps, of which the middle one is kept.
    """
    count, rays, wide = step.shape
    steps = np.ascontiguousarray(step.transpose(1, 0, 2), dtype=np.float32)
    totals = np.full((2 * rays, count, wide + 4), -np.inf, dtype=np.float32)
    totals[0, :, 2:-2] = steps[0]
    near, far = np.float32(NEAR_PRICE), np.float32(FAR_PRICE)
    for k in range(1, 2 * rays):
        last, best = totals[k - 1], totals[k, :, 2:-2]
        aside = np.maximum(last[:, 1:-3], last[:, 3:-1]) - near
        np.maximum(aside, np.maximum(last[:, :-4], last[:, 4:]) - far, out=aside)
        np.maximum(last[:, 2:-2], aside, out=best)
        best += steps[k % rays]
    path = np.empty((2 * rays, count), dtype=np.int64)
    path[-1] = np.argmax(totals[-1, :, 2:-2], axis=1)
    who, prices = np.arange(count)[:, None], np.array([0, near, near, far, far], dtype=np.float32)
    for k in range(2 * rays - 1, 0, -1):
        came = path[k][:, None] + MOVES
        path[k - 1] = came[who[:, 0], np.argmax(totals[k - 1][who, came + 2] - prices, axis=1)]
    first = rays // 2
    return np.roll(path[first : first + rays].T, first, axis=1)
