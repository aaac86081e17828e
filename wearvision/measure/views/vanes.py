"""An impeller in plan, front or back: its vanes counted, and each against its siblings."""

from __future__ import annotations

import numpy as np

from wearvision.measure.finders.vanes import Vanes, measure_vanes
from wearvision.measure.finders.vanes_told import is_doubt, to_findings
from wearvision.measure.look import Look, Seen
from wearvision.quantity import Measured, Quantity, Unmeasured

ALIKE = (
    "all vanes changed alike",
    "each vane is compared with its siblings: wear or bending that all of them share cannot be seen this way",
)
EDGES = "rounding of the vanes' edges"
BAND_BLURS = 4.0
"""A band along an edge shows its own width from so many standard deviations of the blur (derived: two edges of one
Gaussian apart)."""
UNSURE_MARGIN = 1.25
"""The number counts as sure when it stands out so much more than any other."""


def see(look: Look) -> Seen:
    """All vanes of the disc; where its greys leave doubts, in the light that leaves fewest."""
    seen = _seen(look)
    for other in look.in_other_light() if _doubts_left(seen) else ():
        seen = min(seen, _seen(other), key=_doubts_left)
        if not _doubts_left(seen):
            break
    return seen


def _doubts_left(seen: Seen) -> float:
    """Of how many vanes nothing is told that other light may tell; no end of them where nothing is told of any."""
    return sum(is_doubt(one) for one in seen.findings) if seen.findings else np.inf


def _seen(look: Look) -> Seen:
    """All vanes, by the greys at hand."""
    vanes = measure_vanes(look.gray, look.plane, look.stated, look.cards_px, blur_px=look.blur_px, copies=look.copies)
    if isinstance(vanes, Unmeasured):
        return Seen(not_assessed=(("vanes", f"{vanes.reason}; {vanes.hint}"), ALIKE, (EDGES, "no vanes were followed")))
    stated = look.stated.nominal.get("vane_count")
    doubts = (*_doubts(vanes, stated), ALIKE, (EDGES, _band(vanes, look.blur_px)))
    count = _count(vanes)
    if stated and round(stated) != len(vanes.standing):
        return Seen(summary={"vane_count": count}, not_assessed=doubts)
    findings = to_findings(vanes, look.plane, look.cards_px)
    odd = sum("suspected" in one.flags for one in findings)
    differ = Measured.of(float(odd), "count", how="bent, short or missing against their siblings")
    return Seen(findings=findings, summary={"vane_count": count, "vanes_that_differ": differ}, not_assessed=doubts)


def _count(vanes: Vanes) -> Quantity:
    """Vanes found."""
    sure = vanes.layout.margin > UNSURE_MARGIN
    how = "places a full turn over N apart, missing vanes included"
    return Measured.of(float(len(vanes.standing)), "count", how=how, choice=0.0 if sure else 0.5)


def _band(vanes: Vanes, blur_px: float) -> str:
    """Why no radius is told from the band of light along a vane's edge."""
    least = BAND_BLURS * blur_px * vanes.traces.px_mm
    return (
        f"seen from above a radius is a band of its own width, here told from {least:.1f} mm up at best, and a burr, a "
        "bevel or a shadow look the same: take the end of a vane in profile"
    )


def _doubts(vanes: Vanes, stated: float | None) -> tuple[tuple[str, str], ...]:
    out = []
    count = len(vanes.standing)
    if stated and round(stated) != count:
        why = f"{count} were found, {round(stated)} are stated: nothing is compared until that is settled"
        out.append(("number of vanes", why))
    seen = float(vanes.traces.seen.mean())
    if seen < 0.95:
        out.append(("part of the vanes", f"{100 * (1 - seen):.0f} % of their length is out of view or covered"))
    return tuple(out)
