"""Triangle meshes of a part and what lies round it: numpy arrays only, no path tracer."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.shape import centre_radius, end_angles_rad, face_height, full_width
from wearvision.scenes.spec import Card, Part

Array = NDArray[np.float64]
Index = NDArray[np.int64]

LIP = np.array([-1.3, -1.1, -1.03, -1.0, -0.97, -0.93])
"""Radial mesh lines at a groove's lip, in half widths; mirrored for the other lip."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Mesh:
    """``points`` (N, 3) mm, ``faces`` (M, 3) counter-clockwise from outside."""

    points: Array
    faces: Index


def grid_faces(rows: int, columns: int, wrap: bool) -> Index:
    """Triangles of a (rows, columns) grid of points; ``wrap`` joins the last column to the first."""
    last = columns if wrap else columns - 1
    r, c = np.meshgrid(np.arange(rows - 1), np.arange(last), indexing="ij")
    a, b = r * columns + c, r * columns + (c + 1) % columns
    d, e = a + columns, b + columns
    return np.concatenate([np.stack([a, d, e], -1).reshape(-1, 3), np.stack([a, e, b], -1).reshape(-1, 3)])


def _angles(part: Part) -> Array:
    """Mesh angles: 0.5 mm apart at the rim, 0.06 mm at groove ends, 0.12 mm round holes."""
    parts = [np.arange(0, 2 * math.pi, 0.5 / part.outer_mm)]
    for groove in part.grooves:
        if groove.closed:
            continue
        half = groove.width_mm / groove.radius_mm
        for end, out in zip(end_angles_rad(groove), (-1, 1), strict=True):
            parts.append(end + out * np.arange(-0.15 * half, 0.7 * half, 0.06 / groove.radius_mm))
    for hole in part.holes:
        away, reach = math.hypot(hole.x_mm, hole.y_mm), hole.diameter_mm * 0.56
        middle = math.atan2(hole.y_mm, hole.x_mm)
        parts.append(middle + np.arange(-reach, reach, 0.12) / away)
    return np.unique(np.round(np.mod(np.concatenate(parts), 2 * math.pi), 6))


def _radii(part: Part) -> Array:
    """Nominal mesh radii: 1 mm apart, finer across grooves, at the register and at holes."""
    lines = [np.arange(part.inner_mm, part.outer_mm, 1.0), np.array([part.outer_mm])]
    across = np.unique(np.concatenate([LIP, np.linspace(-0.9, 0.9, 25), -LIP]))
    for groove in part.grooves:
        lines.append(groove.radius_mm + across * groove.width_mm / 2)
    if part.step_mm:
        lines.append(part.step_radius_mm + np.array([-0.03, -1e-4, 1e-4, 0.03]))
    for hole in part.holes:
        away, reach = math.hypot(hole.x_mm, hole.y_mm), hole.diameter_mm * 0.56
        lines.append(np.arange(away - reach, away + reach, 0.12))
    radii = np.unique(np.round(np.concatenate(lines), 5))
    return np.asarray(radii[(radii >= part.inner_mm - 1e-3) & (radii <= part.outer_mm + 1e-3)])


def _warped(part: Part, radii: Array, angles: Array) -> Array:
    """Radii (R, A) bent so that mesh lines follow the wandering lips of every groove."""
    grooves = sorted(part.grooves, key=lambda g: g.radius_mm)
    bent = np.repeat(radii[:, None], len(angles), axis=1)
    if not grooves:
        return bent
    still = [part.inner_mm] + ([part.step_radius_mm + 0.05] if part.step_mm else [])
    lips = [g.radius_mm + s * g.width_mm * 0.65 for g in grooves for s in (-1, 1)]
    rest = np.array([*still, *lips, part.outer_mm])
    moved = [np.full(len(angles), radius) for radius in still]
    for groove in grooves:
        centre, width = centre_radius(groove, angles), full_width(groove, angles)
        moved += [centre - width * 0.65, centre + width * 0.65]
    moved.append(np.full(len(angles), part.outer_mm))
    moved_rows = np.stack(moved)
    for column in range(len(angles)):
        bent[:, column] = np.interp(radii, rest, moved_rows[:, column])
    return bent


def face_mesh(part: Part) -> Mesh:
    """The worn face as a displaced polar mesh, holes included."""
    angles, radii = _angles(part), _radii(part)
    bent = _warped(part, radii, angles)
    x, y = bent * np.cos(angles), bent * np.sin(angles)
    z = face_height(part, x, y)
    for hole in part.holes:
        away = np.hypot(x - hole.x_mm, y - hole.y_mm)
        near = np.abs(away - hole.diameter_mm / 2) < 0.06
        pull = np.where(near, hole.diameter_mm / 2 / np.maximum(away, 1e-6), 1.0)
        x, y = hole.x_mm + (x - hole.x_mm) * pull, hole.y_mm + (y - hole.y_mm) * pull
        z = np.where((away < hole.diameter_mm / 2) & ~near, -hole.depth_mm, z)
    points = np.stack([x, y, z], -1).reshape(-1, 3)
    return Mesh(points=points, faces=grid_faces(len(radii), len(angles), wrap=True))


def revolve(profile: list[tuple[float, float]], steps: int = 720) -> Mesh:
    """Surface of revolution of a polyline (radius, z); every segment keeps its own edges."""
    angles = np.linspace(0, 2 * math.pi, steps, endpoint=False)
    cos, sin = np.cos(angles), np.sin(angles)
    points, faces, base = [], [], 0
    for (r0, z0), (r1, z1) in pairwise(profile):
        low = np.stack([r0 * cos, r0 * sin, np.full(steps, z0)], -1)
        high = np.stack([r1 * cos, r1 * sin, np.full(steps, z1)], -1)
        points += [low, high]
        faces.append(grid_faces(2, steps, wrap=True) + base)
        base += 2 * steps
    return Mesh(points=np.concatenate(points), faces=np.concatenate(faces))


def prism(corners: Array, low_mm: float, high_mm: float) -> Mesh:
    """Upright prism over a convex polygon (N, 2), counter-clockwise; top and walls, flat sides."""
    count = len(corners)
    top = np.column_stack([corners, np.full(count, high_mm)])
    points, faces = [top], [np.array([[0, i, i + 1] for i in range(1, count - 1)])]
    base = count
    for i in range(count):
        a, b = corners[i], corners[(i + 1) % count]
        points.append(np.array([[*a, low_mm], [*b, low_mm], [*b, high_mm], [*a, high_mm]]))
        faces.append(np.array([[0, 1, 2], [0, 2, 3]]) + base)
        base += 4
    return Mesh(points=np.concatenate(points), faces=np.concatenate(faces))


def hexagon(x_mm: float, y_mm: float, across_mm: float, turn_deg: float, sides: int = 6) -> Array:
    """Corners (sides, 2) of a regular polygon of a given corner-to-corner size."""
    a = np.radians(turn_deg) + np.arange(sides) * 2 * math.pi / sides
    return np.column_stack([x_mm + across_mm / 2 * np.cos(a), y_mm + across_mm / 2 * np.sin(a)])


def join(meshes: list[Mesh]) -> Mesh:
    """Several meshes as one."""
    offsets = np.cumsum([0, *[len(m.points) for m in meshes[:-1]]])
    faces = np.concatenate([m.faces + o for m, o in zip(meshes, offsets, strict=True)])
    return Mesh(points=np.concatenate([m.points for m in meshes]), faces=faces)


def rim_profiles(part: Part) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """Turned walls and the rough top of the rim, as polylines outward from the face's edge."""
    rim, outer = part.rim, part.outer_mm
    chamfer = min(rim.chamfer_mm, 0.4 * rim.channel_mm) if rim.channel_mm else rim.chamfer_mm
    walls = [(outer, 0.0)]
    if chamfer and (rim.step_mm < 0 or rim.channel_mm):
        walls.append((outer + chamfer, -chamfer))
    inside = walls[-1][0]
    if rim.channel_mm:
        inside = outer + rim.channel_mm
        walls += [(walls[-1][0], -rim.channel_depth_mm), (inside, -rim.channel_depth_mm)]
    if rim.step_mm > 0 and chamfer:
        walls.append((inside, rim.step_mm - chamfer))
        inside += chamfer
    walls.append((inside, rim.step_mm))
    edge = min(0.6, 0.3 * (rim.outer_mm - inside))
    top = [(inside, rim.step_mm), (rim.outer_mm - edge, rim.step_mm), (rim.outer_mm, rim.step_mm - edge)]
    return walls, top


def body_meshes(part: Part) -> dict[str, Mesh]:
    """All of the part but its face, by material: ``wall``, ``rim`` and ``bolt``."""
    walls, top = rim_profiles(part)
    bore = part.inner_mm - part.bore_chamfer_mm
    inner = [(bore, -part.bench_mm), (bore, -part.bore_chamfer_mm), (part.inner_mm, 0.0)]
    pieces = [revolve(inner if part.bore_chamfer_mm else [inner[0], inner[2]]), revolve(walls)]
    if part.hub:
        hub = part.inner_mm * 0.62
        pieces.append(revolve([(bore, -9.0), (hub, -9.0)][::-1]))
        pieces.append(revolve([(0.01, 3.0), (hub - 1.5, 3.0), (hub, 1.5), (hub, -9.5)]))
    pieces.append(revolve([top[-1], (part.rim.outer_mm, -part.bench_mm)]))
    meshes = {"wall": join(pieces), "rim": revolve(top)}
    bolts = _bolts(part)
    if bolts:
        meshes["bolt"] = join(bolts)
    return meshes


def _bolts(part: Part) -> list[Mesh]:
    rim = part.rim
    middle = (part.outer_mm + rim.channel_mm + rim.outer_mm) / 2
    bolts = []
    for i in range(rim.bolts):
        angle = math.radians(rim.bolt_turn_deg) + i * 2 * math.pi / rim.bolts
        x, y = middle * math.cos(angle), middle * math.sin(angle)
        corners = hexagon(x, y, rim.bolt_mm * 1.1, 37.0 * i + rim.bolt_turn_deg)
        bolts.append(prism(corners, rim.step_mm - 0.5, rim.step_mm + 0.45 * rim.bolt_mm))
    if part.hub:
        across = part.inner_mm * 0.5
        bolts.append(prism(hexagon(0.0, 0.0, across, rim.bolt_turn_deg), 2.0, 3.0 + 0.35 * across))
    return bolts


def support_mesh(bench_mm: float, card: Card, grow_mm: float) -> Mesh | None:
    """The block under the card; None where the card lies on the part."""
    if card.support == "face":
        return None
    top = card.height_mm + card.error_mm
    return prism(np.array(card.corners(grow_mm)), -bench_mm - 1.0, top)


def card_mesh(card: Card) -> Mesh:
    """The sheet itself, 0.3 mm thick; its first four points are the printed side's corners."""
    return prism(np.array(card.corners()), card.height_mm + card.error_mm, card.printed_mm)
