"""Two marks side by side are often the walls of one groove.

The floor of a flat, shallow groove looks like the face, and its walls like two lines, often one dark and one bright,
too far apart for the search to take them for one mark. But lines that begin and end together were cut together, and
wider marks too where one is as bright as the other is dark: walls of one groove are equally high and face each other.
So were two that both go nearly all the way round and are lit the opposite way. A wall fades with the angle to the lamp,
so one may end before the other; and of a groove that goes far round, one wall is dark on this side of the lamp and the
other on that: one goes on where the other ends. And where no face is left between two marks, neither of which shows
both its lips, what they share is no lip.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.edges import Grid, median
from wearvision.measure.evidence import ROWS
from wearvision.measure.lips import Track
from wearvision.measure.plane import Array
from wearvision.measure.ribbon import FULL_GAP, Ribbon
from wearvision.measure.tone import tones
from wearvision.measure.unwrap import Strip

LINE_MM, SLIM = 0.5, 0.2
"""A wall is a line no wider than this, and than this share of the groove."""
ROUND_DEG, REACH_MM, EQUAL, FACING = 270.0, 0.3, 0.5, -0.3
"""Over how much of the circle two walls that face each other are side by side; how far to either side of its middle a
wall's tone is taken; least share of the stronger wall's that the other has; and most correlation of both round the
circle: lines that a tool leaves are lit alike."""
OPPOSED = -0.7
"""Most cosine between the tones of two walls of one groove over a shorter arc: one is bright, the other dark."""
ENDS_DEG = 12.0
"""Ends so near are the same: the last of a wall fades with the light."""
EXACT_DEG, THIRD = 4.0, 1 / 3
"""Two marks that are no lines, but take no more than this share of the groove's width, are walls when both ends are so
near: by chance that is one pair in two thousand."""
BOTH_LIPS = 0.5
"""What is wider than a line and shows both its lips over this share of its length is no wall that fades."""
UNLIKE = 3.0
"""Walls that fade or take turns are not so many times as wide as each other."""
HALF, FADED, INSIDE = 0.55, 0.2, 0.85
"""A wall that fades takes at most this share of the groove's width, shows over at least this share of the other's arc,
and with this share of its own beside the other."""
OWN_DENSE, OWN_CLEAR = 5.0, 0.7
"""A mark wider than a line, with this score per row of the search and both lips seen over this share of its length, is
a groove in its own right."""
WALL_DARK, APART, COMMON, GAP_DEG, SAME_GAP_DEG, TURN_DEG = -0.05, 0.6, 0.35, 45.0, 90.0, 25.0
"""Walls that take turns: both dark (log grey), no further apart than this share of the groove's width, side by side
over no more than this share of the shorter arc, with no longer gap from where one ends to where the other begins, or
than the second if they lie at the same radii; where neither gap is longer than the last, they share the whole circle,
and are walls even if each looks like a groove."""
ROUND_MM, ROUND_SLIM, ROUND_DARK, ALL_ROUND_DEG, ASIDE_DEG = 0.7, 0.25, -0.1, 300.0, 120.0
"""Walls of a groove that goes all the way round: no wider than this, and than this share of the groove, so dark, over
so much of the circle together, and where one is darkest so far round from where the other is."""
NESTED = 0.7
"""Of two marks that have this share of the wider one's width in common, one is no neighbour of the other, but the same
mark."""
TOUCH_MM, LAP, BESIDE = 0.25, 0.5, 0.5
"""Two marks with no more than this between the outer lip of one and the inner lip of the other, and no more than this
share of the narrower one in common, over at least this share of the shorter one's arc, have no face between them."""
NO_WALLS = 3


def walls(tracks: list[Track], most_mm: float, strip: Strip, gray: Grid) -> list[tuple[Track, Track]]:
    """Pairs of tracks, the inner first, that may be the two walls of one groove, the clearest first; each track in one
    pair at most.

    Parameters
    ----------
    most_mm : a groove is narrower than this
    gray : (T, R) log grey of the strip
    """
    pairs = combinations(sorted(tracks, key=lambda t: t.lips_mm[0]), 2)
    told = [(_doubt(*pair, strip, gray), pair) for pair in pairs if _whole_mm(*pair) < most_mm]
    out: list[tuple[Track, Track]] = []
    for _, pair in sorted((one for one in told if one[0] < NO_WALLS), key=lambda one: one[0]):
        if not any(t is other for t in pair for one in out for other in one):
            out.append(pair)
    return out


def _whole_mm(low: Track, high: Track) -> float:
    """Width of the groove whose walls two tracks are."""
    return max(t.lips_mm[1] for t in (low, high)) - low.lips_mm[0]


def _doubt(low: Track, high: Track, strip: Strip, gray: Grid) -> int:
    """How little two tracks speak for being walls of one groove: 0, the clearest way, to `NO_WALLS`."""
    whole, thick = _whole_mm(low, high), max(low.width_mm, high.width_mm)
    if thick <= min(LINE_MM, SLIM * whole) and (_same_ends(low, high) or _facing(low, high, strip, gray)):
        return 0
    if thick <= HALF * whole and _same_ends(low, high) and _opposed(low, high, strip, gray):
        return 0
    if thick <= min(ROUND_MM, ROUND_SLIM * whole) and _go_round(low, high, strip, gray):
        return 0
    if _touch(low, high):
        return 1
    if low.full or high.full:
        return NO_WALLS
    if thick <= THIRD * whole and not any(low.cut + high.cut) and _ends_apart(low, high).max() <= EXACT_DEG:
        return 0
    if thick > UNLIKE * min(low.width_mm, high.width_mm):
        return NO_WALLS
    if thick <= HALF * whole and _fades(low, high):
        return 1
    return 2 if _take_turns(low, high, whole) else NO_WALLS


def _ends_apart(low: Track, high: Track) -> Array:
    """How far the first angles, and the last, of two tracks lie apart, degrees."""
    apart = np.array([low.deg[end] - high.deg[end] for end in (0, -1)])
    return np.asarray(np.abs((apart + 180) % 360 - 180))


def _same_ends(low: Track, high: Track) -> bool:
    """Whether both begin and end together, as far as the view shows it."""
    hidden = np.array(low.cut) & np.array(high.cut)
    same = hidden | (_ends_apart(low, high) <= ENDS_DEG)
    return not (low.full or high.full or hidden.all()) and bool(same.all())


def _round(track: Track, values: Array) -> Array:
    """Values of a track's rows at every whole degree of the circle, (360,); nan where it does not go."""
    out = np.full(360, np.nan)
    out[np.round(track.deg).astype(int) % 360] = values
    return out


def _covered(track: Track) -> NDArray[np.bool_]:
    """Which whole degrees of the circle a track covers, (360,)."""
    return np.isfinite(_round(track, track.deg))


def _own(track: Track) -> bool:
    """Whether a track is a groove in its own right."""
    return track.width_mm >= LINE_MM and track.dense >= OWN_DENSE and track.clear >= OWN_CLEAR


def _touch(low: Track, high: Track) -> bool:
    """Whether there is no face between two marks, neither of which is a groove in its own right: what they share is no
    lip of either."""
    if _own(low) or _own(high):
        return False
    room = _round(high, high.inner_mm) - _round(low, low.outer_mm)
    room = room[np.isfinite(room)]
    if len(room) < BESIDE * min(_covered(low).sum(), _covered(high).sum()):
        return False
    return -LAP * min(low.width_mm, high.width_mm) <= median(room) <= TOUCH_MM


def _fades(low: Track, high: Track) -> bool:
    """Whether one shares an end with the other and lies beside it: a wall that fades with the light."""
    if any(t.width_mm >= LINE_MM and t.clear >= BOTH_LIPS for t in (low, high)):
        return False
    if _ends_apart(low, high).min() > ENDS_DEG:
        return False
    short, long = sorted((low, high), key=lambda t: len(t.deg))
    beside = (_covered(short) & _covered(long)).sum() >= INSIDE * _covered(short).sum()
    return bool(beside and len(short.deg) >= FADED * len(long.deg))


def _go_round(low: Track, high: Track, strip: Strip, gray: Grid) -> bool:
    """Whether both are dark, together nearly all the way round, and each on another side: a lamp from one side darkens
    the one wall there and the other here, while of the shadows of two steps it throws both to one side."""
    if max(low.dark, high.dark) > ROUND_DARK or (_covered(low) | _covered(high)).sum() < ALL_ROUND_DEG:
        return False
    way, other = (_dark_way(t, strip, gray) for t in (low, high))
    return bool(np.cos(way - other) <= np.cos(np.radians(ASIDE_DEG)))


def _dark_way(track: Track, strip: Strip, gray: Grid) -> float:
    """The angle about which a track is dark, radians."""
    dark = np.fmax(-_lit(track, strip, gray), 0.0)
    at = np.radians(np.arange(360.0))
    return float(np.arctan2(dark @ np.sin(at), dark @ np.cos(at)))


def _take_turns(low: Track, high: Track, whole_mm: float) -> bool:
    """Whether one goes on where the other ends: the dark wall changes sides with the angle to the lamp."""
    over = min(low.lips_mm[1], high.lips_mm[1]) - high.lips_mm[0]
    nested = over >= NESTED * max(low.width_mm, high.width_mm)
    gaps = [abs((a.deg[-1] - b.deg[0] + 180) % 360 - 180) for a, b in ((low, high), (high, low))]
    if not nested and max(gaps) > TURN_DEG and (_own(low) or _own(high)):
        return False
    if -over > APART * whole_mm or max(low.dark, high.dark) > WALL_DARK:
        return False
    one, other = _covered(low), _covered(high)
    near = SAME_GAP_DEG if nested else GAP_DEG
    return bool((one & other).sum() <= COMMON * min(one.sum(), other.sum()) and min(gaps) <= near)


def _facing(low: Track, high: Track, strip: Strip, gray: Grid) -> bool:
    """Whether both go nearly all the way round, equally strong and lit the opposite way."""
    one, other = _beside(low, high, strip, gray)
    return len(one) >= ROUND_DEG and _equal(one, other) and bool(np.corrcoef(one, other)[0, 1] <= FACING)


def _opposed(low: Track, high: Track, strip: Strip, gray: Grid) -> bool:
    """Whether both are equally strong, and wherever they lie side by side one is bright and the other dark."""
    one, other = _beside(low, high, strip, gray)
    most = OPPOSED * float(np.sqrt((one @ one) * (other @ other)))
    return len(one) > 0 and _equal(one, other) and bool(one @ other <= most)


def _beside(low: Track, high: Track, strip: Strip, gray: Grid) -> tuple[Array, Array]:
    """Tones of both at every whole degree where they lie side by side."""
    one, other = (_lit(t, strip, gray) for t in (low, high))
    both = np.isfinite(one) & np.isfinite(other)
    return one[both], other[both]


def _equal(one: Array, other: Array) -> bool:
    """Whether the tones of both are about as strong."""
    weak, strong = sorted(float(np.sqrt((tone**2).mean())) for tone in (one, other))
    return weak >= EQUAL * strong


def _lit(track: Track, strip: Strip, gray: Grid) -> Array:
    """Tone of a line at every whole degree of the circle, (360,); nan where it does not go."""
    tone = tones(track, strip, gray, REACH_MM).mean(axis=1)
    return _round(track, tone[np.arange(len(track.deg)) * len(tone) // len(track.deg)])


def between(low: Track, high: Track, strip: Strip) -> Ribbon:
    """The mark from the inner lip of one wall to the outer lip of the other, over the arcs of both."""
    lap = round(360 / strip.step_deg)
    run = [round((t.deg[0] - strip.first_deg) / strip.step_deg) % lap + np.arange(len(t.deg)) for t in (low, high)]
    ways = (run[1] + lap * k for k in ((-1, 0, 1) if strip.closed else (0,)))
    rows = min((np.arange(min(run[0][0], r[0]), max(run[0][-1], r[-1]) + 1) for r in ways), key=len)
    full = strip.closed and len(rows) >= lap - FULL_GAP * ROWS
    if full:
        rows = rows[0] + np.arange(lap)
    wider = high if high.lips_mm[1] >= low.lips_mm[1] else low

    def columns(at: NDArray[np.int64], lip_mm: Array) -> Array:
        return (np.interp(rows, at, lip_mm, period=lap) - strip.start_mm) / strip.step_mm

    doubt = np.hypot(low.doubt_mm, high.doubt_mm)
    return Ribbon(
        rows=rows, inner=columns(run[0], low.inner_mm), outer=columns(run[wider is high], wider.outer_mm),
        full=bool(full), score=low.score + high.score, doubt_mm=(float(doubt[0]), float(doubt[1])),
    )  # fmt: skip
