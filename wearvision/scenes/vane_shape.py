"""Exact shape of a drawn vane, seen in plan: centreline, bend, thickness, mesh. Shared by mesh and truth.

World as in `spec`, y up; the tops of the vanes are z = 0. Distances along a vane run from its root outwards; ``left``
is to the left going outwards, as it is seen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.mesh import Mesh, grid_faces

Array = NDArray[np.float64]
STATIONS = 240


@dataclass(frozen=True, kw_only=True)
class Blade:
    """What all vanes of one impeller share.

    ``wrap_deg`` is the angle the centreline runs through from ``root_mm`` to ``tip_mm`` (radii), ``sweep`` how it is
    spread (0: evenly over the radius, above 0: more of it outside). Thickness runs from ``root_t_mm`` to ``tip_t_mm``.
    """

    root_mm: float
    tip_mm: float
    wrap_deg: float
    sweep: float
    root_t_mm: float
    tip_t_mm: float
    height_mm: float
    edge_mm: float


@dataclass(frozen=True, kw_only=True)
class Vane:
    """One vane: where it stands, and what has happened to it.

    The bend begins at the share ``from_share`` of its length and grows with the power ``power``.
    """

    index: int
    turn_deg: float
    tip_shift_mm: float = 0.0
    from_share: float = 0.6
    power: float = 2.0
    shortening_mm: float = 0.0
    missing: bool = False


def sound_line(blade: Blade, turn_deg: float, count: int = STATIONS) -> tuple[Array, Array, Array]:
    """Centreline (N, 2), its unit normals to the left (N, 2) and distances along it (N,), evenly spaced."""
    u = np.linspace(0, 1, 2000)
    radius = blade.root_mm + u * (blade.tip_mm - blade.root_mm)
    angle = np.radians(turn_deg + blade.wrap_deg * ((1 - blade.sweep) * u + blade.sweep * u * u))
    fine = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(fine, axis=0).T))])
    at = np.linspace(0, along[-1], count)
    line = np.column_stack([np.interp(at, along, fine[:, k]) for k in (0, 1)])
    return line, normals(line), at


def normals(line: Array) -> Array:
    """Unit normals to the left of a line (N, 2) with y up."""
    step = np.gradient(line, axis=0)
    step /= np.hypot(step[:, 0], step[:, 1])[:, None]
    return np.column_stack([-step[:, 1], step[:, 0]])


def shift_mm(vane: Vane, share: Array) -> Array:
    """How far a vane is bent to the left at shares of its length."""
    beyond = np.clip((share - vane.from_share) / (1 - vane.from_share), 0, None)
    return np.asarray(vane.tip_shift_mm * beyond**vane.power)


def vane_line(blade: Blade, vane: Vane, count: int = STATIONS) -> tuple[Array, Array]:
    """Centreline (N, 2) of what stands of a vane, and its thickness (N,)."""
    line, left, along = sound_line(blade, vane.turn_deg)
    share = along / along[-1]
    bent = line + left * shift_mm(vane, share)[:, None]
    at = np.linspace(0, along[-1] - vane.shortening_mm, count)
    thick = blade.root_t_mm + at / along[-1] * (blade.tip_t_mm - blade.root_t_mm)
    return np.column_stack([np.interp(at, along, bent[:, k]) for k in (0, 1)]), thick


def bend_angle_deg(blade: Blade, vane: Vane) -> float:
    """Angle, to the left, between a vane's direction at its tip and that of a sound one."""
    line, left, along = sound_line(blade, vane.turn_deg, 2000)
    bent = line + left * shift_mm(vane, along / along[-1])[:, None]
    a, b = line[-1] - line[-20], bent[-1] - bent[-20]
    return math.degrees(math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b)))


def outline(blade: Blade, vane: Vane, inset_mm: float = 0.0) -> Array:
    """Outline (2 N, 2) of the top, counter-clockwise: right side outwards, left side back."""
    line, thick = vane_line(blade, vane)
    off = normals(line) * (thick / 2 - inset_mm)[:, None]
    return np.vstack([line - off, (line + off)[::-1]])


def vane_mesh(blade: Blade, vane: Vane) -> Mesh:
    """Walls, broken edges and top of a vane, with both ends closed."""
    line, thick = vane_line(blade, vane)
    left, edge, foot = normals(line), blade.edge_mm, -blade.height_mm - 0.5
    rows = []
    for side, inset, z in ((-1, 0, foot), (-1, 0, -edge), (-1, edge, 0.0), (1, edge, 0.0), (1, 0, -edge), (1, 0, foot)):
        xy = line + left * (side * (thick / 2 - inset))[:, None]
        rows.append(np.column_stack([xy, np.full(len(xy), z)]))
    grid = np.stack(rows, axis=1)
    count = len(line)
    faces = grid_faces(count, 6, wrap=False)
    first, last = np.arange(6), (count - 1) * 6 + np.arange(6)
    caps = [np.array([[cap[0], cap[i], cap[i + 1]] for i in range(1, 5)]) for cap in (first, last[::-1])]
    return Mesh(points=grid.reshape(-1, 3), faces=np.concatenate([faces, *caps]))
