"""Friction factor of a wear-ring gap: the bounds in use, and a formula when the liquid is known.

Turbulent: Yamada 1962, from memory. Laminar: 96/Re of a flow between parallel plates (exact solution, textbook, from
memory). The larger of the two rules; they meet near Re 2000, so nothing jumps.
"""

from __future__ import annotations

import math

from wearvision.rules.effects.leakage import flow_coefficient
from wearvision.rules.effects.span import G_M_S2, Span, positive

PRACTICE = Span(0.02, 0.04)
"""lambda of turbulent gaps: common practice, no source."""
SPREAD = 1 / 3
"""Relative spread put on a computed lambda, the same as of the bounds above: our own allowance, no source."""
CENTRE = (PRACTICE.low + PRACTICE.high) / 2


def yamada(re_axial: float, re_surface: float) -> float:
    """lambda = 0.26 Re^-0.24 [1 + (7/8)^2 (Re_u/2Re)^2]^0.38, smooth rings, turbulent (Yamada 1962, from memory).

    Parameters
    ----------
    re_axial : float
        2 V s/nu with the radial gap s.
    re_surface : float
        u s/nu.
    """
    ratio = re_surface / (2 * positive("axial Reynolds number", re_axial))
    return float(0.26 * re_axial**-0.24 * (1 + (7 / 8) ** 2 * ratio**2) ** 0.38)


def gap_reynolds(
    axial_speed_m_s: float, surface_speed_m_s: float, gap_radial_m: float, viscosity_m2_s: float
) -> tuple[float, float]:
    """Axial and surface Reynolds numbers of a ring gap; the gap is radial."""
    size = positive("radial gap", gap_radial_m) / positive("kinematic viscosity", viscosity_m2_s)
    return 2 * axial_speed_m_s * size, surface_speed_m_s * size


def gap_friction(re_axial: float, re_surface: float) -> float:
    """lambda of a ring gap, turbulent or not."""
    return max(yamada(re_axial, re_surface), 96 / re_axial)


def ring_friction(
    *, clearance_diametral_m: float, land_m: float, head_m: float, surface_speed_m_s: float, viscosity_m2_s: float
) -> float:
    """lambda at the axial speed that the gap itself sets.

    The speed depends on lambda and lambda on the speed, less than half as strongly: repeated substitution settles.
    """
    friction = PRACTICE.high
    free_m_s = math.sqrt(2 * G_M_S2 * positive("head across the ring", head_m))
    positive("diametral clearance", clearance_diametral_m)
    for _ in range(100):
        axial_m_s = flow_coefficient(friction, land_m, clearance_diametral_m) * free_m_s
        reynolds = gap_reynolds(axial_m_s, surface_speed_m_s, clearance_diametral_m / 2, viscosity_m2_s)
        last, friction = friction, gap_friction(*reynolds)
        if abs(friction - last) < 1e-12 * friction:
            break
    return friction
