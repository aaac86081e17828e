"""The edge of a dark spot in the photo itself: for each the best closed way round along rays from its middle."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import Grid, log_gray, median
from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

RAYS, SAMPLES = 24, 26
NEAR, FAR = 0.2, 2.3
"""Ends of the rays, in the radius that a spot is sought with."""
SKIP = 2
"""Samples from an edge to what counts as inside and as outside."""
NEAR_PRICE, FAR_PRICE = np.float32(0.01), np.float32(0.02)
"""What it costs an edge to move by one sample from ray to ray, and by two: a straight way wins over a shaking one."""
TURN = np.arange(RAYS) * 2 * np.pi / RAYS
ROUND: Array = np.column_stack([np.cos(TURN), np.sin(TURN)])
SHARE: Array = np.linspace(NEAR, FAR, SAMPLES)
LOGS: Grid = log_gray(np.arange(256, dtype=np.float32))


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


@dataclass(frozen=True, kw_only=True, eq=False)
class Outlines:
    """Spots (N,) in arrays, one for each attribute of `Spot`."""

    outline_mm: Array
    centre_mm: Array
    radius_mm: Array
    dark: Array
    sharp: Array
    uneven: Array
    closed: Array
    plain: Array

    def spots(self) -> list[Spot]:
        """One by one."""
        traits = (self.radius_mm, self.dark, self.sharp, self.uneven, self.closed, self.plain)
        return [
            Spot(
                outline_mm=outline, centre_mm=centre, radius_mm=radius, dark=dark, sharp=sharp, uneven=uneven,
                closed=closed, plain=plain,
            )
            for outline, centre, radius, dark, sharp, uneven, closed, plain in zip(
                self.outline_mm, self.centre_mm, *(trait.tolist() for trait in traits), strict=True
            )
        ]  # fmt: skip


def outlined(gray: Image, plane: Plane, centres_mm: Array, radii_mm: Array) -> Outlines:
    """Outlines of spots about places (N, 2) on the plane, of radii (N,)."""
    tone, px_mm = _rays(gray, plane, centres_mm, radii_mm)
    place, steep = round_ways(tone)
    rise, rough = _levels(tone, place)
    far = radii_mm[:, None] * SHARE[place]
    rim = np.stack([centres_mm[:, k, None] + far * ROUND[:, k] for k in (0, 1)], axis=-1)
    usual = _middle(rise)
    width = np.maximum(radii_mm * (SHARE[1] - SHARE[0]), 1e-6)
    area = np.sum(far * np.roll(far, -1, axis=1), axis=1) * np.sin(2 * np.pi / RAYS) / 2
    middle = centres_mm + 2 / 3 * (far**3 @ ROUND) / (far**2).sum(axis=1, keepdims=True)  # of the area
    off = np.hypot(*(rim[..., k] - middle[:, k, None] for k in (0, 1)))
    return Outlines(
        outline_mm=rim, centre_mm=middle, radius_mm=np.sqrt(area / np.pi), dark=usual,
        sharp=_middle(steep) * np.maximum(2.5 * 0.9 * px_mm / width, 2.5), uneven=off.std(axis=1) / off.mean(axis=1),
        closed=(rise > 0.4 * usual[:, None]).mean(axis=1), plain=usual / np.maximum(1e-3, rough),
    )  # fmt: skip


def _middle(values: NDArray[np.floating]) -> Array:
    """Median of each row of an even number of values."""
    ordered = np.sort(values, axis=1)
    half = values.shape[1] // 2
    return np.asarray((ordered[:, half - 1] + ordered[:, half]) / 2)


def _rays(gray: Image, plane: Plane, centres: Array, radii: Array) -> tuple[Grid, float]:
    """Log grey (N, RAYS, SAMPLES) along rays, and the length of a photo pixel, mm."""
    corners = centres[:, None] + radii[:, None, None] * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]])
    px = plane.to_px(corners.reshape(-1, 2)).reshape(-1, 5, 2)
    along, down = (px[:, 1] - px[:, 2]) / 2, (px[:, 3] - px[:, 4]) / 2
    x, y = _samples(px[:, 0].copy(), along, down, ROUND, SHARE)
    seen = cv2.LUT(cv2.remap(gray, x, y, cv2.INTER_LINEAR), LOGS)
    tone = cv2.GaussianBlur(seen, (5, 1), 1.0).reshape(-1, RAYS, SAMPLES)
    area = np.abs(along[:, 0] * down[:, 1] - along[:, 1] * down[:, 0]) / radii**2
    return np.asarray(tone, dtype=np.float32), median(1 / np.sqrt(area))


@compiled
def _samples(middle: Array, along: Array, down: Array, round_: Array, share: Array) -> tuple[Grid, Grid]:
    """Photo x and y of the samples of all rays, a ray in a row, from the middles and the radii along two axes."""
    rays = len(round_)
    x = np.empty((len(middle) * rays, len(share)), np.float32)
    y = np.empty((len(middle) * rays, len(share)), np.float32)
    for row in range(len(x)):
        who, cos, sin = row // rays, round_[row % rays, 0], round_[row % rays, 1]
        dx = along[who, 0] * cos + down[who, 0] * sin
        dy = along[who, 1] * cos + down[who, 1] * sin
        for k in range(len(share)):
            x[row, k], y[row, k] = middle[who, 0] + dx * share[k], middle[who, 1] + dy * share[k]
    return x, y


@compiled
def _levels(tone: Grid, place: NDArray[np.int64]) -> tuple[Array, Array]:
    """Rise from the inside to the outside (N, rays) of the edges, and the roughness (N,) of what lies outside."""
    count, rays, wide = tone.shape
    rise, rough = np.zeros((count, rays)), np.zeros(count)
    for who in range(count):
        number, total, squares = 0, 0.0, 0.0
        for ray in range(rays):
            inside, beside, edge = 0.0, 0.0, place[who, ray]
            start = min(edge + SKIP, wide - 1)
            stop = min(start + wide // 4, wide)
            for k in range(edge):
                inside += tone[who, ray, k]
            for k in range(start, wide):
                beside += tone[who, ray, k] if k < stop else 0.0
                total += tone[who, ray, k]
                squares += tone[who, ray, k] * np.float64(tone[who, ray, k])
            number += wide - start
            rise[who, ray] = beside / max(stop - start, 1) - inside / max(edge, 1)
        rough[who] = math.sqrt(max(0.0, squares / number - (total / number) ** 2))
    return rise, rough


@compiled
def round_ways(tone: Grid) -> tuple[NDArray[np.int64], Grid]:
    """Place where each ray of each spot rises most, closed, neighbours at most two samples apart, and how much it rises
    there over a sample: (N, rays) each.

    Dynamic programming over two laps, of which the middle one is kept.
    """
    count, rays, wide = tone.shape
    place, steep = np.zeros((count, rays), np.int64), np.zeros((count, rays), np.float32)
    step = np.zeros((rays, wide), np.float32)
    totals = np.full((2 * rays, wide + 4), np.float32(-np.inf))
    for who in range(count):
        for ray in range(rays):
            for k in range(wide):
                low, high = max(k - 1, 0), min(k + 1, wide - 1)
                step[ray, k] = (tone[who, ray, high] - tone[who, ray, low]) / np.float32(high - low)
        _add_up(step, totals)
        at = int(np.argmax(totals[-1]))
        for lap_ray in range(2 * rays - 1, rays // 2 - 1, -1):
            ray = lap_ray % rays
            if lap_ray < rays // 2 + rays:
                place[who, ray], steep[who, ray] = at - 2, step[ray, at - 2]
            at = _came_from(totals[lap_ray - 1], at)
    return place, steep


@compiled
def _add_up(step: Grid, totals: Grid) -> None:
    """Best sums of steps of ways that end at each sample of each ray of two laps, two columns beyond on both sides."""
    rays, wide = step.shape
    for k in range(2 * rays):
        last, here, steps = totals[k - 1], totals[k], step[k % rays]
        for w in range(wide):
            best = np.float32(0.0)
            if k > 0:
                near = max(last[w + 1], last[w + 3]) - NEAR_PRICE
                far = max(last[w], last[w + 4]) - FAR_PRICE
                best = max(last[w + 2], max(near, far))
            here[w + 2] = best + steps[w]


@compiled
def _came_from(last: Grid, at: int) -> int:
    """Column of the ray before, of those a way that is now at a column may have come from: the nearest of the best."""
    best, top = at, last[at]
    for move, price in ((-1, NEAR_PRICE), (1, NEAR_PRICE), (-2, FAR_PRICE), (2, FAR_PRICE)):
        if last[at + move] - price > top:
            best, top = at + move, last[at + move] - price
    return best
