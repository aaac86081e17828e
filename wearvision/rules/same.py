"""The same groove on several photos of a part is one groove: gauged once, drawn on each.

Photos of one face share the axis but not the angle, so a groove is known again by its radius and width. Two are
taken as one when both agree within their 95 % intervals and a little slack, and no other mark of either photo
could be meant; in doubt they stay two, and both are gauged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from wearvision.finding import Finding
from wearvision.quantity import K95, Measured, root_sum_square

Placed = tuple[str, Finding]
SLACK_MM = {"radius": 0.3, "width": 0.2}
"""Beyond the intervals: the axis is found anew on each photo, and light draws a lip a little differently."""


def merge(findings: Sequence[Placed], views: dict[str, str]) -> tuple[Placed, ...]:
    """The findings in their order, repeats of a groove naming the one they repeat in `same_as`.

    The photo that shows most of the groove keeps it.

    Parameters
    ----------
    findings : sequence of (sha256 of the photo, Finding)
    views : mapping of sha256 to view
    """
    kept: list[Placed] = []
    repeats: dict[tuple[str, str], str] = {}
    photos = sorted(dict.fromkeys(sha for sha, _ in findings), key=lambda sha: -_shown(sha, findings))
    for sha in photos:
        own = [f for s, f in findings if s == sha and f.kind == "groove" and not f.struck and not f.by]
        others = [(s, f) for s, f in kept if views.get(s) == views.get(sha)]
        for finding in own:
            like = [(s, f) for s, f in others if _alike(finding, f)]
            rivals = [f for f in own if like and _alike(f, like[0][1])]
            if len(like) == 1 and len(rivals) == 1:
                repeats[sha, finding.id] = f"{like[0][0][:8]}/{like[0][1].id}"
            else:
                kept.append((sha, finding))
    return tuple((s, replace(f, same_as=repeats.get((s, f.id), ""))) for s, f in findings)


def _shown(sha: str, findings: Sequence[Placed]) -> float:
    arcs = (f.quantities.get("arc_in_view") for s, f in findings if s == sha)
    return sum(q.value for q in arcs if isinstance(q, Measured))


def _alike(a: Finding, b: Finding) -> bool:
    for name, slack in SLACK_MM.items():
        one, other = a.quantities.get(name), b.quantities.get(name)
        if not (isinstance(one, Measured) and isinstance(other, Measured)):
            return False
        if abs(one.value - other.value) > K95 * root_sum_square(one.u, other.u) + slack:
            return False
    return True
