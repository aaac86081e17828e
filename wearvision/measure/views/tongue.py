"""A volute lip: which edge it is, and how far it is washed out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearvision.measure.finders.tongue import Lip, lip_of
from wearvision.measure.finders.tongue_figures import lip_figures, to_finding, washed_texture
from wearvision.measure.finders.tongue_seek import Lead, seek_lips
from wearvision.measure.finders.tongue_signs import Band, band_of
from wearvision.measure.finders.tongue_trace import Trace, trace_lip
from wearvision.measure.finders.tongue_ways import Chain, chain_of
from wearvision.measure.look import Look, Seen
from wearvision.quantity import Measured, Quantity

TRIED, LEAD_SHARE = 4, 0.6
"""Leads that are followed: so many, with this share of the best score."""
USUAL, LEAST = 0.3, 0.55
"""Evidence per run that a band without an edge has, and that a lip must have."""
RIVAL = 0.9
"""An edge with this share of the best one's evidence may be the lip as well."""
APART_MM = 2.0
"""Edges further from each other are two."""
ALIGNED, STRAIGHT = 0.008, 0.4
"""A band turned from its sound line by more is rolled out anew, when so much of the lip carries the line."""
WORN_CLEAR = 1.4
"""A washout is told where its own edge is as clear as this; else rust or shadow may lie in its place."""
DOUBT_MM, DOUBT_SHARE = 0.58, 0.2
"""A greatest deviation is told when its U95 is no more than the sum of these, mm and share."""
HINT = "have it across the picture, its passage above it, both ends in view; state lip_length_mm; or mark it by hand"
TEXTURE = ("roughness of the lip", "a photo shows texture only; a fingernail or a comparison plate tells")
WHICH = "which edge is the lip"
UNSTATED = (WHICH, "its length is not stated: the edge was picked from the picture; state lip_length_mm")
CLEAREST = (WHICH, "the clearest edge of its length is sound; another would not be judged")
SLIGHT = ("a slight washout", "the lip lies behind its line by less than its doubt: neither sound nor washed is told")
PARTED = "its edge cannot be followed surely: it is faint, or rust, shine or a wall below it looks like the rim"
LENGTH_OFF = 0.7, 0.013
"""A lip's length lies within the sum of these, mm and share, of a stated one."""
SHORTEST_MM, PLAIN_MM, PLAIN_U95 = 20.0, 0.5, 1.3
"""Without a stated length, shorter edges and fainter washouts are not taken for a lip's."""


def see(look: Look) -> Seen:
    """The lip's edge against its sound line."""
    length = look.stated.nominal.get("lip_length_mm")
    traces = find_edges(look, length)
    if not traces:
        return _not_told("no clear straight edge that may be it")
    if len(traces) > 1:
        return _not_told("several edges fit about as well")
    lip = lip_of(traces[0], look.plane)
    if lip is None:
        return _not_told(PARTED)
    if lip.worn.any() and _clearness(lip) < WORN_CLEAR:
        return _not_told(PARTED)
    figures = lip_figures(lip, look.plane)
    top = figures["max_deviation"]
    if isinstance(top, Measured) and top.u95 > DOUBT_MM + DOUBT_SHARE * top.value:
        return _not_told(PARTED)
    if length is None and not _plainly_worn(lip, top):
        return _not_told("which of the straight edges it is cannot be told")
    finding = to_finding(lip, 1, figures)
    if finding is not None:
        figures["washed_texture"] = washed_texture(lip)
    return Seen(
        findings=() if finding is None else (finding,), summary=figures,
        not_assessed=tuple(_missing(lip, length is not None, finding is not None)),
        circles_px=(np.vstack([lip.px, lip.ends_px[::-1]]), np.vstack([lip.ends_px, lip.ends_px[::-1]])),
    )  # fmt: skip


def _clearness(lip: Lip) -> float:
    """Strength of the edge where it is washed out and weak (tenth percentile), in usual steps of its band."""
    washed = np.interp(lip.trace.x_mm, lip.x_mm, lip.worn.astype(float)) > 0.5
    return float(np.percentile(lip.trace.clear[washed], 10)) if washed.any() else 0.0


def _plainly_worn(lip: Lip, top: Quantity) -> bool:
    """Whether a lip is washed out so much that it is hardly another edge."""
    return bool(lip.worn.any()) and isinstance(top, Measured) and top.value > max(PLAIN_MM, PLAIN_U95 * top.u95)


def _not_told(why: str) -> Seen:
    return Seen(not_assessed=(("lip", f"{why}; {HINT}"), TEXTURE))


def _missing(lip: Lip, stated: bool, found: bool) -> list[tuple[str, str]]:
    """What is not told of a lip that is."""
    out = [TEXTURE] if stated else [TEXTURE, UNSTATED]
    if not found:
        out.append(SLIGHT if lip.worn.any() else CLEAREST)
    if lip.seen < 0.98:
        out.append(("part of the lip", f"{100 * (1 - lip.seen):.0f} % of it is out of view or covered"))
    return out


@dataclass(frozen=True, kw_only=True, eq=False)
class _Edge:
    """A band that may hold the lip, all ways through it, and how much more it looks like an edge than one without."""

    band: Band
    chain: Chain

    @property
    def odds(self) -> float:
        return (self.chain.evidence - USUAL) * len(self.band.column)


def find_edges(look: Look, length_mm: float | None) -> list[Trace]:
    """The edge that is most likely the lip, and those that are about as likely, each once."""
    leads = seek_lips(look.gray, look.plane, look.cards_px, length_mm)
    worth = LEAD_SHARE * max((lead.score for lead in leads), default=0.0)
    likely = [lead for lead in leads if lead.score >= worth][:TRIED]
    edges = [edge for lead in likely if (edge := _edge(look, lead, length_mm)) is not None]
    edges.sort(key=lambda one: -one.odds)
    traces: list[Trace] = []
    for edge in edges:
        if edge.chain.evidence < LEAST or edge.odds < RIVAL * edges[0].odds:
            break
        trace = _aligned(look, edge, length_mm)
        if not traces or _apart_mm(trace, traces[0]) > APART_MM:
            traces.append(trace)
    return traces


def _edge(look: Look, lead: Lead, length_mm: float | None) -> _Edge | None:
    band = band_of(look.gray, look.plane, lead, look.cards_px, blur_px=look.blur_px, length_mm=length_mm)
    if band is None or not _long_enough(band, length_mm):
        return None
    return _Edge(band=band, chain=chain_of(band.worth))


def _aligned(look: Look, edge: _Edge, length_mm: float | None) -> Trace:
    """The edge followed in a band along its own sound line, where that of its lead was turned from it."""
    trace = trace_lip(edge.band, edge.chain)
    lip = lip_of(trace, look.plane)
    if lip is None or float(lip.sound.mean()) < STRAIGHT:
        return trace
    left, right = look.plane.to_mm(lip.ends_px)
    if abs((right - left) @ edge.band.patch.down) < ALIGNED * lip.length_mm:
        return trace
    again = _edge(look, Lead(left_mm=left, right_mm=right, score=0.0), length_mm)
    return trace if again is None or again.odds < edge.odds else trace_lip(again.band, again.chain)


def _long_enough(band: Band, length_mm: float | None) -> bool:
    """Whether an edge is as long as was stated, or at all."""
    found_mm = (band.ends[1] - band.ends[0]) * band.patch.step_mm
    if length_mm is None:
        return found_mm >= SHORTEST_MM
    return abs(found_mm - length_mm) < LENGTH_OFF[0] + LENGTH_OFF[1] * length_mm


def _apart_mm(one: Trace, other: Trace) -> float:
    """Median distance of one edge's places from the other's."""
    grid = other.patch.to_grid(one.mm)
    rows = np.interp(grid[:, 0], other.column, other.row)
    return float(np.median(np.abs(grid[:, 1] - rows))) * other.patch.step_mm
