"""How wide a dark slit is by the light it takes."""

from __future__ import annotations

import numpy as np

from wearvision.measure.edges import median
from wearvision.measure.plane import Array

DOUBT, DOUBT_PX = 0.15, 0.25
"""Standard uncertainty of a width: as a share of it, as what lies beside it is uneven, and in photo pixels."""
LEAST_PEAK = 0.1


def slit_width(taken: Array, column_mm: Array | float, px_mm: float) -> tuple[float, float]:
    """Width and its standard uncertainty, mm, of the share of light (N, M) that is missing across a slit.

    What is missing tells the width of a black slit, which is the least; one as pale as its blurred middle would be the
    widest. Between these nothing is known (a rectangular distribution, GUM 4.3.7).
    """
    taken = np.clip(taken, 0, 1)
    least = median(taken.sum(axis=1) * column_mm)
    most = least / max(LEAST_PEAK, median(taken.max(axis=1)))
    width = (least + most) / 2
    return width, float(np.linalg.norm([(most - least) / 12**0.5, DOUBT * width, DOUBT_PX * px_mm]))
