"""Drawn photos of a board whose every corner is known: an ideal plane, a lens, blur and noise."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.measure.board import BoardSpec, card
from wearvision.measure.plane import N, Plane

Array = NDArray[np.float64]
FINE = 8
SHIFT = 4
STANDARD = card(0)


@dataclass(frozen=True, kw_only=True)
class Look:
    """How a board is seen; the camera looks at the board's middle unless shifted."""

    size_px: tuple[int, int] = (1200, 900)
    square_px: float = 60.0
    tilt_deg: float = 12.0
    tilt_axis_deg: float = 30.0
    roll_deg: float = 20.0
    focal: float = 0.8
    """Of the long side."""
    k1: float = 0.0
    shift_px: tuple[float, float] = (0.0, 0.0)
    """Of the board's middle from the photo's."""


def plane_of(spec: BoardSpec, look: Look) -> Plane:
    """The printed side as a plane: drawn mm to pixels."""
    width, height = look.size_px
    axis = np.radians(look.tilt_axis_deg)
    tilt = np.radians(look.tilt_deg) * np.array([np.cos(axis), np.sin(axis), 0.0])
    roll = np.array([0.0, 0.0, np.radians(look.roll_deg)])
    turn = cv2.Rodrigues(tilt)[0] @ cv2.Rodrigues(roll)[0]
    focal = look.focal * max(look.size_px)
    distance = focal * spec.square_mm / look.square_px
    middle = np.array([*spec.size_mm, 0.0]) / 2
    at = distance * np.array([look.shift_px[0] / focal, look.shift_px[1] / focal, 1.0])
    theta = np.zeros(N)
    theta[:3] = cv2.Rodrigues(turn)[0].ravel()
    theta[3:6] = at - turn @ middle
    theta[6:10] = np.log(focal), look.k1, (width - 1) / 2, (height - 1) / 2
    return Plane(theta=theta, sources={}, size_px=look.size_px, source="drawn")


def draw(
    spec: BoardSpec, look: Look, *, blur_px: float = 0.8, noise: float = 2.0, black: int = 40, white: int = 200,
    ground: int = 110, seed: int = 1, fine: int = FINE,
) -> NDArray[np.uint8]:  # fmt: skip
    """An 8-bit photo of the board on plain ground."""
    plane = plane_of(spec, look)
    width, height = look.size_px
    canvas = np.full((height * fine, width * fine), ground, dtype=np.uint8)
    for quad, bright in _quads(spec):
        px = (plane.to_px(_dense(quad)) + 0.5) * fine - 0.5
        fixed = np.rint(px * 2**SHIFT).astype(np.int32).reshape(-1, 1, 2)
        cv2.fillPoly(canvas, [fixed], white if bright else black, lineType=cv2.LINE_8, shift=SHIFT)
    image = cv2.resize(canvas, (width, height), interpolation=cv2.INTER_AREA).astype(np.float32)
    image = cv2.GaussianBlur(image, (0, 0), blur_px) if blur_px > 0 else image
    image = image + np.random.default_rng(seed).normal(0.0, noise, image.shape)
    return np.asarray(np.clip(np.rint(image), 0, 255), dtype=np.uint8)


def _quads(spec: BoardSpec) -> list[tuple[Array, bool]]:
    """Everything printed, in the order of printing: paper, black squares, markers, their white cells."""
    unit = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
    out = [(spec.outline_mm(), True)]
    y, x = np.nonzero(np.add.outer(np.arange(spec.squares_y), np.arange(spec.squares_x)) % 2 == 0)
    out += [((np.array([a, b]) + unit) * spec.square_mm, False) for a, b in zip(x, y, strict=True)]
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, spec.dictionary))
    cell = spec.marker_mm / (dictionary.markerSize + 2)
    for k, quad in enumerate(spec.marker_corners_mm()):
        out.append((quad, False))
        side = dictionary.markerSize + 2
        bits = cv2.aruco.generateImageMarker(dictionary, spec.first_id + k, side)
        out += [(quad[0] + (np.array([b, a]) + unit) * cell, True) for a, b in np.argwhere(bits > 0)]
    return out


def _dense(quad: Array) -> Array:
    """The outline with six points a side, so that a lens can bend it."""
    t = np.linspace(0, 1, 6, endpoint=False)[:, None]
    return np.vstack([a + t * (b - a) for a, b in zip(quad, np.roll(quad, -1, axis=0), strict=True)])
