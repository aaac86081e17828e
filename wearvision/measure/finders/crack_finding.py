"""A crack's line and width as a finding: always suspected, always to be tested with penetrant."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearvision.finding import Finding
from wearvision.measure.plane import Array, Plane
from wearvision.quantity import Measured, Quantity


@dataclass(frozen=True, kw_only=True)
class Length:
    """How sure the length of a line is: standard uncertainty of its ends, mm, and as a share of it; and what is added.

    ``smoothed``: share by which it is seen shorter than it runs; ``tails_mm``: what fades out unseen at both ends.
    """

    ends_mm: float
    share: float
    smoothed: float = 0.0
    tails_mm: float = 0.0


def crack_finding(
    name: str, line_mm: Array, plane: Plane, length: Length, width: Quantity, *, faint: bool = False
) -> Finding:
    """The finding of a line (N, 2)."""
    line_px = plane.to_px(line_mm)
    value, parts = plane.propagate(lambda p: np.array([np.hypot(*np.diff(p.to_mm(line_px), axis=0).T).sum()]))
    whole = float(value[0]) * (1 + length.smoothed) + length.tails_mm
    along = Measured.of(
        whole, "mm", how="along the dark path; a penetrant test tells",
        outline=float(np.hypot(length.ends_mm, length.share * whole)), **{n: float(u[0]) for n, u in parts.items()},
    )  # fmt: skip
    return Finding(
        id=name, kind="crack", outline_px=np.vstack([line_px, line_px[::-1]]), places_px=line_px[[len(line_px) // 2]],
        quantities={"length": along, "width": width}, flags=("suspected", "faint") if faint else ("suspected",),
    )  # fmt: skip
