"""A volute lip: which edge it is, and how far it is washed out."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.finders.tongue import Lip, lip_of
from wearvision.measure.finders.tongue_band import Sight, sight_of
from wearvision.measure.finders.tongue_behind import straight_behind
from wearvision.measure.finders.tongue_figures import lip_figures, to_finding, washed_texture
from wearvision.measure.finders.tongue_follow import DEEP_MM, Followed
from wearvision.measure.finders.tongue_pick import Tried, pick_lead, pick_washed
from wearvision.measure.finders.tongue_seek import Lead, seek_lips, seek_turned
from wearvision.measure.finders.tongue_trace import Trace, parted, trace_lip
from wearvision.measure.look import Look, Seen
from wearvision.quantity import Measured, Quantity

PARTED = 0.31
"""Share of a lip along which ways may part."""
WORST, UNLIKE = 15.0, 1.25
"""So unlike are both sides of all but this per cent of a lip."""
WALL, BEHIND, UNLIKE_BEHIND = 0.1, 0.50, 5.0
"""From this tangent of the camera's angle on the wall below the rim is in view, and its foot or a shadow on it looks
like a rim: no edge so clear, as a share of the way's own, may then lie behind the way, and the clearer one does, the
more unlike must both sides be."""
IN_VIEW, RIM_BEHIND = 0.05, 0.25
"""A straight edge behind a way that stands out more than the second is the rim, where the wall is seen at more than the
first, as a tangent."""
CERTAIN_TURNED = 1.6
"""A washout makes an edge the lip, wherever its passage lies, from so many times its own U95."""
DEEPEST_MM = 1.0
"""A way so near to the deepest that is looked for has found no end."""
MOVED_MM = 2.0
"""The sound line ends so near to the corners that were seen."""
HINT = "have it across the picture, its passage above it, both ends in view; state lip_length_mm; or mark it by hand"
TEXTURE = ("roughness of the lip", "a photo shows texture only; a fingernail or a comparison plate tells")
WHICH = "which edge is the lip"
ASIDE = (WHICH, "its passage is not above it in the picture: it was picked because it is washed")
UNSTATED = (WHICH, "its length is not stated: the edge was picked from the picture; state lip_length_mm")
ALONE = (WHICH, "only the likeliest edge of its length was followed, and it is sound; another would not be judged")
SLIGHT = ("a slight washout", "the lip lies behind its line by less than its doubt: neither sound nor washed is told")
NONE = f"no clear straight edge that may be it; {HINT}"
SEVERAL = f"several edges may be it; {HINT}"
PLAIN = f"which of the straight edges it is cannot be told; {HINT}"
TURNED = f"another edge looks washed, and its passage is not above it; {HINT}"
UNSURE = (
    "its edge cannot be followed surely: it is faint, or rust, shine or a wall below it looks like the rim; "
    "light it from the side, or mark it by hand"
)
LENGTH_OFF = 0.7, 0.013
"""A lip's length lies within the sum of these, mm and share, of a stated one."""
SHORTEST_MM = 20.0
"""Without a stated length, shorter edges are not taken for a lip's."""
CORNERED, CORNERED_UNSTATED, CORNERED_TWICE = 1.0, 2.9, (2.65, 2.5)
"""Least clearness of the less clear corner: how much more metal-like it is beyond it; without a stated length; and
where it was clear along the coarse way too."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Told:
    """A lip, its figures, its washout where it has one, and whether its passage is elsewhere than above it."""

    lip: Lip
    figures: dict[str, Quantity]
    finding: Finding | None
    aside: bool = False


def see(look: Look) -> Seen:
    """The lip's edge against its sound line."""
    length = look.stated.nominal.get("lip_length_mm")
    told = find_lip(look, length)
    if isinstance(told, str):
        return Seen(not_assessed=(("lip", told), TEXTURE))
    lip, figures, finding = told.lip, told.figures, told.finding
    missing = [TEXTURE] if length is not None else [TEXTURE, UNSTATED]
    if told.aside:
        missing.append(ASIDE)
    if finding is None and lip.worn.any():
        missing.append(SLIGHT)
    elif finding is None and length is not None:
        missing.append(ALONE)
    if lip.seen < 0.98:
        missing.append(("part of the lip", f"{100 * (1 - lip.seen):.0f} % of it is out of view or covered"))
    if finding is not None:
        figures["washed_texture"] = washed_texture(lip)
    return Seen(
        findings=() if finding is None else (finding,), summary=figures, not_assessed=tuple(missing),
        circles_px=(np.vstack([lip.px, lip.ends_px[::-1]]), np.vstack([lip.ends_px, lip.ends_px[::-1]])),
    )  # fmt: skip


def find_lip(look: Look, length_mm: float | None) -> Told | str:
    """The lip, or why it cannot be told.

    It is the edge with the passage above it in the picture. Where that one is sound or cannot be told, and another side
    of an opening is washed, the photo is turned: that side is the lip.
    """
    sight = sight_of(look)
    rough = sight.rough
    leads, maps = seek_lips(rough.gray, rough.plane, rough.hidden_px, length_mm)
    picked, rivals = pick_lead(sight, leads, length_mm)
    told = SEVERAL if rivals else NONE if picked is None else _told(look, sight, picked, length_mm)
    if isinstance(told, Told) and told.finding is not None:
        return told
    for other in pick_washed(sight, seek_turned(maps, length_mm), length_mm, picked):
        aside = _told(look, sight, other, length_mm)
        if isinstance(aside, Told) and _certain(aside) and (length_mm is not None or isinstance(told, str)):
            return replace(aside, aside=True)
        doubtful = isinstance(aside, str) or aside.finding is not None
        if isinstance(told, Told) and doubtful and other.rivals(picked):
            told = TURNED
    return told


def _certain(told: Told) -> bool:
    """Whether a washout is deep enough to tell that its edge is the lip."""
    top = told.figures["max_deviation"]
    return told.finding is not None and isinstance(top, Measured) and top.value > CERTAIN_TURNED * top.u95


def _told(look: Look, sight: Sight, picked: Tried, length_mm: float | None) -> Told | str:
    """What the edge along a lead is, along its best way and ways pulled to either side; or why it cannot be told."""
    traced = trace_lip(sight, picked.way, length_mm)
    if traced is None:
        return NONE
    found, traces = traced
    lips = [lip for trace in traces if (lip := lip_of(trace, look.plane)) is not None]
    if len(lips) < len(traces) or not _sure(found, traces) or _moved_mm(lips[0], picked.lead, look) > MOVED_MM:
        return UNSURE
    line = found.band.patch.to_grid(look.plane.to_mm(lips[0].ends_px))
    if found.band.wall > IN_VIEW and straight_behind(found, line) > RIM_BEHIND:
        return UNSURE
    if not _fits(lips[0], found, length_mm, picked.way.cornered):
        return PLAIN
    figures = lip_figures(lips[0], look.plane, lips[1:])
    return Told(lip=lips[0], figures=figures, finding=to_finding(lips[0], 1, figures))


def _sure(found: Followed, traces: tuple[Trace, ...]) -> bool:
    """Whether a way does not give way, nor runs as deep as is looked for, its sides are unlike, and no wall below the
    rim may be what it follows."""
    unlike = float(np.percentile(found.apart, WORST))
    if parted(traces) > PARTED or unlike < UNLIKE or found.deepest_mm > DEEP_MM - DEEPEST_MM:
        return False
    behind = found.behind if found.band.wall > WALL else 0.0
    return behind < BEHIND and unlike > UNLIKE_BEHIND * behind


def _moved_mm(lip: Lip, lead: Lead, look: Look) -> float:
    """How far the sound line ends from the corners that were seen, across it."""
    ends = look.plane.to_mm(lip.ends_px)
    run = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    off = np.array([lead.left_mm, lead.right_mm]) - ends
    return float(np.abs(off @ np.array([-run[1], run[0]])).max())


def _fits(lip: Lip, found: Followed, length_mm: float | None, coarse: float) -> bool:
    """Whether both corners are seen, and a lip is as long as was stated; without that, long enough to be one."""
    if length_mm is None:
        least = CORNERED_TWICE[1] if coarse > CORNERED_TWICE[0] else CORNERED_UNSTATED
        return lip.length_mm >= SHORTEST_MM and found.cornered > least
    off = abs(lip.length_mm - length_mm)
    return off < LENGTH_OFF[0] + LENGTH_OFF[1] * length_mm and found.cornered > CORNERED
