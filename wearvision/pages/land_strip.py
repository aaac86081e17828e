"""A gasket land rolled out: what is left of its width against the angle, as a picture."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from wearvision.pages.overlay_ink import DARK, PAPER, Pixels, font

Points = NDArray[np.float64]
LAND, LEAST, LINE = (0, 114, 178), (213, 94, 0), (170, 174, 178)
"""Blue and vermilion of a palette that colour-blind people tell apart (Okabe and Ito)."""
LEFT, RIGHT, TOP, BOTTOM = 64, 16, 40, 36


def profile(outline_px: Points, plane_to_px: Points) -> tuple[Points, Points]:
    """Angles (N,) in degrees, 0 to 360 rising, and widths (N,) in mm of a land's outline.

    The outline runs along the inner edge and back along the outer one, as many points each. ``plane_to_px`` (3, 3) maps
    mm to px; the lens is left out, a picture does not show it.
    """
    there = np.column_stack([outline_px, np.ones(len(outline_px))]) @ np.linalg.inv(plane_to_px).T
    mm = there[:, :2] / there[:, 2:]
    half = len(mm) // 2
    inner, outer = mm[: half - 1], mm[half:-1][::-1]
    centre = outer.mean(axis=0)
    deg = np.degrees(np.arctan2(*(outer - centre).T[::-1])) % 360
    width = np.hypot(*(outer - centre).T) - np.hypot(*(inner - centre).T)
    order = np.argsort(deg)
    return deg[order], np.maximum(width, 0.0)[order]


def draw_strip(deg: Points, width_mm: Points, *, title: str, size_px: tuple[int, int] = (1200, 320)) -> Pixels:
    """RGB picture (H, W, 3) of the width left, its least value marked; angles run clockwise in the photo."""
    wide, tall = size_px
    canvas = Image.fromarray(np.full((tall, wide, 3), PAPER, dtype=np.uint8))
    pen, letters = ImageDraw.Draw(canvas), font(20)
    most = max(1.0, float(width_mm.max()) * 1.1)
    rise = _round_step(most)
    for value in np.arange(0, most, rise).tolist():
        y = _y(value, most, tall)
        pen.line([(LEFT, y), (wide - RIGHT, y)], fill=LINE)
        pen.text((LEFT - 8, y), f"{value:g}", fill=DARK, font=letters, anchor="rm")
    for angle in range(0, 361, 45):
        x = LEFT + angle / 360 * (wide - LEFT - RIGHT)
        anchor = "ma" if angle < 360 else "ra"
        pen.text((x, tall - BOTTOM + 6), f"{angle}\u00b0", fill=DARK, font=letters, anchor=anchor)
    pen.text((LEFT, 8), title, fill=DARK, font=letters)
    image = np.array(canvas)
    across: Points = LEFT + deg / 360 * (wide - LEFT - RIGHT)
    line = np.column_stack([across, [_y(v, most, tall) for v in width_mm.tolist()]])
    foot = np.array([[across[0], tall - BOTTOM], [across[-1], tall - BOTTOM]])
    area = np.vstack([foot[:1], line, foot[1:]])
    tinted = image.copy()
    cv2.fillPoly(tinted, [np.round(area * 16).astype(np.int32)], LAND, cv2.LINE_AA, 4)
    image = cv2.addWeighted(tinted, 0.35, image, 0.65, 0)
    cv2.polylines(image, [np.round(line * 16).astype(np.int32)], False, LAND, 2, cv2.LINE_AA, 4)
    least = line[int(np.argmin(width_mm))]
    cv2.circle(image, (round(float(least[0]) * 16), round(float(least[1]) * 16)), 7 * 16, LEAST, -1, cv2.LINE_AA, 4)
    return np.asarray(image, dtype=np.uint8)


def _y(value: float, most: float, tall: int) -> float:
    return tall - BOTTOM - value / most * (tall - TOP - BOTTOM)


def _round_step(most: float) -> float:
    """A step of 1, 2 or 5 that divides so much into at most five."""
    ten = 10.0 ** np.floor(np.log10(most / 4))
    return float(next(s * ten for s in (1, 2, 5, 10) if most / (s * ten) <= 5))
