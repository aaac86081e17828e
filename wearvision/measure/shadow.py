"""A step and its shadow, told from a narrow groove.

A face turned in two cuts has a step between them, tenths of a millimetre high. Its shadow looks like a narrow groove:
dark, concentric, sharp on one side. But it is as wide as the step is turned from the lamp, so it thins out towards both
its ends, with the cosine of the angle. A groove is cut into the face: it stops. And a step has one wall: on the side of
the lamp this is bright, and nothing is dark beside it, while of a groove's two walls the other then is dark.
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
THIN = 0.75
"""What the ends take from the light, against the usual of the mark: near 0.3 for a shadow that goes with the cosine,
near 1 for a groove."""
WALL_MM, REACH, LEAST_REACH_MM = 1.25, 0.7, 0.5
"""Wider marks are not taken for a step; how far to either side of its middle one is looked at, in its width, and at
least."""
SAMPLES, WEAK, TOP = 3, 0.3, 0.9
"""Samples across that make a line; and of which share of the strongest, that quantile of all, a sector counts."""
BRIGHT, TURNS, LEAST_SECTORS = 0.12, -0.45, 24
"""Of a step at least this share of the sectors is more bright than dark, and the correlation of how bright and how dark
they are is no more than this; and how many sectors tell, nearly a half turn."""


def is_shadow(track: Track, strip: Strip, gray: Grid) -> bool:
    """Whether a mark is narrow and thins out like the shadow of a step.

    Parameters
    ----------
    gray : (T, R) log grey of the strip
    """
    if track.width_mm >= LINE_MM or not SHADOW_DEG[0] <= track.deg[-1] - track.deg[0] <= SHADOW_DEG[1]:
        return False
    taken = np.abs(tones(track, strip, gray, LINE_MM / 2)).mean(axis=1)
    end = max(1, min(END, len(taken) // 4))
    return bool((taken[:end].mean() + taken[-end:].mean()) / 2 < THIN * np.median(taken))


def is_step(track: Track, strip: Strip, gray: Grid) -> bool:
    """Whether a mark is narrow, and bright where it is not dark, like the one wall of a step.

    Parameters
    ----------
    gray : (T, R) log grey of the strip
    """
    if track.width_mm >= WALL_MM:
        return False
    across = tones(track, strip, gray, max(LEAST_REACH_MM, REACH * track.width_mm))
    lines = np.array([np.convolve(one, np.full(SAMPLES, 1 / SAMPLES), mode="valid") for one in across])
    bright, dark = np.maximum(lines.max(axis=1), 0.0), np.maximum(-lines.min(axis=1), 0.0)
    strong = np.maximum(bright, dark)
    told = strong > WEAK * np.quantile(strong, TOP)
    bright, dark = bright[told], dark[told]
    if len(bright) < LEAST_SECTORS or np.mean(bright > dark) < BRIGHT:
        return False
    return bool(np.corrcoef(bright, dark)[0, 1] <= TURNS)
