"""Two lines with the same ends are the walls of one flat groove.

The floor of a flat, shallow groove looks like the face, and its walls like two lines, often one dark and one bright,
too far apart for the search to take them for one mark. But lines that begin and end together were cut together.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from wearvision.measure.lips import Track
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.unwrap import Strip

LINE_MM, SLIM = 0.5, 0.2
"""A wall is a line no wider than this, and than this share of the groove."""
ENDS_DEG = 12.0
"""Ends so near are the same: the last of a wall fades with the light."""


def walls(tracks: list[Track], max_width_mm: float) -> list[tuple[Track, Track]]:
    """Pairs of tracks, the inner first, that may be the two walls of one groove; each track in one pair at most."""
    out: list[tuple[Track, Track]] = []
    for pair in combinations(sorted(tracks, key=lambda t: float(np.median(t.inner_mm))), 2):
        if _alike(*pair, max_width_mm) and not any(t is other for t in pair for taken in out for other in taken):
            out.append(pair)
    return out


def _alike(low: Track, high: Track, max_width_mm: float) -> bool:
    whole = float(np.median(high.outer_mm) - np.median(low.inner_mm))
    thick = max(float(np.median(t.outer_mm - t.inner_mm)) for t in (low, high))
    if low.full or high.full or whole > max_width_mm or thick > min(LINE_MM, SLIM * whole):
        return False
    apart = np.array([low.deg[end] - high.deg[end] for end in (0, -1)])
    return bool(np.all(np.abs((apart + 180) % 360 - 180) <= ENDS_DEG))


def between(low: Track, high: Track, strip: Strip) -> Ribbon:
    """The mark from the inner lip of one wall to the outer lip of the other."""
    lap = round(360 / strip.step_deg)
    first = [round((t.deg[0] - strip.first_deg) / strip.step_deg) for t in (low, high)]
    first[1] += lap * round((first[0] - first[1]) / lap)
    run = [start + np.arange(len(t.deg)) for start, t in zip(first, (low, high), strict=True)]
    rows = np.arange(min(r[0] for r in run), max(r[-1] for r in run) + 1)

    def columns(at: Array, lip_mm: Array) -> Array:
        return (np.interp(rows, at, lip_mm) - strip.start_mm) / strip.step_mm

    doubt = np.hypot(low.doubt_mm, high.doubt_mm)
    return Ribbon(
        rows=rows, inner=columns(run[0], low.inner_mm), outer=columns(run[1], high.outer_mm), full=False,
        score=low.score + high.score, doubt_mm=(float(doubt[0]), float(doubt[1])),
    )  # fmt: skip
