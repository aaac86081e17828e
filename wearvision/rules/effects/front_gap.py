"""What an open front gap may cost a semi-open impeller: an upper bound, a trend, and the trade's worst claim.

Closing the gap between vanes and casing from about 1.5 to about 0.25 mm can gain up to 10 efficiency points
(civil engineering handbook page, civilengineeringhandbook.tk/centrifugal-pumps-3/833.html): at most 8 points per
mm. Tests of several pumps differ by geometry (J. Turbomachinery 109(4) p. 545; J. Basic Eng. 87(4) p. 932), so
there is no single curve: the estimate is anything from nothing to the bound. The bound is never carried on beyond
the gaps it was published for: what opens outside them is measured, and not counted.
"""

from __future__ import annotations

from wearvision.rules.effects.span import not_negative, positive

BOUND_POINTS_PER_MM = 8.0
PUBLISHED_FROM_AXIAL_MM, PUBLISHED_TO_AXIAL_MM = 0.25, 1.5
WORST_CLAIM_POINTS_PER_MM = 1 / 0.0254
"""One point per 0.001 in: common practice, no source; five times steeper than the bound."""
TREND_FACTOR = 0.9
"""a of the trend form, compressor literature, from memory and weak."""


def opening_axial_mm(from_axial_mm: float, to_axial_mm: float) -> float:
    """How far the gap opened, mm; below 0 when it closed."""
    return not_negative("axial front gap", to_axial_mm) - not_negative("axial front gap", from_axial_mm)


def bound_points(from_axial_mm: float, to_axial_mm: float) -> float:
    """Most efficiency points an opening costs by the published bound, -10 to 10; below 0 for a gap that closed."""
    return BOUND_POINTS_PER_MM * opening_axial_mm(_published(from_axial_mm), _published(to_axial_mm))


def outside_axial_mm(from_axial_mm: float, to_axial_mm: float) -> float:
    """How much of an opening or closing lies where nothing was published, mm."""
    whole = opening_axial_mm(from_axial_mm, to_axial_mm)
    return abs(whole - opening_axial_mm(_published(from_axial_mm), _published(to_axial_mm)))


def _published(gap_axial_mm: float) -> float:
    """The gap, or the nearest one that the bound was published for."""
    gap = not_negative("axial front gap", gap_axial_mm)
    return min(max(gap, PUBLISHED_FROM_AXIAL_MM), PUBLISHED_TO_AXIAL_MM)


def worst_claim_points(from_axial_mm: float, to_axial_mm: float) -> float:
    """Points by the trade's worst claim; never an estimate."""
    return WORST_CLAIM_POINTS_PER_MM * opening_axial_mm(from_axial_mm, to_axial_mm)


def gap_share(gap_axial_mm: float, outlet_width_mm: float) -> float:
    """s/b2, gap over vane width at the outlet: the size that compares one pump with another (derived)."""
    return not_negative("axial front gap", gap_axial_mm) / positive("vane width at the outlet", outlet_width_mm)


def trend_relative_loss(gap_axial_mm: float, inlet_width_mm: float, outlet_width_mm: float) -> float:
    """2 a s/(b1 + b2), relative; for comparing gaps of one pump only."""
    widths = positive("vane width at the inlet", inlet_width_mm) + positive("vane width at the outlet", outlet_width_mm)
    return 2 * TREND_FACTOR * not_negative("axial front gap", gap_axial_mm) / widths
