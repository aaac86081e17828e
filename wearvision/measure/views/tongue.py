"""A volute lip: which edge it is, and how far it is washed out."""

from __future__ import annotations

import numpy as np

from wearvision.measure.finders.tongue import Lip, lip_of
from wearvision.measure.finders.tongue_band import Sight, sight_of
from wearvision.measure.finders.tongue_figures import lip_figures, to_finding, washed_texture
from wearvision.measure.finders.tongue_seek import Lead, seek_lips
from wearvision.measure.finders.tongue_signs import MOST_UNLIKE
from wearvision.measure.finders.tongue_trace import follow, parted, trace_lip
from wearvision.measure.look import Look, Seen

TRIED = 6
"""So many leads are followed roughly."""
EVIDENCE, BEATS, BEATS_UNSTATED = 5.0, 0.15, 0.5
"""Least evidence of the best lead (its shape's, and how unlike its sides are); by how much it beats all others where
the length is stated, and where not."""
PARTED, UNLIKE = 0.10, 1.5
"""Share of a lip along which ways may part; how unlike the sides of all but its worst seventh are."""
MOVED_MM = 2.0
"""The sound line ends so near to the corners that were seen."""
WALL, BEHIND = 0.05, 0.47
"""From this tangent of the camera's angle on the wall below the rim is in view, and its foot looks like a rim: no edge
so clear, as a share of the way's own, may then lie behind the way."""
HINT = "have it across the picture, its passage above it, both ends in view; state lip_length_mm; or mark it by hand"
TEXTURE = ("roughness of the lip", "a photo shows texture only; a fingernail or a comparison plate tells")
WHICH = "which edge is the lip"
UNSTATED = (WHICH, "its length is not stated: the edge was picked from the picture; state lip_length_mm")
ALONE = (WHICH, "only the likeliest edge of its length was followed, and it is sound; another would not be judged")
SLIGHT = ("a slight washout", "the lip lies behind its line by less than its doubt: neither sound nor washed is told")
NONE = f"no clear straight edge that may be it; {HINT}"
SEVERAL = f"several edges may be it; {HINT}"
PLAIN = f"which of the straight edges it is cannot be told; {HINT}"
UNSURE = (
    "its edge cannot be followed surely: it is faint, or rust, shine or a wall below it looks like the rim; "
    "light it from the side, or mark it by hand"
)
LENGTH_OFF = 0.7, 0.013
"""A lip's length lies within the sum of these, mm and share, of a stated one."""
SHORTEST_MM, PLAIN_MM = 20.0, 0.5
"""Without a stated length, shorter edges and fainter washouts are not taken for a lip's."""


def see(look: Look) -> Seen:
    """The lip's edge against its sound line."""
    length = look.stated.nominal.get("lip_length_mm")
    found = find_lip(look, length)
    if isinstance(found, str):
        return Seen(not_assessed=(("lip", found), TEXTURE))
    lip, *ways = found
    figures = lip_figures(lip, look.plane, ways)
    finding = to_finding(lip, 1, figures)
    missing = [TEXTURE] if length is not None else [TEXTURE, UNSTATED]
    if finding is None:
        missing.append(SLIGHT if lip.worn.any() else ALONE)
    if lip.seen < 0.98:
        missing.append(("part of the lip", f"{100 * (1 - lip.seen):.0f} % of it is out of view or covered"))
    if finding is not None:
        figures["washed_texture"] = washed_texture(lip)
    return Seen(
        findings=() if finding is None else (finding,), summary=figures, not_assessed=tuple(missing),
        circles_px=(np.vstack([lip.px, lip.ends_px[::-1]]), np.vstack([lip.ends_px, lip.ends_px[::-1]])),
    )  # fmt: skip


def find_lip(look: Look, length_mm: float | None) -> list[Lip] | str:
    """The lip along its best way, then along ways pulled to either side; or why it cannot be told."""
    sight = sight_of(look)
    lead = pick_lead(sight, seek_lips(sight.gray, sight.plane, sight.hidden_px, length_mm)[:TRIED], length_mm)
    if isinstance(lead, str):
        return lead
    traced = trace_lip(sight, lead.left_mm, lead.right_mm, length_mm)
    if traced is None:
        return NONE
    found, traces = traced
    lips = [lip for trace in traces if (lip := lip_of(trace, look.plane)) is not None]
    if len(lips) < len(traces) or parted(traces) > PARTED or float(np.percentile(found.apart, 15)) < UNLIKE:
        return UNSURE
    if _moved_mm(lips[0], lead, look) > MOVED_MM or (found.band.wall > WALL and found.behind > BEHIND):
        return UNSURE
    return lips if _fits(lips[0], length_mm) else PLAIN


def pick_lead(sight: Sight, leads: tuple[Lead, ...], length_mm: float | None) -> Lead | str:
    """The lead with most evidence for it, its shape's and that of its sides; or why there is none."""
    beats = BEATS_UNSTATED if length_mm is None else BEATS
    best, second, picked = 0.0, 0.0, None
    for lead in sorted(leads, key=lambda one: -one.score):
        if lead.score + MOST_UNLIKE < best - beats:
            break
        way = follow(sight, lead.left_mm, lead.right_mm, length_mm, rough=True)
        evidence = 0.0 if way is None else lead.score + float(way.apart.mean())
        if evidence > best:
            best, second, picked = evidence, best, lead
        else:
            second = max(second, evidence)
    if picked is None or best < EVIDENCE:
        return NONE
    return SEVERAL if best - second < beats else picked


def _moved_mm(lip: Lip, lead: Lead, look: Look) -> float:
    """How far the sound line ends from the corners that were seen, across it."""
    ends = look.plane.to_mm(lip.ends_px)
    run = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    off = np.array([lead.left_mm, lead.right_mm]) - ends
    return float(np.abs(off @ np.array([-run[1], run[0]])).max())


def _fits(lip: Lip, length_mm: float | None) -> bool:
    """Whether a lip is as long as was stated; without that, long and washed enough to be taken for one."""
    if length_mm is not None:
        return abs(lip.length_mm - length_mm) < LENGTH_OFF[0] + LENGTH_OFF[1] * length_mm
    return lip.length_mm >= SHORTEST_MM and bool(lip.worn.any()) and float(lip.away_mm.max()) > PLAIN_MM
