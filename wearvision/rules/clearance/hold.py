"""A gauged clearance held against a limit; what would settle a doubt is said for clearances, not for depths."""

from __future__ import annotations

from dataclasses import replace

from wearvision.rules.decision import Decision, Limit, decide
from wearvision.rules.gauged import Gauged

OPEN = Limit(lower_mm=0.0, inclusive=False)
"""A gap that does not touch."""


def hold(figure: Gauged | None, limit: Limit | None, guard_factor: float) -> Decision | None:
    """Decide, with guard band; `None` when there is no figure or no limit."""
    if figure is None or limit is None:
        return None
    decision = decide(figure.value_mm, figure.u_mm, limit, guard_factor)
    if decision.word != "undecided":
        return decision
    edges = [edge for edge in (limit.lower_mm, limit.upper_mm) if edge is not None]
    near = min(abs(figure.value_mm - edge) for edge in edges)
    settle = f"{near:.3f} mm from the limit with u {figure.u_mm:.3f} mm; a finer gauge, or the maker, decides"
    return replace(decision, what_would_settle=settle)
