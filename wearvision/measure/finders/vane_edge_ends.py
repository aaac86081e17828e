"""Whether the flanks of a fitted vane end where its top and the bar's edge lie.

Where rust crosses a vane, or the bar's surface shows behind its edge, a line further in may look like top or edge: then
the flanks run on beyond it. By the logarithm of tone, as rust is as dark on a light flank as on a dark one.
"""

from __future__ import annotations

import cv2
import numpy as np

from wearvision.measure.edges import log_gray
from wearvision.measure.finders.vane_edge_lines import Section
from wearvision.measure.plane import Array

BEYOND_MM = 0.4, 2.0
"""Where the flank's line is looked at beyond an end."""
BETWEEN = 0.25, 0.75
"""And between both, of the way from the bar's edge to the top."""
ASIDE_MM, WIDE_MM, STEP_MM = 0.25, 0.1, 0.05
"""How far beside its line the flank may lie, half of what its change of tone is taken over, and steps."""
PLACES = 30
"""Places along each stretch."""


def runs_on(section: Section, shape: Array, hidden: str | None) -> float:
    """Change of tone across the flanks' lines beyond the top or the bar's edge, whichever is more, over that between.

    At each end the flank counts at which there is less: the other one may have something behind it.

    Parameters
    ----------
    shape : see `Stub`
    hidden : the side whose flank is not seen, if any
    """
    ends: list[tuple[float, float]] = []
    for side, k in (("left", 0), ("right", 2)):
        if side != hidden:
            at, lean = float(shape[k]), float(shape[k + 1])
            middle = float(shape[0] + shape[2]) / 2
            top = (shape[4] + shape[5] * (at - middle)) / (1 - lean * shape[5])
            base = (shape[8] + shape[9] * at) / (1 - lean * shape[9])
            between = _change(section, at, lean, base + BETWEEN[0] * (top - base), base + BETWEEN[1] * (top - base))
            above = _change(section, at, lean, top + BEYOND_MM[0], top + BEYOND_MM[1])
            below = _change(section, at, lean, base - BEYOND_MM[1], base - BEYOND_MM[0])
            ends.append((above / max(between, 1e-6), below / max(between, 1e-6)))
    return float(np.array(ends).min(axis=0).max())


def _change(section: Section, at: float, lean: float, low: float, high: float) -> float:
    """Greatest change of the mean log tone across the line `at + lean * up` from one height to another."""
    up, off = np.linspace(low, high, PLACES), np.arange(-ASIDE_MM - WIDE_MM, ASIDE_MM + WIDE_MM + STEP_MM / 2, STEP_MM)
    step = section.patch.step_mm
    column = ((at + lean * up + off[:, None] - section.u[0]) / step).astype(np.float32)
    row = np.broadcast_to((section.v[0] - up) / step, column.shape).astype(np.float32)
    values = cv2.remap(section.patch.values, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    tone = log_gray(np.asarray(values, dtype=np.float32)).mean(axis=1)
    apart = round(2 * WIDE_MM / STEP_MM)
    return float(np.abs(tone[apart:] - tone[:-apart]).max())
