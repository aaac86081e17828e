"""A step's shadow, told from a narrow groove.

A face turned in two cuts has a step between them, tenths of a millimetre high. Its shadow looks like a narrow groove:
dark, concentric, sharp on one side. But it is as wide as the step is turned from the lamp, so it thins out towards both
its ends, with the cosine of the angle. A groove is cut into the face: at one end at least it stops.
"""

from __future__ import annotations

import numpy as np

from wearvision.measure.edges import Grid
from wearvision.measure.lips import Track
from wearvision.measure.tone import tones
from wearvision.measure.unwrap import Strip

LINE_MM = 1.0
"""Narrower marks may be a step's shadow; a wider one shows two lips apart."""
SHADOW_DEG = (90.0, 300.0)
"""A lamp shadows half of a step, of which the ends are too thin to be seen, a wide one or two of them more, but not
nearly all."""
END = 3
"""Sectors that make an end."""
THIN, EITHER = 0.75, 0.9
"""What both ends take from the light, and each of them, against the usual of the mark: near 0.3 for a shadow that goes
with the cosine, near 1 for a groove."""


def is_shadow(track: Track, strip: Strip, gray: Grid) -> bool:
    """Whether a mark is narrow, and thins out at both ends like the shadow of a step.

    Parameters
    ----------
    gray : (T, R) log grey of the strip
    """
    if track.width_mm >= LINE_MM or not SHADOW_DEG[0] <= track.deg[-1] - track.deg[0] <= SHADOW_DEG[1]:
        return False
    taken = np.abs(tones(track, strip, gray, LINE_MM / 2)).mean(axis=1)
    end = max(1, min(END, len(taken) // 4))
    ends = np.array([taken[:end].mean(), taken[-end:].mean()]) / np.median(taken)
    return bool(ends.mean() < THIN and ends.max() < EITHER)
