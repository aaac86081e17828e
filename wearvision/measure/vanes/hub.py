"""Centre of a disc from its own circles: bore, hub and rim.

Edges of concentric circles point at their centre; straight and swept vanes do not. Each strong edge of a small map of
the plane votes along its gradient, and the best places are compared by how much edge lies on rings about them.
The circles lie below the tops of the vanes, which are the measured plane, so that seen aslant they stand a little
beside the vanes' own centre: `Disc.centre_mm` starts the search, `align` ends it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from wearvision.measure.chart import Chart
from wearvision.measure.edges import Grid, slope
from wearvision.measure.plane import Array
from wearvision.measure.rings import edge_pixels

EDGES = 9000
"""Edge pixels that vote."""
RADII_MM = (6.0, 260.0)
"""Circles looked for."""
STATED_SHARE = 0.06
"""A stated disc may seem this much smaller (it lies deeper than the plane) or larger."""
PLACES, BETTERED = 6, 6
BELOW_MM = (8.0, 6.0)
"""How far the rim usually lies below the tops of the vanes, and the spread."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Disc:
    """Where the disc's circles have their centre on the plane, and how large the disc seems there."""

    centre_mm: Array
    rim_mm: float
    score: float


def find_disc(chart: Chart, diameter_mm: float | None, camera_mm: float = 400.0) -> Disc | None:
    """The disc, or `None` when no rings are in the picture.

    Parameters
    ----------
    chart : map of the plane, what covers it not valid
    diameter_mm : stated outer diameter; `None` when nobody said
    camera_mm : height of the camera above the plane, for how small a disc below it seems
    """
    place, normal, weight = edge_pixels(chart, EDGES)
    pad = round((0.5 * diameter_mm if diameter_mm else 80.0) * 0.6 / chart.step_mm)
    votes = _votes(chart, (place, normal, weight), pad, diameter_mm)
    places: list[tuple[float, Array]] = []
    for _ in range(PLACES):
        _, top, _, (column, row) = cv2.minMaxLoc(votes)
        if top <= 0:
            break
        at = np.array([column, row], dtype=np.float64) - pad
        places.append((_worth(chart, at, diameter_mm, camera_mm), at))
        cv2.circle(votes, (column, row), max(2, round(6 / chart.step_mm)), 0.0, -1)
    ranked = sorted(places, key=lambda p: -p[0])[:BETTERED]
    found = [f for f in (_rings(chart, at, diameter_mm, camera_mm) for _, at in ranked) if f is not None]
    return max(found, key=lambda f: f.score) if found else None


def _votes(chart: Chart, edges: tuple[Array, Array, Array], pad: int, diameter_mm: float | None) -> Grid:
    """Votes for the centre on the map widened by `pad`; at a stated radius, else anywhere along the gradient."""
    place, normal, weight = edges
    height, width = (n + 2 * pad for n in chart.values.shape)
    total = np.zeros(height * width)
    if diameter_mm:
        reach = 0.5 * diameter_mm * np.arange(1 - STATED_SHARE, 1 + STATED_SHARE / 2, 0.012)
        reach = np.concatenate([reach, np.arange(RADII_MM[0], 0.2 * diameter_mm, 2.0)])
        gain = np.where(reach > 0.4 * diameter_mm, 1.0, 0.3)
    else:
        reach = np.arange(RADII_MM[0], 130.0, 2.0)
        gain = np.ones_like(reach)
    for far, share in zip(np.concatenate([reach, -reach]), np.concatenate([gain, gain]), strict=True):
        at = np.rint(place + pad + far / chart.step_mm * normal).astype(int)
        ok = (at[:, 0] >= 0) & (at[:, 1] >= 0) & (at[:, 0] < width) & (at[:, 1] < height)
        total += np.bincount(at[ok, 1] * width + at[ok, 0], weights=weight[ok] * share, minlength=height * width)
    image = total.reshape(height, width).astype(np.float32)
    sigma = max(1.5, 2.0 / chart.step_mm)
    return np.asarray(cv2.GaussianBlur(image, (0, 0), sigma) - cv2.blur(image, (41, 41)), dtype=np.float32)


def _rings(chart: Chart, at: Array, diameter_mm: float | None, camera_mm: float) -> Disc | None:
    """How much edge lies on rings about a place (map px); the place is bettered on the way."""
    best, gained = at, -1.0
    for step in (6.0, 3.0, 1.5):
        middle = best
        for dx in (-1, 0, 1):
            for dy in (-1, 0, 1):
                trial = middle + np.array([dx, dy]) * step / chart.step_mm / 2
                score = _worth(chart, trial, diameter_mm, camera_mm)
                if score > gained:
                    best, gained = trial, score
    if diameter_mm is None:
        radius, profile, score = _profile(chart, best)
        rim = _rim(radius, profile)
    else:
        rim, score = _stated(chart, best, diameter_mm, camera_mm)
    if rim is None or gained <= 0:
        return None
    return Disc(centre_mm=chart.origin_mm + best * chart.step_mm, rim_mm=float(rim), score=float(score))


def _worth(chart: Chart, at: Array, diameter_mm: float | None, camera_mm: float) -> float:
    return _profile(chart, at)[2] if diameter_mm is None else _stated(chart, at, diameter_mm, camera_mm)[1]


def _profile(chart: Chart, at: Array) -> tuple[Array, Array, float]:
    """Radii (mm), how coherent the radial edge is at each (0 to 1), and the sum of its highest peaks."""
    degrees = 6.0
    angle = np.radians(np.arange(0, 360, degrees))
    radius = np.arange(RADII_MM[0], min(RADII_MM[1], 0.75 * chart.step_mm * max(chart.values.shape)), chart.step_mm)
    x = (at[0] + np.cos(angle)[:, None] * radius / chart.step_mm).astype(np.float32)
    y = (at[1] + np.sin(angle)[:, None] * radius / chart.step_mm).astype(np.float32)
    values = cv2.remap(chart.values, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    seen = cv2.remap(
        chart.valid.astype(np.uint8), x, y, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=0
    )
    valid = np.asarray(seen, dtype=np.float32)
    edge = np.abs(slope(np.asarray(values, dtype=np.float32), 1.2)) * valid
    edge = np.minimum(edge / (cv2.blur(edge, (31, 1)) + 0.015), 3.0) * valid
    count = valid.sum(axis=0)
    level = edge.sum(axis=0) / np.maximum(count, 1)
    share = np.clip(count / len(angle) / 0.35, 0, 1)
    profile = np.maximum(level - 1.0, 0) * share
    profile = np.convolve(profile, [0.25, 0.5, 0.25], mode="same")
    peaks = profile[1:-1][(profile[1:-1] >= profile[:-2]) & (profile[1:-1] > profile[2:])]
    return radius, profile, float(np.sort(peaks)[-4:].sum())


def _stated(chart: Chart, at: Array, diameter_mm: float, camera_mm: float) -> tuple[float | None, float]:
    """Radius of the stated rim as it seems about a place, and the score: the rim and the best rings within."""
    radius, profile, _ = _profile(chart, at)
    below = camera_mm * (0.5 * diameter_mm / radius - 1)
    near = np.abs(below - BELOW_MM[0]) < 3 * BELOW_MM[1]
    inner = (radius > 0.05 * diameter_mm) & (radius < 0.25 * diameter_mm)
    if not near.any():
        return None, 0.0
    likely = (profile * np.exp(-0.5 * ((below - BELOW_MM[0]) / BELOW_MM[1]) ** 2))[near]
    rim = radius[near][int(np.argmax(likely))]
    return float(rim), float(likely.max() + 0.5 * (profile[inner].max() if inner.any() else 0.0))


def _rim(radius: Array, profile: Array) -> float | None:
    """The outermost clear ring."""
    if profile.max() <= 0:
        return None
    clear = np.flatnonzero(profile > 0.4 * profile[radius > 30].max()) if (radius > 30).any() else np.zeros(0, int)
    return float(radius[clear[-1]]) if len(clear) else None
