"""Which of the places where a lip may be is the lip: each is followed coarsely, and the evidence compared.

Leads along one and the same edge are no rivals, however far apart their corners are: what counts is where their ways
lie. Of edges across one opening the last one down closes it: others are shadows, or the foot of a wall.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearvision.measure.finders.tongue_band import ROUGH_MM, Sight, band_of
from wearvision.measure.finders.tongue_follow import Followed, follow
from wearvision.measure.finders.tongue_line import NEAR_MM, NEAR_PX, sound_line
from wearvision.measure.finders.tongue_seek import Lead
from wearvision.measure.finders.tongue_signs import MOST_UNLIKE

STRIDE, ROUNDS = 2, 2
"""Samples from place to place of the coarse way, rounds in which sides are learned."""
EVIDENCE, BEATS, BEATS_UNSTATED = 4.5, 0.15, 0.5
"""Least evidence of the best lead (its shape's, and how unlike its sides are); by how much it beats all others where
the length is stated, and where not."""
CORNERED = 2.65
"""Without a stated length edges with both corners as clear as this come first."""
AS_WIDE = 0.75
"""Of these an opening wider than this share of the widest may be the passage too."""
LOWEST_LESS = 1.0
"""An edge further down closes an opening if there is no less evidence for it than this below the best one's."""
TURNED, TURNED_LESS, RIVAL_LESS = 5, 2.0, 1.0
"""Of leads with the passage elsewhere so many are followed; those count that have no less evidence than the second
below the other edge, and are its rivals from the third on."""
BAY_MM, BAY_RUN_MM, WASHED = 0.45, 2.0, 2
"""A lead looks washed whose way lies so far behind its line in the mean over such a run; so many are handed on."""
LEARNED = 1.5
"""A second round makes the sides of a way more unlike by less than this."""
OPENING_MM, LEAN = 3.0, 0.05
"""Leads of one opening end so near to each other, along them, and by this share of what they lie apart more: its sides
may lean."""
LEFT_LESS = 0.2
"""What a mm by which a way leaves its lead speaks against it."""
SAME_MM, SAME_SHARE = 1.0, 0.7
"""Ways run along one edge when they lie so near to each other over such a share of the shorter one."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Tried:
    """A lead, followed coarsely, and the evidence for it."""

    lead: Lead
    way: Followed
    evidence: float

    def rivals(self, other: Tried | None) -> bool:
        """Whether there is not much less evidence for it than for another edge."""
        return other is None or self.evidence > other.evidence - RIVAL_LESS


def pick_lead(sight: Sight, leads: tuple[Lead, ...], length_mm: float | None) -> tuple[Tried | None, bool]:
    """The lead with most evidence for it, and whether another edge has nearly as much."""
    tried = _tried(sight, leads, length_mm)
    likely = [one for one in tried if one.evidence > EVIDENCE]
    if not likely:
        return None, False
    open_at_both = [one for one in likely if one.way.cornered > CORNERED]
    if length_mm is None and open_at_both:
        return _widest(open_at_both)
    best = _lowest(max(likely, key=lambda one: one.evidence), likely)
    beats = BEATS_UNSTATED if length_mm is None else BEATS
    near = [one for one in likely if one.evidence > best.evidence - beats and not _one_opening(one.lead, best.lead)]
    alike = [one for one in near if _one_edge(one.way, best.way)]
    best = max([best, *alike], key=lambda one: -_left_mm(one.way) if length_mm else one.lead.length_mm)
    return best, len(alike) < len(near)


def _tried(sight: Sight, leads: tuple[Lead, ...], length_mm: float | None, least: float = EVIDENCE) -> list[Tried]:
    """Leads that may be the best one, followed; those with less than the least evidence may be left out."""
    beats = BEATS_UNSTATED if length_mm is None else BEATS
    tried: list[Tried] = []
    for lead in sorted(leads, key=lambda one: -one.score):
        if lead.score + MOST_UNLIKE < max([least, *(one.evidence - beats for one in tried)]):
            break
        band = band_of(sight, lead.left_mm, lead.right_mm, ROUGH_MM)
        way = follow(band, length_mm, stride=STRIDE, rounds=ROUNDS, unlike=least - LEARNED - lead.score)
        if way is not None:
            evidence = lead.score + way.unlike - LEFT_LESS * _left_mm(way)
            tried.append(Tried(lead=lead, way=way, evidence=evidence))
    return tried


def pick_washed(sight: Sight, leads: tuple[Lead, ...], length_mm: float | None, beside: Tried | None) -> list[Tried]:
    """Those leads that look washed and have no less evidence for them than one beside them, the likeliest first."""
    least = EVIDENCE if beside is None else max(EVIDENCE, beside.evidence - TURNED_LESS)
    likely = [one for one in _tried(sight, leads[:TURNED], length_mm, least) if one.evidence > least]
    if length_mm is None:
        likely = [one for one in likely if one.way.cornered > CORNERED]
    washed = [one for one in likely if _bay_mm(one.way) > BAY_MM]
    return sorted(washed, key=lambda one: -one.evidence)[:WASHED]


def _bay_mm(way: Followed) -> float:
    """How far a way lies behind its sound line in the deepest mean over a short run."""
    step = way.band.patch.step_mm
    x, y = (places.astype(np.float64) * step for places in (way.column, way.row))
    line = sound_line(x, y, NEAR_MM + NEAR_PX * step)
    if line is None:
        return 0.0
    away = y - line[0] - line[1] * (x - (x[0] + x[-1]) / 2)
    run = max(1, round(BAY_RUN_MM / (step * way.stride)))
    return float(np.convolve(away, np.ones(run) / run, "valid").max()) if len(away) >= run else 0.0


def _widest(likely: list[Tried]) -> tuple[Tried, bool]:
    """Of edges that end at two clear corners that of the widest opening, and whether another opening is nearly as wide:
    the passage is wider than holes beside it, and shadows in it have no corners."""
    long = max(likely, key=lambda one: one.lead.length_mm)
    alike = [one for one in likely if _one_edge(one.way, long.way)]
    best = _lowest(max(alike, key=lambda one: one.evidence + one.way.cornered / 2), likely)
    others = [
        one for one in likely
        if one.lead.length_mm > AS_WIDE * best.lead.length_mm and one.evidence > best.evidence - BEATS_UNSTATED
        and not _one_opening(one.lead, best.lead) and not _one_edge(one.way, best.way)
    ]
    return best, bool(others)


def _lowest(best: Tried, likely: list[Tried]) -> Tried:
    """The last one down of those across the opening of the best one that have not much less for them."""
    across = [one for one in likely if one.evidence > best.evidence - LOWEST_LESS and _one_opening(one.lead, best.lead)]
    return max(across, key=lambda one: _down_mm(one.lead, best.lead))


def _one_opening(one: Lead, other: Lead) -> bool:
    """Whether two leads end at the same sides of an opening: the last one down closes it, others lie within."""
    run = (other.right_mm - other.left_mm) / other.length_mm
    off = [float(abs((end - its) @ run)) for end, its in ((one.left_mm, other.left_mm), (one.right_mm, other.right_mm))]
    return max(off) < OPENING_MM + LEAN * abs(_down_mm(one, other))


def _down_mm(one: Lead, other: Lead) -> float:
    """How far a lead lies from another towards its metal."""
    run = (other.right_mm - other.left_mm) / other.length_mm
    return float((one.left_mm + one.right_mm - other.left_mm - other.right_mm) @ np.array([-run[1], run[0]])) / 2


def _left_mm(way: Followed) -> float:
    """How far a way leaves the line between its lead's corners where it lies nearest to it: its nearest quarter."""
    off = (way.row - np.searchsorted(way.band.off_mm, 0.0)) * way.band.patch.step_mm
    return float(np.percentile(np.abs(off), 25))


def _one_edge(one: Followed, other: Followed) -> bool:
    """Whether two ways run along the same edge."""
    short, long = sorted((one, other), key=lambda way: way.band.length_mm)
    place = long.band.patch.to_grid(short.way_mm)
    row = np.interp(place[:, 0], long.column, long.row, left=np.inf, right=np.inf)
    near = np.abs(place[:, 1] - row) * long.band.patch.step_mm < SAME_MM
    return bool(near.mean() > SAME_SHARE)
