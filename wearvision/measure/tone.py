"""How the tone of a line along a ring differs from the face beside it, sector by sector."""

from __future__ import annotations

import numpy as np

from wearvision.measure.across import medians, profiles
from wearvision.measure.edges import Grid
from wearvision.measure.lips import Track, running_median
from wearvision.measure.plane import Array
from wearvision.measure.unwrap import Strip

SECTOR = 10
"""Rows over which a line is summed up at a time."""
CALM_ROWS = 31
"""The middle of the line is calmed over so many rows."""


def tones(track: Track, strip: Strip, gray: Grid, reach_mm: float) -> Array:
    """Log grey across a line less that of the face beside it, mean of each sector, (S, INSIDE).

    Parameters
    ----------
    gray : (T, R) log grey of the strip
    reach_mm : how far to either side of the line's middle it is looked at
    """
    rows = round((track.deg[0] - strip.first_deg) / strip.step_deg) + np.arange(len(track.deg))
    middle = (running_median((track.inner_mm + track.outer_mm) / 2, CALM_ROWS) - strip.start_mm) / strip.step_mm
    reach = reach_mm / strip.step_mm
    across, beside = profiles(strip, gray, rows, middle - reach, middle + reach)
    off = across - medians(beside)[:, None]
    return np.array([part.mean(axis=0) for part in np.array_split(off, max(1, len(off) // SECTOR))])
