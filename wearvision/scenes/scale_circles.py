"""The edges of a turned face, drawn through a known camera: what is read of rim and bore, and the plane they give."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.circle import NEARER_PX, PLANE_SD_MM, Circle, answer
from wearvision.measure.circle_seek import mirrored
from wearvision.measure.circle_settle import (
    DRAWING_SD,
    EDGE_SD_MM,
    EDGE_SD_PX,
    LEVEL_SD_MM,
    Edges,
    Look,
    begin,
    go_on,
)
from wearvision.measure.circle_start import CALIPER_SD_MM, KnownCircle, Start
from wearvision.measure.plane import Array, Plane
from wearvision.measure.prior import prior_of
from wearvision.scenes.coverage import (
    FOCAL35_MM,
    SIZE_PX,
    Row,
    draw_camera,
    draw_ends,
    draw_view,
    held,
    project,
    true_plane,
)

Rng = np.random.Generator
RIM_MM, BORE_MM = (70.0, 95.0), (25.0, 45.0)
"""Radii of the two circles."""
NOISE_PX, RUN_PX, RUN_DEG = (0.05, 0.3), (0.0, 0.25), 15
"""Scatter of single edge points, and of runs of them that err alike (rust, chips, shadows)."""
SEEN_DEG = (100.0, 360.0)
"""Arc of each circle in view, in half of the photos; all of it in the others."""
K1_MOST, START_DEG, START_SCALE = 0.02, 3.0, 0.003
"""Distortion of the lens; how far off a coarse look begins, in tilt and as a share of the distance."""
STRENGTH = 2.0
"""Strength of every edge point: they differ in scatter alone."""
INSIDE = 0.7
"""Sides of the square in which lengths lie, as a share of the rim's diameter: its corners lie on the rim."""


def circles(rng: Rng, photos: int, lengths: int, loose: float, *, alone: bool) -> Iterator[list[Row]]:
    """Photos of a face whose rim or bore was measured; `alone`: without the other one in view.

    `loose` is the share of possible heights of the edges that is drawn.
    """
    prior = prior_of(SIZE_PX, FOCAL35_MM)
    for _ in range(photos):
        theta = draw_view(rng, draw_camera(rng, K1_MOST))
        which = "rim" if rng.random() < 0.5 else "bore"
        radii = np.array([rng.uniform(*RIM_MM), rng.uniform(*BORE_MM)])[:: 1 if which == "rim" else -1]
        start, stated = _stated(rng, theta, which, radii, alone)
        look = _look(rng, theta, radii, loose)
        first = begin(look, start, stated, prior, 0.0)
        fine = None if first is None else go_on(look, first, stated, prior, NEARER_PX)
        found = None if fine is None else answer(fine, stated, SIZE_PX, prior.lens_source)
        theta[11] = loose * PLANE_SD_MM[which] * rng.standard_normal()
        truth, side = true_plane(theta), INSIDE * 2 * float(radii.max())
        px = np.vstack([draw_ends(rng, truth, (side, side)) for _ in range(lengths)])
        yield list(held(found.plane, truth, px)) if isinstance(found, Circle) else []


def _stated(rng: Rng, theta: Array, which: str, radii: Array, alone: bool) -> tuple[Start, KnownCircle]:
    """What a caliper and a drawing say, and where a coarse look would begin, its tilt either way."""
    drawing = DRAWING_SD[0] + DRAWING_SD[1] * radii[1]
    diameter = 2 * float(radii[0]) + CALIPER_SD_MM * rng.standard_normal()
    other = None if alone else 2 * float(radii[1] + drawing * rng.standard_normal())
    near = theta.copy()
    near[:2] += math.radians(START_DEG) * rng.standard_normal(2)
    near[5] *= math.exp(rng.normal(0, START_SCALE))
    near[6:10], near[12] = prior_of(SIZE_PX, FOCAL35_MM).lens[:4], 0.0
    near[5] *= math.exp(near[6] - theta[6])
    plane = true_plane(near)
    if alone and rng.random() < 0.5:
        plane = mirrored(plane)
    sizes = (diameter / 2,) if other is None else (diameter / 2, other / 2)
    return Start(plane=plane, radii_mm=sizes, worth=1.0), KnownCircle(
        which=which, diameter_mm=diameter, other_mm=other
    )


def _look(rng: Rng, theta: Array, radii: Array, loose: float) -> Look:
    """Edges of both circles as they are seen, whatever circle is asked about: the nearer one is given."""
    heights = np.array([0.0, loose * LEVEL_SD_MM * rng.standard_normal()])
    seen = [_edges(rng, theta, radius, height) for radius, height in zip(radii.tolist(), heights.tolist(), strict=True)]

    def look(_plane: Plane, radius_mm: float, _height_mm: float, _window_px: float) -> Edges:
        return seen[int(np.argmin(np.abs(np.log(radii / radius_mm))))]

    return look


def _edges(rng: Rng, theta: Array, radius_mm: float, height_mm: float) -> Edges:
    """Edge points of a circle, a degree apart, on the arc that is in view."""
    arc = rng.uniform(*SEEN_DEG) if rng.random() < 0.5 else 360.0
    deg = rng.uniform(0, 360) + np.arange(0.0, arc)
    angle = np.radians(deg)
    way = np.column_stack([np.cos(angle), np.sin(angle)])
    lift = np.full(len(deg), height_mm)
    far = radius_mm + EDGE_SD_MM * rng.standard_normal()
    px, out = project(theta, far * way, lift), project(theta, (far + 1.0) * way, lift)
    per_mm = np.linalg.norm(out - px, axis=1)
    runs = _runs(rng, len(deg))
    off = EDGE_SD_PX * rng.standard_normal() + rng.uniform(*RUN_PX) * runs
    off = off + rng.uniform(*NOISE_PX) * rng.standard_normal(len(deg))
    inside = np.all((px > 0) & (px < np.array(SIZE_PX) - 1), axis=1)
    placed: Array = px + off[:, None] * (out - px) / per_mm[:, None]
    return placed[inside], np.full(int(inside.sum()), STRENGTH)


def _runs(rng: Rng, count: int) -> NDArray[np.float64]:
    """Errors of unit standard deviation that are alike over `RUN_DEG`."""
    white = rng.standard_normal(count + RUN_DEG - 1)
    return np.convolve(white, np.ones(RUN_DEG) / math.sqrt(RUN_DEG), "valid")
