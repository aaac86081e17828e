"""Whether a card carries its printed label beside the squares, and what it hides then."""

from __future__ import annotations

import numpy as np

from wearvision.measure.plane import Array, Plane
from wearvision.measure.unwrap import Image

SQUARES = np.array([8.0, 6.0])
"""Size of a card's outline in squares: 7 x 5 and half a square of margin all round."""
QR_FROM, QR_SIDE, CUT = (7 + 1 / 3, 0.0), 1.6, 9.4
"""Where the QR square lies and where the sheet ends, in squares from the first one's corner."""
MODULES = 25
DARK = (0.3, 0.7)
"""Share of dark modules; a QR square is masked to about a half (ISO/IEC 18004)."""
LEAST_CHANGES = 6.0
"""Changes between dark and bright along a row of 25 modules: 12 where they are drawn by lot."""
LEAST_STEP = 30.0


def with_label(gray: Image, plane: Plane, card_px: Array) -> Array:
    """Outline (4, 2) of a card's paper, its label included where there is one; photo px.

    Parameters
    ----------
    card_px : (4, 2) outline of the squares and their margin: top left, top right, bottom right, bottom left;
        an outline of another number of points is given back as it is
    """
    if len(card_px) != 4:
        return card_px
    corners = plane.to_mm(card_px)
    across, down = (corners[1] - corners[0]) / SQUARES[0], (corners[3] - corners[0]) / SQUARES[1]
    if not 0.8 < np.hypot(*across) / np.hypot(*down) < 1.25:
        return card_px
    origin = corners[0] + (across + down) / 2
    at = (np.arange(MODULES) + 0.5) / MODULES * QR_SIDE
    x, y = np.meshgrid(QR_FROM[0] + at, QR_FROM[1] + at)
    px = np.round(plane.to_px(origin + x.reshape(-1, 1) * across + y.reshape(-1, 1) * down)).astype(int)
    height, width = gray.shape
    if (px < 1).any() or (px[:, 0] > width - 2).any() or (px[:, 1] > height - 2).any():
        return card_px
    tones = gray[px[:, 1], px[:, 0]].reshape(MODULES, MODULES).astype(np.float64)
    low, high = np.percentile(tones, [10, 90])
    dark = tones < (low + high) / 2
    changes = float(np.mean(np.abs(np.diff(dark.astype(int), axis=1)).sum(axis=1)))
    if high - low < LEAST_STEP or not DARK[0] < dark.mean() < DARK[1] or changes < LEAST_CHANGES:
        return card_px
    far = [corners[0], origin + CUT * across - down / 2, origin + CUT * across + 5.5 * down, corners[3]]
    return plane.to_px(np.array(far))
