"""Which of the stubs that were followed is the vane: what speaks for each, weighed by a logistic model.

Of vanes on one bar the tallest counts: those further back look smaller. A stub that cannot be a vane, however well it
is outlined, is never one: where the bar's edge runs on under it, or a flank and one side of the bar are all there is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wearvision.measure.finders.stub import Stub
from wearvision.measure.finders.vane_edge_lines import Lines
from wearvision.measure.finders.vane_edge_search import Place, Sizes

LEAST_BELIEF, SURE = 0.7, 0.9
"""Probability from which a stub is told; and from which, taken alone, only one that may stand in front is followed."""
LEAST_IN_LIGHT = 0.85
"""Probability from which a stub is told that greys did not show: the more is looked at, the more looks like one."""
WEIGHTS: Mapping[str, float] = {
    "one": -2.346, "fits": 4.869, "mean": 3.915, "behind": 1.668, "off": -0.485, "runs_on": -3.366,
}  # fmt: skip
"""Log odds by term: fitted to 111 stubs on 64 drawn photos, 53 of them vanes; only these numbers are learned."""
APART_MM = 4.0
"""Stubs nearer than that are about one vane."""
OUT_MM = 0.1
"""How far outside what a stated thickness leaves open a fitted one may come out."""
ONE_SIDED = 0.8
"""What a fit counts whose one flank is not seen."""
THROUGH = 0.6
"""Edge across the foot, of that across the bar's edge beside it, beyond which one lies between vane and bar."""
MOST_ON = 0.6
"""Tone across the flanks' lines beyond their ends, of that between, from which they surely run on."""
TALLER_MM, SAME_BAR_MM = 0.3, 1.5
"""A vane further back is smaller by at least so much; how near to one line two vanes of a bar stand."""
BAR_SEEN = 0.5
"""Share of the bar's edge on one side below which something hides it there."""
USUAL, PLAY, MOST_OFF, HIDDEN_OFF, UNSTATED_OFF = 0.97, 0.05, 3.0, 1.0, 1.5
"""Thickness of a vane over that of a new one, and how far it strays; strays beyond which it tells no more, and what
counts where a flank is hidden or no thickness is stated."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Lead:
    """A stub that was followed, where it stands and its lines, and how much less its coarse place is worth than the
    best one."""

    stub: Stub
    place: Place
    lines: Lines
    behind: float


def front(leads: Sequence[Lead], sizes: Sizes, least: float = LEAST_BELIEF) -> Stub | None:
    """The likeliest stub, or a taller likely one on the same bar; none where none is so likely, or two are alike."""
    able = [lead for lead in leads if may_be(lead.stub, sizes)]
    weight = np.exp([odds(lead, sizes) for lead in able])
    total = np.array([
        1 + sum(w for w, other in zip(weight, able, strict=True) if other is lead or _apart(lead.stub, other.stub))
        for lead in able
    ])  # fmt: skip
    if not able or max(weight / total) < least:
        return None
    first = able[int(np.argmax(weight / total))].stub
    beside = [
        lead.stub for lead, w in zip(able, weight, strict=True)
        if w > 1 and _on_one_bar(lead.stub, first) and lead.stub.height_mm > first.height_mm + TALLER_MM
    ]  # fmt: skip
    return max(beside, key=lambda stub: stub.height_mm, default=first)


def sure(lead: Lead, sizes: Sizes) -> bool:
    """Whether a stub is the vane, were it the only one."""
    return may_be(lead.stub, sizes) and odds(lead, sizes) > np.log(SURE / (1 - SURE))


def odds(lead: Lead, sizes: Sizes) -> float:
    """Log odds that a stub is the vane, and not that none is."""
    return sum(WEIGHTS[name] * value for name, value in terms(lead, sizes).items())


def terms(lead: Lead, sizes: Sizes) -> dict[str, float]:
    """What speaks for and against a stub.

    How well its outline fits, in its least clear part and on the whole; whether the flanks run on beyond its ends; how
    much better another place looked from afar, twice with one flank hidden, as then a box looks like it; how odd its
    thickness is.
    """
    stub = lead.stub
    seen = [share for part, share in stub.share.items() if not _is_hidden(part, stub.hidden)]
    off = UNSTATED_OFF if sizes.new_wide_mm is None else HIDDEN_OFF
    if sizes.new_wide_mm is not None and stub.hidden is None:
        off = min(MOST_OFF, abs(stub.thickness_mm / sizes.new_wide_mm - USUAL) / PLAY)
    return {
        "one": 1.0, "fits": fits(stub), "mean": float(np.mean(seen)), "off": off,
        "behind": lead.behind * (1 if stub.hidden is None else 2), "runs_on": min(MOST_ON, stub.runs_on),
    }  # fmt: skip


def may_be(stub: Stub, sizes: Sizes) -> bool:
    """Whether a stub can be a vane at all.

    With one side of the bar alone, as beside any box, only a stated thickness tells that; with one flank besides it is
    a step, which shows metal and background alike.
    """
    one_bar = min(bars(stub)) < BAR_SEEN
    if stub.through > THROUGH or (one_bar and (sizes.new_wide_mm is None or stub.hidden is not None)):
        return False
    return sizes.wide_mm[0] - OUT_MM < stub.thickness_mm < sizes.wide_mm[1] + OUT_MM


def fits(stub: Stub) -> float:
    """How well the outline fits a vane's, 0 to 1: the least clear of flanks, top and the better side of the bar.

    With one flank hidden, of the other corner too, and less.
    """
    share, hidden = stub.share, stub.hidden
    flanks = [share[side] for side in ("left", "right") if side != hidden]
    level = min(*flanks, share["top"], max(bars(stub)))
    if hidden is None:
        return level
    return ONE_SIDED * min(level, share["corner right" if hidden == "left" else "corner left"])


def bars(stub: Stub) -> tuple[float, float]:
    """Shares of the bar's edge to the left and to the right that are seen."""
    return stub.share["bar left"], stub.share["bar right"]


def _is_hidden(part: str, hidden: str | None) -> bool:
    return hidden is not None and part in (hidden, f"corner {hidden}")


def _apart(one: Stub, two: Stub) -> bool:
    """Whether two stubs are about different vanes."""
    gap = one.origin_mm + one.up * one.height_mm / 2 - two.origin_mm - two.up * two.height_mm / 2
    return float(np.hypot(*gap)) > APART_MM


def _on_one_bar(one: Stub, two: Stub) -> bool:
    return float(one.up @ two.up) > 0.9 and abs(float((one.origin_mm - two.origin_mm) @ two.up)) < SAME_BAR_MM
