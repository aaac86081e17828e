"""Which of the places where a lip may be is the lip: each is followed coarsely, and the evidence compared.

Leads along one and the same edge are no rivals, however far apart their corners are: what counts is where their ways
lie. Of edges across one opening the last one down closes it: others are shadows, or the foot of a wall.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearvision.measure.finders.tongue_band import ROUGH_MM, Sight, band_of
from wearvision.measure.finders.tongue_follow import Followed, follow
from wearvision.measure.finders.tongue_seek import Lead
from wearvision.measure.finders.tongue_signs import MOST_UNLIKE

STRIDE, ROUNDS = 2, 2
"""Samples from place to place of the coarse way, rounds in which sides are learned."""
EVIDENCE, BEATS, BEATS_UNSTATED = 4.5, 0.15, 0.5
"""Least evidence of the best lead (its shape's, and how unlike its sides are); by how much it beats all others where
the length is stated, and where not."""
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


def pick_lead(sight: Sight, leads: tuple[Lead, ...], length_mm: float | None) -> tuple[Tried | None, bool]:
    """The lead with most evidence for it, and whether another edge has nearly as much."""
    beats = BEATS_UNSTATED if length_mm is None else BEATS
    tried: list[Tried] = []
    for lead in sorted(leads, key=lambda one: -one.score):
        if tried and lead.score + MOST_UNLIKE < max(one.evidence for one in tried) - beats:
            break
        band = band_of(sight, lead.left_mm, lead.right_mm, ROUGH_MM)
        way = follow(band, length_mm, stride=STRIDE, rounds=ROUNDS, unlike=EVIDENCE - LEARNED - lead.score)
        if way is not None:
            evidence = lead.score + way.unlike - LEFT_LESS * _left_mm(way)
            tried.append(Tried(lead=lead, way=way, evidence=evidence))
    likely = [one for one in tried if one.evidence > EVIDENCE]
    if not likely:
        return None, False
    best = max(likely, key=lambda one: one.evidence)
    across = [one for one in likely if one is best or _one_opening(one.lead, best.lead)]
    best = max(across, key=lambda one: _down_mm(one.lead, best.lead))
    near = [one for one in likely if one.evidence > best.evidence - beats and one not in across]
    alike = [one for one in near if _one_edge(one.way, best.way)]
    best = max([best, *alike], key=lambda one: -_left_mm(one.way) if length_mm else one.lead.length_mm)
    return best, len(alike) < len(near)


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
