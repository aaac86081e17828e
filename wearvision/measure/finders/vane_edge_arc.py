"""A second opinion on a corner's radius: the arc along which the picture changes most, in the mean.

Points found ray by ray may follow something else round a faint corner, all to the same side; the mean slope along all
of an arc does not.
"""

from __future__ import annotations

import numpy as np

from wearvision.measure.compiled import compiled
from wearvision.measure.edges import peak_offset
from wearvision.measure.finders.vane_edge_trace import POLE_MM, Slopes
from wearvision.measure.plane import Array

RAYS, STEP_MM, SHARP_MM = 41, 0.15, 0.03
"""Rays about a corner; steps of the radii tried, and the sharpest."""
BEYOND_MM = 0.3
"""How far beyond the sharp corner rays go."""


def arc_radius(steep: Slopes, ways: tuple[float, float], shape: Array, side: int) -> float:
    """Radius of the corner between a flank and the top of a shape, mm.

    Parameters
    ----------
    ways : signs of the slope outward, of the flank and of the top
    shape : see `Stub`
    side : 0 left, 1 right
    """
    way, at, lean = (-1.0, 1.0)[side], float(shape[2 * side]), float(shape[2 * side + 1])
    up = (shape[4] + shape[5] * (at - (shape[0] + shape[2]) / 2)) / (1 - lean * shape[5])
    wide = shape[2] - shape[0] + (shape[3] - shape[1]) * up
    deep = min(POLE_MM, 0.5 * wide, 0.75 * (up - shape[8]))
    normals = np.array([[way, -way * lean], [-shape[5], 1.0]])
    normals /= np.hypot(*normals.T)[:, None]
    inward = np.linalg.solve(normals, np.array([-1.0, -1.0]))
    turn = np.linspace(0, np.pi / 2, RAYS)[:, None]
    rays = np.cos(turn) * normals[0] + np.sin(turn) * normals[1]
    rays /= np.hypot(*rays.T)[:, None]
    step = steep.section.patch.step_mm
    far = np.arange(0.0, deep * float(np.hypot(*inward)) + BEYOND_MM, step)
    pole = np.array([at + lean * up, up]) + deep * inward
    told = steep.along(np.broadcast_to(pole, rays.shape), rays, far)
    told = told * np.where(turn < np.pi / 4, *ways) if ways[0] == ways[1] else np.abs(told)
    radii = np.append(SHARP_MM, np.arange(STEP_MM, deep, STEP_MM))
    worth = _along_arcs(told, step, rays, normals, inward, deep, radii)
    best = int(np.argmax(worth))
    if not 1 < best < len(radii) - 1:
        return float(radii[best])
    return float(radii[best] + STEP_MM * peak_offset(*worth[best - 1 : best + 2]))


@compiled
def _along_arcs(
    told: Array, step: float, rays: Array, normals: Array, inward: Array, deep: float, radii: Array
) -> Array:
    """Mean slope (K,) along the outline of each radius; `told` (N, T) is the slope along rays from a pole."""
    worth, places = np.empty(len(radii)), np.empty(len(rays))
    for k in range(len(radii)):
        total = long = 0.0
        for i in range(len(rays)):
            places[i] = _reach(rays[i], normals, inward, deep, radii[k])
        for i in range(1, len(rays) - 1):
            at = min(places[i] / step, told.shape[1] - 1.001)
            part = at - int(at)
            x, y = places[i + 1] * rays[i + 1] - places[i - 1] * rays[i - 1]
            run = np.hypot(x, y)
            total += run * ((1 - part) * told[i, int(at)] + part * told[i, int(at) + 1])
            long += run
        worth[k] = total / long
    return worth


@compiled
def _reach(ray: Array, normals: Array, inward: Array, deep: float, radius: float) -> float:
    """Distance along a ray from a pole, so deep inside both edges, to them or to the arc in their corner."""
    straight = min(deep / max((ray * normals[0]).sum(), 1e-9), deep / max((ray * normals[1]).sum(), 1e-9))
    centre = (radius - deep) * inward
    along = (ray * centre).sum()
    rest = along * along - (centre * centre).sum() + radius * radius
    if rest < 0:
        return float(straight)
    arc = along + np.sqrt(rest)
    out = arc * ray - centre
    one, other = (out * normals[0]).sum(), (out * normals[1]).sum()
    cosine = (normals[0] * normals[1]).sum()
    return float(arc if one > cosine * other and other > cosine * one else straight)
