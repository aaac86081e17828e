"""Two lines with the same ends are the walls of one flat groove.

The floor of a flat, shallow groove looks like the face, and its walls like two lines, often one dark and one bright,
too far apart for the search to take them for one mark. But lines that begin and end together were cut together. So were
two that both go all the way round, equally strong, one bright where the other is dark: walls of one groove are equally
high and face each other.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from wearvision.measure.edges import Grid
from wearvision.measure.lips import Track
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import Ribbon
from wearvision.measure.tone import tones
from wearvision.measure.unwrap import Strip

LINE_MM, SLIM = 0.5, 0.2
"""A wall is a line no wider than this, and than this share of the groove."""
REACH_MM, EQUAL, FACING = 0.3, 0.65, -0.3
"""How far to either side of its middle a wall's tone is taken; least share of the stronger wall's that the other has;
and most correlation of both round the circle: lines that a tool leaves are lit alike."""
ENDS_DEG = 12.0
"""Ends so near are the same: the last of a wall fades with the light."""


def walls(tracks: list[Track], max_width_mm: float, strip: Strip, gray: Grid) -> list[tuple[Track, Track]]:
    """Pairs of tracks, the inner first, that may be the two walls of one groove; each track in one pair at most.

    Parameters
    ----------
    gray : (T, R) log grey of the strip
    """
    out: list[tuple[Track, Track]] = []
    for pair in combinations(sorted(tracks, key=lambda t: float(np.median(t.inner_mm))), 2):
        taken = any(t is other for t in pair for one in out for other in one)
        if not taken and _near(*pair, max_width_mm) and (_same_ends(*pair) or _facing(*pair, strip, gray)):
            out.append(pair)
    return out


def _near(low: Track, high: Track, max_width_mm: float) -> bool:
    """Whether two tracks are lines, and no further apart than a groove is wide."""
    whole = float(np.median(high.outer_mm) - np.median(low.inner_mm))
    thick = max(float(np.median(t.outer_mm - t.inner_mm)) for t in (low, high))
    return whole <= max_width_mm and thick <= min(LINE_MM, SLIM * whole)


def _same_ends(low: Track, high: Track) -> bool:
    if low.full or high.full:
        return False
    apart = np.array([low.deg[end] - high.deg[end] for end in (0, -1)])
    return bool(np.all(np.abs((apart + 180) % 360 - 180) <= ENDS_DEG))


def _facing(low: Track, high: Track, strip: Strip, gray: Grid) -> bool:
    """Whether both go all the way round, equally strong and lit the opposite way."""
    if not (low.full and high.full):
        return False
    one, other = (tones(t, strip, gray, REACH_MM).mean(axis=1) for t in (low, high))
    strong = [float(np.sqrt((tone**2).mean())) for tone in (one, other)]
    places = [t.deg[0] + np.linspace(0, 360, len(tone), endpoint=False) for t, tone in ((low, one), (high, other))]
    alike = np.corrcoef(one, np.interp(places[0], places[1], other, period=360))[0, 1]
    return bool(min(strong) >= EQUAL * max(strong) and alike <= FACING)


def between(low: Track, high: Track, strip: Strip) -> Ribbon:
    """The mark from the inner lip of one wall to the outer lip of the other."""
    lap = round(360 / strip.step_deg)
    first = [round((t.deg[0] - strip.first_deg) / strip.step_deg) for t in (low, high)]
    first[1] += lap * round((first[0] - first[1]) / lap)
    run = [start + np.arange(len(t.deg)) for start, t in zip(first, (low, high), strict=True)]
    rows = run[0] if low.full else np.arange(min(r[0] for r in run), max(r[-1] for r in run) + 1)

    def columns(at: Array, lip_mm: Array) -> Array:
        return (np.interp(rows, at, lip_mm, period=lap) - strip.start_mm) / strip.step_mm

    doubt = np.hypot(low.doubt_mm, high.doubt_mm)
    return Ribbon(
        rows=rows, inner=columns(run[0], low.inner_mm), outer=columns(run[1], high.outer_mm), full=low.full,
        score=low.score + high.score, doubt_mm=(float(doubt[0]), float(doubt[1])),
    )  # fmt: skip
