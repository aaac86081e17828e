"""What leakage does to efficiency when everything else stays (derived).

eta_v = Q/(Q + Q_L), and the whole goes with it: eta_worn = eta_new (Q + Q_L,new)/(Q + Q_L,worn).
"""

from __future__ import annotations

from wearvision.errors import BadInput
from wearvision.rules.effects.span import not_negative, positive


def volumetric_efficiency(flow: float, leakage: float) -> float:
    """Q/(Q + Q_L), 0 to 1; both flows in one unit."""
    return positive("flow", flow) / (flow + not_negative("leakage", leakage))


def relative_loss(flow: float, leakage_new: float, leakage_worn: float) -> float:
    """Share of the efficiency lost to the added leakage; below 0 when the worn ring leaks less."""
    new = volumetric_efficiency(flow, leakage_new)
    return 1 - volumetric_efficiency(flow, leakage_worn) / new


def fraction(what: str, value: float) -> float:
    """The value, when above 0 and up to 1; else `BadInput` that asks about percent."""
    if not 0 < value <= 1:
        raise BadInput(f"{what} must lie between 0 and 1", got=value, do="give 0.7 for 70 %")
    return value
