"""The shadow of a step, told from a narrow groove.

A face turned in two cuts has a step between them, tenths of a millimetre high. Its shadow looks like a narrow groove:
dark, concentric, sharp on one side. But it is as wide as the step is turned from the lamp, so it thins out towards both
its ends, with the cosine of the angle. A groove is cut into the face: it stops.
"""

from __future__ import annotations

import numpy as np

from wearvision.measure.edges import Grid
from wearvision.measure.lips import Track
from wearvision.measure.tone import tones
from wearvision.measure.unwrap import Strip

LINE_MM = 1.0
"""Narrower marks may be a step's shadow; a wider one shows two lips apart."""
END = 3
"""Sectors that make an end."""
THIN = 0.55
"""What the ends take from the light, against the usual of the mark: near 0.3 for a shadow that goes with the cosine,
near 1 for a groove."""


def is_shadow(track: Track, strip: Strip, gray: Grid) -> bool:
    """Whether a mark is narrow and thins out like the shadow of a step.

    Parameters
    ----------
    gray : (T, R) log grey of the strip
    """
    if track.full or track.width_mm >= LINE_MM:
        return False
    taken = np.abs(tones(track, strip, gray, LINE_MM / 2)).mean(axis=1)
    end = max(1, min(END, len(taken) // 4))
    return bool((taken[:end].mean() + taken[-end:].mean()) / 2 < THIN * np.median(taken))
