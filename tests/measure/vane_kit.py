"""Vanes in profile drawn flat, without a renderer: polygons in perspective, shaded by lot, blurred, with grain."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np

from wearvision.measure.plane import Array, N, Plane
from wearvision.scenes.vane_profile import Section

FINE = 4
"""Samples per pixel each way."""
SIZE_PX = (1500, 1100)
PX_MM = 0.055
CARD_MM = (-40.0, 22.0, 40.0, 60.0)
"""Left, top, right, bottom of the paper on the plane, y down; the bar's edge is y = 0."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Photo:
    gray: np.ndarray
    plane: Plane
    cards_px: tuple[Array, ...]
    section: Section
    blur_px: float


@dataclass(frozen=True, kw_only=True)
class Tones:
    """Light 0 to 1 of what stands there."""

    face: float = 0.5
    back: float = 0.03
    left: float = 0.2
    right: float = 0.3
    top: float = 0.4
    mottle: float = 0.05


def camera(tilt_deg: float = 0.0, lean_deg: float = 0.0, roll_deg: float = 0.0, px_mm: float = PX_MM) -> Plane:
    """A phone that looks at the origin, tilted towards a direction."""
    focal = 2000.0
    axis = np.radians(tilt_deg) * np.array([np.cos(np.radians(lean_deg)), np.sin(np.radians(lean_deg)), 0.0])
    turn = cv2.Rodrigues(np.array([0.0, 0.0, np.radians(roll_deg)]))[0] @ cv2.Rodrigues(axis)[0]
    theta = np.zeros(N)
    theta[:3] = cv2.Rodrigues(turn)[0].ravel()
    theta[3:6] = np.array([0.0, 0.0, focal * px_mm]) - turn[:, :2] @ np.array([0.0, 12.0])
    theta[6], theta[8], theta[9] = np.log(focal), SIZE_PX[0] / 2, SIZE_PX[1] / 2
    return Plane(theta=theta, sources={"corner": np.diag([1e-9] * N)}, size_px=SIZE_PX, source="card")


def project(plane: Plane, points: Array) -> Array:
    """Points (N, 3): x right, y up from the bar's edge, depth behind the plane; photo px (N, 2)."""
    rotation, shift = plane.pose
    seen = (points * [1.0, -1.0, 1.0]) @ rotation.T + shift
    return np.asarray(plane.focal_px * seen[:, :2] / seen[:, 2:] + plane.theta[8:10])


def draw(
    section: Section, plane: Plane, tones: Tones, *, blur_px: float = 0.8, noise: float = 2.0, seed: int = 0,
    depth_mm: float = 25.0, slant: float = 0.0,
) -> Photo:  # fmt: skip
    """The photo of a section."""
    rng = np.random.default_rng(seed)
    canvas = np.full((SIZE_PX[1] * FINE, SIZE_PX[0] * FINE), tones.back, dtype=np.float32)
    outline = section.outline()
    box = np.array([[-45.0, 0.0], [45.0, 0.0], [45.0, -12.0], [-45.0, -12.0]])

    def fill(points: Array, tone: float) -> None:
        at = (project(plane, points) + 0.5) * FINE - 0.5
        cv2.fillPoly(canvas, [np.round(at * 16).astype(np.int32)], tone, cv2.LINE_8, 4)

    def at_depth(flat: Array, depth: float) -> Array:
        return np.column_stack([flat[:, 0] + slant * depth, flat[:, 1], np.full(len(flat), depth)])

    fill(np.vstack([at_depth(box[:2], 0.0), at_depth(box[1::-1], depth_mm)]), 0.8 * tones.top)
    for one, two in pairwise(outline):
        flat = np.vstack([one, two])
        normal = np.array([one[1] - two[1], two[0] - one[0]]) / max(1e-9, float(np.hypot(*(two - one))))
        side = tones.left if normal[0] < 0 else tones.right
        shade = tones.top * abs(normal[1]) + side * (1 - abs(normal[1]))
        fill(np.vstack([at_depth(flat, 0.0), at_depth(flat[::-1], depth_mm)]), float(shade))
    for flat in (box, outline):
        fill(np.column_stack([flat, np.zeros(len(flat))]), tones.face)
    left, top, right, bottom = CARD_MM
    paper = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
    fill(np.column_stack([paper[:, 0], -paper[:, 1], np.zeros(4)]), 0.75)
    light = cv2.resize(canvas, SIZE_PX, interpolation=cv2.INTER_AREA)
    light *= 1 + np.float32(tones.mottle) * _clouds(rng)
    light = cv2.GaussianBlur(light, (0, 0), blur_px) if blur_px else light
    gray = 255 * np.clip(light, 0, 1) ** (1 / 2.2) + rng.normal(0, noise, light.shape)
    return Photo(
        gray=np.clip(np.round(gray), 0, 255).astype(np.uint8), plane=plane, cards_px=(plane.to_px(paper),),
        section=section, blur_px=float(np.hypot(blur_px, 0.3)),
    )  # fmt: skip


def _clouds(rng: np.random.Generator) -> np.ndarray:
    out = np.zeros(SIZE_PX[::-1], dtype=np.float32)
    for cells, gain in ((12, 1.0), (50, 0.6), (200, 0.4)):
        small = rng.standard_normal((cells, cells)).astype(np.float32)
        out += gain * cv2.resize(small, SIZE_PX, interpolation=cv2.INTER_CUBIC)
    return np.asarray(out / out.std())


def by_lot(seed: int) -> Photo:
    """A photo drawn by lot: dark or light paper behind, radii 0 to 3 mm, heights 4 to 15, tilt to 15 degrees."""
    rng = np.random.default_rng([77, seed])
    high, wide = float(rng.uniform(4, 15)), float(rng.uniform(3, 10))
    most = min(3.0, 0.47 * wide, 0.6 * high)
    radius = [float(rng.uniform(0, most)) if rng.random() < 0.8 else float(rng.uniform(0, 0.2)) for _ in range(2)]
    section = Section(
        height_mm=high, thickness_mm=wide, radius_mm=(radius[0], radius[1]), seed=seed,
        draft_deg=(float(rng.uniform(0, 4)), float(rng.uniform(0, 4))) if rng.random() < 0.6 else (0.0, 0.0),
        slope_deg=float(rng.choice([0.0, rng.normal(0, 1.0)])), rough_mm=float(rng.choice([0.0, rng.uniform(0, 0.05)])),
        chips=tuple(
            (float(rng.uniform(0.05, 0.95)), float(rng.uniform(0.15, 0.6))) for _ in range(rng.choice([0, 0, 1]))
        ),
    )  # fmt: skip
    dark = rng.random() < 0.6
    face = float(rng.uniform(0.2, 0.6)) if dark else float(rng.uniform(0.05, 0.3))
    tones = Tones(
        face=face, back=float(rng.uniform(0.01, 0.05)) if dark else float(rng.uniform(0.5, 0.8)),
        left=face * float(rng.uniform(0.2, 1.6)), right=face * float(rng.uniform(0.2, 1.6)),
        top=face * float(rng.uniform(0.3, 1.8)), mottle=float(rng.uniform(0.02, 0.15)),
    )  # fmt: skip
    plane = camera(float(min(15, abs(rng.normal(0, 7)))), float(rng.uniform(0, 360)), float(rng.normal(0, 4)),
                   float(rng.uniform(0.045, 0.07)))  # fmt: skip
    return draw(
        section, plane, tones, blur_px=float(rng.uniform(0.5, 1.2)), noise=float(rng.uniform(1, 4)), seed=seed,
        depth_mm=float(rng.uniform(10, 50)), slant=float(rng.normal(0, 0.12)),
    )  # fmt: skip
