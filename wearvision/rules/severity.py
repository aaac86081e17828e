"""What a sheet keeps sealed of a finding: how bad it is, where a criterion asks a person to gauge just that.

A photo may tell how far a washed-out lip lies back or what height a vane has lost. On a sheet such a figure would be
adopted, right or wrong, so it waits sealed, with all that it could be worked out from, until the readings are in.
Where wear is and how far it reaches stays open: one must know where to put the gauge.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from wearvision.finding import Finding, Kind
from wearvision.quantity import Quantity
from wearvision.rules.rubric import Rubric

SEVERITY: Mapping[Kind, tuple[str, ...]] = {
    "washout": ("max_deviation", "rms_deviation", "area", "straightness", "straightness_least_squares"),
    "vane-section": ("height_loss", "height"),
    "depth-section": ("depth",),
}
"""Figures of a kind that say how bad it is, or from which that follows."""


def asked_of(rubric: Rubric | None, view: str, kind: str) -> bool:
    """Whether a criterion of this view has a person gauge a severity of this kind; while no rubric is known it may."""
    if rubric is None:
        return kind in SEVERITY
    severities = {name for one, names in SEVERITY.items() if one == kind for name in names}
    return any(
        kind in c.findings and (c.view in (view, "any") or view == "line-light") and c.quantity in severities
        for c in rubric.file.criteria
    )


def seal(finding: Finding, rubric: Rubric | None, view: str) -> Finding:
    """The finding as a sheet may show it: severities that its rubric has gauged are sealed."""
    if not asked_of(rubric, view, finding.kind):
        return finding
    hidden = {name: q for name, q in finding.quantities.items() if name in SEVERITY[finding.kind]}
    shown = {name: q for name, q in finding.quantities.items() if name not in hidden}
    return replace(finding, quantities=shown, sealed={**finding.sealed, **hidden})


def open_summary(summary: Mapping[str, Quantity], rubric: Rubric | None, view: str) -> dict[str, Quantity]:
    """Figures of a whole view without those that tell a sealed severity."""
    hidden = {name for kind, names in SEVERITY.items() if asked_of(rubric, view, kind) for name in names}
    return {name: q for name, q in summary.items() if name not in hidden}
