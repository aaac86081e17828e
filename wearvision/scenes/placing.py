"""Where the card lies and where the camera stands."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.board import CARD_SQUARE_MM
from wearvision.scenes.lens import look_at, mm_per_px, project, tilt_deg
from wearvision.scenes.spec import Camera, Card, Part

Array = NDArray[np.float64]
Rng = np.random.Generator

DIAGONAL_35_MM = math.hypot(36.0, 24.0)


def draw_card(rng: Rng, size: str | None = None) -> Card:
    """A card, not placed yet: its size, label, print scale, stated height and what the statement misses."""
    name = size or str(rng.choice(["standard", "small", "large"], p=[0.62, 0.28, 0.10]))
    stated = float(rng.choice([0.0, 0.0, 0.0, round(float(rng.uniform(-12, 12)), 1)]))
    letters = "".join(str(c) for c in rng.choice(list("ABCDEFGHJKLMNPQRSTUVWXYZ23456789"), 6))
    labelled = name != "standard" or rng.random() < 0.4
    scale = 1.0 if rng.random() < 0.7 else round(float(rng.normal(1.0, 0.003)), 4)
    return Card(
        name=name,
        square_mm=CARD_SQUARE_MM[name],
        serial=letters if labelled else "",
        x_mm=0.0,
        y_mm=0.0,
        turn_deg=0.0,
        height_mm=stated,
        error_mm=0.0 if rng.random() < 0.6 else float(rng.normal(0, 0.15)),
        print_scale=scale,
        support="beside",
    )


def place_card(rng: Rng, part: Part, turn_deg: float, size: str | None = None, where: str | None = None) -> Card:
    """A card beside the part (most often), in its bore, or on its face.

    ``turn_deg`` is the direction in the world that will run right in the picture.
    """
    card = draw_card(rng, size)
    where = where or str(rng.choice(["beside", "bore", "face"], p=[0.86, 0.08, 0.06]))
    reach = math.hypot(card.width_mm, card.length_mm) / 2
    free_turn = float(rng.uniform(0, 360))
    if where == "bore" and not part.hub and reach + 4 < part.inner_mm:
        return replace(card, turn_deg=free_turn, support="bore")
    if where == "face" and card.name == "small" and not part.hub:
        return _on_face(rng, part, card, free_turn)
    return beside(rng, card, turn_deg, part.rim.outer_mm)


def _on_face(rng: Rng, part: Part, card: Card, turn_deg: float) -> Card:
    away = part.outer_mm - card.length_mm / 2 + float(rng.uniform(-8, 8))
    angle = math.radians(turn_deg)
    return replace(
        card,
        x_mm=away * math.cos(angle),
        y_mm=away * math.sin(angle),
        turn_deg=turn_deg + 90,
        height_mm=round(max(0.0, part.rim.step_mm), 1),
        error_mm=0.0,
        support="face",
    )


def beside(rng: Rng, card: Card, turn_deg: float, reach_mm: float) -> Card:
    """The card beside a round part of radius ``reach_mm``, left or right in the picture."""
    upright = rng.random() < 0.7
    half_x = (card.length_mm if upright else card.width_mm) / 2
    side = 0.0 if rng.random() < 0.5 else 180.0
    away = reach_mm + half_x + 5 + float(rng.uniform(3, 25))
    angle = math.radians(turn_deg + side + float(rng.normal(0, 12)))
    quarter = float(rng.choice([90, 270]) if upright else rng.choice([0, 180]))
    turn = turn_deg + quarter + float(rng.normal(0, 8) if rng.random() < 0.8 else rng.uniform(-25, 25))
    while True:
        placed = replace(card, x_mm=away * math.cos(angle), y_mm=away * math.sin(angle), turn_deg=turn % 360)
        if _gap(placed, 6.5) > reach_mm + 1:
            return placed
        away += 1.0


def _gap(card: Card, grow_mm: float) -> float:
    """Least distance of the card's block from the axis."""
    corners = np.array(card.corners(grow_mm))
    sides = np.linspace(corners, np.roll(corners, -1, axis=0), 60).reshape(-1, 2)
    return float(np.hypot(sides[:, 0], sides[:, 1]).min())


def draw_aim(rng: Rng, part: Part, card: Card) -> Array:
    """What a hurried person aims at: the card, and the whole part or only a sector of it."""
    whole = rng.random() < 0.74
    return aim_at_part(part, card, None if whole else float(rng.uniform(50, 110)))


def aim_at_part(part: Part, card: Card, half_sector_deg: float | None, with_card: bool = True) -> Array:
    """World points (N, 3) that must be in frame; None takes the whole part in."""
    toward = math.atan2(card.y_mm, card.x_mm)
    half = math.pi if half_sector_deg is None else math.radians(half_sector_deg)
    radius = part.rim.outer_mm if half_sector_deg is None else part.outer_mm + 1
    around = toward + np.linspace(-half, half, 73)
    ring = np.column_stack([radius * np.cos(around), radius * np.sin(around), np.zeros(73)])
    sheet = np.array([[x, y, card.printed_mm] for x, y in card.corners(2.0)])
    return np.vstack([ring, sheet]) if with_card else ring


def place_camera(
    rng: Rng,
    card: Card,
    turn_deg: float,
    width_px: int | None,
    aim_at: Callable[[Rng], Array],
    steep_deg: float | None = None,
    f35_mm: int | None = None,
) -> Camera:
    """A camera that has what it is aimed at in frame, with a little room around it.

    ``turn_deg`` of the world runs right in the picture; ``aim_at`` gives the points (N, 3) that must be in
    frame; ``steep_deg`` and ``f35_mm`` replace a drawn tilt and lens.
    """
    tilt = float(np.abs(rng.normal(0, 13)).clip(0, 28))
    tilt = tilt if steep_deg is None else steep_deg
    lean = float(rng.uniform(0, 2 * math.pi))
    sin, cos = math.sin(math.radians(tilt)), math.cos(math.radians(tilt))
    toward = np.array([sin * math.cos(lean), sin * math.sin(lean), cos])
    roll = -turn_deg + float(rng.normal(0, 6)) + float(rng.choice([0, 0, 0, 180]))
    f35 = int(rng.choice([24, 26, 26, 28, 35, 48, 52]))
    f35 = f35 if f35_mm is None else f35_mm
    slip, shift = float(rng.normal(1, 0.006)), rng.normal(0, 0.004, 2)
    k1 = float(rng.uniform(-0.045, 0.03)) * (1.3 if f35 > 40 else 1.0)
    k2 = float(rng.choice([0.0, rng.normal(0, 0.003)]))
    aim = aim_at(rng)
    wanted = float(rng.uniform(0.07, 0.14))
    room = float(rng.uniform(1.04, 1.22))

    def build(width: int) -> Camera:
        height = width * 3 // 4
        focal = f35 * math.hypot(width, height) / DIAGONAL_35_MM * slip
        start = Camera(
            width_px=width,
            height_px=height,
            focal_px=focal,
            f35_mm=f35,
            cx_px=(width - 1) / 2 + float(shift[0]) * width,
            cy_px=(height - 1) / 2 + float(shift[1]) * width,
            k1=k1,
            k2=k2,
            position_mm=(0.0, 0.0, 0.0),
            rotation=((1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, -1.0)),
            tilt_deg=tilt,
        )
        return _back_off(start, aim, toward, roll, room)

    camera = build(width_px or 2000)
    if width_px is None:
        coarse = mm_per_px(camera, (card.x_mm / 2, card.y_mm / 2))
        width = int(np.clip(round(2000 * coarse / wanted / 80) * 80, 2000, 2480))
        camera = build(width)
    return camera


def _place(camera: Camera, target: Array, toward: Array, roll: float, distance: float) -> Camera:
    position = target + toward * distance
    rotation = look_at(position, target, roll)
    rows = tuple(tuple(float(v) for v in row) for row in rotation)
    where = (float(position[0]), float(position[1]), float(position[2]))
    placed = replace(camera, position_mm=where, rotation=rows)  # type: ignore[arg-type]  # three rows of three
    return replace(placed, tilt_deg=tilt_deg(placed))


def _back_off(camera: Camera, points: Array, toward: Array, roll: float, room: float) -> Camera:
    """Centre the points in the frame and choose the distance at which they just fit."""
    low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
    target = np.append((low + high) / 2, 0.0)
    distance = 4.0 * float(np.linalg.norm(high - low))
    frame = np.array([camera.width_px, camera.height_px], dtype=float)
    for _ in range(25):
        placed = _place(camera, target, toward, roll, distance)
        px = project(placed, points)
        miss = (px.min(axis=0) + px.max(axis=0)) / 2 - frame / 2
        rotation = np.asarray(placed.rotation)
        step = (miss[0] * rotation[0, :2] + miss[1] * rotation[1, :2]) * distance / camera.focal_px
        target = target + np.append(step * 0.8, 0.0)
        fill = float(((px.max(axis=0) - px.min(axis=0)) / (frame - 16)).max())
        distance *= fill**0.8
    return _place(camera, target, toward, roll, distance * room)
