"""The answers of a scene, in the words of a measurement: truth record and mask.

Full width at face level, mean and max over the length (round ends aside); radius of the centreline
from the part's axis; arc with round ends; plan area. All come from the formulas that shaped the mesh.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.lens import inside, mm_per_px, project
from wearvision.scenes.shape import across, centre_radius, depth_at, end_angles_rad, full_width
from wearvision.scenes.spec import Band, Groove, Hole, Part, Scene
from wearvision.scenes.stage import FACE, GROOVE, HOLE, RUB, Codes

Array = NDArray[np.float64]



def groove_angles(groove: Groove, step_deg: float = 1.0) -> Array:
    """Angles (rad) along the groove, both ends included."""
    count = max(2, math.ceil(groove.arc_deg / step_deg)) + 1
    return np.radians(groove.start_deg + np.linspace(0, min(groove.arc_deg, 360.0), count))


def groove_polygon(groove: Groove, step_deg: float = 1.0) -> Array:
    """Outline (N, 2) in mm: outer lip, round end, inner lip, round end.

    A groove that runs all the way round gives the outer circle and then the inner one backwards
    (one polygon with a seam), so that even-odd filling leaves the ring.
    """
    if groove.closed:
        a = groove_angles(groove, step_deg)
    else:
        first, last = end_angles_rad(groove)
        a = np.linspace(first, last, max(3, math.ceil(math.degrees(last - first) / step_deg)) + 1)
    centre, half = centre_radius(groove, a), full_width(groove, a) / 2
    outer, inner = centre + half, centre - half
    out = np.column_stack([outer * np.cos(a), outer * np.sin(a)])
    back = np.column_stack([inner * np.cos(a), inner * np.sin(a)])[::-1]
    if groove.closed:
        return np.vstack([out, back])
    far, near = _cap(a[-1], centre[-1], half[-1], 1), _cap(a[0], centre[0], half[0], -1)
    return np.vstack([out, far, back, near])


def _cap(angle: float, centre: float, half: float, way: int) -> Array:
    """Half circle at an end: from the outer lip to the inner one if ``way`` is 1, else back."""
    turn = np.linspace(0, math.pi, 14)[1:-1]
    radial, along = half * np.cos(turn) * way, half * np.sin(turn) * way
    x = (centre + radial) * math.cos(angle) - along * math.sin(angle)
    y = (centre + radial) * math.sin(angle) + along * math.cos(angle)
    return np.column_stack([x, y])


def polygon_area(points: Array) -> float:
    """Area by the shoelace formula, in the square of the points' unit."""
    x, y = points[:, 0], points[:, 1]
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def _on_plane(points: Array) -> Array:
    return np.column_stack([points, np.zeros(len(points))])


def paint_mask(scene: Scene, codes: Codes, hit_mm: NDArray[np.float32]) -> Codes:
    """Mask with grooves (2), rub bands (6) and holes (11) told apart on the face."""
    mask = codes.copy()
    on_face = codes == FACE
    x, y = hit_mm[on_face][:, :2].astype(np.float64).T
    radius, angle = np.hypot(x, y), np.arctan2(y, x)
    found = np.full(len(x), FACE, dtype=np.uint8)
    for band in scene.part.bands:
        if band.kind == "rub":
            found[np.abs(radius - band.radius_mm) < band.width_mm / 2] = RUB
    for groove in scene.part.grooves:
        found[across(groove, radius, angle) < 1] = GROOVE
    for hole in scene.part.holes:
        found[np.hypot(x - hole.x_mm, y - hole.y_mm) < hole.diameter_mm / 2] = HOLE
    mask[on_face] = found
    return mask


def _in_view_deg(scene: Scene, groove: Groove, mask: Codes) -> float:
    """Arc whose centreline is in the frame and not covered by anything lying on the face."""
    a = groove_angles(groove, 0.25)
    middle = (a[:-1] + a[1:]) / 2
    radius = centre_radius(groove, middle)
    px = project(scene.camera, np.column_stack([radius * np.cos(middle), radius * np.sin(middle), 0 * radius]))
    ok = inside(scene.camera, px)
    column, row = px[ok].round().astype(int).T
    free = np.isin(mask[row, column], (FACE, GROOVE, HOLE))
    return float(groove.arc_deg * free.sum() / len(middle))


def groove_truth(groove: Groove) -> dict[str, float]:
    """Answers of one groove, view aside."""
    a = groove_angles(groove, 0.1)
    if not groove.closed:
        first, last = end_angles_rad(groove)
        a = a[(a >= first) & (a <= last)]
    a = a[:-1] if groove.closed else a
    width = full_width(groove, a)
    return {
        "radius": float(centre_radius(groove, a).mean()),
        "width": float(width.mean()),
        "width_max": float(width.max()),
        "true_depth": float(depth_at(groove, np.zeros(1))[0]),
        "arc": min(groove.arc_deg, 360.0),
        "area": polygon_area(groove_polygon(groove, 0.1)),
    }


def _groove_finding(scene: Scene, groove: Groove, mask: Codes) -> dict[str, Any]:
    a = groove_angles(groove)
    r = centre_radius(groove, a)
    line = project(scene.camera, np.column_stack([r * np.cos(a), r * np.sin(a), 0 * r]))
    polygon = project(scene.camera, _on_plane(groove_polygon(groove)))
    seen = _in_view_deg(scene, groove, mask)
    truth = {**groove_truth(groove), "arc_in_view": seen}
    at = (groove.radius_mm * math.cos(a[len(a) // 2]), groove.radius_mm * math.sin(a[len(a) // 2]))
    return {
        "kind": "groove",
        "truth": {name: round(value, 3) for name, value in truth.items()},
        "width_px": round(groove.width_mm / mm_per_px(scene.camera, at), 2),
        "profile": groove.profile,
        "outline_px": line.round(1).tolist(),
        "polygon_px": polygon.round(1).tolist(),
    }


def _band_finding(scene: Scene, band: Band) -> dict[str, Any]:
    a = np.radians(np.linspace(0, 360, 181))
    ring = np.column_stack([band.radius_mm * np.cos(a), band.radius_mm * np.sin(a)])
    truth = {
        "area": round(2 * math.pi * band.radius_mm * band.width_mm, 3),
        "width": round(band.width_mm, 3),
        "radius": round(band.radius_mm, 3),
    }
    outline = project(scene.camera, _on_plane(ring)).round(1).tolist()
    return {"kind": "rub", "truth": truth, "outline_px": outline}


def _hole_finding(scene: Scene, hole: Hole) -> dict[str, Any]:
    a = np.radians(np.arange(48) * 7.5)
    ring = np.column_stack([np.cos(a), np.sin(a)]) * hole.diameter_mm / 2 + [hole.x_mm, hole.y_mm]
    truth = {
        "true_depth": hole.depth_mm,
        "area": round(math.pi / 4 * hole.diameter_mm**2, 3),
        "diameter": round(hole.diameter_mm, 3),
    }
    outline = project(scene.camera, _on_plane(ring)).round(1).tolist()
    return {"kind": "hole", "truth": truth, "outline_px": outline}


def plane_points_mm(scene: Scene) -> Array:
    """Four points of the plane well apart and in frame where that can be had."""
    reach = 0.75 * scene.part.outer_mm
    toward = math.atan2(scene.card.y_mm, scene.card.x_mm)
    best: Array | None = None
    for spread in (math.pi / 2, 1.0, 0.7, 0.5):
        angles = toward + spread * np.array([0.0, 1.0, 2.0, -1.0])
        radii = reach * np.array([1.0, 1.0, 1.0 if spread > 1.2 else 0.6, 1.0])
        if spread <= 1.2:
            angles[2] = toward + 0.3 * spread
        best = np.column_stack([radii * np.cos(angles), radii * np.sin(angles)])
        if inside(scene.camera, project(scene.camera, _on_plane(best))).all():
            break
    assert best is not None
    return best


def face_area_mm2(part: Part) -> float:
    """Area of the face annulus."""
    return math.pi * (part.outer_mm**2 - part.inner_mm**2)


def stated_facts(scene: Scene) -> dict[str, float]:
    """What a technician would state about the part: drawing diameters."""
    part = scene.part
    return {
        "face_inner_diameter_mm": round(2 * part.inner_mm, 1),
        "face_outer_diameter_mm": round(2 * part.outer_mm, 1),
    }


def face_findings(scene: Scene, mask: Codes) -> list[dict[str, Any]]:
    """Grooves, rub bands and holes of the truth record."""
    part = scene.part
    return [
        *[_groove_finding(scene, g, mask) for g in part.grooves],
        *[_band_finding(scene, b) for b in part.bands if b.kind == "rub"],
        *[_hole_finding(scene, h) for h in part.holes],
    ]


def axis_seen(scene: Scene) -> bool:
    """Whether the part's axis is in the frame."""
    return bool(inside(scene.camera, project(scene.camera, np.zeros((1, 3))))[0])
