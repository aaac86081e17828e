"""The shadow of a step, told from a narrow groove.

A face turned in two cuts has a step between them, tenths of a millimetre high. Its shadow looks like a narrow groove:
dark, concentric, sharp on one side. But it is as wide as the step is turned from the lamp, so it thins out towards both
its ends, with the cosine of the angle. A groove is cut into the face: it stops.
"""

from __future__ import annotations

import numpy as np

from wearvision.measure.edges import Grid
from wearvision.measure.lips import Track, profiles, running_median
from wearvision.measure.unwrap import Strip

LINE_MM = 0.95
"""Narrower marks may be a step's shadow; a wider one shows two lips apart."""
SECTOR, END = 10, 3
"""Rows over which a mark is summed up at a time; sectors that make an end."""
CALM_ROWS = 31
"""The middle of the mark is calmed over so many rows."""
THIN = 0.55
"""What the ends take from the light, against the usual of the mark: near 0.3 for a shadow that goes with the cosine,
near 1 for a groove."""


def is_shadow(track: Track, strip: Strip, gray: Grid) -> bool:
    """Whether a mark is narrow and thins out like the shadow of a step.

    Parameters
    ----------
    gray : (T, R) log grey of the strip
    """
    if track.full or float(np.median(track.outer_mm - track.inner_mm)) >= LINE_MM:
        return False
    rows = round((track.deg[0] - strip.first_deg) / strip.step_deg) + np.arange(len(track.deg))
    middle = (running_median((track.inner_mm + track.outer_mm) / 2, CALM_ROWS) - strip.start_mm) / strip.step_mm
    reach = LINE_MM / 2 / strip.step_mm
    across, beside = profiles(strip, gray, rows, middle - reach, middle + reach)
    off = across - np.median(beside, axis=1, keepdims=True)
    parts = np.array_split(off, max(1, len(off) // SECTOR))
    taken = np.array([np.abs(part.mean(axis=0)).mean() for part in parts])
    end = max(1, min(END, len(taken) // 4))
    return bool((taken[:end].mean() + taken[-end:].mean()) / 2 < THIN * np.median(taken))
