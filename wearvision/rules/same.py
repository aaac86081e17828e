"""The same piece of wear on several photos of a part is one: gauged once, drawn on each.

Photos of one view share neither angle nor distance, so a finding is known again by figures that do not turn with the
camera. Two are taken as one when all of these agree within their 95 % intervals and a little slack, and no other
finding of either photo could be meant; in doubt they stay two, and both are gauged. A clear one repeats no faint one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from wearvision.finding import Finding, Kind
from wearvision.quantity import K95, Measured, Quantity, root_sum_square

Placed = tuple[str, Finding]
KNOWN_BY: Mapping[Kind, Mapping[str, float]] = {
    "groove": {"radius": 0.3, "width": 0.2},
    "gasket-land": {"remaining_width": 0.2},
    "washout": {"max_deviation": 0.2, "rms_deviation": 0.1},
    "vane": {"tip_shift": 0.3, "bend_angle": 1.0},
}
"""Figures by which a kind is known again, and the slack (mm, deg) beyond their intervals: the axis is found anew on
each photo, and light draws a lip a little differently. Kinds without a line (a pit, a crack, a notch, one corner of
one vane) could be another of the same size."""


def merge(findings: Sequence[Placed], views: dict[str, str]) -> tuple[Placed, ...]:
    """The findings in their order, repeats of one on another photo naming the one they repeat in `same_as`.

    The photo that shows most of the wear keeps it.

    Parameters
    ----------
    findings : sequence of (sha256 of the photo, Finding)
    views : mapping of sha256 to view
    """
    kept: list[Placed] = []
    repeats: dict[tuple[str, str], str] = {}
    photos = sorted(dict.fromkeys(sha for sha, _ in findings), key=lambda sha: _shown(sha, findings), reverse=True)
    for sha in photos:
        own = [f for s, f in findings if s == sha and f.kind in KNOWN_BY and not f.struck and not f.by]
        others = [(s, f) for s, f in kept if views.get(s) == views.get(sha)]
        for finding in own:
            like = [(s, f) for s, f in others if _alike(finding, f) and _as_clear(f, finding)]
            rivals = [f for f in own if like and _alike(f, like[0][1])]
            if len(like) == 1 and len(rivals) == 1:
                repeats[sha, finding.id] = f"{like[0][0][:8]}/{like[0][1].id}"
            else:
                kept.append((sha, finding))
    return tuple((s, replace(f, same_as=repeats.get((s, f.id), ""))) for s, f in findings)


def _shown(sha: str, findings: Sequence[Placed]) -> tuple[float, float]:
    """Degrees of arc that a photo shows of its findings, then how sure (1 / mm) it is of what they are known by."""
    own = [f for s, f in findings if s == sha]
    arcs = [f.quantities.get("arc_in_view") for f in own]
    known = [_figure(f, name) for f in own for name in KNOWN_BY.get(f.kind, ())]
    sure = [1 / q.u for q in known if isinstance(q, Measured) and q.u > 0]
    return sum(q.value for q in arcs if isinstance(q, Measured)), max(sure, default=0.0)


def _as_clear(kept: Finding, finding: Finding) -> bool:
    return "faint" not in kept.flags or "faint" in finding.flags


def _alike(a: Finding, b: Finding) -> bool:
    if a.kind != b.kind:
        return False
    for name, slack in KNOWN_BY[a.kind].items():
        one, other = _figure(a, name), _figure(b, name)
        if not (isinstance(one, Measured) and isinstance(other, Measured)):
            return False
        if abs(one.value - other.value) > K95 * root_sum_square(one.u, other.u) + slack:
            return False
    return True


def _figure(finding: Finding, name: str) -> Quantity | None:
    """A figure of a finding, sealed or not: which findings are one gives none of them away."""
    return finding.quantities.get(name, finding.sealed.get(name))
