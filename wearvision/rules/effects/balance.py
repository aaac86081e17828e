"""Permissible residual unbalance, and what a local loss of metal adds.

ISO 21940-11 (formerly ISO 1940-1), rigid rotors, from memory: e_per = 1000 G/omega in g mm/kg, U_per = e_per m. The
grade G is e omega in mm/s; G6.3 is usual for pump impellers (balancemaster.com/ISO_balancing_grades.htm).
"""

from __future__ import annotations

import math

from wearvision.rules.effects.span import not_negative, positive


def specific_g_mm_per_kg(grade_mm_s: float, speed_rpm: float) -> float:
    """e_per, g mm/kg, which is micrometres of the mass centre."""
    return 1000 * positive("balance grade", grade_mm_s) / (positive("speed", speed_rpm) * math.pi / 30)


def permissible_g_mm(grade_mm_s: float, mass_kg: float, speed_rpm: float) -> float:
    """U_per of the whole rotor, g mm."""
    return specific_g_mm_per_kg(grade_mm_s, speed_rpm) * positive("mass", mass_kg)


def per_plane_g_mm(whole_g_mm: float, planes: int) -> float:
    """Share of one plane: all of it for a narrow impeller, half for a wide one with its mass centre midway."""
    return whole_g_mm / (2 if planes == 2 else 1)


def four_w_over_n_g_mm(mass_kg: float, speed_rpm: float) -> float:
    """The 4 W/N limit of API style (oz in, lb) in g mm: 6350 m/n, about grade 0.66 (from memory)."""
    return 6350 * positive("mass", mass_kg) / positive("speed", speed_rpm)


def local_loss_g_mm(mass_lost_g: float, radius_mm: float) -> float:
    """Unbalance of metal lost, or added by a repair, at one place (derived): m r."""
    return not_negative("mass lost", mass_lost_g) * not_negative("radius", radius_mm)


def force_n(unbalance_g_mm: float, speed_rpm: float) -> float:
    """Turning force of an unbalance, N."""
    return not_negative("unbalance", unbalance_g_mm) * 1e-6 * (positive("speed", speed_rpm) * math.pi / 30) ** 2
