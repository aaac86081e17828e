"""A volute lip: which edge it is, and how far it is washed out."""

from __future__ import annotations

import numpy as np

from wearvision.measure.finders.tongue import Lip, lip_of
from wearvision.measure.finders.tongue_figures import lip_figures, to_finding, washed_texture
from wearvision.measure.finders.tongue_seek import Lead, seek_lips
from wearvision.measure.finders.tongue_trace import LENIENT, WEIGHTS, Trace, Weights, trace_lip
from wearvision.measure.look import Look, Seen

CLEAR, FOLLOWED = 2.3, 0.75
"""Least strength of the weakest tenth of an edge that is taken for one, and of one that is followed finely; set on
drawn scenes."""
PART_MM, PART_SHARE, AGREE = 0.3, 0.1, 4
"""Ways along one edge agree when their greatest deviations differ by no more than the sum of these, mm and share; so
many of them must."""
HINT = "have it across the picture, its passage above it, both ends in view; state lip_length_mm; or mark it by hand"
TEXTURE = ("roughness of the lip", "a photo shows texture only; a fingernail or a comparison plate tells")
WHICH = "which edge is the lip"
UNSTATED = (WHICH, "its length is not stated: the edge was picked from the picture; state lip_length_mm")
SOUND = (WHICH, "several edges fit and none is washed out; the figures are those of the least straight")
ALONE = (WHICH, "only one edge of its length could be followed, and it is sound; another would not be judged")
SLIGHT = ("a slight washout", "the lip lies behind its line by less than its doubt: neither sound nor washed is told")
PARTED = "its edge cannot be followed surely: it is faint, or rust, shine or a wall below it looks like the rim"
TRIED, CHECKED = 20, 4
LENGTH_OFF = 0.7, 0.013
"""A lip's length lies within the sum of these, mm and share, of a stated one."""
SHORTEST_MM, PLAIN_MM = 20.0, 0.5
"""Without a stated length, shorter edges and fainter washouts are not taken for a lip's."""


def see(look: Look) -> Seen:
    """The lip's edge against its sound line."""
    length = look.stated.nominal.get("lip_length_mm")
    found = find_lips(look, length)
    if not found:
        return Seen(not_assessed=(("lip", f"no clear straight edge that may be it; {HINT}"), TEXTURE))
    lips = [ways[0] for ways in found]
    worn = [lip for lip in lips if lip.worn.any()]
    missing = [TEXTURE] if length is not None else [TEXTURE, UNSTATED]
    if length is None and not worn:
        return Seen(not_assessed=(("lip", f"which of the straight edges it is cannot be told; {HINT}"), TEXTURE))
    if len(worn) > 1 and not _outdone(worn):
        where = "several edges that may be it are not straight"
        return Seen(not_assessed=(("lip", f"{where}; {HINT}"), TEXTURE))
    lip = max(lips, key=lambda one: (one.worn.any(), float(one.away_mm.max())))
    ways = next(ways for ways in found if ways[0] is lip)
    if len(ways) < AGREE:
        return Seen(not_assessed=(("lip", f"{PARTED}; light it from the side, or mark it by hand"), TEXTURE))
    figures = lip_figures(lip, look.plane, ways[1:])
    finding = to_finding(lip, 1, figures)
    if worn and finding is None:
        missing.append(SLIGHT)
    if not worn:
        missing.append(SOUND if len(lips) > 1 else ALONE)
    if lip.seen < 0.98:
        missing.append(("part of the lip", f"{100 * (1 - lip.seen):.0f} % of it is out of view or covered"))
    if finding is not None:
        figures["washed_texture"] = washed_texture(lip)
    return Seen(
        findings=() if finding is None else (finding,), summary=figures, not_assessed=tuple(missing),
        circles_px=(np.vstack([lip.px, lip.ends_px[::-1]]), np.vstack([lip.ends_px, lip.ends_px[::-1]])),
    )  # fmt: skip


def find_lips(look: Look, length_mm: float | None) -> list[list[Lip]]:
    """Edges that may be the lip, clearest first, each once: the way along it, and other ways that agree with it."""
    leads = seek_lips(look.gray, look.plane, look.cards_px, length_mm)[:TRIED]
    rough = [
        (float(np.percentile(trace.clear, 10)), lead)
        for lead in leads for trace in _traced(lead, look, (LENIENT,), coarse=True)
    ]  # fmt: skip
    rough.sort(key=lambda one: -one[0])
    out: list[list[Lip]] = []
    for clear, lead in rough[:CHECKED]:
        if clear < FOLLOWED:
            break
        ways = _agreeing([
            lip for trace in _traced(lead, look, WEIGHTS)
            if (lip := lip_of(trace, look.plane)) is not None and _plausible(lip, length_mm)
        ])  # fmt: skip
        if ways and all(_apart_mm(ways[0], other[0], look) > 2.0 for other in out):
            out.append(ways)
    return out


def _traced(lead: Lead, look: Look, weights: tuple[Weights, ...], *, coarse: bool = False) -> tuple[Trace, ...]:
    return trace_lip(
        look.gray, look.plane, lead, look.cards_px, blur_px=look.blur_px, coarse=coarse, weights=weights
    )


def _agreeing(ways: list[Lip]) -> list[Lip]:
    """The way of middle depth, and those that lie as deep as it."""
    if not ways:
        return []
    ranked = sorted(ways, key=_deepest)
    middle = ranked[(len(ranked) - 1) // 2]
    near = PART_MM + PART_SHARE * _deepest(middle)
    return [middle, *(way for way in ways if way is not middle and abs(_deepest(way) - _deepest(middle)) <= near)]


def _deepest(lip: Lip) -> float:
    """Greatest deviation of what is worn; 0 of a sound lip."""
    return float(lip.away_mm[lip.worn].max()) if lip.worn.any() else 0.0


def _plausible(lip: Lip, length_mm: float | None) -> bool:
    """Whether a lip's edge is clear enough for what it says, and as long as was stated."""
    worn = bool(lip.worn.any())
    if lip.clear < CLEAR:
        return False
    if length_mm is not None:
        return abs(lip.length_mm - length_mm) < LENGTH_OFF[0] + LENGTH_OFF[1] * length_mm
    return lip.length_mm >= SHORTEST_MM and (not worn or float(lip.away_mm.max()) > PLAIN_MM)


def _apart_mm(one: Lip, other: Lip, look: Look) -> float:
    """Largest distance between the corners of two lips, whichever way round."""
    a, b = (look.plane.to_mm(lip.ends_px) for lip in (one, other))
    return min(float(np.hypot(*(a - c).T).max()) for c in (b, b[::-1]))


def _outdone(worn: list[Lip]) -> bool:
    """Whether one lip is so much clearer than all others that it stands alone."""
    clear = sorted((lip.clear for lip in worn), reverse=True)
    return clear[0] > 2.0 * clear[1]
