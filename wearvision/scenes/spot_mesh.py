"""Meshes of a face with openings in it: pits, cracks and drilled holes, each cut out of the face and filled exactly.

A fine face mesh cannot follow a rim of a tenth of a millimetre, so its triangles near an opening are left out. A lip,
level with the face, lies round each opening from its exact rim outwards over the ragged cut; from the rim down goes the
wall of the opening itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.mesh import Mesh, grid_faces
from wearvision.scenes.shape import face_height
from wearvision.scenes.spec import Hole, Part
from wearvision.scenes.spot_shape import Crack, Pit

Array = NDArray[np.float64]

STEP_MM = 0.2
"""Of the face's mesh."""
CUT_MM, LIP_MM, LIFT_MM = 0.05, 0.4, 0.003
"""Triangles with a corner so near an opening are left out; the lip is as wide as they reach, and so high above."""
RIM_POINTS, WALL_POINTS = 72, 13
PIECES = 5
"""Strips of a crack's lip on either side."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Spotted:
    """The cut face, the lips over its cuts, and the walls of pits, cracks and holes; None where there is none."""

    face: Mesh
    lips: Mesh | None
    pits: Mesh | None
    cracks: Mesh | None
    holes: Mesh | None


def spotted_meshes(part: Part, pits: Sequence[Pit], cracks: Sequence[Crack]) -> Spotted:
    """The face of a part with its grooves and all its openings."""
    lips = [_round_lip(part, p.outline(RIM_POINTS), (p.x_mm, p.y_mm)) for p in pits]
    lips += [_round_lip(part, _circle(h), (h.x_mm, h.y_mm)) for h in part.holes]
    lips += [_slit_lip(part, c, [o for o in cracks if o is not c]) for c in cracks]
    return Spotted(
        face=cut_face(part, pits, cracks), lips=joined(lips), pits=joined([hollow(part, p) for p in pits]),
        cracks=joined([slit(part, c) for c in cracks]), holes=joined([_drilled(h) for h in part.holes]),
    )  # fmt: skip


def cut_face(part: Part, pits: Sequence[Pit], cracks: Sequence[Crack]) -> Mesh:
    """The face as a fine polar mesh, without the triangles that reach into an opening."""
    radii = np.linspace(part.inner_mm, part.outer_mm, 1 + math.ceil((part.outer_mm - part.inner_mm) / STEP_MM))
    angles = np.linspace(0, 2 * math.pi, math.ceil(2 * math.pi * part.outer_mm / STEP_MM), endpoint=False)
    x, y = ((radii[:, None] * turn).ravel() for turn in (np.cos(angles), np.sin(angles)))
    gone = np.zeros(len(x), dtype=bool)
    for pit in pits:
        near = np.nonzero(np.maximum(np.abs(x - pit.x_mm), np.abs(y - pit.y_mm)) < 2 * pit.radius_mm + 1)[0]
        gone[near] |= (pit.ratio(x[near], y[near]) - 1) * pit.radius_mm < CUT_MM
    for hole in part.holes:
        gone |= np.hypot(x - hole.x_mm, y - hole.y_mm) < hole.diameter_mm / 2 + CUT_MM
    for crack in cracks:
        low, high = crack.line_mm.min(axis=0) - 1, crack.line_mm.max(axis=0) + 1
        near = np.nonzero((x > low[0]) & (x < high[0]) & (y > low[1]) & (y < high[1]))[0]
        gone[near] |= crack.distance(x[near], y[near]) < 0.75 * STEP_MM
    faces = grid_faces(len(radii), len(angles), wrap=True)
    points = np.column_stack([x, y, face_height(part, x, y)])
    return Mesh(points=points, faces=faces[~gone[faces].any(axis=1)])


def hollow(part: Part, pit: Pit) -> Mesh:
    """The wall of a pit, from its rim to its bottom."""
    radial, depth = pit.profile(np.linspace(1, 0, WALL_POINTS))
    middle, rim = np.array([pit.x_mm, pit.y_mm]), pit.outline(RIM_POINTS)
    at = middle + radial[:, None, None] * (rim - middle)
    top = float(face_height(part, middle[:1], middle[1:])[0]) + LIFT_MM
    return _rings(at, np.broadcast_to((top - depth)[:, None], at.shape[:2]))


def slit(part: Part, crack: Crack) -> Mesh:
    """The two walls of a crack, from its edges to where they meet."""
    off = crack.normals * crack.width_mm[:, None] / 2
    floor = crack.line_mm + crack.normals * crack.lean_mm
    top = face_height(part, *crack.line_mm.T) + LIFT_MM
    low = top - np.maximum(0.3, crack.depth_mm * crack.width_mm / crack.width_mm.max())
    points = np.stack([
        np.column_stack([at, z]) for at, z in ((crack.line_mm + off, top), (floor, low), (crack.line_mm - off, top))
    ])  # fmt: skip
    return Mesh(points=points.reshape(-1, 3), faces=grid_faces(3, len(floor), wrap=False))


def joined(parts: Sequence[Mesh]) -> Mesh | None:
    """Several meshes as one."""
    if not parts:
        return None
    starts = np.cumsum([0, *[len(m.points) for m in parts[:-1]]])
    return Mesh(
        points=np.vstack([m.points for m in parts]),
        faces=np.vstack([m.faces + s for m, s in zip(parts, starts, strict=True)]),
    )


def _round_lip(part: Part, rim: Array, middle: tuple[float, float]) -> Mesh:
    out = rim - middle
    out /= np.hypot(*out.T)[:, None]
    at = np.stack([rim + LIP_MM * out, rim])
    z = face_height(part, at[..., 0].ravel(), at[..., 1].ravel()).reshape(at.shape[:2]) + LIFT_MM
    return _rings(at, z)


def _rings(at: Array, z: Array) -> Mesh:
    """Mesh of closed rings (K, N, 2) at heights (K, N), from the outermost in, seen from above."""
    points = np.concatenate([at, z[..., None]], axis=-1).reshape(-1, 3)
    return Mesh(points=points, faces=grid_faces(len(at), at.shape[1], wrap=True)[:, ::-1])


def _slit_lip(part: Part, crack: Crack, others: Sequence[Crack]) -> Mesh:
    """Strips along both edges of a crack, open where another one runs into it."""
    away = np.linspace(0, LIP_MM, PIECES)[:, None, None]
    line, normal, half = _carried_on(crack)
    sides = []
    for sign in (1, -1):
        at = line + sign * normal * (half[:, None] + away)
        z = face_height(part, at[..., 0].ravel(), at[..., 1].ravel()).reshape(at.shape[:2]) + LIFT_MM
        points = np.concatenate([at, z[..., None]], axis=-1).reshape(-1, 3)
        faces = grid_faces(PIECES, at.shape[1], wrap=False)[:, ::-sign]
        middle = points[faces].mean(axis=1)
        shut = np.ones(len(middle), dtype=bool)
        for other in others:
            shut &= other.distance(middle[:, 0], middle[:, 1]) > 0
        sides.append(Mesh(points=points, faces=faces[shut]))
    starts = len(sides[0].points)
    return Mesh(
        points=np.vstack([m.points for m in sides]), faces=np.vstack([sides[0].faces, sides[1].faces + starts])
    )


def _carried_on(crack: Crack) -> tuple[Array, Array, Array]:
    """Line, normals and half width of a crack, carried on closed beyond its ends, over the cut there."""
    line, normal, half, beyond = crack.line_mm, crack.normals, crack.width_mm / 2, np.array([0.02, 0.25, 0.5])[:, None]
    first, last = ((a - b) / np.hypot(*(a - b)) for a, b in ((line[0], line[1]), (line[-1], line[-2])))
    return (
        np.vstack([line[0] + beyond[::-1] * first, line, line[-1] + beyond * last]),
        np.vstack([np.repeat(normal[:1], 3, axis=0), normal, np.repeat(normal[-1:], 3, axis=0)]),
        np.concatenate([np.zeros(3), half, np.zeros(3)]),
    )


def _circle(hole: Hole) -> Array:
    a = np.arange(RIM_POINTS) * 2 * math.pi / RIM_POINTS
    return np.array([hole.x_mm, hole.y_mm]) + hole.diameter_mm / 2 * np.column_stack([np.cos(a), np.sin(a)])


def _drilled(hole: Hole) -> Mesh:
    rim, middle = _circle(hole), np.array([hole.x_mm, hole.y_mm])
    at = np.stack([rim, rim, np.broadcast_to(middle, rim.shape)])
    depth = np.array([0.0, hole.depth_mm, hole.depth_mm])
    return _rings(at, np.broadcast_to((LIFT_MM - depth)[:, None], at.shape[:2]))
